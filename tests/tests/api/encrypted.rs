//! Encrypted connections, asked by another TLS client than the server's own code path: rustls's client,
//! and OpenSSL as Python has it.

use peakorder_tests::programs::daemon;
use peakorder_tests::test_server::{PATIENCE, TestServer};
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::SocketAddr;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::Instant;

/// Sends `head` (request line and headers) and returns the whole answer.
fn ask(server: &TestServer, certificate: &Path, head: &str) -> Result<String, std::io::Error> {
    let mut roots = RootCertStore::empty();
    roots.add(CertificateDer::from_pem_file(certificate).expect("a certificate")).expect("a root");
    let config = ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .expect("versions")
        .with_root_certificates(roots)
        .with_no_client_auth();
    let name = ServerName::try_from("127.0.0.1").expect("a name");
    let connection = ClientConnection::new(Arc::new(config), name).expect("a client");
    let mut stream = StreamOwned::new(connection, server.connect());
    write!(stream, "{head}\r\nHost: {}\r\nConnection: close\r\n\r\n", server.at)?;
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer)?;
    Ok(String::from_utf8_lossy(&answer).into_owned())
}

fn encrypted(library: &Path) -> TestServer {
    TestServer::start(library, &["--listen", "0.0.0.0:0", "--virtual", "--tls"])
}

/// SHA-256 of a certificate by Python's ssl and hashlib, which are OpenSSL.
fn fingerprint_by_openssl(certificate: &Path) -> String {
    let program = "import hashlib, ssl, sys\n\
                   der = ssl.PEM_cert_to_DER_cert(open(sys.argv[1]).read())\n\
                   print(':'.join('%02X' % b for b in hashlib.sha256(der).digest()))";
    let out =
        Command::new("python3").args(["-c", program]).arg(certificate).output().expect("python3 starts");
    String::from_utf8(out.stdout).expect("text").trim().to_owned()
}

#[test]
fn a_certificate_of_its_own_is_kept_and_told_and_devices_pair_over_it() {
    let library = tempfile::tempdir().unwrap();
    let certificate = library.path().join("tls-certificate.pem");
    let server = encrypted(library.path());
    assert!(server.greeting.starts_with("https://"), "{}", server.greeting);
    assert!(!server.greeting.contains("http://"), "{}", server.greeting);
    let fingerprint = fingerprint_by_openssl(&certificate);
    assert_eq!(fingerprint.len(), 95);
    assert!(server.greeting.contains(&fingerprint), "{fingerprint}\n{}", server.greeting);
    #[cfg(unix)]
    assert!(
        peakorder_tests::test_server::modes(library.path())
            .iter()
            .any(|(path, mode)| path.ends_with("tls-key.pem") && *mode == 0o600)
    );

    assert!(ask(&server, &certificate, "GET /api/v1/state HTTP/1.1").unwrap().starts_with("HTTP/1.1 401 "));
    let (coach, _) = server.links();
    let paired = ask(&server, &certificate, &format!("GET /pair/{coach} HTTP/1.1")).unwrap();
    assert!(paired.starts_with("HTTP/1.1 303 "), "{paired}");
    let cookie = paired.lines().find_map(|l| l.strip_prefix("set-cookie: ")).expect("a cookie");
    assert!(cookie.split("; ").any(|part| part == "Secure"), "{cookie}");
    let cookie = cookie.split(';').next().unwrap();
    let head = format!("GET /api/v1/state HTTP/1.1\r\nCookie: {cookie}");
    let state = ask(&server, &certificate, &head).unwrap();
    assert!(state.starts_with("HTTP/1.1 200 ") && state.contains(r#""device":"coach""#), "{state}");
    assert!(server.end());

    // The same certificate and pairing after a restart.
    let server = encrypted(library.path());
    assert!(server.greeting.contains(&fingerprint));
    assert!(ask(&server, &certificate, &head).unwrap().starts_with("HTTP/1.1 200 "));
}

#[test]
fn openssl_trusts_the_certificate_and_reads_the_page() {
    let library = tempfile::tempdir().unwrap();
    let server = encrypted(library.path());
    let program = "import http.client, ssl, sys\n\
                   context = ssl.create_default_context(cafile=sys.argv[1])\n\
                   c = http.client.HTTPSConnection('127.0.0.1', int(sys.argv[2]), context=context)\n\
                   c.request('GET', '/')\n\
                   r = c.getresponse(); print(r.status, b'<html' in r.read())";
    let out = Command::new("python3")
        .args(["-c", program])
        .arg(library.path().join("tls-certificate.pem"))
        .arg(server.at.port().to_string())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout);
    assert_eq!(said.trim(), "200 True", "{}", String::from_utf8_lossy(&out.stderr));
}

#[test]
fn who_does_not_encrypt_is_told_and_who_says_nothing_is_not_waited_for() {
    let library = tempfile::tempdir().unwrap();
    let server = encrypted(library.path());
    let mut silent = server.connect();
    let mut plain = server.connect();
    write!(plain, "GET / HTTP/1.1\r\nHost: {}\r\n\r\n", server.at).unwrap();
    let mut answer = String::new();
    plain.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 400 ") && answer.contains("https://"), "{answer}");

    // A handshake that begins and never goes on.
    let mut half = server.connect();
    half.write_all(&[22, 3, 1]).unwrap();
    let start = Instant::now();
    for stream in [&mut silent, &mut half] {
        let ended = stream.read(&mut [0; 64]);
        assert!(!matches!(ended, Ok(1..)), "{ended:?}");
    }
    assert!(start.elapsed() < PATIENCE / 2, "{:?}", start.elapsed());
    let other = library.path().join("other.pem");
    let made = rcgen::generate_simple_self_signed(["127.0.0.1".to_owned()]).unwrap();
    fs::write(&other, made.cert.pem()).unwrap();
    assert!(ask(&server, &other, "GET / HTTP/1.1").is_err(), "another certificate is not trusted");
}

#[test]
fn files_of_ones_own_are_used_and_wrong_ones_are_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    let private = |name: &str, text: &str| {
        fs::write(file(name), text).unwrap();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            fs::set_permissions(file(name), fs::Permissions::from_mode(0o600)).unwrap();
        }
    };
    for n in ["1", "2"] {
        let made = rcgen::generate_simple_self_signed(["127.0.0.1".to_owned()]).unwrap();
        fs::write(file(&format!("{n}.pem")), made.cert.pem()).unwrap();
        private(&format!("{n}.key"), &made.signing_key.serialize_pem());
    }
    private("no.key", "not a key");
    fs::write(file("no.pem"), "not a certificate").unwrap();
    fs::copy(file("1.key"), file("open.key")).unwrap();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        fs::set_permissions(file("open.key"), fs::Permissions::from_mode(0o644)).unwrap();
    }
    let path = |name: &str| file(name).to_str().unwrap().to_owned();
    let library = path("library");
    let refused = |certificate: &str, key: &str, named: &[&str]| {
        let out = daemon([
            "serve",
            "--virtual",
            "--listen",
            "127.0.0.1:0",
            "--library",
            &library,
            "--tls-cert",
            &path(certificate),
            "--tls-key",
            &path(key),
        ]);
        assert_eq!(out.code, Some(1), "{certificate} {key}: {}", out.err);
        for word in named {
            assert!(out.err.contains(word), "{certificate} {key}: {}", out.err);
        }
    };
    refused("none.pem", "1.key", &["none.pem"]);
    refused("1.pem", "none.key", &["none.key"]);
    refused("no.pem", "1.key", &["no.pem", "PEM"]);
    refused("1.pem", "no.key", &["no.key", "PEM"]);
    refused("1.pem", "2.key", &["1.pem", "2.key"]);
    refused("library", "1.key", &["library"]);
    #[cfg(unix)]
    refused("1.pem", "open.key", &["open.key", "chmod 600"]);
    let usage = daemon(["serve", "--virtual", "--library", &library, "--tls-cert", &path("1.pem")]);
    assert_eq!(usage.code, Some(2), "{}", usage.err);

    let server = TestServer::start(
        Path::new(&library),
        &["--virtual", "--listen", "127.0.0.1:0", "--tls-cert", &path("1.pem"), "--tls-key", &path("1.key")],
    );
    assert!(server.greeting.starts_with("https://"));
    let state = ask(&server, &file("1.pem"), "GET /api/v1/state HTTP/1.1").unwrap();
    assert!(state.starts_with("HTTP/1.1 200 "), "{state}");
    let at: SocketAddr = server.at;
    let watch = daemon(["watch", &format!("https://{at}/")]);
    assert_ne!(watch.code, Some(0));
    assert!(watch.err.contains("encrypted"), "{}", watch.err);
}
