//! Status of the straps, from the records that the engine took.

use super::figures::StrapFigures;
use super::views::StrapStatus;
use peakorder_analysis::words::strap::gyro_settling;
use peakorder_motion::pipeline::Pipeline;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::round;
use peakorder_protocol::log::{Record, StrapEvent, StrapEventKind};
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::Session;
use std::collections::{BTreeMap, VecDeque};
use std::fmt::Write as _;

/// Counts are kept this long, s.
const KEPT_S: f64 = 10.0;
/// Counts are taken this often, s.
const EVERY_S: f64 = 0.5;
/// The rate is taken over this long, s.
const RATE_OVER_S: f64 = 4.0;
/// A strap counts as silent after this long without a sample, s.
const SILENT_S: f64 = 1.5;

#[derive(Debug, Clone, Copy)]
struct Count {
    t_s: f64,
    samples: u64,
    lost: u64,
}

#[derive(Debug, Default)]
struct StrapState {
    name: String,
    nominal_hz: f64,
    connected: bool,
    battery_percent: Option<f64>,
    counts: VecDeque<Count>,
    /// All so far: samples and lost samples.
    total: [u64; 2],
    latest_s: Option<f64>,
    clock_sd_ms: Option<f64>,
    gyro_bias_sd_dps: Option<f64>,
    gyro_settling_s: Option<f64>,
}

/// The straps of a running lesson.
#[derive(Debug, Default)]
pub struct StrapMonitor {
    straps: BTreeMap<Role, StrapState>,
    counted_s: f64,
}

impl StrapMonitor {
    /// The straps of `session`, none heard yet.
    pub fn new(session: &Session) -> Self {
        let straps = session
            .straps
            .iter()
            .map(|(role, strap)| {
                let nominal_hz =
                    Profile::from_toml(&strap.profile_toml).map_or(0.0, |p| p.clock().nominal_rate_hz);
                (*role, StrapState { name: strap.name.clone(), nominal_hz, ..StrapState::default() })
            })
            .collect();
        Self { straps, counted_s: f64::NEG_INFINITY }
    }

    /// Updates the status by the records that the engine took, at session time `now_s`.
    pub fn update(&mut self, records: &[Record], pipeline: &Pipeline, now_s: f64) {
        for record in records {
            match record {
                Record::Strap(event) => self.strap_event(event),
                Record::Arrival(arrival) => {
                    if let Some(strap) = self.straps.get_mut(&arrival.role) {
                        strap.latest_s = Some(arrival.t_ns as f64 * 1e-9);
                    }
                }
                Record::Mark(_) => {}
            }
        }
        self.count(pipeline);
        if now_s - self.counted_s < EVERY_S {
            return;
        }
        self.counted_s = now_s;
        for figures in pipeline.streams(now_s) {
            let Some(strap) = self.straps.get_mut(&figures.role) else { continue };
            strap.clock_sd_ms = (!figures.clock_settling).then_some(figures.clock_sd_s * 1e3);
            let heard = figures.counts.samples > 0;
            strap.gyro_bias_sd_dps = heard.then_some(figures.bias_sd_rad_s.to_degrees());
            strap.gyro_settling_s = figures.bias_settling.filter(|_| heard).map(|s| s.left_s);
            strap.counts.push_back(Count {
                t_s: now_s,
                samples: figures.counts.samples,
                lost: figures.counts.lost,
            });
            while strap.counts.front().is_some_and(|t| t.t_s < now_s - KEPT_S) {
                strap.counts.pop_front();
            }
        }
    }

    fn strap_event(&mut self, event: &StrapEvent) {
        let Some(strap) = self.straps.get_mut(&event.role) else { return };
        match event.what {
            StrapEventKind::Connected { .. } => strap.connected = true,
            StrapEventKind::Disconnected { .. } => strap.connected = false,
            StrapEventKind::Battery { percent } => strap.battery_percent = Some(f64::from(percent)),
            _ => {}
        }
    }

    /// Takes over how many samples have come so far.
    pub fn count(&mut self, pipeline: &Pipeline) {
        for (role, counts) in pipeline.counts() {
            if let Some(strap) = self.straps.get_mut(&role) {
                strap.total = [counts.samples, counts.lost];
            }
        }
    }

    /// Samples and lost samples so far, by the index of the role.
    pub fn counts(&self) -> ([u64; 3], [u64; 3]) {
        let of = |i: usize| Role::ALL.map(|role| self.straps.get(&role).map_or(0, |s| s.total[i]));
        (of(0), of(1))
    }

    /// How each strap stands, in figures.
    pub fn figures(&self) -> Vec<StrapFigures> {
        let figures = |(role, strap): (&Role, &StrapState)| StrapFigures {
            role: *role,
            connected: strap.connected,
            battery_percent: strap.battery_percent,
            clock_sd_s: strap.clock_sd_ms.map(|ms| ms * 1e-3),
        };
        self.straps.iter().map(figures).collect()
    }

    /// How many straps are connected, and how many there are.
    pub fn connected(&self) -> [usize; 2] {
        [self.straps.values().filter(|s| s.connected).count(), self.straps.len()]
    }

    /// The status as the page shows it, at session time `now_s`.
    pub fn view(&self, now_s: f64) -> Vec<StrapStatus> {
        self.straps.iter().map(|(role, strap)| strap.view(*role, now_s)).collect()
    }
}

impl StrapState {
    fn view(&self, role: Role, now_s: f64) -> StrapStatus {
        let since = |span_s: f64| self.counts.iter().find(|t| t.t_s >= now_s - span_s);
        let last = self.counts.back();
        // Samples are counted from count to count. When nothing comes there are no new counts,
        // and the rate falls as time passes.
        let rate_hz = match (since(RATE_OVER_S), last) {
            (Some(first), Some(last)) if last.t_s > first.t_s => {
                let until_s = if now_s - last.t_s < 2.0 * EVERY_S { last.t_s } else { now_s };
                (last.samples - first.samples) as f64 / (until_s - first.t_s)
            }
            _ => 0.0,
        };
        let lost_percent = match (since(KEPT_S), last) {
            (Some(first), Some(last)) => {
                let (came, lost) = (last.samples - first.samples, last.lost - first.lost);
                100.0 * lost as f64 / (came + lost).max(1) as f64
            }
            _ => 0.0,
        };
        let age_s = self.latest_s.map(|t| (now_s - t).max(0.0));
        let words = self.words(age_s, rate_hz, lost_percent);
        StrapStatus {
            role,
            name: self.name.clone(),
            connected: self.connected,
            battery_percent: self.battery_percent,
            rate_hz: round(rate_hz, 1),
            nominal_hz: self.nominal_hz,
            lost_percent: round(lost_percent, 2),
            clock_sd_ms: self.clock_sd_ms.map(|ms| round(ms, 2)),
            gyro_bias_sd_dps: self.gyro_bias_sd_dps.map(|v| round(v, 3)),
            gyro_settling_s: self.gyro_settling_s.map(|s| round(s, 0)),
            gyro_settling: self.gyro_settling_s.map(gyro_settling),
            last_sample_age_s: age_s.map(|s| round(s, 2)),
            words,
        }
    }

    fn words(&self, age_s: Option<f64>, rate_hz: f64, lost_percent: f64) -> String {
        match age_s {
            _ if !self.connected => return "not connected".into(),
            None => return "connected, nothing received yet".into(),
            Some(age_s) if age_s > SILENT_S => return format!("silent for {age_s:.0} s"),
            Some(_) => {}
        }
        let mut words = format!("{rate_hz:.0} samples a second");
        if lost_percent >= 0.05 {
            let _ = write!(words, ", {lost_percent:.1} % lost");
        } else {
            words.push_str(", none lost");
        }
        if self.clock_sd_ms.is_none() {
            words.push_str(", clock settling");
        }
        if let Some(left_s) = self.gyro_settling_s {
            let _ = write!(words, ", {}", gyro_settling(left_s));
        }
        words
    }
}
