//! Is the signal good enough for a lesson? Figures of one strap's stream, and findings.

use super::rest_check::{RestFigures, RestFinder};
use super::straps::{Incoming, IncomingKind};
use peakorder_analysis::words::quality::clock_doubt;
use peakorder_analysis::words::strap::rest_fault;
use peakorder_motion::clock::StrapClock;
use peakorder_motion::clock::time::SessionTime;
use peakorder_motion::stream::StrapStream;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::log::StrapEventKind;
use peakorder_protocol::profile::{ClockKind, Profile, STANDARD_GRAVITY};
use serde::Serialize;

/// Upper edges of the gap histogram, milliseconds; the last class is open.
pub const GAP_EDGES_MS: [f64; 6] = [10.0, 20.0, 50.0, 100.0, 200.0, 500.0];
/// A rest of this length is looked for, seconds.
const REST_S: f64 = 1.0;
/// Lateness is kept from here on: before, the clock's offset is still being found, seconds.
const SETTLED_S: f64 = 2.0;

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Weight {
    /// Worth knowing.
    Note,
    /// To be put right before the lesson.
    Problem,
}

/// One finding: what, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// How much it matters.
    pub weight: Weight,
    /// In plain words.
    pub text: String,
}

/// Figures of one strap.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SignalReport {
    /// From the first to the last arrival, seconds.
    pub seconds: f64,
    /// Samples that came in.
    pub samples: u64,
    /// Samples a second, the lost ones included.
    pub rate_hz: Option<f64>,
    /// What the profile states, Hz.
    pub nominal_rate_hz: f64,
    /// Samples missing by the strap's own count; absent if it has none.
    pub lost_samples: Option<u64>,
    /// Their share, percent.
    pub lost_percent: Option<f64>,
    /// Notifications that could not be decoded.
    pub bad_packets: u64,
    /// Arrivals by the gap before them: up to each of [`GAP_EDGES_MS`], and above.
    pub gaps: [u64; GAP_EDGES_MS.len() + 1],
    /// Median gap, milliseconds.
    pub gap_median_ms: Option<f64>,
    /// Longest gap, milliseconds.
    pub gap_max_ms: Option<f64>,
    /// How late packets come after the earliest ones, median, milliseconds.
    pub late_median_ms: Option<f64>,
    /// 95th percentile of that, milliseconds.
    pub late_p95_ms: Option<f64>,
    /// Standard uncertainty of the strap's time against a like strap's, milliseconds.
    pub clock_sd_ms: f64,
    /// Battery level, percent.
    pub battery_percent: Option<u8>,
    /// Gyroscope noise at rest, degrees a second (standard deviation per axis).
    pub still_gyro_sd_dps: Option<f64>,
    /// Median |acc| at rest, g.
    pub still_acc_g: Option<f64>,
    /// Largest rate of any axis, degrees a second.
    pub gyro_max_dps: f64,
    /// Range of the gyroscope if stated, degrees a second.
    pub gyro_range_dps: Option<f64>,
    /// Samples at the sensor's limit.
    pub clipped_samples: u64,
    /// What is to be said about it.
    #[serde(rename = "verdicts")]
    pub findings: Vec<Finding>,
}

/// Measures one strap's stream.
pub struct SignalMeter {
    profile: Profile,
    stream: StrapStream,
    rest: RestFinder,
    still: Option<RestFigures>,
    first_ns: Option<u64>,
    last_ns: u64,
    first_n: u64,
    gaps_ms: Vec<f64>,
    late_ms: Vec<f64>,
    gyro_max: f64,
    restarts: u32,
    lost_links: u32,
    battery_percent: Option<u8>,
}

fn quantile(sorted: &[f64], q: f64) -> Option<f64> {
    (!sorted.is_empty()).then(|| sorted[((sorted.len() - 1) as f64 * q).round() as usize])
}

fn sorted(values: &[f64]) -> Vec<f64> {
    let mut v = values.to_vec();
    v.sort_by(f64::total_cmp);
    v
}

impl SignalMeter {
    /// For a strap of `profile` whose constant latency is known to `latency_sd_s` (absent:
    /// never aligned physically).
    pub fn new(profile: &Profile, latency_sd_s: Option<f64>) -> Self {
        Self {
            profile: profile.clone(),
            stream: StrapStream::new(profile, StrapClock::new(profile, 0.0, latency_sd_s, None)),
            rest: RestFinder::default(),
            still: None,
            first_ns: None,
            last_ns: 0,
            first_n: 0,
            gaps_ms: Vec::new(),
            late_ms: Vec::new(),
            gyro_max: 0.0,
            restarts: 0,
            lost_links: 0,
            battery_percent: None,
        }
    }

    /// The strap's stream.
    pub fn stream(&self) -> &StrapStream {
        &self.stream
    }

    /// Takes what came in from the strap.
    pub fn push(&mut self, item: &Incoming) {
        if item.pass_to(&mut self.stream) {
            self.look(item.t_ns);
        }
        match &item.kind {
            IncomingKind::Event(StrapEventKind::Battery { percent }) => self.battery_percent = Some(*percent),
            IncomingKind::Event(StrapEventKind::Disconnected { .. }) => self.lost_links += 1,
            _ => {}
        }
    }

    /// Looks at what the notification at `t_ns` brought.
    fn look(&mut self, t_ns: u64) {
        match self.first_ns {
            None => self.first_ns = Some(t_ns),
            Some(_) => self.gaps_ms.push(t_ns.saturating_sub(self.last_ns) as f64 * 1e-6),
        }
        self.last_ns = t_ns;
        let since_s = t_ns.saturating_sub(self.first_ns.unwrap_or(t_ns)) as f64 * 1e-9;
        let received = self.stream.received();
        for packet in received.packets {
            self.restarts += u32::from(packet.restarted);
            if self.first_n == 0 {
                self.first_n = packet.n as u64;
            }
            if since_s > SETTLED_S {
                let late_s = packet.arrival.since_s(packet.newest) - self.profile.clock().group_delay_s;
                self.late_ms.push(late_s * 1e3);
            }
        }
        let rest_samples = (self.profile.clock().nominal_rate_hz.max(10.0) * REST_S) as usize;
        for sample in received.samples {
            self.gyro_max = self.gyro_max.max(sample.gyro.amax());
            if let Some(figures) = self.rest.push(sample.gyro, sample.acc, rest_samples)
                && self.still.is_none_or(|s| figures.gyro_sd_rad_s < s.gyro_sd_rad_s)
            {
                self.still = Some(figures);
            }
        }
    }

    /// Figures and findings so far, at session time `now`.
    pub fn report(&self, now: SessionTime) -> SignalReport {
        let seconds = self.first_ns.map_or(0.0, |f| self.last_ns.saturating_sub(f) as f64 * 1e-9);
        let info = self.profile.clock();
        let counts = self.stream.counts();
        let counted = info.kind != ClockKind::None;
        // The first packet's samples were taken before the time that is measured.
        let rate_hz = (seconds > 1.0).then(|| (counts.samples - self.first_n + counts.lost) as f64 / seconds);
        let gaps = sorted(&self.gaps_ms);
        let late = sorted(&self.late_ms);
        let mut histogram = [0; GAP_EDGES_MS.len() + 1];
        for gap in &gaps {
            histogram[GAP_EDGES_MS.iter().position(|edge| gap <= edge).unwrap_or(GAP_EDGES_MS.len())] += 1;
        }
        let mut report = SignalReport {
            seconds,
            samples: counts.samples,
            rate_hz,
            nominal_rate_hz: info.nominal_rate_hz,
            lost_samples: counted.then_some(counts.lost),
            lost_percent: (counted && counts.samples > 0)
                .then(|| 100.0 * counts.lost as f64 / (counts.samples + counts.lost) as f64),
            bad_packets: counts.bad_packets,
            gaps: histogram,
            gap_median_ms: quantile(&gaps, 0.5),
            gap_max_ms: gaps.last().copied(),
            late_median_ms: quantile(&late, 0.5),
            late_p95_ms: quantile(&late, 0.95),
            clock_sd_ms: self.stream.clock().state(now).sd_s * 1e3,
            battery_percent: self.battery_percent,
            still_gyro_sd_dps: self.still.map(|s| s.gyro_sd_rad_s.to_degrees()),
            still_acc_g: self.still.map(|s| s.acc_m_s2 / STANDARD_GRAVITY),
            gyro_max_dps: self.gyro_max.to_degrees(),
            gyro_range_dps: info.gyro_range_rad_s.map(f64::to_degrees),
            clipped_samples: counts.clipped,
            findings: Vec::new(),
        };
        report.findings = self.findings(&report, now);
        report
    }

    fn findings(&self, r: &SignalReport, now: SessionTime) -> Vec<Finding> {
        let mut all = Vec::new();
        let mut say = |weight, text: String| all.push(Finding { weight, text });
        if self.lost_links > 0 {
            say(
                Weight::Problem,
                format!(
                    "its link was lost {} time(s) during the check: charge it, come nearer",
                    self.lost_links
                ),
            );
        }
        if r.samples == 0 {
            let text = if r.bad_packets > 0 {
                format!(
                    "nothing of what it sends can be read: profile '{}' does not fit this strap",
                    self.profile.id()
                )
            } else {
                "nothing came in: switch it on, charge it, bring it near, and close other programs that use it".into()
            };
            say(Weight::Problem, text);
            return all;
        }
        let packets = (self.gaps_ms.len() + 1) as u64;
        if r.bad_packets * 100 > packets {
            say(
                Weight::Problem,
                format!(
                    "{} of {packets} packets cannot be read: profile '{}' does not fit this strap or its settings",
                    r.bad_packets,
                    self.profile.id()
                ),
            );
        }
        match r.lost_percent {
            Some(lost) if lost > 1.0 => say(
                Weight::Problem,
                format!(
                    "{lost:.1} % of the samples are lost: come nearer with the computer, keep bodies and metal out of \
                     the way, switch other Bluetooth devices off"
                ),
            ),
            Some(lost) if lost > 0.1 => say(Weight::Note, format!("{lost:.2} % of the samples are lost")),
            Some(_) => {}
            None => say(
                Weight::Note,
                "the strap sends no counter: a loss cannot be seen and shifts its times until the next pause"
                    .into(),
            ),
        }
        if let Some(rate) = r.rate_hz
            && r.nominal_rate_hz > 0.0
        {
            let off = rate / r.nominal_rate_hz - 1.0;
            // The ends of the stretch are uncertain by a packet or two.
            let allowed = self.profile.clock().rate_tol_ppm * 1e-6 + 0.1 / r.seconds;
            if off.abs() > allowed {
                say(
                    Weight::Problem,
                    format!(
                        "{rate:.1} samples a second instead of {:.0}: set the strap to the rate of its profile, or \
                         correct the profile",
                        r.nominal_rate_hz
                    ),
                );
            }
        }
        if let Some(gap) = r.gap_max_ms {
            if gap > 500.0 {
                say(
                    Weight::Problem,
                    format!(
                        "nothing came in for {gap:.0} ms: swings with such a gap cannot be measured; come nearer"
                    ),
                );
            } else if gap > 150.0 {
                say(
                    Weight::Note,
                    format!("longest pause between two packets {gap:.0} ms (packets come late, not lost)"),
                );
            }
        }
        let clock = self.stream.clock().state(now);
        if clock.settling {
            say(Weight::Note, "its clock has not settled yet: check for longer".into());
        } else if let Some(why) = clock.uncertain.map(clock_doubt) {
            say(
                Weight::Problem,
                format!(
                    "its times are known to ± {:.1} ms only: {why}; gaps shorter than that will be called unresolved. \
                     A strap that stamps its connection events does not have this limit",
                    Z95 * r.clock_sd_ms
                ),
            );
        }
        if self.restarts > 0 {
            say(
                Weight::Problem,
                format!("it restarted {} time(s) during the check: charge it", self.restarts),
            );
        }
        match r.battery_percent {
            Some(p) if p < 10 => say(Weight::Problem, format!("battery {p} %: charge it before the lesson")),
            Some(p) if p < 25 => say(Weight::Note, format!("battery {p} %: charge it soon")),
            _ => {}
        }
        match &self.still {
            Some(figures) => {
                if let Some(fault) = figures.judge(&self.profile) {
                    say(Weight::Problem, rest_fault(figures.acc_m_s2, figures.gyro_rad_s, &fault));
                }
                let noise = figures.gyro_sd_rad_s.to_degrees();
                if noise > 1.0 {
                    say(Weight::Note, format!("its gyroscope is noisy at rest ({noise:.1} °/s): lay it on a firm table"));
                }
            }
            None => say(
                Weight::Note,
                "it was never still: lay it on a table for the check, so that its scale and noise can be seen".into(),
            ),
        }
        if r.clipped_samples > 0 {
            say(
                Weight::Problem,
                format!(
                    "{} samples are at the sensor's limit{}: set a wider range on the strap",
                    r.clipped_samples,
                    r.gyro_range_dps.map(|d| format!(" (gyroscope ±{d:.0} °/s)")).unwrap_or_default()
                ),
            );
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_protocol::Role;
    use peakorder_protocol::log::Record;
    use peakorder_virtual_straps::{LinkModel, PlayerParams, Population, PracticeOptions, Script};

    fn reference() -> Profile {
        Profile::from_toml(Profile::builtin("ref-strap-v1").unwrap()).unwrap()
    }

    fn measured(link: LinkModel) -> (SignalReport, u64) {
        let player = PlayerParams::drawn_from(Population::Amateur, 3);
        let options = PracticeOptions { calibration: false, ..PracticeOptions::default() };
        let script = Script::practice(3, player, 3, &options);
        let mut straps = script.straps().clone();
        straps.link = link;
        let session = script.with_straps(straps).session();
        let mut meter = SignalMeter::new(&reference(), None);
        let incoming = |t_ns, kind| Incoming { strap: 0, t_ns, kind };
        meter.push(&incoming(0, IncomingKind::Event(StrapEventKind::Battery { percent: 80 })));
        let mut last = 0;
        let mut sequences = Vec::new();
        for record in session.records() {
            if let Record::Arrival(a) = record
                && a.role == Role::Pelvis
            {
                last = a.t_ns;
                sequences.push(u64::from(u16::from_le_bytes([a.bytes[2], a.bytes[3]])));
                meter.push(&incoming(a.t_ns, IncomingKind::Packet { channel: a.channel, bytes: a.bytes }));
            }
        }
        // Packets missing between the first and the last that came in, four samples each.
        let missing = (sequences[sequences.len() - 1] - sequences[0] + 1 - sequences.len() as u64) * 4;
        (meter.report(SessionTime::from_ns(last)), missing)
    }

    #[test]
    fn a_good_link_has_its_figures_and_nothing_to_complain_of() {
        let (report, missing) = measured(LinkModel { drop: 0.0, bursts_per_min: 0.0, ..LinkModel::normal() });
        assert_eq!((report.lost_samples, missing), (Some(0), 0));
        let rate = report.rate_hz.unwrap();
        // The sensor's oscillator may be off by 2 % (its profile's tolerance).
        assert!((rate / 208.0 - 1.0).abs() < 0.021, "{rate}");
        assert_eq!(report.gaps.iter().sum::<u64>() + 1, report.samples / 4);
        assert!(report.clock_sd_ms < 0.5, "{}", report.clock_sd_ms);
        let problems: Vec<_> = report.findings.iter().filter(|v| v.weight == Weight::Problem).collect();
        assert!(problems.is_empty(), "{problems:?}");
    }

    #[test]
    fn loss_is_counted_exactly_and_spoken_of() {
        let (report, missing) = measured(LinkModel { drop: 0.05, ..LinkModel::normal() });
        assert!(missing > 0);
        assert_eq!(report.lost_samples, Some(missing));
        assert!(report.findings.iter().any(|v| v.weight == Weight::Problem && v.text.contains("lost")));
    }

    #[test]
    fn silence_and_a_wrong_profile_are_told_apart() {
        let meter = SignalMeter::new(&reference(), None);
        assert!(meter.report(SessionTime::from_s(10.0)).findings[0].text.contains("switch it on"));
        let mut meter = SignalMeter::new(&reference(), None);
        for k in 0..50_u64 {
            let kind = IncomingKind::Packet { channel: 0, bytes: vec![0x99; 20] };
            meter.push(&Incoming { strap: 0, t_ns: k * 20_000_000, kind });
        }
        assert!(meter.report(SessionTime::from_s(1.0)).findings[0].text.contains("does not fit"));
    }
}
