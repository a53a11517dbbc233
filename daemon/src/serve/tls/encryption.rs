//! Encryption by rustls.

use super::own_certificate;
use super::{FILE_LIMIT_BYTES, Names, TlsError};
use rustls::ServerConfig;
use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use sha2::{Digest as _, Sha256};
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

/// Time limit for the handshake. A tablet in a weak network takes two seconds; own judgement.
const HANDSHAKE: Duration = Duration::from_secs(10);
/// First byte of a TLS connection: a record with a handshake (RFC 8446, 5.1).
const HANDSHAKE_RECORD: u8 = 22;
/// The answer to a browser that does not encrypt.
const NOT_ENCRYPTED: &[u8] = b"HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain; charset=utf-8\r\n\
Connection: close\r\n\r\nthis address is encrypted; open it with https:// in front\n";

/// Encrypts connections.
#[derive(Clone)]
pub(crate) struct Tls {
    acceptor: TlsAcceptor,
    fingerprint: String,
}

/// A certificate with those that lead to its authority, and its key.
pub(super) struct Pair {
    pub(super) chain: Vec<CertificateDer<'static>>,
    pub(super) key: PrivateKeyDer<'static>,
}

impl Tls {
    /// With the certificate and key of these files.
    pub(super) fn of_files(certificate: &Path, key: &Path) -> Result<Self, TlsError> {
        Self::of_pair(read(certificate, key)?, certificate, key)
    }

    /// With the certificate in the library, made when there is none that is good for `names`.
    pub(super) fn own(library: &Path, names: &Names<'_>) -> Result<Self, TlsError> {
        let (pair, certificate, key) = own_certificate::find_or_make(library, names)?;
        Self::of_pair(pair, &certificate, &key)
    }

    fn of_pair(pair: Pair, certificate: &Path, key: &Path) -> Result<Self, TlsError> {
        let unusable = |why: rustls::Error| TlsError::Unusable {
            certificate: certificate.to_owned(),
            why: why.to_string(),
        };
        let fingerprint = in_pairs(&Sha256::digest(&pair.chain[0]));
        let mut config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()
            .map_err(unusable)?
            .with_no_client_auth()
            .with_single_cert(pair.chain, pair.key)
            .map_err(|why| match why {
                rustls::Error::InconsistentKeys(_) => {
                    TlsError::OtherKey { certificate: certificate.to_owned(), key: key.to_owned() }
                }
                why => unusable(why),
            })?;
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Self { acceptor: TlsAcceptor::from(Arc::new(config)), fingerprint })
    }

    /// SHA-256 of the certificate, as browsers show it.
    pub(crate) fn fingerprint(&self) -> &str {
        &self.fingerprint
    }

    /// The encrypted stream over `stream`. Who does not encrypt is told.
    pub(crate) async fn accept(&self, stream: TcpStream) -> io::Result<TlsStream<TcpStream>> {
        timeout(HANDSHAKE, async {
            let mut first = [0];
            if stream.peek(&mut first).await? == 1 && first[0] != HANDSHAKE_RECORD {
                refuse(stream).await?;
                return Err(io::Error::other("the connection is not encrypted"));
            }
            self.acceptor.accept(stream).await
        })
        .await?
    }
}

async fn refuse(mut stream: TcpStream) -> io::Result<()> {
    stream.write_all(NOT_ENCRYPTED).await?;
    stream.shutdown().await?;
    // What was sent is read first: a connection closed over unread bytes takes the answer with it.
    let mut rest = [0; 4096];
    let _ = timeout(Duration::from_secs(1), stream.read(&mut rest)).await;
    Ok(())
}

/// Bytes as browsers show them: `AB:CD:…`.
fn in_pairs(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02X}")).collect::<Vec<_>>().join(":")
}

/// Reads both files.
pub(super) fn read(certificate: &Path, key: &Path) -> Result<Pair, TlsError> {
    let pem = bytes(certificate)?;
    let chain: Vec<_> = CertificateDer::pem_slice_iter(&pem).filter_map(Result::ok).collect();
    if chain.is_empty() {
        return Err(TlsError::NoCertificate(certificate.to_owned()));
    }
    let pem = bytes(key)?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let meta = key.metadata().map_err(|why| TlsError::Unreadable { path: key.to_owned(), why })?;
        if meta.permissions().mode() & 0o077 != 0 {
            return Err(TlsError::KeyNotPrivate(key.to_owned()));
        }
    }
    let key = PrivateKeyDer::from_pem_slice(&pem).map_err(|_| TlsError::NoKey(key.to_owned()))?;
    Ok(Pair { chain, key })
}

fn bytes(path: &Path) -> Result<Vec<u8>, TlsError> {
    let unreadable = |why| TlsError::Unreadable { path: path.to_owned(), why };
    let meta = path.metadata().map_err(unreadable)?;
    if !meta.is_file() || meta.len() > FILE_LIMIT_BYTES {
        return Err(TlsError::NotAFile(path.to_owned()));
    }
    std::fs::read(path).map_err(unreadable)
}
