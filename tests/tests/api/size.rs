//! How much a page that is opened in the middle of a long lesson has to read.

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use peakorder_analysis::load::load;
use peakorder_daemon::serve::hub::lesson_state::LessonState;
use peakorder_daemon::serve::hub::{Hub, LessonClock, RunningLesson};
use peakorder_protocol::remark::{Remark, Remarks, What};
use peakorder_protocol::swing::Swing;
use peakorder_tests::programs::workspace;
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::io::{Read as _, Write as _};
use std::net::TcpStream;

const SWINGS: u32 = 200;
/// The bound, bytes.
const BOUND: usize = 60_000;

/// Other last digits in every number, so that like swings do not compress better than those of a player do.
fn varied(value: &mut Value, dice: &mut u64) {
    match value {
        Value::Number(n) if n.is_f64() => {
            *dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let by = 1.0 + ((*dice >> 40) as f64 / f64::from(1_u32 << 24) - 0.5) * 0.1;
            let value = n.as_f64().expect("a number") * by;
            // As many digits as files have.
            *n = serde_json::Number::from_f64((value * 1e3).round() / 1e3).expect("finite");
        }
        Value::Array(list) => list.iter_mut().for_each(|v| varied(v, dice)),
        Value::Object(map) => map.values_mut().for_each(|v| varied(v, dice)),
        _ => {}
    }
}

#[test]
fn state_of_a_lesson_of_two_hundred_swings_is_small() {
    let folder = workspace().join("recordings/baseline-right");
    let loaded = load(folder.to_str().expect("UTF-8")).expect("a recording");
    let mut dice = 7;
    let mut lesson = LessonState::new("long", loaded.session.clone(), None, "baseline");
    let mut said = Vec::new();
    for number in 1..=SWINGS {
        let mut swing =
            serde_json::to_value(&loaded.swings[number as usize % loaded.swings.len()]).expect("JSON");
        varied(&mut swing, &mut dice);
        let mut swing: Swing = serde_json::from_value(swing).expect("a swing");
        swing.number = number;
        swing.block = if number <= 40 {
            "baseline"
        } else if number <= 160 {
            "pivot drill"
        } else {
            "after"
        }
        .into();
        lesson.add_swing(swing);
        let labels = vec![["solid", "thin", "left"][number as usize % 3].to_owned()];
        said.push(Remark { id: number, t_s: 0.0, what: What::Outcome { swing: number, labels } });
    }
    let about = json!({ "id": 1000, "t_s": 0.0, "what": "chosen", "measures": [{ "measure": "pelvis_turn_top_deg" }, { "measure": "arm_raised_deg" }] });
    let target = json!({ "id": 1001, "t_s": 0.0, "what": "target", "target": { "measure": "pelvis_turn_top_deg", "bound": "at_most",
        "value": -40.0, "margin": 3.0, "words": "pelvis turn at top: 40° back or more" } });
    said.extend([about, target].map(|r| serde_json::from_value::<Remark>(r).expect("a remark")));
    lesson.set_remarks(Remarks::fold(&said));
    let hub = Hub::new("boot".into(), true);
    hub.begin(RunningLesson::new(lesson, LessonClock::LatestRecord));
    hub.assess();
    let state = serde_json::to_vec(&hub.snapshot("coach")).expect("JSON");
    let told: Value = serde_json::from_slice(&state).expect("JSON");
    let lesson = &told["lesson"];
    let newest = lesson["swings"].as_array().expect("swings");
    assert_eq!(lesson["earlier"].as_u64().expect("a number") as usize + newest.len(), SWINGS as usize);
    assert_eq!(newest.last().expect("swings")["number"], SWINGS);
    assert_eq!(lesson["answers"].as_object().expect("answers").len(), newest.len());
    assert_eq!(lesson["about"][SWINGS.to_string()].as_array().map(Vec::len), Some(2));
    assert!(!lesson["against"][SWINGS.to_string()].as_array().expect("rows").is_empty());
    // As it is sent.
    let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
    packed.write_all(&state).expect("in memory");
    let packed = packed.finish().expect("in memory").len();
    println!("state of {SWINGS} swings: {} bytes, {packed} compressed", state.len());
    assert!(packed <= BOUND, "{packed} bytes compressed, {} plain", state.len());
    assert!(packed > 10_000, "{packed}: this would be no lesson");
}

/// Header and body of a GET, as they come.
fn raw(server: &TestServer, path: &str, accept: &str) -> (String, Vec<u8>) {
    let mut stream = TcpStream::connect(server.at).expect("it listens");
    write!(
        stream,
        "GET {path} HTTP/1.1\r\nHost: {}\r\nAccept-Encoding: {accept}\r\nConnection: close\r\n\r\n",
        server.at
    )
    .expect("sent");
    let mut all = Vec::new();
    stream.read_to_end(&mut all).expect("an answer");
    let end = all.windows(4).position(|w| w == b"\r\n\r\n").expect("a header");
    (String::from_utf8_lossy(&all[..end]).to_lowercase(), all[end + 4..].to_vec())
}

#[test]
fn what_is_long_is_sent_compressed_to_who_takes_it() {
    let library = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(library.path(), "max");
    for path in ["/api/v1/measures", "/js/store.js", "/page.css", "/"] {
        let (header, plain) = raw(&server, path, "identity");
        assert!(!header.contains("content-encoding"), "{header}");
        let (header, packed) = raw(&server, path, "gzip, deflate");
        assert!(
            header.contains("content-encoding: gzip") && header.contains("vary: accept-encoding"),
            "{path}: {header}"
        );
        let mut unpacked = Vec::new();
        GzDecoder::new(&packed[..]).read_to_end(&mut unpacked).expect("gzip");
        assert_eq!(unpacked, plain, "{path}");
        assert!(2 * packed.len() < plain.len() + 200, "{path}: {} of {}", packed.len(), plain.len());
    }
    // What is short is left as it is.
    let (header, body) = raw(&server, "/api/v1/players", "gzip");
    assert!(!header.contains("content-encoding") && body.starts_with(b"["), "{header}");
}
