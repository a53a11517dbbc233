//! `/metrics`: the format by an outside parser, the numbers by what the sessions' files say afterwards, and who may look.

use peakorder_tests::programs::daemon;
use peakorder_tests::python;
use peakorder_tests::test_server::{Answer, PATIENCE, TestServer};
use serde_json::json;
use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

type Samples = BTreeMap<String, f64>;

/// Samples of an exposition, read by the rules of its description (<https://prometheus.io/docs/instrumenting/exposition_formats>, version
/// 0.0.4): every metric has a HELP and a TYPE before its samples, which stand together.
fn read(answer: &Answer) -> Samples {
    assert_eq!(answer.status, 200, "{}", answer.text);
    assert_eq!(answer.header("content-type"), Some("text/plain; version=0.0.4; charset=utf-8"));
    assert!(answer.text.ends_with('\n'));
    let (mut samples, mut known, mut helped, mut current) =
        (Samples::new(), Vec::new(), String::new(), (String::new(), String::new()));
    for line in answer.text.lines() {
        if let Some(rest) = line.strip_prefix("# HELP ") {
            rest.split(' ').next().unwrap().clone_into(&mut helped);
        } else if let Some(rest) = line.strip_prefix("# TYPE ") {
            let (name, kind) = rest.split_once(' ').unwrap();
            assert_eq!(name, helped, "the help comes first");
            assert!(!known.contains(&name.to_owned()), "{name} twice");
            assert_eq!(name.ends_with("_total"), kind == "counter", "{name}");
            known.push(name.to_owned());
            current = (name.to_owned(), kind.to_owned());
        } else {
            let (name, value) = line.rsplit_once(' ').unwrap();
            assert_eq!(name.split('{').next(), Some(&*current.0), "{line}");
            assert!(samples.insert(name.replace('"', ""), value.parse().unwrap()).is_none(), "{line}");
        }
    }
    samples
}

/// The same by `prometheus_client`; `None`, loudly, without the Python that has it.
fn read_outside(text: &str) -> Option<Samples> {
    let python = python::python()?;
    let script = peakorder_tests::programs::workspace().join("tests/scripts/read_metrics.py");
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python starts");
    child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(out.status.success(), "the parser refuses:\n{text}");
    Some(serde_json::from_slice(&out.stdout).unwrap())
}

/// What a session's files say: swings, repetitions, samples and lost ones, bytes of its log.
fn of_files(session: &Path) -> [f64; 5] {
    let again = tempfile::tempdir().unwrap();
    let into = again.path().join("again").display().to_string();
    let said = daemon(["replay", &session.display().to_string(), "--into", &into]).done().out;
    let line = said.lines().rev().find(|l| l.contains(" samples")).expect("a summary").to_owned();
    let before = |word: &str| -> f64 {
        let Some(at) = line.find(word) else { return 0.0 };
        line[..at].trim_end().rsplit([' ', ',']).next().unwrap().parse().unwrap()
    };
    let log = session
        .read_dir()
        .unwrap()
        .map(|e| e.unwrap().path())
        .find(|p| p.extension().is_some_and(|e| e == "log"));
    let bytes = fs::metadata(log.expect("a log")).unwrap().len() as f64;
    [before(" swing"), before(" repetition"), before(" samples"), before(" lost"), bytes]
}

fn sum(samples: &Samples, name: &str) -> f64 {
    samples.iter().filter(|(key, _)| key.split('{').next() == Some(name)).map(|(_, value)| value).sum()
}

/// `docs/formats/log.md`, "File header".
const LOG_HEADER_BYTES: f64 = 16.0;

#[test]
fn counters_are_what_the_sessions_files_say_and_only_grow() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "max");
    let idle = read(&server.get("/metrics"));
    assert_eq!((sum(&idle, "peakorder_lessons_total"), idle["peakorder_lesson_running"]), (0.0, 0.0));
    assert_eq!(idle["peakorder_samples_total{role=lead_arm}"], 0.0, "a counter is there from the beginning");

    let player = server.player("Invented Ida");
    let mut expected = [0.0; 5];
    let (mut last, mut scrapes, mut running_seen) = (idle, 0, 0);
    for lesson in 1..=2 {
        let mut events = server.events("/api/v1/events");
        let session = server.lesson(&player);
        let ended = std::thread::spawn(move || drop(events.until("session_ended")));
        while !ended.is_finished() {
            let answer = server.get("/metrics");
            let now = read(&answer);
            for (name, value) in last.iter().filter(|(name, _)| name.contains("_total")) {
                assert!(now[name] >= *value, "{name} fell from {value} to {}", now[name]);
            }
            running_seen += usize::from(
                now["peakorder_lesson_running"] == 1.0
                    && now
                        .get("peakorder_strap_clock_uncertainty_seconds{role=pelvis}")
                        .is_some_and(|s| (1e-5..0.1).contains(s)),
            );
            scrapes += 1;
            last = now;
            // Reads are limited to sixty a second.
            std::thread::sleep(Duration::from_millis(30));
        }
        ended.join().unwrap();
        let files = of_files(&library.path().join("sessions").join(&session));
        for (expected, of_lesson) in expected.iter_mut().zip(files) {
            *expected += of_lesson;
        }
        expected[4] -= LOG_HEADER_BYTES;
        last = read(&server.get("/metrics"));
        let names = ["swings", "repetitions", "samples", "samples_lost", "recorded_bytes"];
        for (name, expected) in names.iter().zip(expected) {
            assert_eq!(
                sum(&last, &format!("peakorder_{name}_total")),
                expected,
                "{name} after lesson {lesson}"
            );
        }
        assert_eq!(last["peakorder_lessons_total"], f64::from(lesson));
        assert_eq!(last["peakorder_lesson_running"], 0.0);
        assert_eq!(sum(&last, "peakorder_strap_connected"), 0.0, "straps are there while a lesson runs");
    }
    println!("{scrapes} scrapes, {running_seen} of them with a settled clock in a running lesson");
    assert!(expected[0] > 20.0 && expected[2] > 10_000.0 && running_seen > 0, "{expected:?}");
}

#[test]
fn an_outside_parser_reads_the_same() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::virtual_lessons(library.path(), "4");
    let session = server.lesson(&server.player("Invented Ida"));
    let start = Instant::now();
    let answer = loop {
        let answer = server.get("/metrics");
        if answer.text.contains("peakorder_strap_connected{role=\"lead_arm\"} 1\n")
            && read(&answer).len() > 20
        {
            break answer;
        }
        assert!(start.elapsed() < PATIENCE, "{}", answer.text);
        std::thread::sleep(Duration::from_millis(100));
    };
    let samples = read(&answer);
    let build = samples.keys().find(|k| k.starts_with("peakorder_build_info{")).expect("a version");
    assert!(build.contains(&format!("version={}", env!("CARGO_PKG_VERSION"))), "{build}");
    assert!(samples["peakorder_library_free_bytes"] > 1e6 && samples["peakorder_uptime_seconds"] > 0.0);
    assert_eq!(samples["peakorder_straps_connected"], 3.0);
    // Where straps are worn, and neither whose they are nor their names.
    for private in ["Ida", &session, "virtual", "C0:"] {
        assert!(!answer.text.contains(private), "{private} in {}", answer.text);
    }
    if let Some(outside) = read_outside(&answer.text) {
        let labels_in_order = |samples: Samples| -> Samples {
            let key = |name: String| match name.split_once('{') {
                Some((name, labels)) => {
                    let mut labels: Vec<&str> = labels.trim_end_matches('}').split(',').collect();
                    labels.sort_unstable();
                    format!("{name}{{{}}}", labels.join(","))
                }
                None => name,
            };
            samples.into_iter().map(|(name, value)| (key(name), value)).collect()
        };
        assert_eq!(labels_in_order(outside), labels_in_order(samples));
    }
}

#[test]
fn programs_on_this_computer_and_the_coach_may_look() {
    let library = tempfile::tempdir().unwrap();
    let server = TestServer::start(library.path(), &["--listen", "0.0.0.0:0", "--virtual", "--no-announce"]);
    assert_eq!(server.get("/metrics").status, 200, "from this computer, without a cookie");
    let page = server.greeting.lines().next().unwrap().trim_end_matches('/').to_owned();
    let host = page.trim_start_matches("http://").to_owned();
    if host.starts_with("127.") {
        eprintln!("SKIPPED: this computer has no address but the loopback one");
        return;
    }
    let ask = |cookie: &str| {
        let agent: ureq::Agent = ureq::Agent::config_builder().http_status_as_error(false).build().into();
        agent.get(format!("{page}/metrics")).header("cookie", cookie).call().unwrap().status().as_u16()
    };
    let pair = |token: &str| {
        let config = ureq::Agent::config_builder().http_status_as_error(false).max_redirects(0).build();
        let answer = config.new_agent().get(format!("{page}/pair/{token}")).call().unwrap();
        let cookie = answer.headers()["set-cookie"].to_str().unwrap();
        cookie.split(';').next().unwrap().to_owned()
    };
    let (coach, viewer) = server.links();
    assert_eq!(ask(""), 401);
    assert_eq!((ask(&pair(&coach)), ask(&pair(&viewer))), (200, 403));
    // A name of another site that leads here.
    assert_eq!(server.raw("GET /metrics HTTP/1.1\r\nHost: evil.example\r\n\r\n"), 421);
    assert_eq!(server.send("POST", "/metrics", &json!({})).status, 405);
}
