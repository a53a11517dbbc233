//! The configuration file, the folders that a service manager gives, and what is said where something is wrong.

use peakorder_tests::programs::{CommandOutput, peakorderd};
use peakorder_tests::test_server::TestServer;
use std::fs;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Folders of a service: `etc` for its configuration, `state` for what it writes.
struct Service {
    home: tempfile::TempDir,
}

impl Service {
    fn configured(config: &str) -> Self {
        let service = Self { home: tempfile::tempdir().unwrap() };
        fs::create_dir(service.path("etc")).unwrap();
        fs::write(service.path("etc/config.toml"), config).unwrap();
        service
    }

    fn path(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    /// As systemd starts it, with several folders of each kind.
    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(peakorderd());
        let folders =
            |first: &str| format!("{}:{}", self.path(first).display(), self.path("other").display());
        command.env("CONFIGURATION_DIRECTORY", folders("etc")).env("STATE_DIRECTORY", folders("state"));
        command
            .env_remove("PEAKORDER_CONFIG")
            .env_remove("PEAKORDER_LOG")
            .env("NO_COLOR", "1")
            .args(arguments);
        command
    }

    fn run(&self, arguments: &[&str]) -> CommandOutput {
        CommandOutput::of(self.command(arguments).output().expect("the program starts"))
    }
}

fn says(message: &str, parts: &[&str]) {
    for part in parts {
        assert!(message.contains(part), "'{part}' is not in: {message}");
    }
}

#[test]
fn the_table_serve_says_how_to_serve_and_the_command_line_wins() {
    let service = Service::configured(
        "[serve]\nlisten = \"127.0.0.2:0\"\nlibrary = \"lessons\"\nallow_hosts = [\"bay.example\"]\n",
    );
    let server = TestServer::started_by(&mut service.command(&["serve", "--virtual"]));
    assert!(server.greeting.starts_with("http://127.0.0.2:"), "{}", server.greeting);
    assert!(service.path("etc/lessons/in-use.lock").exists(), "relative paths begin at the configuration");
    assert!(server.end());

    let library = service.path("elsewhere").display().to_string();
    let arguments = ["serve", "--virtual", "--listen", "127.0.0.1:0", "--library", &library];
    let server = TestServer::started_by(&mut service.command(&arguments));
    assert!(server.greeting.starts_with("http://127.0.0.1:"), "{}", server.greeting);
    assert!(Path::new(&library).join("in-use.lock").exists());
    let ask = |host: &str| server.raw(&format!("GET /api/v1/state HTTP/1.1\r\nHost: {host}\r\n\r\n"));
    assert_eq!((ask("bay.example"), ask("other.example")), (200, 421), "what is not given here holds");
}

#[test]
fn the_library_is_in_the_state_folder_and_all_writable_things_are() {
    let config = "# Bay 2, mind the battery of the arm strap.\n[serve]\nlisten = \"127.0.0.1:0\"\n\n\
                  [straps.pelvis]\nid = \"C0:FF:EE:00:00:01\"\nprofile = \"ref-strap-v1\"\n";
    let service = Service::configured(config);
    let server = TestServer::started_by(&mut service.command(&["serve", "--virtual"]));
    assert!(service.path("state/library/in-use.lock").exists());
    assert!(server.end());

    let set = ["straps", "set", "lead-arm", "C0:FF:EE:00:00:03", "--profile", "ref-strap-v1"];
    let _ = service.run(&set).done();
    let _ = service.run(&["straps", "forget", "pelvis"]).done();
    let listed = service.run(&["straps", "--json"]).done().out;
    assert!(listed.contains("C0:FF:EE:00:00:03") && !listed.contains("C0:FF:EE:00:00:01"), "{listed}");
    assert_eq!(
        fs::read_to_string(service.path("etc/config.toml")).unwrap(),
        config,
        "what an operator wrote stays"
    );
    let names = |folder: &str| {
        let mut names: Vec<_> =
            fs::read_dir(service.path(folder)).unwrap().map(|e| e.unwrap().file_name()).collect();
        names.sort();
        names
    };
    assert_eq!(names("etc"), ["config.toml"]);
    assert_eq!(names("state"), ["library", "straps.toml"]);
    let _ = service.run(&["players", "list"]).done();
}

#[test]
fn a_configuration_is_checked_without_serving() {
    let service = Service::configured("[serve]\nlisten = \"0.0.0.0:7311\"\n");
    let said = service.run(&["serve", "--check-config"]).done().out;
    says(&said, &["etc/config.toml", "state/straps.toml", "state/library", "0.0.0.0:7311"]);
    assert!(!service.path("state").exists(), "nothing is made");
}

#[test]
fn what_is_wrong_with_a_configuration_is_one_line_with_file_line_and_key() {
    let wrong = [
        (
            "[serve]\nlisten = \"bay.local\"\n",
            &["config.toml: line 2, column 10, key listen", "127.0.0.1:7311"][..],
        ),
        ("[serve]\nlistn = \"127.0.0.1:1\"\n", &["config.toml: line 2, column 1", "listn"]),
        ("[serve]\ntls_cert = \"a.pem\"\n", &["config.toml: [serve]", "tls_key"]),
        ("[straps.elbow]\nid = \"1\"\n", &["config.toml: line 1", "elbow"]),
        ("serve\n", &["config.toml: line 1"]),
        ("[serve]\nannounce = \"yes\"\n", &["config.toml: line 2, column 12, key announce"]),
    ];
    for (config, parts) in wrong {
        let service = Service::configured(config);
        for arguments in [&["serve", "--virtual"][..], &["serve", "--check-config"]] {
            says(&service.run(arguments).failed(), parts);
        }
    }
    let service = Service::configured("[serve]\npasscode_file = \"code\"\n");
    says(&service.run(&["serve", "--check-config"]).failed(), &["etc/code", "No such file"]);
    let service = Service::configured("");
    let missing = service.path("none.toml").display().to_string();
    says(
        &service.run(&["serve", "--check-config", "--config", &missing]).failed(),
        &["none.toml", "no such configuration file"],
    );
    fs::create_dir(service.path("state")).unwrap();
    fs::write(service.path("state/straps.toml"), "[straps.pelvis]\nid = 7\n").unwrap();
    says(&service.run(&["serve"]).failed(), &["state/straps.toml: line 2, column 6, key id"]);
}

#[test]
fn a_port_in_use_and_a_library_that_cannot_be_written_are_one_line() {
    let service = Service::configured("");
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let said = service.run(&["serve", "--virtual", "--listen", &address]).failed();
    says(&said, &[&address, "another program listens there", "--listen"]);
    let said = service.run(&["serve", "--virtual", "--listen", "192.0.2.1:7311"]).failed();
    says(&said, &["192.0.2.1:7311", "does not have that address"]);
    fs::write(service.path("file"), "").unwrap();
    let file = service.path("file").display().to_string();
    let said = service.run(&["serve", "--virtual", "--listen", "127.0.0.1:0", "--library", &file]).failed();
    says(&said, &[&file, "the library cannot be written", "--library"]);
    assert_eq!(service.run(&["serve", "--listen", "here"]).code, Some(2));
}
