//! Plans one golf swing: which lobes of speed each segment makes, and what else moves.

use super::channel::{Family, Piece, Shape, sum};
use super::people::{Humps, Manner};
use super::planner::Planner;
use super::player::{PlayerParams, SegmentParams};
use super::skeleton::Dof;
use super::variation::Vary;
use serde::Serialize;

/// How a swing is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SwingStyle {
    /// A full swing at a ball.
    Full,
    /// Lead arm to about horizontal, at a ball.
    Half,
    /// A full swing at 40–60 % of its speed, at a ball.
    Slow,
    /// Lead arm only: less trunk speed, more spread, at a ball.
    OneHanded,
    /// A swing without a ball, at less than full effort.
    Rehearsal,
}

impl SwingStyle {
    /// Is a ball struck?
    pub const fn strikes(self) -> bool {
        !matches!(self, Self::Rehearsal)
    }
}

/// A planned swing, as far as truth needs it to find the exact numbers.
#[derive(Debug, Clone)]
pub(crate) struct SwingPlan {
    pub(crate) number: u32,
    pub(crate) block: String,
    pub(crate) style: SwingStyle,
    /// First lobe begins; where that is not known, the thorax has begun to turn away.
    pub(crate) takeaway_s: f64,
    /// From when to when address is; truth takes its mean.
    pub(crate) address_s: (f64, f64),
    /// When the trunk has 5 % of its fastest turn away, where that is to be said of a smoothed speed, because
    /// address is not still.
    pub(crate) onset_s: Option<f64>,
    /// Club meets ball, or would.
    pub(crate) impact_s: f64,
    /// Last lobe has ended.
    pub(crate) finish_s: f64,
    /// Pelvis, thorax, arm: downswing lobe begins, backswing lobe has ended.
    pub(crate) turn_round_s: [(f64, f64); 3],
}

/// The lobes of one segment relative to impact, angles in degrees.
struct Lobes {
    /// The early start, if any, and the main effort.
    down: Vec<Piece>,
    follow: Vec<Piece>,
    down_start_s: f64,
    rise_s: f64,
}

/// An early start begins this long before the main effort and ends as long after it, seconds.
const EARLY_S: f64 = 0.08;

/// Parts of a swing whose draws are counted apart; address is another.
const PART_STYLE: u16 = 0;
const PART_SEGMENTS: u16 = 1;
const PART_BACK: u16 = 2;
const PART_POSTURE: u16 = 3;
pub(super) const PART_ADDRESS: u16 = 4;
const PART_TURN: [u16; 3] = [10, 11, 12];
const PART_FOLLOW: [u16; 3] = [20, 21, 22];
const PART_LAST: [u16; 3] = [30, 31, 32];
/// Each hump of a top has two parts more.
const PART_DOWN: [u16; 3] = [40, 60, 80];

const SPIN: [Dof; 3] = [Dof::PelvisSpin, Dof::ThoraxSpin, Dof::ArmSwing];

pub(super) fn step(start_s: f64, duration_s: f64, delta: f64, shape: Shape) -> Piece {
    Piece::Step { start_s, duration_s, delta, shape }
}

fn end_of(piece: &Piece) -> f64 {
    match *piece {
        Piece::Step { start_s, duration_s, .. } => start_s + duration_s,
        Piece::Wave { end_s, .. } => end_s,
    }
}

/// Largest rate that a shape reaches, in units of its whole change per duration.
fn peak_rate(shape: Shape, position: f64) -> f64 {
    shape.at(position).rate
}

/// A segment whose speed is too low to make its turn in this time makes less of it: nobody turns
/// towards the target before taking away. Seconds, at full speed.
const LONGEST_RISE_S: f64 = 0.5;

/// What the main effort of a downswing is made of: one pulse of a family, or the humps of a drawn top.
enum Effort {
    Pulse(Family),
    Humps(Humps),
}

/// The downswing whose rise makes `away + open` degrees between its start and impact, and that rise, s, with the
/// time from its first peak to impact, s.
fn downswing(p: &SegmentParams, effort: &Effort, longest_rise_s: f64) -> (Vec<Piece>, f64, f64) {
    let before_s = p.peak_before_ms / 1000.0;
    let first_before_s = match effort {
        Effort::Pulse(_) => before_s,
        Effort::Humps(humps) => before_s + humps.first_before_s(),
    };
    let fall_s = (p.fall_ms / 1000.0).max(before_s + 0.05);
    let pulse = |family: Family, rise_s: f64| {
        let (low, high) = Shape::peak_range(family);
        let position = (rise_s / (rise_s + fall_s)).clamp(low, high);
        let duration_s = rise_s / position;
        let shape = Shape::peaking_at(family, position);
        let delta = p.peak_dps * duration_s / peak_rate(shape, position);
        step(-(rise_s + before_s), duration_s, delta, shape)
    };
    let lobes = |rise_s: f64| match effort {
        Effort::Pulse(family) => vec![pulse(*family, rise_s)],
        Effort::Humps(humps) => humps.pieces(p.peak_dps, -before_s, rise_s),
    };
    let wanted = p.away_deg + p.open_deg - p.early_deg;
    let (mut low, mut high) = (0.08f64.max(0.04 - first_before_s), longest_rise_s);
    for _ in 0..50 {
        let mid = 0.5 * (low + high);
        if sum(&lobes(mid), 0.0).value < wanted {
            low = mid;
        } else {
            high = mid;
        }
    }
    let rise_s = 0.5 * (low + high);
    (lobes(rise_s), rise_s, first_before_s)
}

/// The backswing lobe that, together with `down`, turns the segment `away_deg` back.
fn backswing(down: &[Piece], span_s: (f64, f64), shape: Shape, away_deg: f64, down_start_s: f64) -> Piece {
    let lobe = |size: f64| step(span_s.0, span_s.1 - span_s.0, -size, shape);
    let both = |size: f64, t: f64| {
        let (back, down) = (lobe(size).at(t), sum(down, t));
        (back.value + down.value, back.rate + down.rate)
    };
    let extreme = |size: f64| {
        let (mut low, mut high) = (down_start_s, span_s.1);
        for _ in 0..40 {
            let mid = 0.5 * (low + high);
            if both(size, mid).1 < 0.0 {
                low = mid;
            } else {
                high = mid;
            }
        }
        -both(size, 0.5 * (low + high)).0
    };
    let (mut low, mut high) = (0.5 * away_deg, 2.0 * away_deg + 20.0);
    for _ in 0..40 {
        let mid = 0.5 * (low + high);
        if extreme(mid) < away_deg {
            low = mid;
        } else {
            high = mid;
        }
    }
    lobe(0.5 * (low + high))
}

/// What goes on after impact: a lobe that reaches `follow_gain` times the peak speed, or one
/// that brings the segment to its finish.
fn follow_through(down: &[Piece], p: &SegmentParams, at_impact_deg: f64, duration_s: f64) -> Vec<Piece> {
    let shape = Shape::RaisedCosine { rise: 0.42 };
    let lobe = |size: f64| step(0.004, duration_s, size, shape);
    let size = if p.follow_gain > 0.0 {
        let fastest = |size: f64| {
            let both: Vec<Piece> = std::iter::once(lobe(size)).chain(down.iter().copied()).collect();
            (1..100).map(|i| sum(&both, 0.004 + duration_s * f64::from(i) / 100.0).rate).fold(0.0, f64::max)
        };
        let (mut low, mut high) = (0.0, 150.0);
        for _ in 0..30 {
            let mid = 0.5 * (low + high);
            if fastest(mid) < p.follow_gain * p.peak_dps {
                low = mid;
            } else {
                high = mid;
            }
        }
        low
    } else {
        let end_s = down.iter().map(end_of).fold(0.0, f64::max);
        let rest = sum(down, end_s).value - sum(down, 0.0).value;
        p.finish_deg - at_impact_deg - rest
    };
    if size > 1.0 { vec![lobe(size)] } else { Vec::new() }
}

/// This swing's parameters: the player's, varied and made in the given style. The second
/// value is how much slower than a full swing time runs.
fn varied(player: &PlayerParams, style: SwingStyle, draw: &mut Vary<'_>) -> ([SegmentParams; 3], f64) {
    let mut segments = player.segments;
    let spread = &player.spread;
    let wobble = if style == SwingStyle::OneHanded { 1.8 } else { 1.0 };
    let (away, speed, slower) = match style {
        SwingStyle::Full => (1.0, 1.0, 1.0),
        SwingStyle::Half => (draw.uniform(0.5, 0.65), draw.uniform(0.6, 0.75), 1.0),
        SwingStyle::Slow => (0.95, 1.0, 1.0 / draw.uniform(0.4, 0.6)),
        SwingStyle::OneHanded => (draw.uniform(0.7, 0.85), draw.uniform(0.55, 0.7), 1.1),
        SwingStyle::Rehearsal => (draw.uniform(0.8, 1.0), 1.0, 1.0 / draw.uniform(0.55, 0.85)),
    };
    draw.part(PART_SEGMENTS);
    for (i, p) in segments.iter_mut().enumerate() {
        let trunk_share = if style == SwingStyle::OneHanded && i < 2 { 0.8 } else { 1.0 };
        p.away_deg = (p.away_deg * away + wobble * draw.bounded(0.0, spread.turn_deg)).max(8.0);
        p.open_deg = p.open_deg * away.sqrt() + wobble * draw.bounded(0.0, spread.turn_deg);
        p.peak_dps *= trunk_share * speed * (1.0 + wobble * draw.bounded(0.0, spread.speed)) / slower;
        p.peak_before_ms = (p.peak_before_ms + wobble * draw.bounded(0.0, spread.time_ms)) * slower;
        p.fall_ms *= slower;
        p.finish_deg *= away.sqrt();
        p.early_deg *= away;
    }
    (segments, slower)
}

/// Plans a swing that takes away at the planner's cursor, which must be at address, and
/// moves the cursor to the finish.
pub(crate) fn plan(
    planner: &mut Planner,
    player: &PlayerParams,
    style: SwingStyle,
    number: u32,
    block: &str,
    draw: &mut Vary<'_>,
) -> SwingPlan {
    draw.part(PART_STYLE);
    let (mut segments, slower) = varied(player, style, draw);
    // The arm is not quite in its swing plane, so it turns a little faster than it sweeps.
    let lean = player.posture.arm_forward_deg + player.posture.arm_plane_deg;
    segments[2].peak_dps /= lean.to_radians().sin();
    let lobes: Vec<Lobes> = segments
        .iter_mut()
        .enumerate()
        .map(|(i, p)| {
            draw.part(PART_DOWN[i]);
            let (effort, longest_rise_s, early_s) = match &player.manner {
                None => (Effort::Pulse(player.family), LONGEST_RISE_S, EARLY_S),
                Some(manner) => {
                    let top = &manner.tops[i];
                    // The top alone must not take the segment further than it goes.
                    let room_s = 0.45 * (p.away_deg + p.open_deg).max(0.0) / p.peak_dps;
                    let humps = Humps::drawn(top, p.fall_ms / 1000.0, room_s, slower, draw);
                    if let Some((from, to)) = top.last_after_s {
                        draw.part(PART_LAST[i]);
                        p.peak_before_ms = 1e3 * (humps.last_after_s() - slower * draw.uniform(from, to));
                    }
                    (Effort::Humps(humps), manner.longest_rise_s, manner.early_s)
                }
            };
            draw.part(PART_FOLLOW[i]);
            let (mut down, rise_s, first_before_s) = downswing(p, &effort, longest_rise_s * slower);
            let duration_s = slower * draw.uniform(0.24, 0.32) * if p.follow_gain > 0.0 { 1.0 } else { 1.8 };
            let mut follow = follow_through(&down, p, p.open_deg, duration_s);
            if let (2, Some(manner)) = (i, &player.manner) {
                follow = vec![again(manner, slower, draw)];
            }
            // What begins slowly has ended before the top.
            let late_s = if player.manner.is_some() { early_s.min(0.7 * rise_s) } else { early_s };
            let mut down_start_s = -(rise_s + first_before_s);
            if p.early_deg > 0.0 {
                down_start_s -= early_s * slower;
                let shape = Shape::RaisedCosine { rise: 0.5 };
                down.insert(0, step(down_start_s, (early_s + late_s) * slower, p.early_deg, shape));
            }
            Lobes { down, follow, down_start_s, rise_s }
        })
        .collect();
    draw.part(PART_BACK);
    let half = if style == SwingStyle::Half { 0.85 } else { 1.0 };
    let back_s = player.backswing_s * slower.sqrt() * half * (1.0 + draw.bounded(0.0, player.spread.speed));
    let takeaway = lobes[2].down_start_s - back_s;
    let impact_s = planner.t - takeaway;
    let mut turn_round_s = [(0.0, 0.0); 3];
    let mut finish_s = impact_s;
    for (i, (lobe, p)) in lobes.iter().zip(&segments).enumerate() {
        draw.part(PART_TURN[i]);
        let delay = slower.sqrt() * [draw.uniform(0.03, 0.1), draw.uniform(0.01, 0.04), 0.0][i];
        let overlap = (0.4 * lobe.rise_s).clamp(0.05, 0.14 * slower);
        let span_s = (takeaway + delay, lobe.down_start_s + overlap);
        let shape = Shape::peaking_at(player.family, draw.uniform(0.42, 0.55));
        let back = backswing(&lobe.down, span_s, shape, p.away_deg, lobe.down_start_s);
        let mut pieces = vec![back];
        pieces.extend(lobe.down.iter().chain(&lobe.follow));
        pieces.extend(texture(p, lobe, player.spread.texture, draw));
        for piece in &pieces {
            if let Piece::Step { start_s, duration_s, delta, shape } = *piece {
                planner.step(SPIN[i], impact_s + start_s, duration_s, delta, shape);
                finish_s = finish_s.max(impact_s + start_s + duration_s);
            }
        }
        turn_round_s[i] = (impact_s + lobe.down_start_s, impact_s + span_s.1);
    }
    let share = segments[1].away_deg / 90.0;
    draw.part(PART_POSTURE);
    posture_changes(planner, impact_s, turn_round_s[2].0, slower, share, draw);
    roll(planner, player.manner.as_ref(), impact_s, turn_round_s[2].0, slower, share, draw);
    slide(planner, impact_s, turn_round_s[2].0, player.slide_m);
    let takeaway_s = planner.t;
    planner.t = finish_s;
    SwingPlan {
        number,
        block: block.to_owned(),
        style,
        takeaway_s,
        // Where the body stands still, the instant before it moves says as much as a mean.
        address_s: if player.manner.is_some() {
            (takeaway_s - 0.3, takeaway_s - 0.05)
        } else {
            (takeaway_s, takeaway_s)
        },
        onset_s: None,
        impact_s,
        finish_s,
        turn_round_s,
    }
}

/// The second hump of the arm's speed, after impact.
fn again(manner: &Manner, slower: f64, draw: &mut Vary<'_>) -> Piece {
    let speed_dps = draw.uniform(manner.arm_again_dps.0, manner.arm_again_dps.1) / slower;
    let duration_s = slower * draw.uniform(0.35, 0.5);
    // A raised cosine is twice as fast at its peak as on average.
    step(0.03 * slower, duration_s, 0.5 * speed_dps * duration_s, Shape::RaisedCosine { rise: 0.42 })
}

/// Small irregular bumps on the speed curve of the downswing.
fn texture(p: &SegmentParams, lobe: &Lobes, size: f64, draw: &mut Vary<'_>) -> Vec<Piece> {
    if size <= 0.0 {
        return Vec::new();
    }
    (0..2)
        .map(|_| {
            let duration_s = draw.uniform(0.08, 0.14);
            let start_s = draw.uniform(lobe.down_start_s + 0.06, 0.02);
            let speed = size * p.peak_dps * draw.uniform(-1.0, 1.0);
            step(start_s, duration_s, speed * duration_s / 2.0, Shape::RaisedCosine { rise: 0.5 })
        })
        .collect()
}

/// The hips go away from the target with the backswing and come back with the downswing.
fn slide(d: &mut Planner, impact_s: f64, top_s: f64, slide_m: f64) {
    let start = d.t + 0.05;
    d.shift(start, top_s - start + 0.05, 0.0, 0.0, -slide_m);
    d.shift(top_s - 0.02, (impact_s - top_s + 0.1).max(0.1), 0.0, 0.0, slide_m);
}

/// Leans, hips, and the arm's plane and roll during a swing; sizes are plausible, not
/// measured, except that the trail side is lower at impact (Chen et al. 2024, Sensors 24(5):
/// lumbar side bend about 21° towards the trail side).
fn posture_changes(d: &mut Planner, impact_s: f64, top_s: f64, slower: f64, share: f64, draw: &mut Vary<'_>) {
    let start = d.t + 0.05;
    let back_s = top_s - start + 0.05;
    let mut vary = |mean: f64| share * draw.bounded(mean, 0.2 * mean.abs());
    let down_s = (impact_s - top_s + 0.04).max(0.1);
    let down = top_s - 0.02;
    let after = impact_s + 0.05 * slower;
    let after_s = 0.55 * slower;
    let mj = Shape::MinJerk;
    for (dof, away, towards, follow) in [
        (Dof::PelvisForward, vary(-2.0), vary(-3.0), vary(-12.0)),
        (Dof::PelvisSide, vary(-3.0), vary(7.0), vary(-3.0)),
        (Dof::ThoraxForward, vary(-3.0), vary(-3.0), vary(-20.0)),
        (Dof::ThoraxSide, vary(-4.0), vary(14.0), vary(-8.0)),
        (Dof::ArmForward, vary(4.0), vary(-5.0), vary(6.0)),
        (Dof::ArmSide, vary(-3.0), 0.0, vary(5.0)),
        (Dof::ArmPlane, vary(-3.0), vary(5.0), vary(-4.0)),
    ] {
        d.step(dof, start, back_s, away, mj);
        d.step(dof, down, down_s + 0.06 * slower, towards, mj);
        d.step(dof, after, after_s, follow, mj);
    }
    d.shift(start, back_s, 0.0, -0.01 * share, -0.03 * share);
    d.shift(down, down_s, 0.01, -0.02 * share, 0.09 * share);
    d.shift(after, after_s, 0.0, 0.04 * share, 0.03 * share);
}

/// The lead arm's roll about itself: away in the backswing, back through impact; sizes are plausible, but for
/// a [`Manner`]'s.
fn roll(
    d: &mut Planner,
    manner: Option<&Manner>,
    impact_s: f64,
    top_s: f64,
    slower: f64,
    share: f64,
    draw: &mut Vary<'_>,
) {
    let mut vary = |mean: f64| share * draw.bounded(mean, 0.2 * mean.abs());
    let start = d.t + 0.05;
    let back_s = top_s - start + 0.05;
    let (away, back) = (vary(-manner.map_or(35.0, |m| m.roll_deg)), vary(75.0));
    let early_s = manner.map_or(0.0, |m| draw.uniform(m.roll_early_s.0, m.roll_early_s.1));
    d.step(Dof::ArmRoll, start - early_s, back_s + early_s, away, Shape::MinJerk);
    d.step(Dof::ArmRoll, impact_s - 0.14 * slower, 0.3 * slower, back, Shape::MinJerk);
}
