//! What the profile loader accepts, and how it refuses the rest.

use peakorder_protocol::packet;
use peakorder_protocol::profile::{OpKind, Profile, ProfileError, SampleIs, Stamps};

/// A small profile that is right; each test breaks one thing.
const GOOD: &str = r#"profile = 1
id = "good"
name = "Good strap"
[match]
service = "180F"
[link]
mtu_min = 40
[[setup]]
op = "write"
char = "ffe9"
hex = "01 fe"
[[stream]]
char = "ffe4"
layout = "interleaved"
require = [ { at = 0, eq = 1 } ]
header = [ { f = "u8", as = "skip" }, { f = "u16", as = "t_first" }, { f = "u8", as = "flags" } ]
count = 1
sample = [
  { f = "i16", as = "gyro_x" }, { f = "i16", as = "gyro_y" }, { f = "i16", as = "gyro_z" },
  { f = "i16", as = "acc_x" }, { f = "i16", as = "acc_y" }, { f = "i16", as = "acc_z" },
]
[scale]
acc = { mul = 1.0, unit = "mg" }
gyro = { mul = 0.1, unit = "dps" }
[clock]
kind = "timestamp"
tick_us = 1000.0
bits = 16
[flags]
restarted = 0x01
[sensor]
rate_hz = 100.0
"#;

fn refusal(text: &str) -> String {
    Profile::from_toml(text).err().unwrap_or_else(|| panic!("accepted:\n{text}")).to_string()
}

#[track_caller]
fn broken(from: &str, to: &str) -> String {
    assert!(GOOD.contains(from), "{from}");
    refusal(&GOOD.replacen(from, to, 1))
}

#[test]
fn every_built_in_profile_reads_under_its_own_id() {
    let ids: Vec<&str> = Profile::builtin_ids().collect();
    let read: Vec<Profile> = Profile::all_builtin();
    assert_eq!(read.iter().map(Profile::id).collect::<Vec<_>>(), ids);
    assert!(Profile::builtin("no-such-strap").is_none());
}

#[test]
fn the_reference_profile_agrees_with_the_packet_s_constants() {
    let p = Profile::from_toml(Profile::builtin("ref-strap-v1").expect("built in")).expect("reads");
    assert_eq!(p.matching().and_then(|m| m.service.as_deref()), Some(packet::SERVICE_UUID));
    assert_eq!(p.channels(), [packet::DATA_UUID]);
    assert_eq!(p.setup()[0].characteristic, packet::CONTROL_UUID);
    // START, 208 Hz, 16 g, 2000 deg/s, 4 samples a packet
    assert_eq!(p.setup()[0].bytes, [1, 208, 0, 16, 0xd0, 0x07, 4]);
    assert_eq!((p.setup()[0].kind, p.teardown()[0].bytes.as_slice()), (OpKind::Write, &[0u8][..]));
    assert_eq!((p.link().mtu_min, p.link().mtu_want), (23, Some(247)));
    assert!(p.notices().is_empty());
}

#[test]
fn a_small_profile_reads_with_its_defaults() {
    let p = Profile::from_toml(GOOD).expect("reads");
    assert_eq!(p.name(), "Good strap");
    assert_eq!(p.matching().and_then(|m| m.service.as_deref()), Some("0000180f-0000-1000-8000-00805f9b34fb"));
    assert_eq!(p.channels(), ["0000ffe4-0000-1000-8000-00805f9b34fb"]);
    assert_eq!(p.setup()[0].bytes, [1, 0xfe]);
    assert_eq!((p.clock().stamps, p.clock().sample_is), (Stamps::First, SampleIs::Instant));
    assert_eq!(p.clock().rate_tol_ppm, 20_000.0);
    let rest = p.rest_check();
    assert!(
        (rest.acc_min_m_s2 - 8.825985).abs() < 1e-9 && (rest.gyro_max_rad_s.to_degrees() - 5.0).abs() < 1e-9
    );
    let mean = GOOD.replace("rate_hz = 100.0", "rate_hz = 100.0\nsample_is = \"interval-mean\"");
    assert_eq!(Profile::from_toml(&mean).expect("reads").clock().sample_is, SampleIs::IntervalMean);
}

#[test]
fn the_user_is_told_of_a_short_wrap_and_of_a_missing_counter() {
    let notices = |text: &str| Profile::from_toml(text).expect("reads").notices().join("; ");
    assert_eq!(notices(GOOD), "", "16 bits of 1 ms are 65 s");
    let fast = GOOD.replace("tick_us = 1000.0", "tick_us = 100.0");
    assert!(notices(&fast).contains("starts over every 6.6 s"), "{}", notices(&fast));
    let thingy = Profile::builtin("thingy52").expect("built in");
    assert!(notices(thingy).contains("timing is not reliable after a loss"));
}

#[test]
fn an_unknown_key_is_named_with_its_line() {
    for (line, from, to) in [
        (12, "hex = \"01 fe\"", "hex = \"01 fe\"\nwait = 3"),
        (2, "id = \"good\"", "ident = 1\nid = \"good\""),
        (15, "eq = 1 }", "eq = 1, mask = 3 }"),
        (29, "bits = 16", "bits = 16\nreset = 1"),
    ] {
        let error = broken(from, to);
        assert!(error.contains("unknown field"), "{error}");
        assert!(error.contains(&format!("line {line},")), "line {line}: {error}");
    }
    let error = broken("as = \"t_first\"", "as = \"t_start\"");
    assert!(error.contains("t_start") && error.contains("line 16"), "{error}");
    let error = broken("count = 1", "count = \"all\"");
    assert!(error.contains("\"rest\", \"payload\" or \"n\"") && error.contains("line 17"), "{error}");
    assert!(broken("rate_hz = 100.0", "rate_hz = 100.0\nrate_hz = 3.0").contains("duplicate key"));
}

#[test]
fn a_newer_schema_says_update_even_with_keys_unknown_here() {
    let text = GOOD.replace("profile = 1", "profile = 2\nshiny = true");
    assert_eq!(Profile::from_toml(&text).expect_err("newer"), ProfileError::Version(2));
    assert!(refusal(&text).contains("update peakorder"));
    assert!(broken("profile = 1\n", "").contains("write profile = 1"));
}

#[test]
fn contradictions_are_refused_in_plain_words() {
    for (from, to, place, words) in [
        ("id = \"good\"", "id = \"Good Strap\"", "id", "small letters"),
        ("service = \"180F\"", "service = \"18\"", "match, service", "'18' is not a UUID"),
        ("service = \"180F\"", "", "match", "is empty"),
        ("service = \"180F\"", "name_prefix = \"\"", "name_prefix", "every strap"),
        ("mtu_min = 40", "mtu_min = 18", "link, mtu_min", "between 23 and 517"),
        ("mtu_min = 40", "mtu_min = 40\nmtu_want = 30", "link, mtu_want", "outside"),
        ("mtu_min = 40", "interval_ms = [2.0]", "link, interval_ms", "7.5"),
        ("mtu_min = 40", "mtu_min = 24\ninterval_ms = [15.0]", "", ""),
        ("hex = \"01 fe\"", "hex = \"01 f\"", "setup 1", "pairs"),
        ("hex = \"01 fe\"", "", "setup 1", "hex is needed"),
        ("op = \"write\"", "op = \"subscribe\"", "setup 1", "hex is needed"),
        ("at = 0, eq", "at = 4, eq", "stream 1", "beyond the header"),
        ("as = \"t_first\"", "as = \"skip\"", "stream 1", "t_first and t_last"),
        ("f = \"u16\", as = \"t_first\"", "f = \"i16\", as = \"t_first\"", "stream 1", "unsigned"),
        ("bits = 16", "bits = 24", "stream 1", "wider than the time field"),
        ("bits = 16", "bits = 16\nstamps = \"last\"", "stream 1", "contradicts"),
        ("as = \"acc_z\"", "as = \"acc_y\"", "stream 1", "twice"),
        ("as = \"acc_z\"", "as = \"skip\"", "stream 1", "[merge]"),
        ("as = \"acc_z\"", "as = \"t_ns\"", "stream 1", "i64"),
        ("count = 1", "count = \"n\"", "stream 1", "header field n"),
        ("count = 1", "count = \"payload\"", "stream 1", "payload_len"),
        ("count = 1", "count = 9999", "stream 1", "4096"),
        ("unit = \"mg\"", "unit = \"dps\"", "scale, acc", "g, mg or m/s2"),
        ("mul = 0.1", "mul = 0.0", "scale, gyro", "other than 0"),
        ("tick_us = 1000.0", "", "clock, tick_us", "missing"),
        ("tick_us = 1000.0", "tick_us = -1.0", "clock, tick_us", "above 0"),
        ("kind = \"timestamp\"", "kind = \"none\"", "clock", "only"),
        ("bits = 16", "bits = 16\nseq_counts = \"samples\"", "seq_counts", "seq field"),
        ("bits = 16", "bits = 16\nperiod_tick_us = 1.0", "period_tick_us", "period"),
        ("bits = 16", "bits = 16\nevent = { tick_us = 1.0 }", "clock.event", "event_age"),
        ("restarted = 0x01", "restarted = 0x00", "flags", "share"),
        ("restarted = 0x01", "restarted = 0x03\ndropped = 0x02", "flags", "share"),
        ("f = \"u8\", as = \"flags\"", "f = \"u8\", as = \"skip\"", "flags", "no header"),
        ("rate_hz = 100.0", "", "sensor, rate_hz", "missing"),
        ("rate_hz = 100.0", "rate_hz = nan", "sensor, rate_hz", "above 0"),
        ("[flags]", "[selfcheck]\nrest_acc_g = [1.1, 0.9]\n[flags]", "rest_acc_g", "lowest"),
        (
            "[flags]",
            "[axes]\nacc = [[1,0,0],[1,0,0],[0,0,1]]\ngyro = [[1,0,0],[0,1,0],[0,0,1]]\n[flags]",
            "axes, acc",
            "exactly one",
        ),
        (
            "[flags]",
            "[axes]\nacc = [[1,0,0],[0,1,0],[0,0,1]]\ngyro = [[2,0,0],[0,1,0],[0,0,1]]\n[flags]",
            "axes, gyro",
            "exactly one",
        ),
        ("[flags]", "[merge]\nhow = \"nearest\"\nclock_of = \"gyro\"\n[flags]", "stream 1", "with [merge]"),
        (
            "[flags]",
            "[keepalive]\nchar = \"ffe9\"\nhex = \"00\"\nevery_s = 0.0\n[flags]",
            "every_s",
            "above 0",
        ),
        ("count = 1", "count = 1\nframe = { sync = \"55\", len = 20 }", "stream 1", "take 16 bytes"),
        (
            "count = 1",
            "count = 1\nframe = { sync = \"55\", len = 16 }",
            "stream 1",
            "takes the place of require",
        ),
        ("count = 1", "count = 1\njoin = { continue_at = 0, continue_eq = 1, drop = 1 }", "stream 1", "join"),
        ("count = 1", "count = 1\njoin = { continue_at = 0, continue_eq = 2, drop = 0 }", "stream 1", "drop"),
        ("layout = \"interleaved\"", "layout = \"delta_lsb\"", "stream 1", "count = \"rest\""),
    ] {
        if words.is_empty() {
            Profile::from_toml(&GOOD.replacen(from, to, 1)).expect("16 bytes fit an MTU of 24");
            continue;
        }
        let error = broken(from, to);
        assert!(error.contains(place) && error.contains(words), "{to}: {error}");
    }
}

#[test]
fn packets_must_fit_the_smallest_link() {
    let error = broken("count = 1", "count = 3");
    assert!(
        error.contains("a packet takes 40 bytes, an MTU of 40 carries 37; write mtu_min = 43"),
        "{error}"
    );
}

#[test]
fn streams_of_one_characteristic_must_be_told_apart() {
    let start = GOOD.find("[[stream]]").expect("stream");
    let end = GOOD.find("[scale]").expect("scale");
    let stream = &GOOD[start..end];
    let two = |second: &str| format!("{}{second}{}", &GOOD[..end], &GOOD[end..]);
    let error = refusal(&two(stream));
    assert!(error.contains("streams 1 and 2") && error.contains("tell them apart"), "{error}");
    Profile::from_toml(&two(&stream.replace("eq = 1", "eq = 2"))).expect("told apart by byte 0");
    Profile::from_toml(&two(&stream.replace("ffe4", "ffe5"))).expect("another characteristic");
    let mixed = refusal(&two(&stream.replace("eq = 1", "eq = 2").replace("t_first", "t_last")));
    assert!(mixed.contains("some streams have t_first, others t_last"), "{mixed}");
}

#[test]
fn common_clock_and_sample_times_need_each_other() {
    let text = Profile::builtin("common-clock-v1").expect("built in");
    assert!(
        refusal(&text.replace("kind = \"common\"", "kind = \"none\"\n[sensor]\nrate_hz = 9.0"))
            .contains("need each other")
    );
    assert!(refusal(&text.replace("{ f = \"i64\", as = \"t_ns\" },", "")).contains("need each other"));
    let profile = Profile::from_toml(text).expect("reads");
    assert!(profile.matching().is_none());
    assert_eq!(profile.channels(), ["samples"]);
    assert_eq!(profile.clock().nominal_rate_hz, 0.0);
}

#[test]
fn a_merge_that_a_loss_would_shift_is_refused() {
    let text = include_str!("profiles/adafruit.toml");
    for (how, words) in [("index", "survive a loss"), ("interpolate", "needs kind = \"timestamp\"")] {
        let error = refusal(&text.replace("how = \"nearest\"", &format!("how = \"{how}\"")));
        assert!(error.contains("merge, how") && error.contains(words), "{error}");
    }
    let gyro_only = text.replace("acc_x", "gyro_x").replace("acc_y", "gyro_y").replace("acc_z", "gyro_z");
    assert!(refusal(&gyro_only).contains("gyro only and streams with acc only"));
}

#[test]
fn a_text_that_is_no_profile_is_refused() {
    assert!(refusal("not toml at all").contains("line 1"));
    assert!(refusal(&" ".repeat(300 << 10)).contains("more than the limit"));
    assert!(refusal("profile = 1").contains("missing field"));
}
