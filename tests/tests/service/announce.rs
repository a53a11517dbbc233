//! The page is announced in the network by the system's Avahi: here a stand-in on a private bus.
#![cfg(target_os = "linux")]

use peakorder_tests::avahi::{Added, FakeAvahi};
use peakorder_tests::bluez::{Bus, wait};
use peakorder_tests::programs::peakorderd;
use peakorder_tests::test_server::TestServer;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

const REACHED: [&str; 2] = ["--listen", "0.0.0.0:0"];
const NAME: &str = "peakorder on invented-bay";

fn served(avahi: &FakeAvahi, library: &Path, arguments: &[&str]) -> TestServer {
    let mut command = Command::new(peakorderd());
    command.args(["serve", "--virtual", "--library"]).arg(library).args(arguments);
    TestServer::started_by(command.env("DBUS_SYSTEM_BUS_ADDRESS", avahi.bus().address()))
}

fn names(avahi: &FakeAvahi) -> Vec<String> {
    avahi.announced().into_iter().map(|a| a.name).collect()
}

/// The status of a request from another machine's point of view: over the address that others use. `None` where this computer
/// has only the loopback one.
fn asked_as(server: &TestServer, host: &str) -> Option<u16> {
    use std::io::{BufRead as _, BufReader, Write as _};
    let page = server.greeting.lines().next()?.trim_end_matches('/').trim_start_matches("http://").to_owned();
    if page.starts_with("127.") {
        eprintln!("SKIPPED: this computer has no address but the loopback one");
        return None;
    }
    let mut stream = std::net::TcpStream::connect(&page).expect("it listens");
    write!(stream, "GET / HTTP/1.1\r\nHost: {host}\r\n\r\n").expect("it takes the request");
    let mut line = String::new();
    BufReader::new(stream).read_line(&mut line).expect("it answers");
    line.split(' ').nth(1)?.parse().ok()
}

#[test]
fn the_page_is_announced_while_it_is_served_and_its_name_may_be_used() {
    let Some(mut avahi) = FakeAvahi::start() else { return };
    let home = tempfile::tempdir().unwrap();
    let server = served(&avahi, home.path(), &REACHED);
    wait("an announcement", 20, || !avahi.announced().is_empty());
    let expected = Added {
        on: (-1, -1),
        name: NAME.into(),
        kind: "_http._tcp".into(),
        at: (String::new(), String::new()),
        port: server.at.port(),
        text: vec!["path=/".into()],
        committed: true,
    };
    assert_eq!(avahi.announced(), std::slice::from_ref(&expected));
    let port = server.at.port();
    if asked_as(&server, "invented-bay.local").is_some() {
        wait("the name to be allowed", 20, || {
            asked_as(&server, &format!("invented-bay.local:{port}")) == Some(200)
        });
        assert_eq!(asked_as(&server, "Invented-Bay.local"), Some(200));
        assert_eq!(asked_as(&server, "other-bay.local"), Some(421));
    }
    // From this computer itself the loopback names do.
    assert_eq!(server.raw("GET / HTTP/1.1\r\nHost: invented-bay.local\r\n\r\n"), 421);

    // Avahi is restarted: what it knew is gone, and comes again.
    avahi.stop();
    if asked_as(&server, "invented-bay.local").is_some() {
        wait("the name to be refused", 20, || asked_as(&server, "invented-bay.local") == Some(421));
    }
    avahi.restart();
    wait("the announcement again", 20, || avahi.announced() == std::slice::from_ref(&expected));
    assert!(server.end());
    assert_eq!(names(&avahi), Vec::<String>::new(), "withdrawn at the end");
}

#[test]
fn a_name_that_is_taken_is_replaced_by_another() {
    let Some(avahi) = FakeAvahi::start() else { return };
    avahi.taken_here(NAME);
    avahi.taken_elsewhere(&format!("{NAME} #2"));
    let home = tempfile::tempdir().unwrap();
    let server = served(&avahi, home.path(), &REACHED);
    wait("a third name", 20, || names(&avahi) == [format!("{NAME} #3")]);
    assert!(server.end());
    assert_eq!(names(&avahi), Vec::<String>::new());
}

#[test]
fn nothing_is_announced_that_others_do_not_reach_or_that_is_not_to_be() {
    let Some(avahi) = FakeAvahi::start() else { return };
    let home = tempfile::tempdir().unwrap();
    let config = home.path().join("config.toml");
    std::fs::write(&config, "[serve]\nannounce = false\nlisten = \"0.0.0.0:0\"\n").unwrap();
    let config = config.display().to_string();
    for (n, arguments) in [
        &["--listen", "127.0.0.1:0"][..],
        &["--listen", "0.0.0.0:0", "--no-announce"],
        &["--config", &config],
    ]
    .iter()
    .enumerate()
    {
        let server = match n {
            2 => {
                // What is printed of links is read only where the command line names the address.
                let arguments = [arguments, &["--listen", "0.0.0.0:0"][..]].concat();
                served(&avahi, &home.path().join(n.to_string()), &arguments)
            }
            _ => served(&avahi, &home.path().join(n.to_string()), arguments),
        };
        // One that announces has done so after some 20 ms.
        std::thread::sleep(Duration::from_secs(1));
        assert_eq!(avahi.groups_made(), 0, "{arguments:?}");
        assert!(server.end());
    }
}

#[test]
fn encrypted_pages_are_announced_as_such() {
    let Some(avahi) = FakeAvahi::start() else { return };
    let home = tempfile::tempdir().unwrap();
    let server = served(&avahi, home.path(), &[&REACHED[..], &["--tls"]].concat());
    wait("an announcement", 20, || !avahi.announced().is_empty());
    assert_eq!(avahi.announced()[0].kind, "_https._tcp");
    drop(server);
}

/// Avahi itself, where it is installed (Debian: `avahi-daemon`, `avahi-utils`), may be started (as root) and does not run already.
#[test]
fn the_real_avahi_takes_it_and_others_find_it() {
    let Some(bus) = Bus::start() else { return };
    let installed = |program: &str| {
        let asked =
            Command::new(program).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
        asked.is_ok_and(|s| s.success())
    };
    if !(installed("avahi-daemon") && installed("avahi-browse")) {
        eprintln!("SKIPPED: no Avahi; apt-get install avahi-daemon avahi-utils");
        return;
    }
    let configuration = bus.file("avahi.conf");
    let text =
        "[server]\nhost-name=invented-bay\nuse-ipv6=no\nenable-dbus=yes\n[publish]\npublish-workstation=no\n";
    std::fs::write(&configuration, text).unwrap();
    let log = bus.file("avahi.log");
    let avahi = Command::new("avahi-daemon")
        .args(["--no-drop-root", "--no-chroot", "--no-rlimits", "--file"])
        .arg(&configuration)
        .env("DBUS_SYSTEM_BUS_ADDRESS", bus.address())
        .stdout(Stdio::null())
        .stderr(std::fs::File::create(&log).unwrap())
        .spawn()
        .unwrap();
    let mut avahi = Ended(avahi);
    let said = || std::fs::read_to_string(&log).unwrap();
    loop {
        if avahi.0.try_wait().unwrap().is_some() {
            eprintln!("SKIPPED: avahi-daemon does not start here:\n{}", said());
            return;
        }
        if said().contains("startup complete") {
            break;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    let home = tempfile::tempdir().unwrap();
    let mut command = Command::new(peakorderd());
    command.args(["serve", "--virtual", "--listen", "0.0.0.0:0", "--library"]).arg(home.path());
    let server = TestServer::started_by(command.env("DBUS_SYSTEM_BUS_ADDRESS", bus.address()));
    let found = || {
        let browsed = Command::new("avahi-browse")
            .args(["--resolve", "--terminate", "--parsable", "_http._tcp"])
            .env("DBUS_SYSTEM_BUS_ADDRESS", bus.address())
            .output()
            .unwrap();
        String::from_utf8_lossy(&browsed.stdout).into_owned()
    };
    // Parsable lines: =;interface;protocol;name;type;domain;host;address;port;text.
    let port = format!(";{};", server.at.port());
    let ours = |line: &str| {
        line.contains(";invented-bay.local;") && line.contains(&port) && line.ends_with("\"path=/\"")
    };
    wait("others to find it", 30, || found().lines().any(ours));
    assert!(server.end());
    wait("it to be gone", 30, || !found().contains(&port));
}

/// Ended with the test.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_bus_that_is_gone_does_not_end_the_server() {
    let Some(avahi) = FakeAvahi::start() else { return };
    let home = tempfile::tempdir().unwrap();
    let server = served(&avahi, home.path(), &REACHED);
    wait("an announcement", 20, || !avahi.announced().is_empty());
    drop(avahi);
    std::thread::sleep(Duration::from_millis(500));
    assert_eq!(server.get("/api/v1/openapi.json").status, 401, "it answers, and asks for pairing");
    assert!(server.end());
}
