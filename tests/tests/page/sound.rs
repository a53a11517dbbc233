//! What the player hears: the calls by which the page sounds are caught, and the sounds
//! themselves looked at sample by sample. Whether a loudspeaker then moves, and what a tablet
//! does with its screen off, cannot be seen here.

use crate::common::{SOON, address, show, state};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::test_server::TestServer;
use serde_json::{Value, json};
use std::time::Duration;

/// Catches every play and every utterance, with the file that is played and whether the page
/// was hidden.
const CATCH: &str = "
    window.heard = []; window.files = new Map(); window.buttons = {};
    const make = URL.createObjectURL;
    URL.createObjectURL = (blob) => { const url = make.call(URL, blob); window.files.set(url, blob); return url; };
    const play = HTMLMediaElement.prototype.play;
    HTMLMediaElement.prototype.play = function () {
      const call = { play: this.src, loop: this.loop, hidden: document.hidden, outcome: '' };
      window.heard.push(call);
      if (this.loop) window.loopElement = this;
      const promise = play.call(this);
      promise.then(() => { call.outcome = 'played'; }, (e) => { call.outcome = e.name; });
      return promise;
    };
    speechSynthesis.speak = (u) => window.heard.push({ say: u.text, hidden: document.hidden });
    const handle = navigator.mediaSession.setActionHandler;
    navigator.mediaSession.setActionHandler = function (name, f) { window.buttons[name] = f; return handle.call(this, name, f); };
    return true";

fn heard(browser: &Browser) -> Vec<Value> {
    browser.run("return window.heard").as_array().expect("a list").clone()
}

/// Samples of the file played, −1 to 1, and samples a second. Bytes as RIFF WAVE has them
/// (Microsoft & IBM, Multimedia Programming Interface 1.0, 1991): 16-bit PCM, one channel.
fn samples(browser: &Browser, url: &str) -> (Vec<f64>, f64) {
    let bytes = browser.run_async(&format!(
        "const done = arguments[arguments.length - 1];
         window.files.get({}).arrayBuffer().then((b) => done([...new Uint8Array(b)]))",
        json!(url)
    ));
    let bytes: Vec<u8> =
        bytes.as_array().expect("bytes").iter().map(|b| b.as_u64().expect("a byte") as u8).collect();
    assert!(bytes.starts_with(b"RIFF") && bytes[8..16] == *b"WAVEfmt " && bytes[36..40] == *b"data");
    let word = |at: usize| u16::from_le_bytes([bytes[at], bytes[at + 1]]);
    assert_eq!((word(20), word(22), word(34)), (1, 1, 16));
    let rate = u32::from_le_bytes([bytes[24], bytes[25], bytes[26], bytes[27]]);
    let data = bytes[44..].chunks_exact(2).map(|b| f64::from(i16::from_le_bytes([b[0], b[1]])) / 32768.0);
    (data.collect(), f64::from(rate))
}

/// Notes: start, length (s) and pitch (Hz), parted by 20 ms of silence or more.
fn notes((samples, rate): &(Vec<f64>, f64)) -> Vec<(f64, f64, f64)> {
    let silence = (0.02 * rate) as usize;
    let loud: Vec<usize> = (0..samples.len()).filter(|i| samples[*i].abs() > 0.01).collect();
    let parts = loud.chunk_by(|a, b| b - a < silence);
    parts
        .map(|part| {
            let (from, to) = (part[0], part[part.len() - 1]);
            let length = (to - from) as f64 / rate;
            let crossings = samples[from..=to].windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count();
            (from as f64 / rate, length, crossings as f64 / length)
        })
        .collect()
}

#[test]
fn every_answer_has_a_rhythm_of_its_own() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "1");
    browser.goto(&address(&server, "target"));
    browser.until("the sounds", "return document.querySelector('[data-key=hear-met]') !== null", SOON);
    browser.run(CATCH);
    for (answer, lengths) in [
        ("met", vec![0.1, 0.1, 0.1]),
        ("nearly", vec![0.1, 0.1]),
        ("not", vec![0.75]),
        ("not_measured", vec![0.012]),
    ] {
        browser.tap(&format!("[data-key=hear-{answer}]"));
        let last = heard(&browser).pop().expect("it sounds");
        let found = notes(&samples(&browser, last["play"].as_str().expect("a file")));
        assert_eq!(found.len(), lengths.len(), "{answer}: {found:?}");
        for ((_, length, pitch), wanted) in found.iter().zip(&lengths) {
            assert!((length - wanted).abs() < 0.01, "{answer}: {found:?}");
            // Told apart by rhythm alone: the pitch is one and the same. Of a click there is none.
            assert!(*wanted < 0.05 || (pitch - 880.0).abs() < 15.0, "{answer}: {found:?}");
        }
        // Rests are as long as a note can be told from the next.
        for pair in found.windows(2) {
            let rest = pair[1].0 - pair[0].0 - pair[0].1;
            assert!(rest > 0.06, "{answer}: {found:?}");
        }
    }
    // What keeps the page playing: above what Chromium takes for silence (-72.25 dBFS, see
    // sound.js) by 10 dB, and no louder than 50 dB below full scale.
    browser.tap("[data-key=mute]");
    let looped = heard(&browser).into_iter().find(|h| h["loop"] == true).expect("the loop plays");
    let (low, _) = samples(&browser, looped["play"].as_str().expect("a file"));
    let power = low.iter().map(|v| v * v).sum::<f64>() / low.len() as f64;
    let level = 10.0 * power.log10();
    assert!((-62.0..-50.0).contains(&level), "{level} dBFS");
}

#[test]
fn each_swing_is_answered_once_in_front_and_behind_and_never_when_muted() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::virtual_lessons(home.path(), "max");
    let earlier = server.whole_lesson("Invented Player");
    let player = server.get("/api/v1/players").json()[0]["id"].as_str().expect("an id").to_owned();
    assert!(server.end());
    let server = TestServer::virtual_lessons(home.path(), "16");
    let mut events = server.events("/api/v1/events");
    browser.goto(&address(&server, "target"));
    browser.until("the sounds", "return document.querySelector('[data-key=way-both]') !== null", SOON);
    browser.run(CATCH);
    browser.tap("[data-key=way-both]");
    browser.tap("[data-key=mute]");
    browser.sees("sound: on", SOON);
    let session = server.lesson(&player);
    let target = json!({ "measure": "pelvis_turn_top_deg", "value": 36, "margin": 3 });
    server.send("PUT", "/api/v1/lesson/target", &target).expect(200);
    let mut answers: Vec<Value> = Vec::new();
    let mut until = |count: usize| -> Vec<Value> {
        while answers.len() < count {
            let event = events.next().expect("the lesson goes on");
            if event.name == "swing_extra" && event.data["number"] == answers.len() as u64 + 1 {
                answers.push(event.data["answer"].clone());
            }
        }
        answers.clone()
    };
    // The coach looks at an earlier lesson meanwhile; the player hears all the same.
    until(2);
    show(&browser, "earlier");
    browser.tap(&format!("[data-key=\"open-{earlier}\"]"));
    browser.sees("Earlier lesson:", SOON);
    until(5);
    browser.put_away();
    browser.until("the page to be hidden", "return document.hidden", SOON);
    // Another player or a call stops what keeps the page awake: it goes on with the next answer.
    browser.run("window.loopElement.pause(); return true");
    let told = until(16);
    let all_said = "return window.heard.filter((h) => h.say).length >= 16";
    browser.until("what was said behind", all_said, SOON);
    assert_eq!(
        browser.run("return document.body.dataset.link"),
        json!("live"),
        "events come while it is hidden"
    );
    assert_eq!(browser.run("return window.loopElement.paused"), json!(false));
    let behind = heard(&browser);
    browser.take_out();
    browser.until("the page to be seen", "return !document.hidden", SOON);

    let played: Vec<&Value> = behind.iter().filter(|h| h["loop"] == false).skip(1).collect();
    assert_eq!(played.len(), 16, "one sound a swing, the one that unlocks the voice left out: {behind:#?}");
    assert!(played.iter().filter(|p| p["hidden"] == true).count() >= 9, "{played:?}");
    for (i, (sound, answer)) in played.iter().zip(&told).enumerate() {
        let count = notes(&samples(&browser, sound["play"].as_str().expect("a file"))).len();
        let wanted = match answer["answer"].as_str() {
            Some("met") => 3,
            Some("nearly") => 2,
            _ => 1,
        };
        assert_eq!(count, wanted, "swing {}: {answer}", i + 1);
        assert_eq!(sound["outcome"], "played", "swing {}", i + 1);
    }
    let said: Vec<&Value> = behind.iter().filter_map(|h| h.get("say")).filter(|s| *s != "").collect();
    assert_eq!(said, told.iter().map(|a| &a["spoken"]).collect::<Vec<_>>());
    // All three rhythms were among them, or this would prove little.
    for kind in ["met", "nearly", "not"] {
        assert!(told.iter().any(|a| a["answer"] == kind), "{kind} never came: {told:?}");
    }

    // The lock screen's button, or that of an earphone, is as good as the page's own.
    browser.run("window.buttons.pause(); window.heard.length = 0; return true");
    browser.sees("sound: off", SOON);
    until(19);
    std::thread::sleep(Duration::from_millis(1500));
    assert_eq!(heard(&browser), Vec::<Value>::new(), "muted");
    assert_eq!(browser.run("return window.loopElement.paused"), json!(true));
    // Sound that comes back does not answer old swings, not even when the page draws anew.
    // The newest swing's number: the state has not all of them.
    let swings = || {
        let lesson = &state(&server)["lesson"];
        lesson["swings"].as_array().and_then(|s| s.last()?["number"].as_u64()).unwrap_or(0) as usize
    };
    let before = swings();
    browser.tap("[data-key=mute]");
    let note = json!({ "what": "exclude", "swing": 1, "excluded": true });
    server.post(&format!("/api/v1/sessions/{session}/remarks"), &note).expect(201);
    std::thread::sleep(Duration::from_millis(300));
    let after = heard(&browser);
    let answered = after.iter().filter(|h| h["loop"] == false).count();
    assert!(after.iter().any(|h| h["loop"] == true), "the loop plays again: {after:?}");
    assert!(answered <= swings() - before, "{before} swings before, {} now: {after:?}", swings());
}
