//! Was it a repetition, and where are its instants?

use super::watch::Candidate;
use crate::detect::onset;
use crate::detect::signal::{STEP_S, Tracks};
use crate::path::SegmentPath;
use crate::window::Window;
use nalgebra::Vector3;
use peakorder_protocol::Role;
use std::fmt;

/// The thorax turns back by at least this, deg. A drill is done bent forward as to a ball, or upright and from
/// standing still; people who stand about upright look round by some 20 to 40° (own judgement).
const LEAST_BENT_DEG: f64 = 18.0;
const LEAST_UPRIGHT_DEG: f64 = 28.0;
const LEAST_RESTLESS_DEG: f64 = 45.0;
/// Who stands still sways more slowly than this on average, deg/s.
const STANDS_STILL_DPS: f64 = 3.0;
/// Bent forward, pelvis and thorax together, deg: as for swings.
const BENT_DEG: f64 = 12.0;
/// Nobody turns the trunk further over still feet, deg.
const MOST_DEG: f64 = 140.0;
/// Repetitions of one drill are alike: none turns back by less than this share of the one before.
const SHARE_OF_LAST: f64 = 0.4;
/// Back, held, forward, s: no longer than that, and not quicker.
const LONGEST_S: f64 = 9.0;
const LONGEST_HOLD_S: f64 = 6.0;
const SHORTEST_S: f64 = 0.2;
/// Come back by at least this share.
const BACK_HOME: f64 = 0.65;
/// The trunk's speed is mostly about its long axis: this share of the way.
const AXIAL_SHARE: f64 = 0.6;
/// The trunk's long axis stays where it points, deg: who bends down or straightens up does something else.
const AXIS_MOVES_DEG: f64 = 38.0;
/// Feet stay: the pelvis never turns as far as the thorax, where that turns far, deg. Who turns on the feet takes
/// both along.
const WHOLE_BODY_SHARE: f64 = 0.94;
const WHOLE_BODY_FROM_DEG: f64 = 50.0;
/// The pelvis goes along and not the other way, deg.
const PELVIS_OTHER_WAY_DEG: f64 = 8.0;
/// Who holds still is slower than this on average, deg/s; who walks or fidgets is not.
const HOLD_DPS: f64 = 25.0;
const HOLD_FROM_S: f64 = 0.5;
/// Through is beyond address by this, deg, or by this share of the turn back; less is home.
const THROUGH_DEG: f64 = 10.0;
const THROUGH_SHARE: f64 = 0.15;
/// Held: within this of the furthest, deg, or this share of it.
const HELD_DEG: f64 = 1.0;
const HELD_SHARE: f64 = 0.02;
/// Home is where so much of the turn forward is left, as a share.
const HOME_LEFT: f64 = 0.05;
/// A turn is known from moment to moment to this, deg: what sways does not turn round (own judgement).
const MOMENT_DEG: f64 = 0.3;
/// Slowest rate that an instant is read off with, deg/s.
const SLOWEST_DPS: f64 = 2.0;

/// Why a turn back and forward was no repetition.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NotARepetition {
    /// No samples of the trunk over the whole of it.
    TooFewSamples,
    /// The thorax turned back by so much only, deg.
    TooLittle(f64),
    /// It turned further than feet that stay allow, deg.
    TooFar(f64),
    /// Less than half as far as the repetition before, deg.
    UnlikeTheLast(f64),
    /// A part of it took so long, s.
    Duration(f64),
    /// It came back by this share only.
    NotReturned(f64),
    /// The trunk bent rather than turned: share of the turn in its way.
    NotATurn(f64),
    /// The trunk's long axis moved by so much, deg.
    Bent(f64),
    /// The pelvis turned with the thorax as a whole: share.
    WholeBody(f64),
    /// The pelvis turned the other way, deg.
    PelvisOtherWay(f64),
    /// Where it should have been held, the trunk moved at so many deg/s.
    NotHeld(f64),
}

impl fmt::Display for NotARepetition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewSamples => f.write_str("too few samples of the trunk"),
            Self::TooLittle(v) => write!(f, "turned back by {v:.0} deg only"),
            Self::TooFar(v) => write!(f, "turned by {v:.0} deg, further than still feet allow"),
            Self::UnlikeTheLast(v) => write!(f, "turned back by {v:.0} deg, far less than the one before"),
            Self::Duration(v) => write!(f, "a part of {v:.2} s"),
            Self::NotReturned(v) => write!(f, "came back {:.0} % only", v * 100.0),
            Self::NotATurn(v) => write!(f, "only {:.0} % of it was a turn", v * 100.0),
            Self::Bent(v) => write!(f, "the trunk's long axis moved by {v:.0} deg"),
            Self::WholeBody(v) => write!(f, "the pelvis turned {:.0} % as far as the thorax", v * 100.0),
            Self::PelvisOtherWay(v) => write!(f, "the pelvis turned the other way by {v:.0} deg"),
            Self::NotHeld(v) => write!(f, "moved at {v:.0} deg/s where it should be held"),
        }
    }
}

/// An instant to a standard uncertainty, session seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct When {
    pub(crate) t_s: f64,
    pub(crate) sd_s: f64,
}

/// Where the trunk turned round.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Extreme {
    /// When.
    pub(crate) at: When,
    /// The instant at which angles are read.
    pub(crate) read: When,
}

/// Instants of a repetition.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Found {
    /// Its angles count from this calm.
    pub(crate) address_s: [f64; 2],
    /// They are zero shortly before this.
    pub(crate) zero_s: f64,
    pub(crate) takeaway: When,
    pub(crate) top: Extreme,
    /// From when to when it was held there.
    pub(crate) held: [When; 2],
    /// Furthest through, if it went through.
    pub(crate) through: Option<Extreme>,
    /// The turn forward is over: through, or home.
    pub(crate) forward: When,
    pub(crate) finish: When,
    /// How far the trunk turned back, deg.
    pub(crate) back_deg: f64,
}

/// Index of the first sample at or after `t_s`, and before the last.
fn index(path: &SegmentPath, t_s: f64) -> usize {
    path.index(t_s).min(path.t_s.len() - 1)
}

/// Looks at `candidate` in `window`, which holds the trunk's straps; `last_deg`: how far the repetition before it turned back.
pub(crate) fn find(
    window: &Window,
    candidate: &Candidate,
    last_deg: Option<f64>,
) -> Result<(Found, Vec<SegmentPath>), NotARepetition> {
    let to_s = candidate.forward_s + super::AFTER_S;
    let tracks = Tracks::new(window).ok_or(NotARepetition::TooFewSamples)?;
    let role = if window.get(Role::Thorax).is_some() { Role::Thorax } else { Role::Pelvis };
    let track = tracks.get(role).ok_or(NotARepetition::TooFewSamples)?;
    let back = tracks.index(candidate.back_s);
    let takeaway = if candidate.chained {
        // It turns round there, and nothing begins.
        When { t_s: candidate.from_s, sd_s: HELD_DEG / SLOWEST_DPS / 10.0 }
    } else {
        let from = tracks.index(0.5 * (candidate.address_s[0] + candidate.address_s[1])).min(back);
        onset::find(&track.away_dps, track.bias_sd_dps, tracks.start_s, from, back.max(from + 1))
            .map_or(When { t_s: candidate.from_s, sd_s: 0.1 }, |o| When { t_s: o.at_s, sd_s: o.sd_s })
    };
    let zero_s = if candidate.chained {
        candidate.address_s[1]
    } else {
        takeaway.t_s.max(candidate.address_s[0] + 0.1)
    };
    let follow = |segment| {
        SegmentPath::new(
            segment,
            window.handedness,
            [candidate.address_s[0], candidate.address_s[1].min(zero_s)],
            zero_s,
            to_s,
        )
    };
    let paths: Vec<SegmentPath> = window
        .segments
        .iter()
        .filter(|s| s.covers(candidate.address_s[0], candidate.forward_s) && s.reaches(candidate.forward_s))
        .filter_map(follow)
        .collect();
    let path_of = |role: Role| paths.iter().find(|p| p.role == role);
    let trunk = path_of(role).ok_or(NotARepetition::TooFewSamples)?;
    // Without a calibration there is no angle, but the rate about the vertical.
    let own = if trunk.turn_deg.is_empty() { integrated(trunk, zero_s) } else { trunk.turn_deg.clone() };
    let turn = |i: usize| own[i];
    let (lo, hi) = (index(trunk, takeaway.t_s), index(trunk, candidate.forward_s));
    let near = |t: f64, by: f64| index(trunk, t - by).max(lo)..=index(trunk, t + by).min(hi);
    // The watch saw it about the long axis; the angle is furthest a little earlier or later.
    let top = near(candidate.back_s, 1.0)
        .fold(index(trunk, candidate.back_s), |b, i| if turn(i) < turn(b) { i } else { b });
    let back_deg = -turn(top);
    let speed: Vec<f64> = trunk.resultant_dps.clone();
    let mean_speed =
        |a: usize, b: usize| speed[a..b.max(a + 1)].iter().sum::<f64>() / (b.max(a + 1) - a) as f64;
    let bent = paths.iter().map(|p| p.at(&p.flexion_deg, candidate.address_s[1]).unwrap_or(0.0)).sum::<f64>();
    let sway_dps = mean_speed(index(trunk, candidate.address_s[0]), index(trunk, candidate.address_s[1]));
    let least_deg = match bent > BENT_DEG {
        true => LEAST_BENT_DEG,
        false if sway_dps > STANDS_STILL_DPS => LEAST_RESTLESS_DEG,
        false => LEAST_UPRIGHT_DEG,
    };
    if back_deg < least_deg {
        return Err(NotARepetition::TooLittle(back_deg));
    }
    if back_deg > MOST_DEG {
        return Err(NotARepetition::TooFar(back_deg));
    }
    if last_deg.is_some_and(|last| back_deg < SHARE_OF_LAST * last) {
        return Err(NotARepetition::UnlikeTheLast(back_deg));
    }
    // Held: around the furthest, within a little of it.
    let within = HELD_DEG.max(HELD_SHARE * back_deg);
    let held_from = (lo..=top).rev().take_while(|&i| turn(i) < turn(top) + within).last().unwrap_or(top);
    let held_to = (top..=hi).take_while(|&i| turn(i) < turn(top) + within).last().unwrap_or(top);
    let forward_end = (top..=hi).fold(top, |b, i| if turn(i) > turn(b) { i } else { b });
    let forward_deg = turn(forward_end);
    let returned = (forward_deg + back_deg) / back_deg;
    if returned < BACK_HOME {
        return Err(NotARepetition::NotReturned(returned));
    }
    let t = |i: usize| trunk.t_s[i];
    let through = forward_deg > THROUGH_DEG.max(THROUGH_SHARE * back_deg);
    let home = (held_to..=forward_end)
        .find(|&i| forward_deg - turn(i) < HOME_LEFT * (forward_deg + back_deg))
        .unwrap_or(forward_end);
    let over = if through { forward_end } else { home };
    let (back_s, hold_s, forward_s) =
        (t(held_from) - takeaway.t_s, t(held_to) - t(held_from), t(over) - t(held_to));
    for part_s in [back_s, forward_s] {
        if !(SHORTEST_S..LONGEST_S).contains(&part_s) {
            return Err(NotARepetition::Duration(part_s));
        }
    }
    if hold_s > LONGEST_HOLD_S {
        return Err(NotARepetition::Duration(hold_s));
    }
    if hold_s > HOLD_FROM_S && mean_speed(held_from, held_to) > HOLD_DPS {
        return Err(NotARepetition::NotHeld(mean_speed(held_from, held_to)));
    }
    let way = |x: &[f64]| (lo + 1..=over).map(|i| x[i].abs() * (t(i) - t(i - 1))).sum::<f64>();
    let axial = way(&trunk.signed_dps) / way(&speed).max(1e-6);
    if axial < AXIAL_SHARE {
        return Err(NotARepetition::NotATurn(axial));
    }
    let zero = index(trunk, zero_s);
    let up = |p: &SegmentPath, i: usize| p.orientation[i] * Vector3::y();
    let moved = |p: &SegmentPath, a: usize, b: usize| up(p, a).angle(&up(p, b)).to_degrees();
    if !trunk.turn_deg.is_empty() && moved(trunk, zero, top) > AXIS_MOVES_DEG {
        return Err(NotARepetition::Bent(moved(trunk, zero, top)));
    }
    if let Some(pelvis) = path_of(Role::Pelvis).filter(|p| role == Role::Thorax && !p.turn_deg.is_empty()) {
        let pelvis_deg = -pelvis.at(&pelvis.turn_deg, t(top)).unwrap_or(0.0);
        if pelvis_deg < -PELVIS_OTHER_WAY_DEG {
            return Err(NotARepetition::PelvisOtherWay(-pelvis_deg));
        }
        if back_deg > WHOLE_BODY_FROM_DEG && pelvis_deg > WHOLE_BODY_SHARE * back_deg {
            return Err(NotARepetition::WholeBody(pelvis_deg / back_deg));
        }
    }
    // An edge is read off an angle that is known to so much, with the rate at which it is passed.
    let edge = |i: usize| {
        let rate = trunk.signed_dps.get(i).map_or(SLOWEST_DPS, |v| v.abs().max(SLOWEST_DPS));
        When { t_s: t(i), sd_s: (MOMENT_DEG / rate).hypot(STEP_S / 2.0) }
    };
    // Where it turns round it stays for a while, and anywhere in it may be the furthest: a strap that sits askew sees it
    // earlier or later. The other angles are read where it is plainly furthest.
    let stays = |at: usize, deg: f64| {
        let there = |i: &usize| (turn(*i) - turn(at)).abs() < deg;
        let from = (lo..=at).rev().take_while(there).last().unwrap_or(at);
        let to = (at..=hi).take_while(there).last().unwrap_or(at);
        ((t(to) - t(from)) / 12_f64.sqrt()).max(STEP_S / 2.0)
    };
    let turned_round = |at: usize| Extreme {
        at: When { t_s: t(at), sd_s: stays(at, within) },
        read: When { t_s: t(at), sd_s: stays(at, MOMENT_DEG) },
    };
    let furthest = turned_round(forward_end);
    Ok((
        Found {
            address_s: candidate.address_s,
            zero_s,
            takeaway,
            top: turned_round(top),
            held: [edge(held_from), edge(held_to)],
            through: through.then_some(furthest),
            forward: if through { furthest.at } else { edge(home) },
            finish: When { t_s: candidate.forward_s, sd_s: furthest.at.sd_s.max(0.02) },
            back_deg,
        },
        paths,
    ))
}

/// The signed rate added up, deg, zero at `zero_s`.
fn integrated(path: &SegmentPath, zero_s: f64) -> Vec<f64> {
    let mut sum = 0.0;
    let mut angle: Vec<f64> = (0..path.t_s.len())
        .map(|i| {
            if i > 0 {
                sum += 0.5 * (path.signed_dps[i] + path.signed_dps[i - 1]) * (path.t_s[i] - path.t_s[i - 1]);
            }
            sum
        })
        .collect();
    let zero = angle[index(path, zero_s)];
    for a in &mut angle {
        *a -= zero;
    }
    angle
}
