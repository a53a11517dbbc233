//! The curves beside a swing file.

use super::Part;
use crate::detect::phases::Phases;
use peakorder_protocol::curves::{Curves, SegmentCurves};

/// Grid step, s.
const STEP_S: f64 = 0.005;

/// Curves from the start of address to finish.
pub fn curves(parts: &[Part<'_>], phases: &Phases) -> Curves {
    let start_s = phases.address_from_s;
    let n = ((phases.finish_s - start_s) / STEP_S) as usize + 1;
    let times = || (0..n).map(|i| start_s + i as f64 * STEP_S);
    let segments = parts
        .iter()
        .map(|part| {
            let path = &part.path;
            let series = |s: &[f64]| -> Vec<f32> {
                if s.is_empty() {
                    Vec::new()
                } else {
                    times().map(|t| path.at(s, t).unwrap_or(0.0) as f32).collect()
                }
            };
            SegmentCurves {
                role: part.window.role,
                speed_dps: series(&path.speed_dps),
                turn_deg: series(&path.turn_deg),
                orientation_wxyz: times()
                    .map(|t| {
                        let q = path.orientation_at(t);
                        [q.w as f32, q.i as f32, q.j as f32, q.k as f32]
                    })
                    .collect(),
            }
        })
        .collect();
    Curves { start_s, step_s: STEP_S, segments }
}
