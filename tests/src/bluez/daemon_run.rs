//! `peakorderd` at work on a stand-in's bus.

use super::FakeBluez;
use crate::programs::peakorderd;
use std::ffi::OsStr;
use std::io::{BufRead as _, BufReader, Read, Write as _};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

type Lines = Arc<Mutex<Vec<String>>>;

/// The program, running; killed if the test ends before it.
pub struct DaemonRun {
    child: Child,
    stdin: Option<ChildStdin>,
    out: Lines,
    err: Lines,
    readers: Vec<JoinHandle<()>>,
}

/// How a program ended.
#[derive(Debug)]
pub struct Ended {
    /// Exit code; `None` when killed.
    pub code: Option<i32>,
    /// Lines on stdout.
    pub out: Vec<String>,
    /// Lines on stderr.
    pub err: Vec<String>,
    /// How long ending took from the call of [`DaemonRun::end`].
    pub took: Duration,
}

fn collect(from: impl Read + Send + 'static) -> (Lines, JoinHandle<()>) {
    let lines = Lines::default();
    let to = Arc::clone(&lines);
    let reader = std::thread::spawn(move || {
        for line in BufReader::new(from).lines().map_while(Result::ok) {
            to.lock().expect("no reader panics").push(line);
        }
    });
    (lines, reader)
}

impl DaemonRun {
    /// Starts `peakorderd` on the stand-in's bus with the configuration `config.toml` in the
    /// bus's folder.
    pub fn start<S: AsRef<OsStr>>(air: &FakeBluez, arguments: impl IntoIterator<Item = S>) -> Self {
        let mut child = Command::new(peakorderd())
            .args(arguments)
            .env("DBUS_SYSTEM_BUS_ADDRESS", air.bus().address())
            .env("PEAKORDER_CONFIG", air.bus().file("config.toml"))
            .env_remove("PEAKORDER_LOG")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("peakorderd starts");
        let (out, read_out) = collect(child.stdout.take().expect("stdout is piped"));
        let (err, read_err) = collect(child.stderr.take().expect("stderr is piped"));
        let stdin = child.stdin.take();
        Self { child, stdin, out, err, readers: vec![read_out, read_err] }
    }

    /// Types a line.
    pub fn type_line(&mut self, line: &str) {
        let stdin = self.stdin.as_mut().expect("stdin is open");
        writeln!(stdin, "{line}").expect("the program reads its input");
    }

    /// Has a line with `text` appeared on stdout or stderr?
    pub fn says(&self, text: &str) -> bool {
        let has = |lines: &Lines| lines.lock().expect("no reader panics").iter().any(|l| l.contains(text));
        has(&self.out) || has(&self.err)
    }

    /// What it has cost so far: processor seconds and the most memory held, MB.
    pub fn cost(&self) -> (f64, f64) {
        let read = |file: &str| {
            std::fs::read_to_string(format!("/proc/{}/{file}", self.child.id())).expect("the program runs")
        };
        // proc(5): fields 14 and 15 of stat, after the command's closing bracket, in ticks of 10 ms.
        let stat = read("stat");
        let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or("").split_whitespace().collect();
        let ticks: f64 = [11, 12].iter().map(|i| fields[*i].parse::<f64>().expect("a number of ticks")).sum();
        let status = read("status");
        let line = status.lines().find(|l| l.starts_with("VmHWM")).expect("the kernel counts memory");
        let kb: f64 = line.split_whitespace().nth(1).and_then(|k| k.parse().ok()).expect("a number of kB");
        (ticks / 100.0, kb / 1024.0)
    }

    /// Sends SIGTERM, as a service manager does.
    pub fn terminate(&self) {
        let sent = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(sent.is_ok_and(|s| s.success()), "SIGTERM could not be sent");
    }

    /// Waits for the end, at most `limit_s` seconds.
    pub fn end(mut self, limit_s: u64) -> Ended {
        let since = Instant::now();
        let code = loop {
            if let Some(status) = self.child.try_wait().expect("the program can be waited for") {
                break status.code();
            }
            if since.elapsed() > Duration::from_secs(limit_s) {
                let (out, err) = (self.out.lock().unwrap().join("\n"), self.err.lock().unwrap().join("\n"));
                panic!("still running after {limit_s} s\nstdout:\n{out}\nstderr:\n{err}");
            }
            std::thread::sleep(Duration::from_millis(5));
        };
        let took = since.elapsed();
        for reader in self.readers.drain(..) {
            reader.join().expect("output is read to its end");
        }
        let lines = |l: &Lines| std::mem::take(&mut *l.lock().expect("no reader panics"));
        let (out, err) = (lines(&self.out), lines(&self.err));
        Ended { code, out, err, took }
    }
}

impl Ended {
    /// Asserts exit code `code`, and that nothing panicked.
    #[must_use]
    pub fn with_code(self, code: i32) -> Self {
        let (out, err) = (self.out.join("\n"), self.err.join("\n"));
        assert!(
            self.code == Some(code) && !err.contains("panicked"),
            "{:?}\nstdout:\n{out}\nstderr:\n{err}",
            self.code
        );
        self
    }

    /// Has a line with `text` appeared on stdout or stderr?
    pub fn said(&self, text: &str) -> bool {
        self.out.iter().chain(&self.err).any(|l| l.contains(text))
    }
}

impl Drop for DaemonRun {
    fn drop(&mut self) {
        // Ended long ago unless the test failed.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
