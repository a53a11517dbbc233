//! How quick a library of ten thousand sessions is: `cargo bench -p peakorder-analysis --bench library`.
//!
//! Makes libraries of 1 000 and 10 000 sessions (60 swings each) and one player with 400 of them, below the target folder or
//! in `PEAKORDER_MADE_LIBRARIES`, and asks `peakorder` and, if it is built (`cargo build --release`), `peakorderd` about
//! them. `-- --make FOLDER PLAYERS SESSIONS REGULAR SWINGS` only makes one.

mod made;

use made::Size;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const SEED: u64 = 1;
/// Each figure is the middle one of so many.
const TIMES: usize = 5;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    if let [make, into, numbers @ ..] = arguments.as_slice()
        && make == "--make"
    {
        let [players, sessions_each, regular, swings] = numbers else { panic!("four numbers") };
        let number = |text: &String| text.parse::<usize>().expect("a number");
        let size = Size {
            players: number(players),
            sessions_each: number(sessions_each),
            regular: number(regular),
            swings: number(swings) as u32,
        };
        made::make(Path::new(into), size, SEED);
        println!("{} sessions in {into}", size.sessions());
        return;
    }
    for players in [20, 200] {
        measure(Size { players, sessions_each: 50, regular: 400, swings: 60 });
    }
}

/// The target folder's, found by the bench's own place in it.
fn programs() -> PathBuf {
    PathBuf::from(env!("CARGO_BIN_EXE_peakorder")).parent().expect("a folder").to_owned()
}

fn library(size: Size) -> PathBuf {
    let all = std::env::var_os("PEAKORDER_MADE_LIBRARIES")
        .map_or_else(|| programs().join("made-libraries"), PathBuf::from);
    let folder = all.join(format!("{}-sessions-{}-swings", size.sessions(), size.swings));
    if !folder.exists() {
        println!("making {} sessions of {} swings …", size.sessions(), size.swings);
        let part = folder.with_extension("part");
        let _ = std::fs::remove_dir_all(&part);
        made::make(&part, size, SEED);
        std::fs::rename(&part, &folder).expect("the library is named");
    }
    folder
}

fn measure(size: Size) {
    let library = library(size);
    println!("\n{} sessions of {} swings, one player with {}", size.sessions(), size.swings, size.regular);
    let index = library.join("sessions").join(".peakorder-index");
    let _ = std::fs::remove_file(&index);
    let folder = library.to_str().expect("UTF-8");
    let (one, regular) = (made::name(3), made::name(0));
    let about = "separation_top_deg";
    let first = run(&["trend", folder, "--player", &one]);
    println!("  index made (peakorder trend, first time)     {first}");
    println!(
        "  size of the index                            {:.1} MB",
        std::fs::metadata(&index).map_or(0, |m| m.len()) as f64 * 1e-6
    );
    for (player, sessions) in [(&one, size.sessions_each), (&regular, size.regular)] {
        for command in ["trend", "kept"] {
            let ran = middle(|| run(&[command, folder, "--player", player, "--about", about]));
            println!("  peakorder {command:<6} of {sessions:3} sessions             {ran}");
        }
    }
    let Some(server) = Server::start(&library) else {
        println!("  (peakorderd is not built: no figures of the list)");
        return;
    };
    println!("  list, first time after the start             {:.0} ms", server.first.as_secs_f64() * 1e3);
    for (what, path) in [
        ("list, later", "/api/v1/sessions".to_owned()),
        ("search for a player and a goal", "/api/v1/sessions?search=0003+finish".into()),
        ("search that finds nothing", "/api/v1/sessions?search=nobody".into()),
        ("one day", "/api/v1/sessions?from=2024-03-04&to=2024-03-04".into()),
        ("players", "/api/v1/players".into()),
        ("months of 50 sessions", format!("/api/v1/months?player=0000000000000003&about={about}")),
        ("months of the latest 100 of 400", format!("/api/v1/months?player=0000000000000000&about={about}")),
    ] {
        let mut times: Vec<Duration> = (0..TIMES).map(|_| server.get(&path)).collect();
        times.sort();
        println!("  {what:<44} {:.0} ms", times[TIMES / 2].as_secs_f64() * 1e3);
    }
    println!("  memory of peakorderd, at most                {} MB", server.peak_mb());
}

/// What a run of the program took.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
struct Ran {
    wall_s: f64,
    peak_mb: u64,
}

impl std::fmt::Display for Ran {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:.2} s, at most {} MB", self.wall_s, self.peak_mb)
    }
}

fn middle(mut run: impl FnMut() -> Ran) -> Ran {
    let mut all: Vec<Ran> = (0..TIMES).map(|_| run()).collect();
    all.sort_by(|a, b| a.wall_s.total_cmp(&b.wall_s));
    all[TIMES / 2]
}

fn run(arguments: &[&str]) -> Ran {
    let begun = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_peakorder"))
        .args(arguments)
        .stdout(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut peak_mb = 0;
    let status = loop {
        peak_mb = peak_mb.max(peak(child.id()));
        if let Some(status) = child.try_wait().expect("it can be waited for") {
            break status;
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    assert!(status.success(), "{arguments:?}");
    Ran { wall_s: begun.elapsed().as_secs_f64(), peak_mb }
}

/// Largest memory that the process had so far, MB (Linux).
fn peak(pid: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.trim().trim_end_matches(" kB").parse::<u64>().ok()).unwrap_or(0) / 1024
}

struct Server {
    child: Child,
    at: String,
    first: Duration,
}

impl Server {
    fn start(library: &Path) -> Option<Self> {
        let program = programs().join("peakorderd");
        if !program.exists() {
            return None;
        }
        let mut child = Command::new(program)
            .args(["serve", "--virtual", "--listen", "127.0.0.1:0", "--library"])
            .arg(library)
            .stdout(Stdio::piped())
            .spawn()
            .expect("peakorderd starts");
        let mut line = String::new();
        let out = child.stdout.take().expect("it is piped");
        BufReader::new(out).read_line(&mut line).expect("it says where it is");
        let at = line.trim().trim_start_matches("http://").trim_end_matches('/').to_owned();
        let mut server = Self { child, at, first: Duration::ZERO };
        server.first = server.get("/api/v1/sessions");
        Some(server)
    }

    fn get(&self, path: &str) -> Duration {
        let begun = Instant::now();
        let mut stream = TcpStream::connect(&self.at).expect("it listens");
        write!(stream, "GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.at)
            .expect("it is sent");
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).expect("an answer");
        assert!(
            answer.starts_with(b"HTTP/1.1 200"),
            "{path}: {}",
            String::from_utf8_lossy(&answer[..answer.len().min(300)])
        );
        begun.elapsed()
    }

    fn peak_mb(&self) -> u64 {
        peak(self.child.id())
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
