//! The strike: a shock in the accelerometers near where the motion says it should be.

use crate::window::SegmentWindow;
use nalgebra::Vector3;

/// A shock must stand out from the movement's own roughness by this factor …
const OUTSTANDING: f64 = 6.0;
/// … or, in the arm, what the movement up to this long before it has at its roughest by this one: the last of
/// the downswing, however long that is …
const ABOVE_DOWNSWING: f64 = 2.5;
const DOWNSWING_S: f64 = 0.3;
/// … and be at least this large, m/s²: arm and trunk.
const ARM_MIN_M_S2: f64 = 5.0;
const TRUNK_MIN_M_S2: f64 = 1.2;
/// A shock's first sample departs by this share of the largest departure at least …
const ONSET_SHARE: f64 = 0.06;
/// … and by this many times what nine in ten calm samples do, which of a thousand samples of
/// noise one does.
const ONSET_ABOVE_ROUGH: f64 = 2.0;
/// … and this many times the largest departure of the movement's own shortly before: an arm that slows
/// down for impact is rougher than the rest of the swing.
const ONSET_ABOVE_LOCAL: f64 = 2.0;
/// What does not reach this many times that is the movement's own.
const POSSIBLE_ABOVE_LOCAL: f64 = 1.2;
/// From when to when before the largest departure that is looked for, s.
const LOCAL_FROM_S: f64 = 0.15;
const LOCAL_TO_S: f64 = 0.06;
/// A shock is faint where that is more than this share of it.
const FAINT: f64 = 0.2;
/// … and the shock rings on from there without a pause longer than this, s, for at most this long.
const PAUSE_S: f64 = 0.022;
const RINGS_S: f64 = 0.07;
/// Smooth movement departs from a parabola by the cube of the sample period; a shock must be
/// several times that. Departure of a fast arm and of the trunk at 10 ms, m/s² (own simulation:
/// a centripetal acceleration of 60 and 10 m/s² that comes within 30 and 40 ms).
const ARM_SMOOTH_M_S2: f64 = 2.3;
const TRUNK_SMOOTH_M_S2: f64 = 0.16;
const SMOOTH_PERIOD_S: f64 = 0.010;
const ABOVE_SMOOTH: f64 = 3.0;
/// A shock's first sample departs by this many times the smooth movement at least.
const ONSET_ABOVE_SMOOTH: f64 = 1.5;
/// The onset lies anywhere in one sample step (SD 0.29 steps), or in the one before it if the wave
/// passed zero where its first sample fell: SD in steps.
const ONSET_STEPS: f64 = 0.37;
/// From this sample step on, s, that happens often: SD in steps (own simulation).
const SPARSE_S: f64 = 0.008;
const SPARSE_STEPS: f64 = 0.6;
/// The shock needs some time from the hands to the trunk, and is weak when it comes: SD, s (own
/// judgement).
const TRUNK_TRAVEL_S: f64 = 0.002;

/// A shock found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shock {
    /// Session time, s.
    pub t_s: f64,
    /// Standard uncertainty, s.
    pub sd_s: f64,
    /// Departure from the smooth motion, m/s².
    pub size_m_s2: f64,
}

/// Looks for a shock in `[from_s, to_s]`, judged against the roughness of the samples from
/// `calm_from_s` on. `arm`: the strap is on the arm.
pub fn find(segment: &SegmentWindow, calm_from_s: f64, from_s: f64, to_s: f64, arm: bool) -> Option<Shock> {
    let first = segment.index(calm_from_s).max(3);
    let (lo, hi) = (segment.index(from_s).max(first), segment.index(to_s).min(segment.t_s.len()));
    if hi < lo + 3 || lo < first + 8 {
        return None;
    }
    // Departure of each sample from the parabola through the three before it: an onset shows
    // in the very sample it falls into, which a centred difference would smear.
    // Where samples are missing the four are not evenly spaced and nothing can be said.
    let whole = |i: usize| segment.lost_before[i - 2..=i].iter().all(|lost| *lost == 0);
    let departure: Vec<f64> =
        (first..hi).map(|i| if whole(i) { depart(&segment.acc, i) } else { 0.0 }).collect();
    let mut before: Vec<f64> = departure[..lo - first].to_vec();
    before.sort_by(f64::total_cmp);
    let rough = before[before.len() * 9 / 10];
    let (mut at, mut size) = (lo, 0.0);
    for i in lo..hi {
        if departure[i - first] > size {
            (at, size) = (i, departure[i - first]);
        }
    }
    let (least, smooth) =
        if arm { (ARM_MIN_M_S2, ARM_SMOOTH_M_S2) } else { (TRUNK_MIN_M_S2, TRUNK_SMOOTH_M_S2) };
    let smooth = smooth * (segment.period_s / SMOOTH_PERIOD_S).powi(3);
    let largest_in = |from_s: f64, to_s: f64| {
        let within = |i: &usize| (from_s..to_s).contains(&(segment.t_s[at] - segment.t_s[*i]));
        (first..at).filter(within).map(|i| departure[i - first]).fold(0.0, f64::max)
    };
    let outstanding = OUTSTANDING * rough;
    // At a low sample rate the turn at the top is as rough as a strike, and the downswing is not.
    let outstanding = if arm {
        outstanding.min(ABOVE_DOWNSWING * largest_in(LOCAL_TO_S, DOWNSWING_S))
    } else {
        outstanding
    };
    if size < least.max(outstanding).max(ABOVE_SMOOTH * smooth) {
        return None;
    }
    // Back from the largest departure to the first of the burst.
    let local = largest_in(LOCAL_TO_S, LOCAL_FROM_S);
    let above_rough = ONSET_ABOVE_ROUGH * rough;
    let possible = (ONSET_SHARE * size)
        .max(if arm { above_rough.min(POSSIBLE_ABOVE_LOCAL * local) } else { above_rough })
        .max(ONSET_ABOVE_SMOOTH * smooth);
    let level = possible.max((ONSET_ABOVE_LOCAL * local).min(0.5 * size));
    let reach = segment.t_s[at] - RINGS_S;
    let pause = PAUSE_S.max(2.2 * segment.period_s);
    let first_above = |level: f64| {
        let mut onset = at;
        for i in (lo..at).rev() {
            if segment.t_s[i] < reach || segment.t_s[onset] - segment.t_s[i] > pause {
                break;
            }
            if departure[i - first] > level {
                onset = i;
            }
        }
        onset
    };
    let onset = first_above(level);
    // The shock began somewhere in the interval that ends with its first sample …
    let step = segment.t_s[onset] - segment.t_s[onset - 1];
    // … or before: of one that grows to its size from here to there, the first part is hidden.
    let hidden_s = (segment.t_s[at] - segment.t_s[onset] + step) * (level / size).min(1.0);
    let onset_s = step * if step > SPARSE_S { SPARSE_STEPS } else { ONSET_STEPS };
    let travel_s = if arm { 0.0 } else { TRUNK_TRAVEL_S };
    // Where samples are missing so short before that the shock may be ringing on from there, it began
    // somewhere in between.
    let unseen_s = (lo..=onset)
        .rev()
        .take_while(|&i| segment.t_s[onset] - segment.t_s[i] <= pause)
        .filter(|&i| segment.lost_before[i] > 0)
        .last()
        .map_or(0.0, |i| segment.t_s[onset] - segment.t_s[i - 1] - step);
    // A shock that hardly stands out from the movement may have begun among what could be either.
    let doubtful_s =
        if level > FAINT * size { segment.t_s[onset] - segment.t_s[first_above(possible)] } else { 0.0 };
    let within_s = hidden_s + unseen_s + doubtful_s;
    Some(Shock {
        t_s: segment.t_s[onset] - 0.5 * (step + within_s),
        sd_s: onset_s.hypot(within_s / 12.0_f64.sqrt()).hypot(travel_s),
        size_m_s2: size,
    })
}

fn depart(acc: &[Vector3<f64>], i: usize) -> f64 {
    (acc[i] - (acc[i - 1] - acc[i - 2]) * 3.0 - acc[i - 3]).norm()
}
