//! Was it a swing, and where are its phases?

use super::onset::{self, Onset};
use super::signal::{STEP_S, Track, Tracks};
use crate::settings::Settings;
use peakorder_protocol::Role;
use std::fmt;

/// Longest backswing looked for, s (slow drills included).
const BACKSWING_MAX_S: f64 = 3.5;
/// Shortest backswing, s.
const BACKSWING_MIN_S: f64 = 0.2;
/// Address must be calm for at least this long: 30 frames at 240 Hz (Yamamoto et al. 2023,
/// Front Sports Act Living 5:1272038).
const ADDRESS_MIN_S: f64 = 0.125;
/// Address is looked for at most this long before takeaway, and used at most this far back, s.
const ADDRESS_WITHIN_S: f64 = 1.0;
const ADDRESS_USE_S: f64 = 1.5;
/// All segments of a backswing begin within this, s. Of ten real swings and of all virtual players they
/// do; a pitch winds the arm up on its own (own judgement).
const TOGETHER_S: f64 = 0.5;
/// Calm: mean speed of the trunk and of the arm, deg/s. Restless players sway by some 4 deg/s.
const CALM_TRUNK_DPS: f64 = 16.0;
const CALM_ARM_DPS: f64 = 25.0;
/// Motion away "lasts" from where speed exceeds this share of its backswing maximum.
const ONSET_SHARE: f64 = 0.05;
const ONSET_MIN_DPS: f64 = 3.0;
/// The trunk may rest for this long at the top, and for this long on the way there, s (own judgement).
const PAUSE_S: f64 = 0.5;
const HESITATION_S: f64 = 0.15;
/// So far apart pelvis and thorax begin, s (SD; own judgement: they did by 50 ms in ten real swings).
const PELVIS_FOR_THORAX_SD_S: f64 = 0.06;
/// A first motion stands out from address by this many of its SDs, and by this much, deg/s.
const SWAY_SDS: f64 = 3.0;
const SWAY_MIN_DPS: f64 = 5.0;
/// The slope of the end is taken over this, s, and is no less than this, deg/s².
const SLOPE_S: f64 = 0.04;
const SLOPE_MIN_DPS_S: f64 = 20.0;
/// A grid point is known to this, s.
const GRID_SD_S: f64 = 0.0025;
/// Speeds below this after impact for [`FINISH_FOR_S`] are the finish, deg/s.
const FINISH_DPS: f64 = 35.0;
const FINISH_FOR_S: f64 = 0.15;
/// Sway and axes make a slow speed uncertain by this, deg/s (own judgement).
const SLOW_SD_DPS: f64 = 1.0;
/// Where the window ends before motion has settled, s.
const NOT_SETTLED_SD_S: f64 = 0.5;

/// The other segments set off, turn round and are fastest within this of the trunk, s: before its onset, before its
/// reversal, after its peak. Wide on purpose (own judgement): no time of a swing is assumed, and real swings
/// played at three quarters to twice their speed are found and measured alike (`tests/tests/golf/live.rs`).
const OTHERS_START_S: f64 = 0.4;
const OTHERS_TURN_S: f64 = 0.25;
const OTHERS_PEAK_S: f64 = 0.35;
/// Sway before an onset is read from this long to this long before it, s.
const SWAY_FROM_S: f64 = 0.7;
const SWAY_TO_S: f64 = 0.25;
/// An onset lies after this long a calm, s.
const CALM_S: f64 = 0.06;

/// Nobody turns the trunk this fast but to hit something, deg/s; then forward may even be a
/// little slower than away.
const FAST_TRUNK_DPS: f64 = 250.0;
const FAST_FORWARD_TO_AWAY: f64 = 0.85;
/// Rocking by less than this on the way forward does not begin the forward turn anew, deg.
const ROCK_DEG: f64 = 2.0;
/// An arm this much faster forward than away, and this fast, deg/s, swings a club whatever the
/// trunk does: arms crossed for a trunk turn go as fast as the trunk, both ways.
const ARM_FORWARD_TO_AWAY: f64 = 1.5;
const ARM_FORWARD_DPS: f64 = 250.0;
/// Trunk turns away of a swing that the arm makes nearly alone, deg, and the arm's own turn then.
const ARM_LED_TURN_AWAY_DEG: f64 = 5.0;
const ARM_LED_SWEEP_DEG: f64 = 45.0;

/// Why a movement is not a swing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rejection {
    /// Straps do not overlap in time.
    NoOverlap,
    /// No trunk strap.
    NoTrunk,
    /// Trunk hardly turned towards the target, deg/s.
    NoForwardTurn(f64),
    /// The turn towards the target did not start from a reversal.
    NoReversal,
    /// Too little turn away, deg.
    NoTurnAway(f64),
    /// Forward not clearly faster than away, ratio.
    NotFaster(f64),
    /// Backswing or downswing too short or long, s.
    Duration(f64),
    /// No calm address before it.
    NoAddress,
    /// The turn forward stopped short of where it came from, share.
    NotThrough(f64),
    /// The other segments did not take part.
    Alone(Role),
    /// The segments did not begin together, s.
    NotTogether(f64),
    /// Trunk as upright at address as no one stands to a ball on the ground, deg forward.
    Upright(f64),
}

impl fmt::Display for Rejection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoOverlap => f.write_str("straps do not overlap in time"),
            Self::NoTrunk => f.write_str("no trunk strap"),
            Self::NoForwardTurn(v) => write!(f, "trunk turned towards the target at {v:.0} deg/s only"),
            Self::NoReversal => f.write_str("no reversal before the forward turn"),
            Self::NoTurnAway(v) => write!(f, "turned away {v:.0} deg only"),
            Self::NotFaster(v) => write!(f, "forward only {v:.2} times as fast as away"),
            Self::Duration(v) => write!(f, "a phase of {v:.2} s"),
            Self::NoAddress => f.write_str("no calm address before it"),
            Self::NotThrough(v) => write!(f, "came back {:.0} % only", v * 100.0),
            Self::Alone(role) => write!(f, "the {role} did not take part"),
            Self::Upright(v) => write!(f, "stood upright at address, {v:.0} deg forward"),
            Self::NotTogether(v) => write!(f, "the segments began {v:.2} s apart"),
        }
    }
}

/// Phases of a swing, session seconds, to the grid's precision.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phases {
    /// Calm address that the attitude is latched over.
    pub address_from_s: f64,
    /// Its end; not after the first motion.
    pub address_to_s: f64,
    /// First lasting motion of any segment, the arm's roll included: address is over.
    pub moving_s: f64,
    /// Takeaway: the thorax begins to turn away (without its strap the pelvis).
    pub takeaway: Onset,
    /// Where each segment begins.
    pub onsets: [Option<Onset>; 3],
    /// Reversal of the trunk segment looked at (thorax, else pelvis).
    pub trunk_reversal_s: f64,
    /// Its forward speed maximum.
    pub trunk_peak_s: f64,
    /// Motion settled, or the window's end.
    pub finish_s: f64,
    /// Its standard uncertainty, s.
    pub finish_sd_s: f64,
}

/// Decides whether the movement around `at_s` was a swing.
pub fn find(tracks: &Tracks, settings: &Settings, at_s: f64) -> Result<Phases, Rejection> {
    let trunk = tracks.get(Role::Thorax).or_else(|| tracks.get(Role::Pelvis)).ok_or(Rejection::NoTrunk)?;
    let forward = &trunk.forward_dps;
    let at = tracks.index(at_s);
    let near = steps(0.5);
    let peak = argmax(forward, at.saturating_sub(near), (at + near).min(tracks.len));
    let peak_dps = forward[peak];
    if peak_dps < settings.trigger_thorax_dps * 0.6 {
        return Err(Rejection::NoForwardTurn(peak_dps));
    }

    // Back to where this forward run began.
    let reversal = reversal_before(forward, peak).ok_or(Rejection::NoReversal)?;
    let down_s = (peak - reversal) as f64 * STEP_S;
    if down_s > settings.max_downswing_s {
        return Err(Rejection::Duration(down_s));
    }

    let onset = turn_onset(forward, reversal);
    let away_peak = argmin(forward, onset, reversal + 1);
    let away_deg = -integral(forward, onset, reversal);
    let arm_led = tracks.get(Role::LeadArm).is_some_and(|arm| arm_leads(arm, onset, reversal, peak));
    let least_away = if arm_led { ARM_LED_TURN_AWAY_DEG } else { settings.min_turn_away_deg };
    if away_deg < least_away {
        return Err(Rejection::NoTurnAway(away_deg));
    }
    let ratio = peak_dps / -forward[away_peak];
    // A slow turn there and back is no swing; of a fast one only the quick backswing is unusual.
    let least = if peak_dps > FAST_TRUNK_DPS { FAST_FORWARD_TO_AWAY } else { settings.min_forward_to_away };
    if ratio < least && !arm_led {
        return Err(Rejection::NotFaster(ratio));
    }
    let back_s = (reversal - onset) as f64 * STEP_S;
    if !(BACKSWING_MIN_S..BACKSWING_MAX_S).contains(&back_s) {
        return Err(Rejection::Duration(back_s));
    }
    let run_end = (peak..tracks.len).find(|&i| forward[i] <= 0.0).unwrap_or(tracks.len);
    let through = integral(forward, reversal, run_end) / away_deg;
    if through < 0.6 {
        return Err(Rejection::NotThrough(through));
    }
    others_took_part(tracks, trunk, reversal, peak)?;

    let moving = first_motion(tracks, onset, reversal);
    let (from, to) = address(tracks, moving).ok_or(Rejection::NoAddress)?;
    let onsets = onsets(tracks, onset, reversal);
    let began = onsets.iter().flatten().map(|o| o.at_s);
    let apart_s = began.clone().fold(f64::NEG_INFINITY, f64::max) - began.fold(f64::INFINITY, f64::min);
    if apart_s > TOGETHER_S {
        return Err(Rejection::NotTogether(apart_s));
    }
    let takeaway = takeaway(&onsets).unwrap_or(Onset { at_s: tracks.time_s(onset), sd_s: HESITATION_S });
    let finish = finish(tracks, peak);
    Ok(Phases {
        address_from_s: tracks.time_s(from),
        address_to_s: tracks.time_s(to),
        moving_s: tracks.time_s(moving),
        takeaway,
        onsets,
        trunk_reversal_s: tracks.time_s(reversal),
        trunk_peak_s: tracks.time_s(peak),
        finish_s: tracks.time_s(finish.map_or(tracks.len - 1, |f| f.at)),
        finish_sd_s: finish.map_or(NOT_SETTLED_SD_S, |f| f.sd_s),
    })
}

fn steps(seconds: f64) -> usize {
    (seconds / STEP_S) as usize
}

fn argmax(x: &[f64], from: usize, to: usize) -> usize {
    (from..to).fold(from, |best, i| if x[i] > x[best] { i } else { best })
}

fn argmin(x: &[f64], from: usize, to: usize) -> usize {
    (from..to).fold(from, |best, i| if x[i] < x[best] { i } else { best })
}

fn integral(x: &[f64], from: usize, to: usize) -> f64 {
    x[from..to].iter().sum::<f64>() * STEP_S
}

/// Where the forward run that is fastest at `peak` began: back to the furthest turn away, over
/// little rocking on the way.
fn reversal_before(forward: &[f64], peak: usize) -> Option<usize> {
    let (mut angle, mut least, mut at) = (0.0, 0.0, None);
    for i in (0..peak).rev() {
        angle -= forward[i] * STEP_S;
        if angle < least {
            (least, at) = (angle, Some(i));
        } else if angle > least + ROCK_DEG {
            return at;
        }
    }
    None
}

/// The arm swung: out and, clearly faster, back.
fn arm_leads(arm: &Track, onset: usize, reversal: usize, peak: usize) -> bool {
    let speed = &arm.speed_dps;
    let (early, late) =
        (onset.saturating_sub(steps(OTHERS_START_S)), (peak + steps(OTHERS_PEAK_S)).min(speed.len()));
    let forward = argmax(speed, reversal, late);
    // The arm turns round near the trunk's reversal, early or late.
    let turned =
        argmin(speed, reversal.saturating_sub(steps(OTHERS_TURN_S)).max(early), forward.max(early + 1));
    let away = argmax(speed, early, turned.max(early + 1));
    speed[forward] > ARM_FORWARD_DPS
        && speed[forward] > ARM_FORWARD_TO_AWAY * speed[away]
        && integral(speed, early, turned) > ARM_LED_SWEEP_DEG
}

/// Where the turn away that ends at `reversal` began: back from its fastest moment until
/// it no longer lasts.
fn turn_onset(forward: &[f64], reversal: usize) -> usize {
    let earliest = reversal.saturating_sub(steps(BACKSWING_MAX_S));
    // The fastest moment of the run of away motion that leads into the reversal. Neither a pause
    // at the top nor a short hesitation on the way ends the run.
    let mut run = reversal;
    let mut calm = 0;
    for i in (earliest..reversal).rev() {
        if forward[i] < -ONSET_MIN_DPS {
            run = i;
            calm = 0;
        } else {
            calm += 1;
            if calm > steps(if run == reversal { PAUSE_S } else { HESITATION_S }) {
                break;
            }
        }
    }
    let fastest = argmin(forward, run, reversal + 1);
    onset_before(forward, run, fastest, |v, level| -v > level)
}

/// Back from `fastest` to where the motion falls below its onset level for [`CALM_S`].
fn onset_before(x: &[f64], earliest: usize, fastest: usize, above: impl Fn(f64, f64) -> bool) -> usize {
    let level = (x[fastest].abs() * ONSET_SHARE).max(ONSET_MIN_DPS);
    let mut onset = fastest;
    let mut calm = 0;
    for i in (earliest..=fastest).rev() {
        if above(x[i], level) {
            onset = i;
            calm = 0;
        } else {
            calm += 1;
            if calm > steps(CALM_S) {
                break;
            }
        }
    }
    onset
}

/// Where a motion ended.
#[derive(Debug, Clone, Copy)]
struct Edge {
    at: usize,
    sd_s: f64,
}

/// Back from an onset to where the motion leaves the sway of address: a share of the fastest
/// speed is reached some 50 ms after a smooth start.
fn out_of_sway(x: &[f64], onset: usize, earliest: usize) -> usize {
    let (from, to) = (onset.saturating_sub(steps(SWAY_FROM_S)), onset.saturating_sub(steps(SWAY_TO_S)));
    let still = &x[from..to];
    if still.is_empty() {
        return onset;
    }
    let n = still.len() as f64;
    let mean = still.iter().sum::<f64>() / n;
    let sd = (still.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
    let above = (SWAY_SDS * sd).max(SWAY_MIN_DPS);
    (earliest..onset).rev().find(|&i| x[i] < mean + above).map_or(onset, |i| i + 1)
}

/// The first motion of any segment, not more than [`OTHERS_START_S`] before the trunk's.
fn first_motion(tracks: &Tracks, trunk_onset: usize, reversal: usize) -> usize {
    let earliest = trunk_onset.saturating_sub(steps(OTHERS_START_S));
    let first = tracks.tracks.iter().map(|track| {
        let signal = if track.role == Role::LeadArm { &track.speed_dps } else { &track.away_dps };
        let fastest = argmax(signal, trunk_onset, reversal.saturating_sub(steps(0.1)).max(trunk_onset + 1));
        let onset = onset_before(signal, earliest, fastest, |v, level| v > level);
        out_of_sway(signal, onset, onset.saturating_sub(steps(0.2)))
    });
    first.fold(trunk_onset, usize::min)
}

/// Where each segment's backswing begins, by [`Role::index`].
fn onsets(tracks: &Tracks, trunk_onset: usize, reversal: usize) -> [Option<Onset>; 3] {
    Role::ALL.map(|role| {
        let track = tracks.get(role)?;
        // The arm turns round later than the trunk, and is fast again by then.
        let until = if role == Role::LeadArm { reversal.saturating_sub(steps(0.1)) } else { reversal };
        let from = trunk_onset.saturating_sub(steps(OTHERS_START_S));
        onset::find(&track.away_dps, track.bias_sd_dps, tracks.start_s, from, until.max(from + 1))
    })
}

/// Takeaway is the thorax's start. Where only the pelvis is known, the thorax may begin a little
/// before or after it.
fn takeaway(onsets: &[Option<Onset>; 3]) -> Option<Onset> {
    onsets[Role::Thorax.index()].or_else(|| {
        let pelvis = onsets[Role::Pelvis.index()]?;
        Some(Onset { sd_s: pelvis.sd_s.hypot(PELVIS_FOR_THORAX_SD_S), ..pelvis })
    })
}

/// Without the pelvis or the arm moving at all it is not a swing: a seated turn, an arm
/// waved by itself, a strap being handled.
fn others_took_part(tracks: &Tracks, trunk: &Track, reversal: usize, peak: usize) -> Result<(), Rejection> {
    let from = reversal.saturating_sub(steps(OTHERS_TURN_S));
    let to = (peak + steps(OTHERS_PEAK_S)).min(tracks.len);
    let trunk_dps = trunk.forward_dps[peak];
    for track in &tracks.tracks {
        let fastest = track.speed_dps[argmax(&track.speed_dps, from, to)];
        let least = match track.role {
            Role::Pelvis => 20.0_f64.max(0.06 * trunk_dps),
            Role::Thorax => 0.0,
            Role::LeadArm if trunk_dps > FAST_TRUNK_DPS => 0.6 * trunk_dps,
            // Carried along by a slow turn it goes as fast as the trunk; in a swing it is faster
            // (by a third: Cheetham et al. 2008, second-hand).
            Role::LeadArm => 1.1 * trunk_dps,
        };
        if fastest < least {
            return Err(Rejection::Alone(track.role));
        }
    }
    Ok(())
}

/// The calm stretch before the first motion: (from, to), grid indices.
fn address(tracks: &Tracks, moving: usize) -> Option<(usize, usize)> {
    let calm = |i: usize| {
        tracks
            .tracks
            .iter()
            .all(|t| t.speed_dps[i] < if t.role == Role::LeadArm { CALM_ARM_DPS } else { CALM_TRUNK_DPS })
    };
    let need = steps(ADDRESS_MIN_S);
    // The onset level itself may be above "calm" for fast takeaways, so start at the last calm point.
    let latest = (0..=moving)
        .rev()
        .take(steps(ADDRESS_WITHIN_S))
        .find(|&i| i + 1 >= need && (i + 1 - need..=i).all(calm))?;
    let mut from = latest + 1 - need;
    while from > 0 && latest - from < steps(ADDRESS_USE_S) && calm(from - 1) {
        from -= 1;
    }
    Some((from, latest))
}

/// Where all segments have become slow; `None` if the window ends before.
fn finish(tracks: &Tracks, peak: usize) -> Option<Edge> {
    let need = steps(FINISH_FOR_S);
    let mut calm = 0;
    let last = (peak..tracks.len).find(|&i| {
        calm = if tracks.tracks.iter().all(|t| t.speed_dps[i] < FINISH_DPS) { calm + 1 } else { 0 };
        calm >= need
    })?;
    let at = last + 1 - need;
    // The last to become slow.
    let before = at.saturating_sub(steps(SLOPE_S));
    let fall = tracks.tracks.iter().map(|t| t.speed_dps[before] - t.speed_dps[at]).fold(0.0, f64::max);
    let slope = (fall / ((at - before).max(1) as f64 * STEP_S)).max(SLOPE_MIN_DPS_S);
    Some(Edge { at, sd_s: (SLOW_SD_DPS / slope).hypot(GRID_SD_S) })
}
