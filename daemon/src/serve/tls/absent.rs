//! In the place of encryption, where it is not built in.

use super::{Names, TlsError};
use std::convert::Infallible;
use std::path::Path;
use tokio::net::TcpStream;

/// Cannot be had.
#[derive(Clone)]
pub(crate) struct Tls(Infallible);

impl Tls {
    pub(super) fn of_files(_: &Path, _: &Path) -> Result<Self, TlsError> {
        Err(TlsError::NotBuilt)
    }

    pub(super) fn own(_: &Path, _: &Names<'_>) -> Result<Self, TlsError> {
        Err(TlsError::NotBuilt)
    }

    pub(crate) fn fingerprint(&self) -> &str {
        match self.0 {}
    }

    #[expect(clippy::unused_async, reason = "as the one that encrypts")]
    pub(crate) async fn accept(&self, _: TcpStream) -> std::io::Result<TcpStream> {
        match self.0 {}
    }
}
