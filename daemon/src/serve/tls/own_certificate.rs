//! A certificate that this program makes for itself. No authority vouches for it: who opens the page
//! compares its fingerprint with the one in the terminal.
//!
//! ```text
//! LIBRARY/tls-certificate.pem
//! LIBRARY/tls-key.pem            readable by its owner only
//! ```

use super::encryption::{Pair, read};
use super::{Names, TlsError};
use peakorder_protocol::files::private_file;
use rcgen::{CertificateParams, DnType, ExtendedKeyUsagePurpose, KeyPair, KeyUsagePurpose, date_time_ymd};
use rustls::RootCertStore;
use rustls::client::WebPkiServerVerifier;
use rustls::client::danger::ServerCertVerifier as _;
use rustls::crypto::ring;
use rustls::pki_types::{ServerName, UnixTime};
use std::fs::OpenOptions;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// Days that it is good for. Some systems refuse more than 825 (from memory); it is made anew when they are over.
const GOOD_FOR_DAYS: u32 = 800;

/// The certificate in `library`, made when there is none, or none that is good now for `names`.
pub(super) fn find_or_make(library: &Path, names: &Names<'_>) -> Result<(Pair, PathBuf, PathBuf), TlsError> {
    let (certificate, key) = (library.join("tls-certificate.pem"), library.join("tls-key.pem"));
    let names = all(names);
    let missing = !certificate.exists() && !key.exists();
    if missing || !good(&read(&certificate, &key)?, &names) {
        make(&certificate, &key, names)?;
    }
    Ok((read(&certificate, &key)?, certificate, key))
}

/// Every name that a browser may use.
fn all(names: &Names<'_>) -> Vec<String> {
    let mut all: Vec<String> = ["localhost", "127.0.0.1", "::1"].map(str::to_owned).to_vec();
    all.push(names.at.ip().to_canonical().to_string());
    all.extend(names.hosts.iter().map(|host| host.to_ascii_lowercase()));
    all.sort();
    all.dedup();
    all
}

/// Whether a client that trusts the certificate accepts it now, under each of the names.
fn good(pair: &Pair, names: &[String]) -> bool {
    let mut roots = RootCertStore::empty();
    let own = &pair.chain[0];
    if roots.add(own.clone()).is_err() {
        return false;
    }
    let verifier =
        WebPkiServerVerifier::builder_with_provider(Arc::new(roots), Arc::new(ring::default_provider()))
            .build();
    verifier.is_ok_and(|verifier| {
        names.iter().all(|name| {
            ServerName::try_from(name.as_str())
                .is_ok_and(|name| verifier.verify_server_cert(own, &[], &name, &[], UnixTime::now()).is_ok())
        })
    })
}

fn make(certificate: &Path, key: &Path, names: Vec<String>) -> Result<(), TlsError> {
    let not_made = |why: rcgen::Error| TlsError::NotMade(why.to_string());
    let mut about = CertificateParams::new(names).map_err(not_made)?;
    about.distinguished_name.push(DnType::CommonName, "peakorderd");
    about.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    about.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    // A day back, for devices whose clock is behind.
    let today = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    let day = Duration::from_hours(24);
    let epoch = date_time_ymd(1970, 1, 1);
    about.not_before = epoch + today.saturating_sub(day);
    about.not_after = epoch + today + day * GOOD_FOR_DAYS;
    let pair = KeyPair::generate().map_err(not_made)?;
    let made = about.self_signed(&pair).map_err(not_made)?;
    write(key, &pair.serialize_pem())?;
    write(certificate, &made.pem())
}

fn write(path: &Path, text: &str) -> Result<(), TlsError> {
    private_file(path, OpenOptions::new().write(true).create(true).truncate(true))
        .and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            file.sync_all()
        })
        .map_err(|why| TlsError::Unreadable { path: path.to_owned(), why })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_certificate_is_kept_until_a_name_is_missing() {
        let library = tempfile::tempdir().unwrap();
        let at = |address: &str, hosts: &[String]| {
            let names = Names { at: address.parse().unwrap(), hosts };
            find_or_make(library.path(), &names).unwrap().0.chain
        };
        let first = at("192.168.1.5:7311", &[]);
        assert_eq!(at("192.168.1.5:80", &[]), first);
        assert_eq!(at("127.0.0.1:7311", &[]), first);
        let other = at("192.168.1.6:7311", &[]);
        assert_ne!(other, first, "the address was not in it");
        let named = at("192.168.1.6:7311", &["bay.local".into()]);
        assert_ne!(named, other);
        assert_eq!(at("192.168.1.6:7311", &["BAY.local".into()]), named);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = library.path().join("tls-key.pem").metadata().unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600);
        }
    }
}
