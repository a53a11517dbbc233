//! A running `peakorderd serve` with virtual straps, and plain requests to it.

use crate::programs::peakorderd;
use serde_json::Value;
use std::io::{BufRead as _, BufReader, Lines, Write as _};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Nothing the server does takes this long.
pub const PATIENCE: Duration = Duration::from_mins(1);

/// A server; killed when dropped.
pub struct TestServer {
    child: Child,
    /// What it printed when it began.
    pub greeting: String,
    /// Where it is reached from this machine.
    pub at: SocketAddr,
    agent: ureq::Agent,
}

/// An answer.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Status.
    pub status: u16,
    /// Headers, names in lower case.
    pub headers: Vec<(String, String)>,
    /// Body.
    pub text: String,
}

impl Answer {
    /// A header's value.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
    }

    /// The body as JSON.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or_else(|e| panic!("{e}: {}", self.text))
    }

    /// The JSON body of an answer with that status.
    pub fn expect(&self, status: u16) -> Value {
        assert_eq!(self.status, status, "{}", self.text);
        if self.text.is_empty() { Value::Null } else { self.json() }
    }

    /// The message of a refusal with that status; it must be of the API's shape.
    pub fn refused(&self, status: u16) -> String {
        let body = self.expect(status);
        body["error"].as_str().unwrap_or_else(|| panic!("no message: {}", self.text)).to_owned()
    }
}

impl TestServer {
    /// `peakorderd serve --virtual` on a free port of the loopback address.
    pub fn virtual_lessons(library: &Path, speed: &str) -> Self {
        Self::start(library, &["--listen", "127.0.0.1:0", "--virtual", "--speed", speed])
    }

    /// `peakorderd serve` with these arguments.
    pub fn start(library: &Path, arguments: &[&str]) -> Self {
        Self::launch(&mut Command::new(peakorderd()), library, arguments)
    }

    /// `peakorderd serve` with the straps of a stand-in for the Bluetooth service.
    #[cfg(target_os = "linux")]
    pub fn with_straps(air: &crate::bluez::FakeBluez, library: &Path) -> Self {
        let mut command = Command::new(peakorderd());
        command
            .env("DBUS_SYSTEM_BUS_ADDRESS", air.bus().address())
            .env("PEAKORDER_CONFIG", air.bus().file("config.toml"));
        Self::launch(&mut command, library, &["--listen", "127.0.0.1:0"])
    }

    fn launch(command: &mut Command, library: &Path, arguments: &[&str]) -> Self {
        Self::started_by(command.arg("serve").arg("--library").arg(library).args(arguments))
    }

    /// By a command that is complete: `peakorderd serve` with its environment.
    ///
    /// # Panics
    /// Where it does not start or say where it listens.
    pub fn started_by(command: &mut Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).spawn().expect("the program starts");
        let out = child.stdout.take().expect("stdout is piped");
        let mut lines = BufReader::new(out).lines();
        let mut greeting = lines.next().expect("it says where it is").expect("it prints UTF-8");
        let address = greeting
            .strip_prefix("http://")
            .or_else(|| greeting.strip_prefix("https://"))
            .and_then(|g| g.strip_suffix('/'))
            .expect("an address");
        let port = address.parse::<SocketAddr>().expect("an address with a port").port();
        // What follows (links) comes at once; later output goes nowhere.
        if command.get_args().any(|a| a.to_string_lossy().starts_with("0.0.0.0")) {
            for line in lines.by_ref().map_while(Result::ok) {
                greeting.push('\n');
                greeting.push_str(&line);
                if greeting.matches("/pair/").count() == 2 {
                    break;
                }
            }
        }
        std::thread::spawn(move || lines.for_each(drop));
        let config = ureq::Agent::config_builder()
            // A connection that waits between two requests is closed by the server after ten seconds.
            .max_idle_connections(0)
            .http_status_as_error(false)
            .max_redirects(0)
            .timeout_connect(Some(PATIENCE))
            .build();
        let at = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
        Self { child, greeting, at, agent: config.new_agent() }
    }

    /// The tokens of the coach's and the viewers' link, where devices have to pair.
    pub fn links(&self) -> (String, String) {
        let mut tokens =
            self.greeting.lines().filter_map(|l| Some(l.trim().split_once("/pair/")?.1.to_owned()));
        (tokens.next().expect("the coach's link"), tokens.next().expect("the viewers' link"))
    }

    /// Its process id.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.at)
    }

    /// GET.
    pub fn get(&self, path: &str) -> Answer {
        self.get_as(path, "")
    }

    /// GET with a cookie.
    pub fn get_as(&self, path: &str, cookie: &str) -> Answer {
        answer(self.agent.get(self.url(path)).header("cookie", cookie).call())
    }

    /// A change with a JSON body.
    pub fn send(&self, method: &str, path: &str, body: &Value) -> Answer {
        self.send_as(method, path, body, "")
    }

    /// A change with a JSON body and a cookie.
    pub fn send_as(&self, method: &str, path: &str, body: &Value, cookie: &str) -> Answer {
        let request = ureq::http::Request::builder()
            .method(method)
            .uri(self.url(path))
            .header("content-type", "application/json")
            .header("cookie", cookie)
            .body(body.to_string())
            .expect("a request");
        answer(self.agent.run(request))
    }

    /// POST.
    pub fn post(&self, path: &str, body: &Value) -> Answer {
        self.send("POST", path, body)
    }

    /// A connection, for requests that no client library sends.
    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(self.at).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a time limit");
        stream
    }

    /// Sends these bytes as they are; the status of the answer.
    pub fn raw(&self, request: &str) -> u16 {
        let mut stream = self.connect();
        stream.write_all(request.as_bytes()).expect("it takes the request");
        let mut line = String::new();
        BufReader::new(stream).read_line(&mut line).expect("it answers");
        line.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or_else(|| panic!("no status: '{line}'"))
    }

    /// Follows an event stream.
    pub fn events(&self, path: &str) -> Events {
        let response = self.agent.get(self.url(path)).call().expect("it answers");
        assert_eq!(response.status(), 200);
        let reader: Box<dyn std::io::Read + Send> = Box::new(response.into_body().into_reader());
        Events { lines: BufReader::new(reader).lines() }
    }

    /// A player who has agreed to be recorded; returns the id.
    pub fn player(&self, name: &str) -> String {
        self.player_of(name, "right")
    }

    /// The same, who swings from that side.
    pub fn player_of(&self, name: &str, handedness: &str) -> String {
        let about = serde_json::json!({ "name": name, "handedness": handedness, "goal": "", "limits": "", "consent": true });
        self.post("/api/v1/players", &about).expect(201)["id"].as_str().expect("an id").to_owned()
    }

    /// Starts a lesson; the session's id.
    pub fn lesson(&self, player: &str) -> String {
        let started = self.post("/api/v1/lesson", &serde_json::json!({ "player": player })).expect(201);
        started["session"].as_str().expect("an id").to_owned()
    }

    /// The whole invented lesson, played to its end; the session's id.
    pub fn whole_lesson(&self, name: &str) -> String {
        self.whole_lesson_of(&self.player(name))
    }

    /// The same of a player who is known.
    pub fn whole_lesson_of(&self, player: &str) -> String {
        let mut events = self.events("/api/v1/events");
        let session = self.lesson(player);
        events.until("session_ended");
        session
    }

    /// Asks it to end, as the system does, and waits; true if it ended by itself, well.
    pub fn end(mut self) -> bool {
        let asked = Command::new("kill").arg("-TERM").arg(self.pid().to_string()).status();
        assert!(asked.expect("kill runs").success());
        let start = Instant::now();
        while start.elapsed() < PATIENCE {
            if let Some(status) = self.child.try_wait().expect("the child can be asked") {
                return status.success();
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        false
    }
}

impl Drop for TestServer {
    fn drop(&mut self) {
        // An error means that it has ended.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn answer(result: Result<ureq::http::Response<ureq::Body>, ureq::Error>) -> Answer {
    let mut response = result.expect("it answers");
    let headers = response
        .headers()
        .iter()
        .map(|(n, v)| (n.as_str().to_owned(), String::from_utf8_lossy(v.as_bytes()).into_owned()))
        .collect();
    let text = response.body_mut().with_config().limit(64 << 20).read_to_string().expect("text");
    Answer { status: response.status().as_u16(), headers, text }
}

/// One event of a stream.
#[derive(Debug, Clone)]
pub struct Event {
    /// Its tag.
    pub name: String,
    /// Its number, if it has one.
    pub id: Option<u64>,
    /// Its data.
    pub data: Value,
}

/// An event stream.
pub struct Events {
    lines: Lines<BufReader<Box<dyn std::io::Read + Send>>>,
}

impl Iterator for Events {
    type Item = Event;

    fn next(&mut self) -> Option<Event> {
        let mut event = Event { name: String::new(), id: None, data: Value::Null };
        loop {
            let line = self.lines.next()?.ok()?;
            match line.split_once(':') {
                None if !event.name.is_empty() => return Some(event),
                Some(("event", name)) => name.trim().clone_into(&mut event.name),
                Some(("id", id)) => event.id = id.trim().parse().ok(),
                Some(("data", data)) => event.data = serde_json::from_str(data.trim()).expect("JSON"),
                // A comment, or an empty event.
                _ => {}
            }
        }
    }
}

impl Events {
    /// All events up to the first of that name, itself last.
    pub fn until(&mut self, name: &str) -> Vec<Event> {
        let mut seen = Vec::new();
        for event in self.by_ref() {
            let last = event.name == name;
            seen.push(event);
            if last {
                return seen;
            }
        }
        let names: Vec<&str> = seen.iter().map(|e| e.name.as_str()).collect();
        panic!("the stream ended without {name}: {names:?}");
    }
}

/// All files and folders below `root`, with their permission bits.
#[cfg(unix)]
pub fn modes(root: &Path) -> Vec<(PathBuf, u32)> {
    use std::os::unix::fs::PermissionsExt as _;
    let mut found = Vec::new();
    let mut left = vec![root.to_owned()];
    while let Some(path) = left.pop() {
        let meta = path.symlink_metadata().expect("it is there");
        if meta.is_dir() {
            left.extend(path.read_dir().expect("readable").map(|e| e.expect("an entry").path()));
        }
        found.push((path, meta.permissions().mode() & 0o777));
    }
    found
}
