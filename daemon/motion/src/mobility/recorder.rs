//! Collects the samples between the marks: a check lasts longer than a strap's ring keeps.

use super::{Performance, StrapTurn, measure};
use crate::segment::{Kept, Segment};
use crate::window::turned;
use peakorder_protocol::mobility::{MobilityCheck, Posture};
use peakorder_protocol::{Handedness, Role};

/// Nobody turns for longer; then the end mark was forgotten, and swings must not wait for it, s.
const LONGEST_S: f64 = 180.0;
/// Samples may still be on their way when the end is marked, s.
const GRACE_S: f64 = 1.0;
/// How far a clock estimate may move between two arrivals, s.
const CLOCK_SLACK_S: f64 = 0.1;

struct Collected {
    role: Role,
    samples: Vec<Kept>,
    restarted: bool,
}

struct Open {
    posture: Option<Posture>,
    from_s: f64,
    to_s: Option<f64>,
    straps: Vec<Collected>,
}

/// The mobility checks of a session.
#[derive(Default)]
pub struct Turns {
    number: u32,
    open: Option<Open>,
}

impl Turns {
    /// A `turn-start` mark. One that is already open is dropped: it was started anew.
    pub fn start(&mut self, t_s: f64, detail: &str) {
        self.open =
            Some(Open { posture: Posture::from_detail(detail), from_s: t_s, to_s: None, straps: Vec::new() });
    }

    /// A `turn-end` mark; without a start it means nothing.
    pub fn end(&mut self, t_s: f64) {
        if let Some(open) = &mut self.open {
            open.to_s.get_or_insert(t_s);
        }
    }

    /// Is `t_s` within a check? Nothing there is a swing.
    pub fn covers(&self, t_s: f64) -> bool {
        self.open.as_ref().is_some_and(|o| t_s >= o.from_s && o.to_s.is_none_or(|to| t_s <= to))
    }

    /// Takes over what came in on `stream` since the last time.
    pub fn collect(&mut self, stream: &Segment) {
        let Some(open) = &mut self.open else { return };
        if stream.role() == Role::LeadArm {
            return;
        }
        let at = open.straps.iter().position(|s| s.role == stream.role()).unwrap_or_else(|| {
            open.straps.push(Collected { role: stream.role(), samples: Vec::new(), restarted: false });
            open.straps.len() - 1
        });
        let strap = &mut open.straps[at];
        if strap.samples.last().is_some_and(|last| restarted_since(stream, last)) {
            // Device times before and after are not comparable.
            strap.samples.clear();
            strap.restarted = true;
        }
        let last = strap.samples.last().copied();
        let since = last.map_or(open.from_s, |s| stream.session_s(&s) - CLOCK_SLACK_S);
        let until = open.to_s.unwrap_or(open.from_s + LONGEST_S);
        let fresh = stream.between(since, until).map(|(_, s)| *s);
        strap.samples.extend(fresh.filter(|s| last.is_none_or(|l| s.device > l.device)));
    }

    /// The check, once it has ended and its samples are all in. `end`: the recording has ended.
    pub fn take(
        &mut self,
        now_s: f64,
        end: bool,
        streams: &[Segment],
        handedness: Handedness,
        calibration_valid_s: f64,
    ) -> Option<MobilityCheck> {
        let open = self.open.as_ref()?;
        let to_s = match open.to_s {
            Some(to_s) => to_s,
            None if end || now_s > open.from_s + LONGEST_S => now_s.min(open.from_s + LONGEST_S),
            None => return None,
        };
        let trunk = || streams.iter().filter(|s| s.role() != Role::LeadArm);
        if !end && now_s <= to_s + GRACE_S && !trunk().all(|s| s.latest_s() >= to_s) {
            return None;
        }
        let open = self.open.take()?;
        self.number += 1;
        Some(measure(&Performance {
            number: self.number,
            posture: open.posture,
            handedness,
            from_s: open.from_s,
            to_s,
            end_marked: open.to_s.is_some(),
            calibration_valid_s,
            straps: trunk().map(|stream| strap_turn(stream, &open, to_s)).collect(),
        }))
    }
}

/// Has the strap's clock started anew since `last`? Its ring was emptied then.
fn restarted_since(stream: &Segment, last: &Kept) -> bool {
    let oldest = stream.between(f64::NEG_INFINITY, f64::INFINITY).next();
    let newest = stream.between(stream.latest_s() - CLOCK_SLACK_S, f64::INFINITY).last();
    oldest.is_some_and(|(_, s)| s.device > last.device) || newest.is_some_and(|(_, s)| s.device < last.device)
}

/// Standard uncertainty of the bias about the segment's long axis, if that is known, rad/s.
fn bias_sd(stream: &Segment) -> f64 {
    let bias = stream.bias();
    stream.mounting().map_or_else(|| bias.sd_rad_s(), |m| turned(&bias.covariance(), Some(m))[(1, 1)].sqrt())
}

/// On the session clock, bias taken off and turned into the segment's frame.
fn strap_turn(stream: &Segment, open: &Open, to_s: f64) -> StrapTurn {
    let bias = stream.bias().bias();
    let mounting = stream.mounting().copied();
    let mut turn = StrapTurn {
        role: stream.role(),
        t_s: Vec::new(),
        gyro: Vec::new(),
        acc: Vec::new(),
        mounting,
        bias_sd: bias_sd(stream),
        sample_is: stream.sample_is(),
        clipped: 0,
        restarted: false,
    };
    let Some(collected) = open.straps.iter().find(|s| s.role == stream.role()) else { return turn };
    turn.restarted = collected.restarted;
    for sample in &collected.samples {
        let t_s = stream.session_s(sample);
        if !(open.from_s..=to_s).contains(&t_s) {
            continue;
        }
        let (rate, force) = (sample.gyro - bias, sample.acc);
        let (rate, force) = mounting.map_or((rate, force), |a| (a.to_segment * rate, a.to_segment * force));
        turn.t_s.push(t_s);
        turn.gyro.push(rate);
        turn.acc.push(force);
        turn.clipped += u32::from(sample.clipped);
    }
    turn
}
