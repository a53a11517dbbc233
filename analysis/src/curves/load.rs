//! Reads the curves of a block's swings and aligns them.

use super::align::{Landmarks, aligned};
use super::{Curve, Kind, SwingCurves};
use crate::load::Loaded;
use crate::words::quality;
use peakorder_protocol::curves::SegmentCurves;
use peakorder_protocol::swing::{Swing, Withholding};

/// Those curves of the swings of those numbers. Why a swing has no such curve is said in [`SwingCurves::missing`].
pub fn load(loaded: &Loaded, numbers: &[u32], wanted: &[Curve]) -> Vec<SwingCurves> {
    loaded
        .swings
        .iter()
        .filter(|s| numbers.contains(&s.number))
        .map(|swing| of_swing(loaded, swing, wanted))
        .collect()
}

fn of_swing(loaded: &Loaded, swing: &Swing, wanted: &[Curve]) -> SwingCurves {
    let mut out = SwingCurves {
        number: swing.number,
        marks: Landmarks::of(&swing.events),
        found: Vec::new(),
        missing: Vec::new(),
    };
    let nothing = |why: &str, out: &mut SwingCurves| {
        out.missing.extend(wanted.iter().map(|curve| (*curve, why.to_owned())));
    };
    let Some(marks) = out.marks else {
        nothing("takeaway, top and impact do not follow each other", &mut out);
        return out;
    };
    let curves = match loaded.curves(swing.number) {
        Ok(curves) => curves,
        Err(e) => {
            nothing(&e.to_string(), &mut out);
            return out;
        }
    };
    for &curve in wanted {
        let found = withheld(swing, curve).map_or_else(
            || {
                let segment = curves.segments.iter().find(|s| s.role == curve.role);
                let segment = segment.ok_or("no strap")?;
                let values = values(segment, curve.kind);
                if values.is_empty() {
                    return Err("the strap was not calibrated".to_owned());
                }
                aligned(values, curves.start_s, curves.step_s, &marks)
                    .ok_or_else(|| "the curve does not reach from takeaway to the follow-through".to_owned())
            },
            Err,
        );
        match found {
            Ok(values) => {
                let kind = swing.segments.get(&curve.role).map(|s| s.speed_kind);
                out.found.push((curve, kind.filter(|_| curve.kind == Kind::Speed), values));
            }
            Err(why) => out.missing.push((curve, why)),
        }
    }
    out
}

fn values(segment: &SegmentCurves, kind: Kind) -> &[f32] {
    match kind {
        Kind::Speed => &segment.speed_dps,
        Kind::Turn => &segment.turn_deg,
    }
}

/// What the swing file withholds of the curve, in words: numbers that are not good enough to print are not drawn either.
fn withheld(swing: &Swing, curve: Curve) -> Option<String> {
    let concerns = |what: &Withholding| match what {
        Withholding::Sequence => true,
        Withholding::Segment(role) => *role == curve.role,
        Withholding::Peak(role) => *role == curve.role && curve.kind == Kind::Speed,
        Withholding::Angles(role) => *role == curve.role && curve.kind == Kind::Turn,
        _ => false,
    };
    swing.quality.withheld.iter().find(|w| concerns(&w.what)).map(quality::withheld)
}
