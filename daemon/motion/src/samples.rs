//! Every sample of a session in physical units and on the common clock, for other programs.
//!
//! The pipeline runs as it does for swings and is only looked at: samples get the clock, bias, mounting and running
//! orientation that its swings are measured with. Those are better known a little later than a sample comes in, so
//! samples are held back by [`HOLD_S`], about as long as a swing is old when it is measured. Memory does
//! not grow with the session.

use super::calibrate::Mounting;
use super::clock::TimeMap;
use super::clock::time::{DeviceTime, SessionTime};
use super::clock::uncertainty::ClockState;
use super::pipeline::{Pipeline, SetupError};
use super::segment::Segment;
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::Role;
use peakorder_protocol::log::{MarkKind, Record};
use peakorder_protocol::session::Session;
use std::collections::VecDeque;

/// A sample is handed over this much later than it was taken, s: the window that a swing is cut from ends 2.5 s after
/// its fastest moment.
pub const HOLD_S: f64 = 2.5;
/// Where a better estimate of a clock would put a sample before the one before it, it comes this much after, s.
const LEAST_STEP_S: f64 = 1e-6;

/// One sample.
#[derive(Debug, Clone, Copy)]
pub struct SampleRow {
    /// Where the strap is worn.
    pub role: Role,
    /// When, session time, s. Rises from sample to sample of a strap.
    pub t_s: f64,
    /// When the notification that brought it arrived, session time, s.
    pub arrival_s: f64,
    /// Standard uncertainty of `t_s` against a like strap's, s.
    pub clock_sd_s: f64,
    /// The clock was not settled, so that `t_s` may be off by more.
    pub clock_settling: bool,
    /// A step of the clock's estimate would have put the sample before the one before it: `t_s` comes right after that.
    pub time_held: bool,
    /// Raw rate, rad/s, strap's own axes.
    pub gyro_rad_s: Vector3<f64>,
    /// Specific force, m/s², strap's own axes.
    pub acc_m_s2: Vector3<f64>,
    /// What the gyroscope is taken to show at rest, rad/s, strap's own axes; `gyro_rad_s` still has it.
    pub bias_rad_s: Vector3<f64>,
    /// Its standard uncertainty about the least certain axis, rad/s.
    pub bias_sd_rad_s: f64,
    /// Samples missing before this one.
    pub lost_before: u16,
    /// At the sensor's limit.
    pub clipped: bool,
    /// Orientation by the running filter, strap → global (Y up, heading of its own that drifts); `None` before the
    /// filter has started.
    pub orientation: Option<UnitQuaternion<f64>>,
    /// How the strap sits on its segment; `None` while it is not calibrated.
    pub mounting: Option<Mounting>,
    /// How often the straps had been taken off and put on again.
    pub wearing: u32,
}

/// A sample in its segment's frame: X anterior, Y cranial (arm: proximal), Z to the wearer's right.
#[derive(Debug, Clone, Copy)]
pub struct InSegment {
    /// Angular velocity, bias removed, rad/s.
    pub gyro_rad_s: Vector3<f64>,
    /// Specific force, m/s².
    pub acc_m_s2: Vector3<f64>,
    /// What was taken off the angular velocity, rad/s.
    pub bias_rad_s: Vector3<f64>,
    /// Orientation, segment → global.
    pub orientation: Option<UnitQuaternion<f64>>,
}

impl SampleRow {
    /// The sample in its segment's frame; `None` while the strap is not calibrated.
    pub fn in_segment(&self) -> Option<InSegment> {
        let to_segment = self.mounting?.to_segment;
        Some(InSegment {
            gyro_rad_s: to_segment * (self.gyro_rad_s - self.bias_rad_s),
            acc_m_s2: to_segment * self.acc_m_s2,
            bias_rad_s: to_segment * self.bias_rad_s,
            orientation: self.orientation.map(|q| q * to_segment.inverse()),
        })
    }
}

/// A sample that is held back.
#[derive(Debug, Clone, Copy)]
struct Held {
    device: DeviceTime,
    arrival_s: f64,
    gyro: Vector3<f64>,
    acc: Vector3<f64>,
    lost_before: u16,
    clipped: bool,
    orientation: Option<UnitQuaternion<f64>>,
}

/// Those of one strap.
struct Queue {
    role: Role,
    held: VecDeque<Held>,
    /// The clock before the newest notification, for samples before a restart.
    map: TimeMap,
    last_s: f64,
}

/// Reads a session's samples through the pipeline that makes its swings.
pub struct Samples {
    pipeline: Pipeline,
    queues: Vec<Queue>,
    wearing: u32,
    now_s: f64,
    outputs: Vec<super::pipeline::Output>,
}

impl Samples {
    /// Of the straps, player and settings of `session`.
    pub fn new(session: &Session) -> Result<Self, SetupError> {
        let pipeline = Pipeline::new(session)?;
        let queue = |role: &Role| Queue {
            role: *role,
            held: VecDeque::new(),
            map: TimeMap::SAME,
            last_s: f64::NEG_INFINITY,
        };
        Ok(Self {
            queues: session.straps.keys().map(queue).collect(),
            pipeline,
            wearing: 0,
            now_s: f64::NEG_INFINITY,
            outputs: Vec::new(),
        })
    }

    /// Takes one record, in the order of the log; what has been held back long enough is handed to `out`, each strap's
    /// samples in order of time.
    pub fn push(&mut self, record: &Record, out: &mut impl FnMut(&SampleRow)) {
        if matches!(record, Record::Mark(mark) if mark.kind == MarkKind::ReWear) {
            // How the straps sat is forgotten with the mark.
            self.release(f64::INFINITY, out);
            self.wearing += 1;
        }
        self.outputs.clear();
        self.pipeline.push(record, &mut self.outputs);
        let t_s = record.t_ns() as f64 * 1e-9;
        self.now_s = self.now_s.max(t_s);
        if let Record::Arrival(arrival) = record {
            self.take(arrival.role, t_s, out);
            self.release(self.now_s - HOLD_S, out);
        }
    }

    /// The recording has ended.
    pub fn finish(&mut self, out: &mut impl FnMut(&SampleRow)) {
        self.outputs.clear();
        self.pipeline.finish(&mut self.outputs);
        self.release(f64::INFINITY, out);
    }

    /// The pipeline, to be looked at.
    pub fn pipeline(&self) -> &Pipeline {
        &self.pipeline
    }

    /// Holds what the last arrival brought.
    fn take(&mut self, role: Role, arrival_s: f64, out: &mut impl FnMut(&SampleRow)) {
        let (wearing, now_s) = (self.wearing, self.now_s);
        let Some(queue) = self.queues.iter_mut().find(|q| q.role == role) else { return };
        let Some(segment) = self.pipeline.segment(role) else { return };
        let samples = segment.received().samples;
        // What came before a restart within one notification is no longer kept by the segment.
        let mut kept = segment.newest_kept(samples.len());
        let forgotten = samples.len() - kept.len();
        for (i, sample) in samples.iter().enumerate() {
            if sample.step_s == f64::INFINITY && !queue.held.is_empty() {
                let known = Known { map: queue.map, ..Known::of(segment, wearing, now_s) };
                while let Some(held) = queue.held.pop_front() {
                    out(&queue.row(&held, &known));
                }
            }
            let kept = if i < forgotten { None } else { kept.next() };
            queue.held.push_back(Held {
                device: sample.device,
                arrival_s,
                gyro: sample.gyro,
                acc: sample.acc,
                lost_before: sample.lost_before,
                clipped: sample.clipped,
                // A filter that has not started stands for no orientation.
                orientation: kept.map(|k| k.attitude).filter(|q| *q != UnitQuaternion::identity()),
            });
        }
        queue.map = segment.map();
    }

    /// Hands over what was taken up to `to_s`.
    fn release(&mut self, to_s: f64, out: &mut impl FnMut(&SampleRow)) {
        for queue in &mut self.queues {
            let Some(segment) = self.pipeline.segment(queue.role) else { continue };
            let map = segment.map();
            let due = |held: &Held| map.session(held.device).s() <= to_s;
            if !queue.held.front().is_some_and(due) {
                continue;
            }
            let known = Known::of(segment, self.wearing, self.now_s);
            while let Some(held) = queue.held.pop_front_if(|held| due(held)) {
                out(&queue.row(&held, &known));
            }
        }
    }
}

/// What is known of a strap when samples of it are handed over.
struct Known {
    map: TimeMap,
    clock: ClockState,
    bias_rad_s: Vector3<f64>,
    bias_sd_rad_s: f64,
    mounting: Option<Mounting>,
    wearing: u32,
}

impl Known {
    fn of(segment: &Segment, wearing: u32, now_s: f64) -> Self {
        Self {
            map: segment.map(),
            clock: segment.clock().state(SessionTime::from_s(now_s)),
            bias_rad_s: segment.bias().bias(),
            bias_sd_rad_s: segment.bias().sd_rad_s(),
            mounting: segment.mounting().copied(),
            wearing,
        }
    }
}

impl Queue {
    fn row(&mut self, held: &Held, known: &Known) -> SampleRow {
        let by_clock_s = known.map.session(held.device).s();
        let time_held = by_clock_s < self.last_s + LEAST_STEP_S;
        let t_s = if time_held { self.last_s + LEAST_STEP_S } else { by_clock_s };
        self.last_s = t_s;
        SampleRow {
            role: self.role,
            t_s,
            arrival_s: held.arrival_s,
            clock_sd_s: known.clock.sd_s,
            clock_settling: known.clock.settling,
            time_held,
            gyro_rad_s: held.gyro,
            acc_m_s2: held.acc,
            bias_rad_s: known.bias_rad_s,
            bias_sd_rad_s: known.bias_sd_rad_s,
            lost_before: held.lost_before,
            clipped: held.clipped,
            orientation: held.orientation,
            mounting: known.mounting,
            wearing: known.wearing,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_protocol::log::Mark;
    use peakorder_protocol::session::Player;
    use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script, virtual_session};

    const SWINGS: u32 = 2;

    fn script() -> Script {
        let player = PlayerParams::drawn_from(Population::Amateur, 21);
        Script::practice(21, player, SWINGS, &PracticeOptions::default())
    }

    fn rows(extra: Option<Mark>) -> (Vec<SampleRow>, Samples) {
        let script = script();
        let meta = virtual_session(&script, "samples", Player::default(), "2026-01-01T00:00:00Z");
        let mut samples = Samples::new(&meta).expect("valid");
        let mut rows = Vec::new();
        let mut extra = extra.map(Record::Mark);
        for record in script.session().records() {
            if let Some(mark) = extra.take_if(|mark| mark.t_ns() <= record.t_ns()) {
                samples.push(&mark, &mut |row| rows.push(*row));
            }
            samples.push(&record, &mut |row| rows.push(*row));
        }
        samples.finish(&mut |row| rows.push(*row));
        (rows, samples)
    }

    #[test]
    fn every_sample_comes_once_in_order_and_the_swings_are_the_pipelines() {
        let (rows, samples) = rows(None);
        assert_eq!(samples.pipeline().swings(), SWINGS);
        for (role, counts) in samples.pipeline().counts() {
            let of: Vec<&SampleRow> = rows.iter().filter(|r| r.role == role).collect();
            assert_eq!(of.len() as u64, counts.samples, "{role}");
            assert_eq!(of.iter().map(|r| u64::from(r.lost_before)).sum::<u64>(), counts.lost, "{role}");
            assert_eq!(of.iter().filter(|r| r.clipped).count() as u64, counts.clipped, "{role}");
            assert!(of.windows(2).all(|w| w[0].t_s < w[1].t_s), "{role}: times rise");
            assert!(
                of.iter().all(|r| !r.time_held && r.t_s < r.arrival_s),
                "{role}: sent after it was taken"
            );
            let calibrated = of.iter().position(|r| r.mounting.is_some()).expect("calibrated");
            assert!(of[calibrated..].iter().all(|r| r.mounting.is_some()));
            assert!(of.iter().all(|r| r.orientation.is_some()));
        }
    }

    /// Over the quiet moments after the calibration, the mean specific force is that of gravity along the global
    /// vertical. The virtual sensors' accelerometers are off by up to some 0.05 m/s² an axis.
    #[test]
    fn orientation_and_force_agree_on_up() {
        let (rows, _) = rows(None);
        for role in Role::ALL {
            let quiet: Vec<Vector3<f64>> = rows
                .iter()
                .filter(|r| r.role == role)
                .filter_map(|r| r.in_segment())
                .filter(|s| s.gyro_rad_s.norm() < 0.05)
                .map(|s| s.orientation.expect("started") * s.acc_m_s2)
                .collect();
            assert!(quiet.len() > 500, "{role}: {}", quiet.len());
            let mean = quiet.iter().sum::<Vector3<f64>>() / quiet.len() as f64;
            let off_deg = mean.angle(&Vector3::y()).to_degrees();
            assert!(off_deg < 0.5 && (mean.norm() - 9.81).abs() < 0.15, "{role}: {off_deg} deg, {mean}");
        }
    }

    #[test]
    fn another_wearing_ends_what_was_known_of_the_one_before() {
        let whole = rows(None).0;
        let middle_s = whole[whole.len() / 2].t_s;
        let mark = Mark { t_ns: (middle_s * 1e9) as u64, kind: MarkKind::ReWear, detail: String::new() };
        let (rows, _) = rows(Some(mark));
        assert_eq!(rows.len(), whole.len(), "no sample is lost");
        for row in &rows {
            assert_eq!(row.wearing == 0, row.arrival_s <= middle_s, "{} {middle_s}", row.arrival_s);
            assert!(row.wearing == 0 || row.mounting.is_none());
        }
        assert!(rows.iter().any(|r| r.wearing == 0 && r.mounting.is_some()));
    }
}
