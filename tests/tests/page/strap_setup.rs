//! Straps set up by tapping: found, told apart by a twist, checked. The Bluetooth service is a stand-in.

use crate::access::{axe, findings};
use crate::common::{SOON, address};
use peakorder_daemon::config::Config;
use peakorder_protocol::Role;
use peakorder_protocol::packet::{DATA_UUID, EVENT_AGE_UNKNOWN, RawCounts, ReferencePacket};
use peakorder_tests::bluez::{FakeBluez, straps};
use peakorder_tests::browser::{Browser, TABLET};
use peakorder_tests::test_server::TestServer;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

/// Packets of a reference strap (four samples at 208 Hz) that turns while it is the one that `turned` names.
fn packets(strap: usize, turned: Arc<AtomicUsize>) -> impl Iterator<Item = (f64, Vec<u8>)> {
    (0..9000_u32).map(move |k| {
        let first_s = f64::from(k) * 4.0 / 208.0;
        let on = turned.load(Ordering::Relaxed) == strap;
        let gyro = if on { [0, (3500.0 * (6.0 * first_s).sin()) as i16, 0] } else { [0; 3] };
        let samples = (0..4).map(|i| {
            let noise = ((k + i) % 3) as i16 - 1;
            RawCounts { gyro: gyro.map(|g| g + noise), acc: [noise, 2049, -noise] }
        });
        let packet = ReferencePacket {
            flags: 1,
            sequence: k as u16,
            t_first_us: (first_s * 1e6).round() as u32,
            period_fifth_us: 0,
            event_age_10us: EVENT_AGE_UNKNOWN,
            samples: samples.collect(),
        };
        let mut bytes = Vec::new();
        packet.encode(&mut bytes);
        (first_s + 0.02, bytes)
    })
}

#[test]
fn a_bay_needs_no_terminal() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let Some(air) = FakeBluez::with(straps()) else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::with_straps(&air, home.path());
    browser.goto(&address(&server, "lesson"));
    browser.tap("a[href='#straps']");
    browser.sees("Which strap is worn where", SOON);
    browser.tap("[data-key=scan]");
    browser.until(
        "three straps",
        "return document.querySelectorAll('[data-key^=place-]').length === 3",
        SOON,
    );
    browser.tap("[data-key=straps-stop]");
    browser.until("it to stop", "return document.querySelector('[data-key=scan]')?.disabled === false", SOON);

    let turned = Arc::new(AtomicUsize::new(usize::MAX));
    for strap in 0..3 {
        air.play(strap, DATA_UUID, Instant::now(), packets(strap, Arc::clone(&turned)));
    }
    browser.tap("[data-key=identify]");
    for (strap, name) in [(1, "pelvis"), (0, "thorax"), (2, "lead arm")] {
        browser.until(
            &format!("the {name} being asked for"),
            &format!("return document.querySelector('.twist')?.innerText.startsWith('Twist the strap on the {name} now') ?? false"),
            SOON,
        );
        turned.store(strap, Ordering::Relaxed);
    }
    browser.until(
        "all to have their place",
        "return document.querySelector('[data-key=check]')?.disabled === false",
        SOON,
    );
    turned.store(usize::MAX, Ordering::Relaxed);
    let config = Config::load(&air.bus().file("config.toml")).expect("a configuration");
    let worn = [(Role::Pelvis, 2), (Role::Thorax, 1), (Role::LeadArm, 3)];
    for (role, n) in worn {
        assert_eq!(config.straps[&role].id, format!("C0:FF:EE:00:00:0{n}"));
    }
    browser.tap("[data-key=check]");
    // On a busy machine the stand-in may be late, and then the check says so: the page shows what the daemon found.
    browser.until(
        "the figures",
        "return document.querySelectorAll('.wide-table tbody tr').length === 3",
        SOON,
    );
    let ready = server.get("/api/v1/straps").json()["ready"] == true;
    browser.sees(if ready { "Ready for a lesson." } else { "Not ready: see the problems." }, SOON);
    if let Some(axe) = axe() {
        assert_eq!(findings(&browser, &axe), Vec::<String>::new());
    }
}

#[test]
fn without_bluetooth_the_screen_says_what_to_do_and_the_demo_plays() {
    let Some(browser) = Browser::open(TABLET) else { return };
    let Some(air) = FakeBluez::silent() else { return };
    let home = tempfile::tempdir().expect("a folder");
    let server = TestServer::with_straps(&air, home.path());
    browser.goto(&address(&server, "straps"));
    browser.tap("[data-key=scan]");
    browser.sees("systemctl enable --now bluetooth", SOON);
    // From an empty library the demo is one tap.
    browser.goto(&address(&server, "lesson"));
    browser.tap("[data-key=demo]");
    browser.until(
        "the demo",
        "return document.querySelector('.frame .invented')?.innerText === 'Demo'",
        SOON,
    );
}
