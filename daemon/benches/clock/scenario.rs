//! Which straps and links are looked at.

use crate::delivery::{Model, Stamp};
use peakorder_motion::clock::StrapClock;
use peakorder_protocol::profile::Profile;

/// What a reconnect does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Reconnect {
    /// The strap's clock goes on.
    Continues,
    /// It begins anew and the packet says so.
    Restarts,
    /// It begins anew and nobody says so.
    RestartsSilently,
}

/// One kind of strap and link.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scenario {
    pub(crate) name: &'static str,
    pub(crate) model: Model,
    /// How long the link is lost, seconds.
    pub(crate) gap_s: (f64, f64),
    pub(crate) reconnect: Reconnect,
    /// The platform shows the connection interval.
    pub(crate) interval_known: bool,
    /// Held against the target. The others beat too slowly for any estimator: what counts
    /// there is that the stated uncertainty says so.
    pub(crate) counts: bool,
}

const fn scenario(name: &'static str, model: Model) -> Scenario {
    Scenario {
        name,
        model,
        gap_s: (3.0, 8.0),
        reconnect: Reconnect::Continues,
        interval_known: true,
        counts: true,
    }
}

/// All of them.
pub(crate) fn all() -> Vec<Scenario> {
    let usual = Model::usual();
    let rc = |share: f64, m: Model| Model { rc_share: Some(share), ..m };
    let count = |m: Model| Model { stamp: Stamp::Counter { bits: 16 }, ..m };
    let ms = |bits: u32, m: Model| Model { stamp: Stamp::Ticks { tick_s: 1e-3, bits }, ..m };
    let events = |m: Model| Model { event_stamps: true, ..m };
    let s = scenario;
    let slow = |name, model| Scenario { counts: false, ..s(name, model) };
    vec![
        s("208 Hz × 4, 15 ms, crystal-paced", usual),
        s("the same, sensor's own oscillator (± 1 %) paces, crystal stamps", rc(0.01, usual)),
        Scenario {
            reconnect: Reconnect::Restarts,
            ..s("208 Hz × 4, 15 ms, clock restarts at the reconnect", usual)
        },
        Scenario {
            reconnect: Reconnect::RestartsSilently,
            ..s("the same, nobody says that it restarted", usual)
        },
        s("208 Hz × 4, 15 ms, crowded band and busy host", usual.harsh()),
        s(
            "208 Hz × 4, 15 ms, strap comes from the cold (0 to 5 °C)",
            Model { from_celsius: (0.0, 5.0), ..usual },
        ),
        s("104 Hz × 3, 11.25 ms", Model::at(104.0, 3, 0.01125)),
        s("416 Hz × 8, 15 ms", Model::at(416.0, 8, 0.015)),
        s("208 Hz × 4, 15 ms, 1 ms stamps", ms(32, usual)),
        Scenario {
            gap_s: (60.0, 75.0),
            ..s(
                "208 Hz × 4, 15 ms, 1 ms stamps of 16 bits (wrap at 65.5 s), gaps of 60 to 75 s",
                ms(16, usual),
            )
        },
        s("208 Hz × 4, 15 ms, counter only, own oscillator ± 1 %", count(rc(0.01, usual))),
        s(
            "208 Hz × 4, 15 ms, counter of 8 bits (wrap at 4.9 s)",
            Model { stamp: Stamp::Counter { bits: 8 }, ..rc(0.01, usual) },
        ),
        s("208 Hz × 4, 15 ms, event stamps", events(usual)),
        s("200 Hz × 4, 15 ms (beat 5 ms), event stamps", events(Model::at(200.0, 4, 0.015))),
        s("the same, crowded band and busy host", events(Model::at(200.0, 4, 0.015)).harsh()),
        s("200 Hz × 10, 50 ms (beat 50 ms), event stamps", events(Model::at(200.0, 10, 0.05))),
        s("200 Hz × 4, 11.25 ms (beat 1.25 ms)", Model::at(200.0, 4, 0.01125)),
        slow("100 Hz × 1, 7.5 ms (beat 2.5 ms)", Model::at(100.0, 1, 0.0075)),
        slow("200 Hz × 4, 15 ms (beat 5 ms)", Model::at(200.0, 4, 0.015)),
        slow("200 Hz × 3, 15 ms (packet = interval)", Model::at(200.0, 3, 0.015)),
        slow(
            "200 Hz × 4, 15 ms, counter only, own oscillator ± 1 %",
            count(rc(0.01, Model::at(200.0, 4, 0.015))),
        ),
        slow(
            "200 Hz × 4, 15 ms, counter only, own oscillator ± 0.1 %",
            count(rc(0.001, Model::at(200.0, 4, 0.015))),
        ),
        slow(
            "200 Hz × 3, 15 ms, counter only, own oscillator ± 1 %",
            count(rc(0.01, Model::at(200.0, 3, 0.015))),
        ),
        slow(
            "200 Hz × 10, 50 ms, counter only, own oscillator ± 1 %",
            count(rc(0.01, Model::at(200.0, 10, 0.05))),
        ),
        slow(
            "208 Hz × 4, 15 ms, stamp taken when the processor reads the sensor (up to a sample late)",
            Model { stamp: Stamp::Read { tick_s: 1e-6, bits: 32, late_s: 1.0 / 208.0 }, ..usual },
        ),
        Scenario {
            interval_known: false,
            ..slow("208 Hz × 4, 15 ms, interval not shown by the platform", usual)
        },
    ]
}

impl Scenario {
    /// The product's clock for such a strap.
    pub(crate) fn clock(&self) -> StrapClock {
        let interval_s = self.interval_known.then_some(self.model.interval_s);
        let profile = Profile::from_toml(&self.profile()).expect("the profile is valid");
        let mut clock = StrapClock::new(&profile, 0.0, None, interval_s);
        clock.limits_mut().set_samples_per_packet(self.model.per_packet);
        clock
    }

    /// Packets carry the measured sample period, as the reference strap's do; coarse clocks
    /// and counters come from straps that do not send it.
    pub(crate) fn sends_period(&self) -> bool {
        matches!(self.model.stamp, Stamp::Ticks { tick_s, .. } | Stamp::Read { tick_s, .. } if tick_s < 1e-4)
    }

    fn profile(&self) -> String {
        let m = &self.model;
        let (header, clock) = match m.stamp {
            Stamp::Ticks { tick_s, bits } => stamped(tick_s, bits, "first"),
            Stamp::Read { tick_s, bits, .. } => stamped(tick_s, bits, "read"),
            Stamp::Counter { bits } => (
                format!("header = [ {{ f = \"u{bits}\", as = \"seq\" }} ]"),
                "[clock]\nkind = \"counter\"\nseq_counts = \"packets\"\n".to_owned(),
            ),
        };
        format!(
            "profile = 1\nid = \"clock-bench\"\nname = \"clock benchmark\"\n\
             [match]\nservice = \"f0b70001-5c3e-4d2a-9a6e-2f6d7374724b\"\n\
             [link]\ninterval_ms = [{interval}]\n\
             [[stream]]\nchar = \"f0b70003-5c3e-4d2a-9a6e-2f6d7374724b\"\nlayout = \"interleaved\"\n{header}\n\
             count = \"rest\"\nsample = [ {{ f = \"i16\", as = \"gyro_x\" }}, {{ f = \"i16\", as = \"gyro_y\" }}, \
             {{ f = \"i16\", as = \"gyro_z\" }}, {{ f = \"i16\", as = \"acc_x\" }}, {{ f = \"i16\", as = \"acc_y\" }}, \
             {{ f = \"i16\", as = \"acc_z\" }} ]\n\
             [scale]\ngyro = {{ mul = 0.07, unit = \"dps\" }}\nacc = {{ mul = 0.5, unit = \"mg\" }}\n\
             {clock}\n\
             [sensor]\nrate_hz = {rate:.1}\nrate_tol_ppm = {tol}\npaced_by = \"{paced}\"\n",
            interval = m.interval_s * 1e3,
            rate = m.rate_hz,
            // What a data sheet would say: twice what these straps show at most.
            tol = m.rc_share.map_or(100, |share| (share * 2e6) as u32),
            paced = if m.rc_share.is_some() { "imu" } else { "timer" },
        )
    }
}

/// Header and clock of packets with a time stamp.
fn stamped(tick_s: f64, bits: u32, stamps: &str) -> (String, String) {
    let header = format!(
        "header = [ {{ f = \"u16\", as = \"seq\" }}, {{ f = \"u{bits}\", as = \"t_first\" }}, \
         {{ f = \"u16\", as = \"event_age\" }} ]"
    );
    let clock = format!(
        "[clock]\nkind = \"timestamp\"\ntick_us = {:.1}\nbits = {bits}\nstamps = \"{stamps}\"\n\
         seq_counts = \"packets\"\n[clock.event]\ntick_us = 10.0\nunknown = 0xffff\n",
        tick_s * 1e6
    );
    (header, clock)
}
