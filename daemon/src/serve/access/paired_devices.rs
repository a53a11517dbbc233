//! Paired devices, kept over restarts.
//!
//! ```text
//! LIBRARY/devices.toml    for each device: what it may do, until when, and the SHA-256 of its cookie
//! ```
//!
//! A cookie is 128 random bits: its hash can be neither turned back nor guessed, so who reads
//! the file (its owner only) cannot get in with what it says.

use super::pairing::Device;
use crate::serve::library::read_toml;
use crate::serve::random;
use jiff::{SignedDuration, Timestamp};
use peakorder_protocol::files::{self, Lasting};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use std::path::{Path, PathBuf};
use subtle::ConstantTimeEq as _;

/// File in the library.
const FILE: &str = "devices.toml";
/// Random bytes of a link or cookie.
pub const TOKEN_BYTES: usize = 16;
/// PairedDevices remembered; the oldest has to pair again.
const REMEMBERED: usize = 64;
/// A pairing is good for this long, days: a tablet that was lent or lost does not get in for
/// ever, and one that is used is paired again once a season. Own judgement.
pub const GOOD_FOR_DAYS: i64 = 90;

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Paired {
    device: Device,
    until_utc: String,
    cookie_sha256: String,
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct DevicesFile {
    #[serde(default)]
    paired: Vec<Paired>,
}

/// The devices that are paired.
#[derive(Debug)]
pub struct PairedDevices {
    file: PathBuf,
    paired: Vec<Paired>,
}

fn hashed(token: &str) -> String {
    random::in_hex(&Sha256::digest(token.as_bytes()))
}

fn good(paired: &Paired, now: Timestamp) -> bool {
    paired.until_utc.parse::<Timestamp>().is_ok_and(|until| now < until)
}

impl PairedDevices {
    /// Those that `library` remembers. A file that cannot be read lets nobody in: its devices
    /// pair again.
    pub fn open(library: &Path) -> Self {
        let file = library.join(FILE);
        let paired = read(&file).unwrap_or_else(|why| {
            tracing::warn!("{}: {why}; all devices have to pair again", file.display());
            Vec::new()
        });
        Self { file, paired }
    }

    /// Forgets them all.
    pub fn forget(library: &Path) -> std::io::Result<()> {
        match std::fs::remove_file(library.join(FILE)) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(e),
            _ => Ok(()),
        }
    }

    /// The device whose cookie this is.
    pub fn of(&self, token: &str, now: Timestamp) -> Option<Device> {
        let hash = hashed(token);
        let same = |p: &&Paired| bool::from(p.cookie_sha256.as_bytes().ct_eq(hash.as_bytes()));
        self.paired.iter().find(same).filter(|p| good(p, now)).map(|p| p.device)
    }

    /// Pairs one more; returns its cookie. Where it cannot be written down it is paired until
    /// the program ends.
    pub fn admit(&mut self, device: Device, now: Timestamp) -> String {
        let token = random::hex(TOKEN_BYTES);
        self.paired.retain(|p| good(p, now));
        if self.paired.len() >= REMEMBERED {
            // Viewers' link can be used often; the coach must not be pushed out by it.
            let oldest = self.paired.iter().position(|p| p.device == Device::Viewer).unwrap_or(0);
            self.paired.remove(oldest);
        }
        let until = now.saturating_add(SignedDuration::from_hours(24 * GOOD_FOR_DAYS));
        let until_utc = until.map_or_else(|_| String::new(), |until| until.to_string());
        self.paired.push(Paired { device, until_utc, cookie_sha256: hashed(&token) });
        if let Err(why) = self.write() {
            tracing::warn!("{}: {why}; devices have to pair again after a restart", self.file.display());
        }
        token
    }

    fn write(&self) -> Result<(), String> {
        let file = DevicesFile { paired: self.paired.clone() };
        let text = toml::to_string(&file).map_err(|e| e.to_string())?;
        files::replace(&self.file, text.as_bytes(), Lasting::Synced).map_err(|e| e.to_string())
    }
}

fn read(file: &Path) -> Result<Vec<Paired>, String> {
    if let Ok(false) = file.try_exists() {
        return Ok(Vec::new());
    }
    read_toml(file).map(|file: DevicesFile| file.paired)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> Timestamp {
        "2026-03-01T10:00:00Z".parse().unwrap()
    }

    #[test]
    fn a_pairing_outlives_the_program_and_ends() {
        let library = tempfile::tempdir().unwrap();
        let mut devices = PairedDevices::open(library.path());
        let (coach, viewer) = (devices.admit(Device::Coach, now()), devices.admit(Device::Viewer, now()));
        let again = PairedDevices::open(library.path());
        assert_eq!(again.of(&coach, now()), Some(Device::Coach));
        assert_eq!(again.of(&viewer, now()), Some(Device::Viewer));
        let text = std::fs::read_to_string(library.path().join(FILE)).unwrap();
        assert!(!text.contains(&coach) && !text.contains(&viewer), "no cookie stands in the file");
        // The hash that does stand there is no cookie.
        let hash = text.split('"').find(|t| t.len() == 64).unwrap();
        assert_eq!(again.of(hash, now()), None);
        let later = now() + SignedDuration::from_hours(24 * GOOD_FOR_DAYS);
        assert_eq!(again.of(&coach, later - SignedDuration::from_secs(1)), Some(Device::Coach));
        assert_eq!(again.of(&coach, later), None);
        PairedDevices::forget(library.path()).unwrap();
        PairedDevices::forget(library.path()).unwrap();
        assert_eq!(PairedDevices::open(library.path()).of(&coach, now()), None);
    }

    #[test]
    fn a_file_that_is_none_of_ours_lets_nobody_in() {
        let library = tempfile::tempdir().unwrap();
        let mut devices = PairedDevices::open(library.path());
        let coach = devices.admit(Device::Coach, now());
        let file = library.path().join(FILE);
        let text = std::fs::read_to_string(&file).unwrap();
        for harmed in [
            text.replace("until_utc = \"2026", "until_utc = \"for ever"),
            text.replace("device = \"coach\"", "device = \"owner\""),
            text[..text.len() / 2].to_owned(),
            "x".repeat(100 << 10),
        ] {
            assert_ne!(harmed, text);
            std::fs::write(&file, harmed).unwrap();
            assert_eq!(PairedDevices::open(library.path()).of(&coach, now()), None);
        }
    }

    #[test]
    fn viewers_do_not_push_the_coach_out() {
        let library = tempfile::tempdir().unwrap();
        let mut devices = PairedDevices::open(library.path());
        let coach = devices.admit(Device::Coach, now());
        let first = devices.admit(Device::Viewer, now());
        for _ in 0..REMEMBERED {
            devices.admit(Device::Viewer, now());
        }
        assert_eq!(devices.of(&coach, now()), Some(Device::Coach));
        assert_eq!(devices.of(&first, now()), None);
        assert_eq!(devices.paired.len(), REMEMBERED);
    }
}
