//! Repetitions of a drill: the trunk turns back and through, or back and home, slowly or briskly, with or without a
//! hold, with the arms crossed or a club across the shoulders. There is no ball, often no club, and forward is not
//! faster than back, so nothing of what tells a swing holds. The coach's mark says that a drill is going on.

mod judge;
pub mod watch;

#[cfg(test)]
mod pipeline_tests;

pub use judge::NotARepetition;
pub(crate) use judge::{Found, When, find};

use super::segment::Segment;
use nalgebra::Vector3;
use peakorder_protocol::{Handedness, Role};
pub(crate) use watch::Candidate;
use watch::Watch;

/// A repetition may end this long after its block, s.
const AFTER_BLOCK_S: f64 = 6.0;
/// Other straps' samples may still be on their way, s.
const GRACE_S: f64 = 0.5;
/// The player may stand ready, or turn back already, before the drill is marked, s.
const BEFORE_MARK_S: f64 = 3.0;
/// Repetitions without a pause touch one another, s.
pub(crate) const OVERLAP_S: f64 = 0.3;
/// Samples needed after a repetition's end, s.
const AFTER_S: f64 = 0.05;

/// What is going on of drills in a session.
#[derive(Debug, Default)]
pub struct Drills {
    open: Option<Open>,
}

#[derive(Debug)]
struct Open {
    watch: Watch,
    /// The block has ended, session time, s.
    until_s: Option<f64>,
    seen_s: f64,
    pending: Vec<Candidate>,
}

impl Drills {
    /// A drill's block begins at `t_s`.
    pub fn start(&mut self, t_s: f64) {
        // One drill after the other: the player may be in the middle of a turn.
        if let Some(open) = &mut self.open {
            open.until_s = None;
            return;
        }
        self.open = Some(Open {
            watch: Watch::new(),
            until_s: None,
            seen_s: t_s - BEFORE_MARK_S,
            pending: Vec::new(),
        });
    }

    /// Another block begins at `t_s`.
    pub fn end(&mut self, t_s: f64) {
        if let Some(open) = &mut self.open {
            open.until_s.get_or_insert(t_s);
        }
    }

    /// The straps were put on again, or the recording is over.
    pub fn stop(&mut self) {
        self.open = None;
    }

    /// Takes over what came in on the trunk's `stream` since the last time.
    pub fn collect(&mut self, stream: &Segment, handedness: Handedness) {
        let Some(open) = &mut self.open else { return };
        let bias = stream.bias().bias();
        let mounting = stream.mounting();
        let sign = handedness.sign();
        let latest_s = stream.latest_s();
        if latest_s <= open.seen_s {
            return;
        }
        for (t_s, sample) in stream.between(open.seen_s, latest_s) {
            if t_s <= open.seen_s {
                continue;
            }
            let rate = sample.gyro - bias;
            // Its own long axis, or the vertical where that is not known.
            let axial = mounting
                .map_or_else(|| (sample.attitude * rate).dot(&Vector3::y()), |m| (m.to_segment * rate).y);
            let (forward_dps, speed_dps) = (axial.to_degrees() * sign, rate.norm().to_degrees());
            open.pending.extend(open.watch.push(t_s, forward_dps, speed_dps));
            open.seen_s = t_s;
        }
        if open.until_s.is_some_and(|until_s| open.seen_s > until_s + AFTER_BLOCK_S)
            && open.pending.is_empty()
        {
            self.open = None;
        }
    }

    /// The next candidate of which all samples are there. `end`: the recording has ended.
    pub fn ready(&mut self, streams: &[Segment], now_s: f64, end: bool) -> Option<Candidate> {
        let open = self.open.as_mut()?;
        let candidate = *open.pending.first()?;
        let to_s = candidate.forward_s + AFTER_S;
        let trunk = streams.iter().filter(|s| s.role() != Role::LeadArm);
        let there = end || now_s > candidate.seen_s + GRACE_S || trunk.clone().all(|s| s.latest_s() >= to_s);
        there.then(|| open.pending.remove(0))
    }

    /// `candidate` was a repetition that turned back by `back_deg`.
    pub fn found(&mut self, candidate: &Candidate, back_deg: f64) {
        if let Some(open) = &mut self.open {
            open.watch.found(candidate, back_deg);
        }
    }

    /// A drill is going on, or has just ended.
    pub fn is_open(&self) -> bool {
        self.open.is_some()
    }
}
