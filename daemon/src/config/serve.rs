//! The table `[serve]`: how `peakorderd serve` serves when the command line does not say.

use serde::{Deserialize, Deserializer, Serialize};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// The table's keys. Each has an option of the command line, which wins.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ServeTable {
    /// Address and port to listen on.
    #[serde(skip_serializing_if = "Option::is_none", deserialize_with = "address")]
    pub listen: Option<SocketAddr>,
    /// Folder of players and sessions.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub library: Option<PathBuf>,
    /// Host names that browsers may use besides this computer's addresses.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub allow_hosts: Vec<String>,
    /// File with the passcode for the coach's device.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub passcode_file: Option<PathBuf>,
    /// Encrypt connections with a certificate of the program's own.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub tls: bool,
    /// Encrypt connections with this certificate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tls_cert: Option<PathBuf>,
    /// Its private key.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tls_key: Option<PathBuf>,
    /// Program to run after every lesson.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub when_ended: Option<PathBuf>,
    /// Whether the page is announced in the network; it is unless this says no.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub announce: Option<bool>,
}

fn address<'de, D: Deserializer<'de>>(from: D) -> Result<Option<SocketAddr>, D::Error> {
    let text = String::deserialize(from)?;
    let wrong = |_| serde::de::Error::custom("no address with a port; write 127.0.0.1:7311 or 0.0.0.0:7311");
    text.parse().map(Some).map_err(wrong)
}

impl ServeTable {
    /// Paths that are not absolute begin at `folder`.
    pub(super) fn below(&mut self, folder: &Path) {
        let Self { library, passcode_file, tls_cert, tls_key, when_ended, .. } = self;
        for path in [library, passcode_file, tls_cert, tls_key, when_ended].into_iter().flatten() {
            // An absolute one replaces the folder.
            *path = folder.join(&path);
        }
    }
}
