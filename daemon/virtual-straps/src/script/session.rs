//! A scripted session as the host sees it, with its truth.

use super::{Script, StrapOptions};
use crate::body::SegmentState;
use crate::body::player::PlayerParams;
use crate::link::{StrapStream, StreamSetup};
use crate::rng::{Draw, Purpose};
use crate::strap::clock::StrapClock;
use crate::strap::sensor::{Sensor, SensorModel};
use crate::strap::{Mounting, PutOn, Sample, Strike, WornStrap};
use crate::truth::repetition::RepetitionTruth;
use crate::truth::{self, SwingTruth};
use nalgebra::Vector3;
use peakorder_protocol::Role;
use peakorder_protocol::log::{Mark, MarkKind, Record};
use std::iter::Peekable;
use std::sync::Arc;

/// A session: records as they come in, and what really happened.
#[derive(Debug, Clone)]
pub struct Session {
    script: Script,
    strikes: Arc<[Strike]>,
}

impl Session {
    pub(super) fn new(script: Script) -> Self {
        let strikes = script
            .plans
            .iter()
            .filter(|p| p.style.strikes())
            .map(|p| Strike::drawn(script.seed, p.number, p.impact_s))
            .collect();
        Self { script, strikes }
    }

    /// Length, seconds.
    pub const fn duration_s(&self) -> f64 {
        self.script.duration_s
    }

    /// Who swings.
    pub const fn player(&self) -> &PlayerParams {
        &self.script.player
    }

    /// The straps.
    pub const fn straps(&self) -> &StrapOptions {
        &self.script.straps
    }

    /// The marks, in order of time.
    pub fn marks(&self) -> &[Mark] {
        &self.script.marks
    }

    /// Every swing and rehearsal as it really was, in order of time.
    pub fn truth(&self) -> Vec<SwingTruth> {
        let mut roles = self.script.straps.roles.clone();
        roles.sort_unstable();
        roles.dedup();
        let body = &self.script.body;
        self.script.plans.iter().map(|plan| truth::of_swing(body, plan, &roles)).collect()
    }

    /// Every repetition of a drill as it really was, in order of time.
    pub fn repetitions(&self) -> Vec<RepetitionTruth> {
        let of = |plan| truth::repetition::of(&self.script.body, plan, &self.script.straps.roles);
        self.script.repetitions.iter().map(of).collect()
    }

    fn mounting(&self, role: Role, wearing: u64) -> Mounting {
        Mounting::drawn(self.script.seed, role, wearing, self.script.straps.askew_deg)
    }

    /// When the straps are put on again, s.
    fn put_on_s(&self) -> impl DoubleEndedIterator<Item = f64> {
        self.marks().iter().filter(|m| m.kind == MarkKind::ReWear).map(|m| m.t_ns as f64 * 1e-9)
    }

    fn later(&self, role: Role) -> Vec<PutOn> {
        let put_on = |(at_s, wearing)| PutOn { at_s, mounting: self.mounting(role, wearing), wearing };
        self.put_on_s().zip(1..).map(put_on).collect()
    }

    /// Exact state of a segment at session time `t_s`, at the place where its strap is worn.
    /// Strikes, soft tissue and sensor errors are not in it.
    pub fn sample_truth(&self, role: Role, t_s: f64) -> SegmentState {
        let wearing = self.put_on_s().filter(|at_s| t_s >= *at_s).count() as u64;
        self.script.body.state(role, self.mounting(role, wearing).offset, t_s)
    }

    /// The rotation from the strap's axes to its segment's at the start of the session.
    pub fn mounting_rotation(&self, role: Role) -> nalgebra::Matrix3<f64> {
        self.mounting(role, 0).rotation
    }

    fn sensor(&self, role: Role, model: SensorModel, rate_hz: f64) -> Sensor {
        let Script { seed, body, straps, .. } = &self.script;
        let slip = straps.slips.iter().find(|s| s.0 == role).map(|s| s.1);
        let worn = WornStrap::new(
            Arc::clone(body),
            role,
            self.mounting(role, 0),
            Arc::clone(&self.strikes),
            (straps.ringing, straps.sliding),
            slip,
            *seed,
        )
        .with_later(self.later(role).into_iter());
        Sensor::new(worn, model, rate_hz, *seed, role)
    }

    /// Samples of one strap on the session clock, without a link: uniform at `rate_hz` from
    /// 0 s and without group delay, with strikes, soft tissue and the errors of `sensor` but without counts and range.
    pub fn ideal_samples(&self, role: Role, rate_hz: f64, sensor: SensorModel) -> IdealSamples {
        let n = (self.duration_s() * rate_hz).floor() as u64;
        IdealSamples { sensor: self.sensor(role, sensor, rate_hz), rate_hz, next: 0, n }
    }

    /// Everything that reaches the host, in order of time. Generated as it is asked for:
    /// memory does not grow with the session.
    pub fn records(&self) -> Records {
        let Script { seed, straps, duration_s, .. } = &self.script;
        let host_ppm = straps.link.host_ppm;
        let host_error = 1e-6 * Draw::new(*seed, Purpose::Link, 1 << 16).uniform(-host_ppm, host_ppm);
        let streams = straps
            .roles
            .iter()
            .map(|&role| {
                let mine = |o: &&(Role, _)| o.0 == role;
                StrapStream::new(StreamSetup {
                    role,
                    sensor: self.sensor(role, straps.sensor, straps.rate_hz),
                    delay_s: straps.group_delay_ms / 1000.0,
                    clock: StrapClock::new(&straps.clock, straps.rate_hz, *seed, role),
                    link: straps.link,
                    radio: Draw::new(*seed, Purpose::Link, role.index() as u64),
                    host_error,
                    samples_per_packet: straps.samples_per_packet.max(1),
                    short_form: straps.short_form,
                    outages: straps.outages.iter().filter(mine).map(|o| o.1).collect(),
                    end_s: *duration_s,
                })
                .peekable()
            })
            .collect();
        Records { marks: self.script.marks.clone().into_iter().peekable(), streams }
    }
}

/// Uniform samples of one strap; see [`Session::ideal_samples`].
#[derive(Debug)]
pub struct IdealSamples {
    sensor: Sensor,
    rate_hz: f64,
    next: u64,
    n: u64,
}

impl Iterator for IdealSamples {
    type Item = Sample;

    fn next(&mut self) -> Option<Sample> {
        if self.next >= self.n {
            return None;
        }
        let t_s = self.next as f64 / self.rate_hz;
        self.next += 1;
        let array = |v: Vector3<f64>| [v.x, v.y, v.z];
        let (gyro, accel) = self.sensor.read(t_s);
        Some(Sample { t_s, gyro_rad_s: array(gyro), accel_m_s2: array(accel) })
    }
}

/// Records of a session in order of time; see [`Session::records`].
#[derive(Debug)]
pub struct Records {
    marks: Peekable<std::vec::IntoIter<Mark>>,
    streams: Vec<Peekable<StrapStream>>,
}

impl Iterator for Records {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        let first =
            self.streams.iter_mut().enumerate().filter_map(|(i, s)| Some((s.peek()?.t_ns(), i))).min();
        match (self.marks.peek().map(|m| m.t_ns), first) {
            (Some(mark), Some((t, _))) if mark <= t => self.marks.next().map(Record::Mark),
            (_, Some((_, i))) => self.streams[i].next(),
            (_, None) => self.marks.next().map(Record::Mark),
        }
    }
}
