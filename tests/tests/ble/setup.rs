//! What comes before a session: finding, assigning, checking and aligning straps.

use crate::common::{assign, moving, out_dir, run, still, straps};
use peakorder_daemon::config::Config;
use peakorder_protocol::Role;
use peakorder_protocol::packet::DATA_UUID;
use peakorder_protocol::session::SessionDir;
use peakorder_tests::bluez::{DaemonRun, FakeBluez, Peer, wait};
use serde_json::Value;
use std::time::Instant;

#[test]
fn scan_finds_three_straps_among_twenty_other_devices() {
    let mut peers = straps();
    peers[1].advertised_battery = Some(57);
    // Heart-rate belts, keyboards and such; one that lies about its name.
    peers.extend((1..=20).map(|k| Peer::stranger(k, 0x180d + u16::from(k))));
    peers[5].name = "evil \u{1b}[2J".into();
    let Some(air) = FakeBluez::with(peers) else { return };
    assign(&air, 1, "ref-strap-v1");
    let ended = DaemonRun::start(&air, ["scan", "--seconds", "2", "--json"]).end(20).with_code(0);
    let lines: Vec<Value> = ended.out.iter().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(lines.len(), 3, "{lines:?}");
    for line in &lines {
        assert_eq!(line["profile"], "ref-strap-v1");
        assert!(line["rssi_dbm"].as_i64().is_some_and(|r| (-63..=-61).contains(&r)));
    }
    let one = |address: &str| lines.iter().find(|l| l["id"] == address).unwrap();
    assert_eq!(one("C0:FF:EE:00:00:01")["worn_on"], "pelvis");
    assert_eq!(one("C0:FF:EE:00:00:02")["battery_percent"], 57);

    // For people, with every device and the battery levels that must be asked for.
    let ended = DaemonRun::start(&air, ["scan", "--seconds", "1", "--all", "--battery"]).end(20).with_code(0);
    let table = ended.out.join("\n");
    assert_eq!(ended.out.len(), 24, "heading and 23 devices:\n{table}");
    assert!(table.contains("81 %") && table.contains("57 %") && table.contains("83 %"), "{table}");
    assert!(!table.contains('\u{1b}'), "{table}");
    assert_eq!(air.rude_attempts(), 0);
}

#[test]
fn check_says_what_is_good_and_what_is_not() {
    let mut peers = straps();
    peers[2].services[1].1[0].value = vec![5];
    let Some(air) = FakeBluez::with(peers) else { return };
    assign(&air, 3, "ref-strap-v1");
    let program = DaemonRun::start(&air, ["check", "--seconds", "6", "--json"]);
    wait("all straps are subscribed", 20, || (0..3).all(|i| air.look(i, Peer::streams)));
    let from = Instant::now();
    air.play(0, DATA_UUID, from, still(30.0));
    // Every tenth packet of the thorax strap is lost.
    air.play(1, DATA_UUID, from, still(30.0).enumerate().filter(|(k, _)| k % 10 != 9).map(|(_, p)| p));
    air.play(2, DATA_UUID, from, still(30.0));
    let ended = program.end(40).with_code(1);
    let whole: Value = serde_json::from_str(&ended.out.join("")).unwrap();
    assert_eq!(whole["ready"], false);
    let strap = |role: &str| &whole["straps"][role];
    let rate = strap("pelvis")["rate_hz"].as_f64().unwrap();
    assert!((rate / 208.0 - 1.0).abs() < 0.02, "{rate}");
    assert_eq!(strap("pelvis")["lost_samples"], 0);
    assert!((strap("pelvis")["still_acc_g"].as_f64().unwrap() - 1.0).abs() < 0.01);
    let lost = strap("thorax")["lost_percent"].as_f64().unwrap();
    assert!((lost - 10.0).abs() < 1.5, "{lost}");
    let problems = |role: &str| {
        let verdicts = strap(role)["verdicts"].as_array().unwrap();
        let problem = |v: &&Value| v["weight"] == "problem";
        verdicts.iter().filter(problem).map(|v| v["text"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert!(problems("thorax").iter().any(|t| t.contains("lost")), "{:?}", problems("thorax"));
    assert!(problems("lead_arm").iter().any(|t| t.contains("battery 5 %")), "{:?}", problems("lead_arm"));
    assert_eq!(problems("pelvis"), [""; 0]);
}

/// A rate that a hand could give two straps held together, deg/s: three axes, up to 3 Hz.
fn hand(t: f64) -> [f64; 3] {
    let line = |hz: f64, phase: f64| (std::f64::consts::TAU * hz * t + phase).sin();
    [
        300.0 * line(1.1, 0.3) + 150.0 * line(2.7, 1.0),
        320.0 * line(1.7, 2.0) + 120.0 * line(0.6, 0.1),
        250.0 * line(1.3, 4.0) + 150.0 * line(2.3, 5.0),
    ]
}

#[test]
fn twisting_two_straps_together_finds_the_difference_of_their_latencies() {
    let Some(air) = FakeBluez::with(straps()) else { return };
    assign(&air, 2, "ref-strap-v1");
    let program = DaemonRun::start(&air, ["align"]);
    wait("both straps are subscribed", 20, || (0..2).all(|i| air.look(i, Peer::streams)));
    let from = Instant::now();
    air.play(0, DATA_UUID, from, moving(40.0, 0.0, hand));
    // The other one is worn the other way round, and its packets come in 12 ms later.
    let turned = |t: f64| {
        let [x, y, z] = hand(t);
        [-y, x, z]
    };
    air.play(1, DATA_UUID, from, moving(40.0, 0.012, turned));
    let _ = program.end(40).with_code(0);
    let config = Config::load(&air.bus().file("config.toml")).unwrap();
    let alignment = |role: Role| config.straps[&role].alignment.clone().unwrap();
    let (pelvis, thorax) = (alignment(Role::Pelvis), alignment(Role::Thorax));
    let lag = thorax.latency_ms - pelvis.latency_ms;
    println!("{lag} ± {} ms", 1.96 * thorax.sd_ms);
    // Both wait alike for their connection events; the scheduler's lateness remains.
    assert!((lag - 12.0).abs() < 1.0, "{thorax:?}");
    // Straps that stamp their connection events: ± 0.8 ms in the first half minute.
    assert!((0.2..0.5).contains(&thorax.sd_ms), "{thorax:?}");
    assert_eq!(pelvis.at_utc, thorax.at_utc);
    // And a new session takes it off.
    let program = run(&air, &["--seconds", "1"]);
    let _ = program.end(30).with_code(0);
    let (_, session) = SessionDir::open(&out_dir(&air)).unwrap();
    assert!((session.straps[&Role::Thorax].latency_ms - lag).abs() < 1e-9);
    assert_eq!(session.straps[&Role::Thorax].latency_sd_ms, Some(thorax.sd_ms));
}

#[test]
fn straps_are_identified_by_twisting_them() {
    let Some(air) = FakeBluez::with(straps()) else { return };
    let program = DaemonRun::start(&air, ["straps", "identify", "lead-arm", "pelvis"]);
    wait("all straps are subscribed", 30, || (0..3).all(|i| air.look(i, Peer::streams)));
    let from = Instant::now();
    let sway = |_: f64| [2.0, -3.0, 1.0];
    let twist = |t: f64| [0.0, 250.0 * (6.0 * t).sin(), 0.0];
    // The second strap is twisted first; once the program has it, the third one is.
    air.play(0, DATA_UUID, from, moving(60.0, 0.0, sway));
    let (one, other) = (0.0, 13.0);
    air.play(
        1,
        DATA_UUID,
        from,
        moving(60.0, 0.0, move |t| if (one..6.0).contains(&t) { twist(t) } else { sway(t) }),
    );
    air.play(
        2,
        DATA_UUID,
        from,
        moving(60.0, 0.0, move |t| if (6.5..other).contains(&t) { twist(t) } else { sway(t) }),
    );
    let ended = program.end(60).with_code(0);
    assert!(
        ended.said("lead arm: C0:FF:EE:00:00:02") && ended.said("pelvis: C0:FF:EE:00:00:03"),
        "{:?}",
        ended.out
    );
    let listed = DaemonRun::start(&air, ["straps", "--json"]).end(10).with_code(0);
    let listed: Value = serde_json::from_str(&listed.out.join("")).unwrap();
    assert_eq!(listed["pelvis"]["id"], "C0:FF:EE:00:00:03");
    assert_eq!(listed["lead_arm"]["profile"], "ref-strap-v1");
}

#[test]
fn doctor_says_what_would_stop_a_session() {
    let Some(air) = FakeBluez::with(straps()) else { return };
    let folder = air.bus().folder().to_str().unwrap().to_owned();
    assign(&air, 3, "ref-strap-v1");
    let ended = DaemonRun::start(&air, ["doctor", "--out", &folder]).end(20).with_code(0);
    assert!(
        ended.said("is on") && ended.said("MB free") && ended.said("pelvis C0:FF:EE:00:00:01"),
        "{:?}",
        ended.out
    );

    // A port of the system's choice, held and then given back.
    let held = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = held.local_addr().unwrap().port().to_string();
    let ended = DaemonRun::start(&air, ["doctor", "--out", &folder, "--port", &port]).end(20).with_code(0);
    assert!(ended.said(&format!("port: {port} is taken")), "{:?}", ended.out);
    drop(held);
    let ended = DaemonRun::start(&air, ["doctor", "--out", &folder, "--port", &port]).end(20).with_code(0);
    assert!(ended.said(&format!("port: {port} is free")), "{:?}", ended.out);

    assign(&air, 3, "no-such-profile");
    let ended = DaemonRun::start(&air, ["doctor", "--out", "/nowhere"]).end(20).with_code(1);
    assert!(ended.said("no-such-profile"), "{:?}", ended.out);

    let Some(air) = FakeBluez::switched_off() else { return };
    let ended = DaemonRun::start(&air, ["doctor", "--out", &folder]).end(20).with_code(1);
    assert!(ended.said("rfkill unblock bluetooth"), "{:?}", ended.out);
}

#[test]
fn without_a_bluetooth_service_the_program_says_how_to_start_it() {
    let Some(air) = FakeBluez::silent() else { return };
    for command in [vec!["doctor"], vec!["scan", "--seconds", "1"]] {
        let ended = DaemonRun::start(&air, command).end(20).with_code(1);
        assert!(ended.said("systemctl enable --now bluetooth"), "{:?} {:?}", ended.out, ended.err);
    }
}

#[test]
fn profile_check_decodes_pasted_bytes() {
    let Some(air) = FakeBluez::silent() else { return };
    // Layout: protocol/src/packet.rs. One sample: 1000, -1000, 0 counts and one g up.
    let hex = "11 00 0700 40420f00 0000 ffff e803 18fc 0000 0000 0108 0000";
    let ended = DaemonRun::start(&air, ["profile", "check", "ref-strap-v1", "--json", "--hex", hex])
        .end(20)
        .with_code(0);
    let shown: Value = serde_json::from_str(&ended.out.join("")).unwrap();
    assert_eq!(shown[0]["seq"], 7);
    assert!((shown[0]["t_s"].as_f64().unwrap() - 1.0).abs() < 1e-9);
    assert!((shown[0]["gyro_dps"][1].as_f64().unwrap() + 70.0).abs() < 1e-6);
    assert!((shown[0]["acc_g"][1].as_f64().unwrap() - 1.0).abs() < 1e-3);
    let ended =
        DaemonRun::start(&air, ["profile", "check", "ref-strap-v1", "--hex", "1100"]).end(20).with_code(1);
    assert!(ended.said("notification 1 (2 bytes)"), "{:?}", ended.err);
}
