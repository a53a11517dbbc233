//! Reversals, peaks, gaps and order of one swing.

use super::drift::speed_sd_dps;
use super::impact_of::ImpactAndReach;
use super::{Part, holes, instant, round};
use crate::detect::onset::Onset;
use crate::detect::phases::Phases;
use crate::sequence::fit::at_least_seven_s;
use crate::sequence::order::{self, Timed};
use crate::sequence::peak::{self, FoundPeak, Series};
use crate::sequence::reversal;
use crate::sequence::width::{self, Told};
use nalgebra::Vector3;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::order::PartialOrder;
use peakorder_protocol::swing::{Evidence, Gap, Outcome, Peak, Segment, Sequence, SpeedKind};

/// A segment whose reversal is not found may have turned back this much before the trunk segment that phases
/// were found by, s (own judgement).
const LEAD_S: f64 = 0.3;

/// A strike that is known better than this, 95 %, moves no peak, s.
const IMPACT_KNOWN_S: f64 = 0.005;

/// A tilted axis is searched over samples from this long before the search to this long after the
/// peak at most, s.
const BEFORE_SEARCH_S: f64 = 0.1;
const AFTER_PEAK_S: f64 = 1.0;

/// What counts as rocking back in transition, deg: the arm's direction of swing is not one line.
pub(super) const fn rock_back_deg(role: Role) -> f64 {
    match role {
        Role::Pelvis | Role::Thorax => 0.4,
        Role::LeadArm => 1.0,
    }
}

/// Reversals and peaks of all segments, with one smoothing for all: where noise would move a
/// peak, a second pass smooths all of them longer.
pub(super) fn reversals_and_peaks(
    parts: &mut [Part<'_>],
    phases: &Phases,
    found: &ImpactAndReach,
    half_s: f64,
) {
    locate(parts, phases, found, half_s);
    // A peak that will be withheld must not decide how the others are smoothed.
    let whole = |p: &&Part<'_>| !holes::may_hide_peak(p, phases, found.impact.t_s);
    let noisiest =
        parts.iter().filter(whole).filter_map(|p| p.peak).map(|p| p.found.noise_sd_s).fold(0.0, f64::max);
    let wider_s = peak::widened_s(half_s, noisiest);
    if wider_s > 1.1 * half_s {
        locate(parts, phases, found, wider_s);
    }
}

fn locate(parts: &mut [Part<'_>], phases: &Phases, found: &ImpactAndReach, half_s: f64) {
    for part in parts {
        let path = &part.path;
        let speed = Series { t_s: &path.t_s, dps: &path.speed_dps };
        let resultant = Series { t_s: &path.t_s, dps: &path.resultant_dps };
        let search = |series: Series<'_>, from_s: f64| {
            peak::find(series, from_s, found.impact.t_s, found.data_to_s, half_s)
        };
        // First where it is fastest, so that the reversal is the one before that.
        let from_s = phases.moving_s + 0.4 * (phases.trunk_reversal_s - phases.moving_s);
        let signed = Series { t_s: &path.t_s, dps: &path.signed_dps };
        let fastest = if path.signed_dps.is_empty() { None } else { search(signed, from_s) };
        part.reversal = fastest.and_then(|p| {
            let narrow_s = at_least_seven_s(reversal::HALF_S, part.window.period_s);
            reversal::find(
                signed,
                from_s,
                p.t_s,
                narrow_s,
                rock_back_deg(part.window.role),
                speed_sd_dps(part),
            )
        });
        let after_s = part.reversal.map_or(phases.trunk_reversal_s - LEAD_S, |r| r.t_s);
        let impact = &found.impact;
        let told = |series: Series<'_>, peak: FoundPeak, otherwise: &[FoundPeak]| {
            let width = width::of(series, after_s, impact.t_s, found.data_to_s, half_s)?;
            Some(Told::new(peak, otherwise, width, impact.t_s, impact.sd_s))
        };
        let mut otherwise = Vec::new();
        let mut peak = search(speed, after_s).map(|p| with_alignment(p, part, after_s, &search));
        if let Some(peak) = &mut peak
            && Z95 * impact.sd_s > IMPACT_KNOWN_S
        {
            let end = |side: f64| {
                let end_s = impact.t_s + side * Z95 * impact.sd_s;
                peak::find(speed, after_s, end_s, found.data_to_s.max(end_s), half_s)
            };
            // A rehearsal's impact is estimated, and too early in real swings: only a later one is tried.
            let sides: &[f64] = if impact.evidence == Evidence::None { &[1.0] } else { &[-1.0, 1.0] };
            let ends: Vec<Option<FoundPeak>> = sides.iter().copied().map(end).collect();
            let decides = ends.iter().any(|other| other.is_none_or(|o| o.rising != peak.rising));
            part.impact_decides = decides && ends.iter().any(Option::is_none);
            otherwise = ends.into_iter().flatten().collect();
            if !decides {
                let apart_s = otherwise.iter().map(|o| (o.t_s - peak.t_s).abs()).fold(0.0, f64::max);
                peak.sd_s = peak.sd_s.hypot(apart_s / Z95);
            }
        }
        part.peak = peak.and_then(|p| told(speed, p, &otherwise));
        part.resultant_peak = search(resultant, after_s).and_then(|p| told(resultant, p, &[]));
    }
}

/// A strap calibrated some degrees off lets rotation about other axes leak into the speed, and so
/// moves its peak, on a flat top from one hump to another. How far is tried: the long axis is
/// tilted as far as its 95 % band reaches, each way about both axes across it: between two humps the peak
/// jumps, and half a tilt would not show it.
fn with_alignment(
    found: FoundPeak,
    part: &Part<'_>,
    after_s: f64,
    search: &impl Fn(Series<'_>, f64) -> Option<FoundPeak>,
) -> FoundPeak {
    let window = part.window;
    let Some(alignment) = window.mounting.filter(|_| !found.rising) else { return found };
    let tilt = Z95 * alignment.long_axis_sd_deg.to_radians();
    let lo = window.index(after_s - BEFORE_SEARCH_S);
    let hi = window.index(found.t_s + AFTER_PEAK_S);
    let t_s = &window.t_s[lo..hi];
    // The trunk's speed has a sign, which the handedness gave it.
    let sign = part.path.at(&part.path.speed_dps, found.t_s).map_or(1.0, |v| {
        let axial = window.gyro[window.index(found.t_s).min(window.gyro.len() - 1)].y;
        (v * axial).signum()
    });
    let moved = |axis: Vector3<f64>| -> (f64, f64) {
        let dps: Vec<f64> = window.gyro[lo..hi]
            .iter()
            .map(|w| match window.role {
                Role::LeadArm => w.cross(&axis).norm().to_degrees(),
                Role::Pelvis | Role::Thorax => (w.dot(&axis) * sign).to_degrees(),
            })
            .collect();
        let off = |p: FoundPeak| ((p.t_s - found.t_s).abs(), (p.dps - found.dps).abs());
        search(Series { t_s, dps: &dps }, after_s).map_or((0.0, 0.0), off)
    };
    let about = |x: f64, z: f64| {
        let [one, other] = [tilt, -tilt].map(|e| moved(Vector3::new(e * x, 1.0, e * z).normalize()));
        (one.0.max(other.0), one.1.max(other.1))
    };
    let [x, z] = [about(1.0, 0.0), about(0.0, 1.0)];
    FoundPeak {
        sd_s: found.sd_s.hypot(x.0.hypot(z.0) / Z95),
        dps_sd: found.dps_sd.hypot(x.1.hypot(z.1) / Z95),
        ..found
    }
}

/// A band is given apart where one side is longer than the other by more than this, s.
const LOPSIDED_S: f64 = 0.2e-3;

fn peak_of(told: &Told, impact_s: f64) -> Peak {
    let ms = |s: f64| round(s * 1e3, 3);
    let [from_s, to_s] = told.band_s;
    let lopsided = ((told.t_s - from_s) - (to_s - told.t_s)).abs() > LOPSIDED_S;
    let timed = told.outcome != Outcome::Rising;
    Peak {
        t_s: round(told.t_s, 6),
        before_impact_ms: ms(impact_s - told.t_s),
        sd_ms: ms(told.whole_sd_s()),
        band_ms: (timed && lopsided).then(|| [ms(told.t_s - from_s), ms(to_s - told.t_s)]),
        within_2pct_ms: timed.then(|| told.width.within_2pct_s.map(|t| ms(t - told.t_s))),
        speed_dps: round(told.found.dps, 2),
        speed_sd_dps: None,
        bone_sd_ms: None,
        speed_bone_sd_dps: None,
        outcome: told.outcome,
    }
}

/// The segment's part of the file; angles and the uncertainty of speeds are left to be filled in.
pub(super) fn segment(part: &Part<'_>, onset: Option<Onset>, impact_s: f64) -> Segment {
    let speed_kind = match (part.window.mounting, part.window.role) {
        (None, _) => SpeedKind::Resultant,
        (Some(_), Role::LeadArm) => SpeedKind::Across,
        (Some(_), _) => SpeedKind::Axial,
    };
    let at_impact = part.path.at(&part.path.speed_dps, impact_s);
    Segment {
        speed_kind,
        speed_definition: speed_kind.definition().into(),
        onset: onset.map(|o| instant(o.at_s, o.sd_s)),
        reversal: part.reversal.map(|r| instant(r.t_s, r.sd_s)),
        peak: part.peak.as_ref().map(|p| peak_of(p, impact_s)),
        resultant_peak: part.resultant_peak.as_ref().map(|p| peak_of(p, impact_s)),
        speed_at_impact_dps: at_impact.map(|v| round(v, 2)),
        speed_at_impact_sd_dps: None,
        speed_kept_at_impact: part.peak.and_then(|p| at_impact.map(|v| round((v / p.found.dps).min(1.0), 3))),
        speed_kept_sd: None,
        speed_at_impact_bone_sd_dps: None,
        speed_kept_bone_sd: None,
        turn_deg: None,
        lateral_tilt_deg: None,
        flexion_deg: None,
    }
}

/// Order and gaps; also the worst standard uncertainty of two straps' alignment, s.
pub(super) fn sequence(parts: &[Part<'_>]) -> (Sequence, f64) {
    let clock = |a: Role, b: Role| -> f64 {
        let get = |role| parts.iter().find(|p| p.window.role == role).map(|p| p.window);
        let (Some(a), Some(b)) = (get(a), get(b)) else { return 0.0 };
        let moving = a.clock.sd_s.max(b.clock.sd_s);
        if moving == 0.0 { 0.0 } else { moving.hypot(a.clock_limits.constant_u95_s(&b.clock_limits) / Z95) }
    };
    let peaks: Vec<Timed> = parts
        .iter()
        .filter_map(|p| {
            let told = p.peak?;
            let Told { outcome, t_s, width, found, .. } = told;
            let role = p.window.role;
            match outcome {
                Outcome::Peak => {
                    let (sd_s, by_smoothing_s) = (found.sd_s, width.by_smoothing_s);
                    Some(Timed { role, t_s, sd_s, by_smoothing_s, rivals_s: found.rivals_s, held: false })
                }
                Outcome::Held => Some(Timed { held: true, ..Timed::sharp(role, t_s, told.whole_sd_s()) }),
                Outcome::Rising => None,
            }
        })
        .collect();
    let reversals: Vec<Timed> =
        parts.iter().filter_map(|p| p.reversal.map(|r| Timed::sharp(p.window.role, r.t_s, r.sd_s))).collect();
    let rounded = |mut gaps: Vec<Gap>| {
        for g in &mut gaps {
            g.gap_ms = round(g.gap_ms, 3);
            g.sd_ms = round(g.sd_ms, 3);
        }
        gaps
    };
    let in_groups =
        |timed: &[Timed], gaps: &[Gap]| PartialOrder::new(timed.iter().map(|t| t.role), gaps).groups(gaps);
    let gaps = order::gaps(&peaks, clock);
    let reversal_gaps = order::gaps(&reversals, clock);
    let mut worst = 0.0_f64;
    for (i, a) in parts.iter().enumerate() {
        for b in &parts[i + 1..] {
            worst = worst.max(clock(a.window.role, b.window.role));
        }
    }
    let that = |outcome| {
        let of = |p: &&Part<'_>| p.peak.is_some_and(|peak| peak.outcome == outcome);
        parts.iter().filter(of).map(|p| p.window.role).collect()
    };
    let sequence = Sequence {
        order: in_groups(&peaks, &gaps),
        reversal_order: in_groups(&reversals, &reversal_gaps),
        gaps: rounded(gaps),
        reversal_gaps: rounded(reversal_gaps),
        rising_at_impact: that(Outcome::Rising),
        held_to_impact: that(Outcome::Held),
    };
    (sequence, worst)
}
