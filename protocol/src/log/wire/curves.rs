//! The body of a curves file.

use super::{CURVES_LIMIT, append, fixed, index_in, role_of};
use crate::curves::{Curves, CurvesContent, SegmentCurves};
use crate::role::Role;
use bincode::{Decode, Encode};

#[derive(Encode, Decode)]
struct CurvesV1 {
    start_s: f64,
    step_s: f64,
    segments: Vec<SegmentV1>,
}

#[derive(Encode, Decode)]
struct SegmentV1 {
    role: u8,
    speed_dps: Vec<f32>,
    turn_deg: Vec<f32>,
    orientation_wxyz: Vec<[f32; 4]>,
}

/// The body of a curves file.
pub(crate) fn encode_curves(curves: &Curves) -> Vec<u8> {
    let wire = CurvesV1 {
        start_s: curves.start_s,
        step_s: curves.step_s,
        segments: curves
            .segments
            .iter()
            .map(|s| SegmentV1 {
                role: index_in(&Role::ALL, &s.role),
                speed_dps: s.speed_dps.clone(),
                turn_deg: s.turn_deg.clone(),
                orientation_wxyz: s.orientation_wxyz.clone(),
            })
            .collect(),
    };
    let mut out = Vec::new();
    append(wire, &mut out);
    out
}

/// Reads the body of a curves file; the error says what is wrong with it.
pub(crate) fn decode_curves(body: &[u8]) -> Result<Curves, CurvesContent> {
    let (wire, used) = bincode::decode_from_slice::<CurvesV1, _>(body, fixed::<CURVES_LIMIT>())
        .map_err(|e| CurvesContent::Encoding(e.to_string()))?;
    if used != body.len() {
        return Err(CurvesContent::Length { used, of: body.len() });
    }
    let segments = wire.segments.into_iter().map(|s| {
        Ok(SegmentCurves {
            role: role_of(s.role).ok_or(CurvesContent::Segment(s.role))?,
            speed_dps: s.speed_dps,
            turn_deg: s.turn_deg,
            orientation_wxyz: s.orientation_wxyz,
        })
    });
    Ok(Curves {
        start_s: wire.start_s,
        step_s: wire.step_s,
        segments: segments.collect::<Result<_, CurvesContent>>()?,
    })
}
