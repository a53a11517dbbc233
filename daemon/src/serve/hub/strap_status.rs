//! How the straps are, from what the engine has taken.

use super::views::StrapStatus;
use peakorder_motion::pipeline::Pipeline;
use peakorder_protocol::Role;
use peakorder_protocol::log::{Record, StrapEvent, StrapEventKind};
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::Session;
use std::collections::{BTreeMap, VecDeque};
use std::fmt::Write as _;

/// Figures are kept this long, s.
const KEPT_S: f64 = 10.0;
/// … and this often, s.
const EVERY_S: f64 = 0.5;
/// The rate is that of this long, s.
const RATE_OVER_S: f64 = 4.0;
/// A strap not heard for this long is called silent, s.
const SILENT_S: f64 = 1.5;

#[derive(Debug, Clone, Copy)]
struct Tally {
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
    tallies: VecDeque<Tally>,
    latest_s: Option<f64>,
    clock_sd_ms: Option<f64>,
}

/// The straps of a running lesson.
#[derive(Debug, Default)]
pub struct StrapMonitor {
    straps: BTreeMap<Role, StrapState>,
    tallied_s: f64,
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
        Self { straps, tallied_s: f64::NEG_INFINITY }
    }

    /// Looks at what the engine took at session time `now_s`.
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
        if now_s - self.tallied_s < EVERY_S {
            return;
        }
        self.tallied_s = now_s;
        for figures in pipeline.streams(now_s) {
            let Some(strap) = self.straps.get_mut(&figures.role) else { continue };
            strap.clock_sd_ms = (!figures.clock_settling).then_some(figures.clock_sd_s * 1e3);
            strap.tallies.push_back(Tally {
                t_s: now_s,
                samples: figures.counts.samples,
                lost: figures.counts.lost,
            });
            while strap.tallies.front().is_some_and(|t| t.t_s < now_s - KEPT_S) {
                strap.tallies.pop_front();
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

    /// For the page, at session time `now_s`.
    pub fn view(&self, now_s: f64) -> Vec<StrapStatus> {
        self.straps.iter().map(|(role, strap)| strap.view(*role, now_s)).collect()
    }
}

impl StrapState {
    fn view(&self, role: Role, now_s: f64) -> StrapStatus {
        let since = |span_s: f64| self.tallies.iter().find(|t| t.t_s >= now_s - span_s);
        let last = self.tallies.back();
        // Samples are counted from tally to tally. When nothing at all comes there are no more
        // tallies, and the rate falls with the clock.
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
        words
    }
}

fn round(value: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    (value * scale).round() / scale
}
