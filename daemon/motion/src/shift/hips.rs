//! Where the hips are from the strap on the sacrum.

use nalgebra::Vector3;
use peakorder_protocol::session::HIP_BREADTHS_CM;

/// Breadth across the hips, standing, where none was measured, cm. Men and women differ little: some 34 cm
/// with an SD of 2 cm between people in the US Army survey of 1988 (Gordon CC et al. 1989, Natick
/// TR-89/044; figures from memory).
const USUAL_BREADTH_CM: f64 = 34.0;

/// Middle of the hips from the strap, by breadth: ahead, below. The joints lie 10–11 cm ahead of the
/// posterior spines and 8 cm below the plane through them and the anterior ones (regressions of
/// Harrington ME et al. 2007, J Biomech 40:595–602, for a pelvis 24 cm wide and 15 cm deep; from memory),
/// which leans some 11 deg forward in standing; 2–3 cm are soft tissue and the strap itself (own judgement).
const AHEAD: f64 = 0.12 / 0.34;
const BELOW: f64 = 0.10 / 0.34;
/// Half the distance between the joints by breadth: some 17 cm (the same source).
const HALF_WIDTH: f64 = 0.085 / 0.34;
/// Lever with the breadth measured, and with a usual one, m: people's depth of the pelvis (SD 1.2 cm),
/// soft tissue (1.2 cm), its lean (1 cm), and where on the sacrum the strap sits. Own judgement.
const LEVER_SD_M: f64 = 0.020;
const USUAL_LEVER_SD_M: f64 = 0.025;
/// Half the distance between the joints: that regression's error, with the breadth's own spread, m.
const HALF_WIDTH_SD_M: f64 = 0.006;
const USUAL_HALF_WIDTH_SD_M: f64 = 0.008;

/// The hips of a player, as the strap on the sacrum is worn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hips {
    /// Breadth across them, standing, cm.
    pub breadth_cm: f64,
    /// Whether that was measured.
    pub measured: bool,
    /// Strap to the middle of the hips, pelvis axes (X anterior, Y cranial, Z right), m.
    pub lever_m: Vector3<f64>,
    /// Its standard uncertainty along each axis, m.
    pub lever_sd_m: f64,
    /// Half the distance between the joints, m.
    pub half_width_m: f64,
    /// Its standard uncertainty, m.
    pub half_width_sd_m: f64,
}

impl Hips {
    /// Of a player with this breadth across the hips, cm; of a usual one where it was not measured.
    pub fn of_breadth(measured_cm: Option<f64>) -> Self {
        let measured_cm = measured_cm.filter(|cm| HIP_BREADTHS_CM.contains(cm));
        let breadth_cm = measured_cm.unwrap_or(USUAL_BREADTH_CM);
        let breadth_m = breadth_cm * 0.01;
        let measured = measured_cm.is_some();
        Self {
            breadth_cm,
            measured,
            lever_m: Vector3::new(AHEAD, -BELOW, 0.0) * breadth_m,
            lever_sd_m: if measured { LEVER_SD_M } else { USUAL_LEVER_SD_M },
            half_width_m: HALF_WIDTH * breadth_m,
            half_width_sd_m: if measured { HALF_WIDTH_SD_M } else { USUAL_HALF_WIDTH_SD_M },
        }
    }
}
