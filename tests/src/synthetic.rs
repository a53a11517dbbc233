//! Three-segment recordings made from prescribed speeds, independent of the product's
//! virtual straps.
//!
//! Each segment turns about one axis fixed in it, with a speed curve put together from
//! pieces whose integral is known in closed form. Body rates and gravity are therefore
//! exact; there is no linear acceleration but the strike's shock. Frames as in the
//! product: X anterior, Y cranial (arm: proximal), Z to the right, global Y up.

use crate::csv::{self, G, Sample, Variant};
use chacha20::ChaCha8Rng;
use nalgebra::{Rotation3, Unit, UnitQuaternion, Vector3};
use peakorder_protocol::{Handedness, Role};
use rand::{RngExt as _, SeedableRng as _};
use std::f64::consts::{PI, TAU};
use std::path::{Path, PathBuf};

/// How a speed goes from one knot to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ease {
    /// Straight.
    Line,
    /// Half a cosine: flat at both ends.
    Cosine,
}

#[derive(Debug, Clone, Copy)]
struct Piece {
    from_s: f64,
    to_s: f64,
    from: f64,
    to: f64,
    ease: Ease,
    /// Integral up to `from_s`.
    before: f64,
}

impl Piece {
    fn speed(&self, t_s: f64) -> f64 {
        let s = (t_s - self.from_s) / (self.to_s - self.from_s);
        let share = match self.ease {
            Ease::Line => s,
            Ease::Cosine => 0.5 * (1.0 - (PI * s).cos()),
        };
        self.from + (self.to - self.from) * share
    }

    fn angle(&self, t_s: f64) -> f64 {
        let (h, x) = (self.to_s - self.from_s, t_s - self.from_s);
        let share = match self.ease {
            Ease::Line => 0.5 * x * x / h,
            Ease::Cosine => 0.5 * x - 0.5 * h / PI * (PI * x / h).sin(),
        };
        self.before + self.from * x + (self.to - self.from) * share
    }
}

/// A speed over time and its integral, both exact; zero before its first and after its last piece.
#[derive(Debug, Clone, Default)]
pub struct Curve {
    pieces: Vec<Piece>,
}

impl Curve {
    /// Stays at zero until `t_s`.
    pub fn rest_to(&mut self, t_s: f64) {
        let (from_s, before) = self.end();
        assert!(t_s >= from_s, "a curve is written in order of time: {t_s} after {from_s}");
        self.pieces.push(Piece { from_s, to_s: t_s, from: 0.0, to: 0.0, ease: Ease::Line, before });
    }

    /// Goes on to `speed` at `t_s`.
    pub fn to(&mut self, t_s: f64, speed: f64, ease: Ease) {
        let (from_s, before) = self.end();
        assert!(t_s > from_s, "a curve is written in order of time: {t_s} after {from_s}");
        let from = self.pieces.last().map_or(0.0, |p| p.to);
        self.pieces.push(Piece { from_s, to_s: t_s, from, to: speed, ease, before });
    }

    /// Moves by `angle` until `t_s`, from rest to rest.
    pub fn move_by(&mut self, angle: f64, t_s: f64) {
        let (from_s, _) = self.end();
        let top = 2.0 * angle / (t_s - from_s);
        self.to(0.5 * (from_s + t_s), top, Ease::Cosine);
        self.to(t_s, 0.0, Ease::Cosine);
    }

    fn end(&self) -> (f64, f64) {
        self.pieces.last().map_or((0.0, 0.0), |p| (p.to_s, p.angle(p.to_s)))
    }

    fn piece(&self, t_s: f64) -> Option<&Piece> {
        self.pieces.get(self.pieces.partition_point(|p| p.to_s < t_s))
    }

    /// Speed at `t_s`.
    pub fn speed(&self, t_s: f64) -> f64 {
        self.piece(t_s).map_or(0.0, |p| p.speed(t_s))
    }

    /// Integral of the speed from 0 to `t_s`.
    pub fn angle(&self, t_s: f64) -> f64 {
        self.piece(t_s).map_or_else(|| self.end().1, |p| p.angle(t_s))
    }
}

/// A point of a speed curve after the reversal.
#[derive(Debug, Clone, Copy)]
pub struct Knot {
    /// Relative to impact, ms.
    pub at_ms: f64,
    /// Speed towards the target, deg/s.
    pub dps: f64,
    /// How the curve gets there.
    pub ease: Ease,
}

/// What one segment does in the swing.
#[derive(Debug, Clone)]
pub struct Part {
    /// Turn away from the target in the backswing, deg.
    pub away_deg: f64,
    /// When it turns back, relative to impact, ms.
    pub reversal_ms: f64,
    /// Speeds from there on; the last must be 0.
    pub knots: Vec<Knot>,
}

impl Part {
    /// A single pulse: `dps` at `before_ms` before impact, `rise_ms` after the reversal, back
    /// to rest in `fall_ms`.
    pub fn pulse(away_deg: f64, dps: f64, before_ms: f64, rise_ms: f64, fall_ms: f64, ease: Ease) -> Self {
        Self {
            away_deg,
            reversal_ms: -before_ms - rise_ms,
            knots: vec![
                Knot { at_ms: -before_ms, dps, ease },
                Knot { at_ms: fall_ms - before_ms, dps: 0.0, ease },
            ],
        }
    }
}

/// A recording: calibration, then the same swing some times over.
#[derive(Debug, Clone)]
pub struct Recording {
    /// Pelvis, thorax, lead arm.
    pub parts: [Part; 3],
    /// Straps worn.
    pub roles: Vec<Role>,
    /// Number of swings.
    pub swings: usize,
    /// Samples a second.
    pub rate_hz: f64,
    /// Takeaway of all segments before the lead arm's reversal, s.
    pub backswing_s: f64,
    /// Side.
    pub handedness: Handedness,
    /// A ball is struck.
    pub strike: bool,
    /// White noise on every gyroscope axis, SD, deg/s.
    pub gyro_noise_dps: f64,
    /// The noise is drawn from this number.
    pub seed: u64,
    /// How the straps sit: sensor → segment.
    pub mounting: [UnitQuaternion<f64>; 3],
    /// The thorax turns about an axis this far off its long axis (towards the front), deg.
    pub thorax_axis_off_deg: f64,
}

/// Calibration: (mark, detail-less) spans, s.
const STILL: (f64, f64) = (0.5, 3.5);
const BOW: (f64, f64) = (4.0, 12.0);
const RAISE: (f64, f64) = (12.5, 20.5);
const ADDRESS_S: f64 = 22.5;
/// Impact of the first swing and time from swing to swing, s.
const FIRST_S: f64 = 26.0;
const EVERY_S: f64 = 8.0;
/// Address: forward lean of pelvis and thorax, and the arm's swing plane, deg.
const LEAN_DEG: [f64; 3] = [-15.0, -30.0, 40.0];

impl Recording {
    /// One strike with the given parts, 208 Hz, straps worn as the segments' axes lie.
    pub fn of(parts: [Part; 3]) -> Self {
        Self {
            parts,
            roles: Role::ALL.to_vec(),
            swings: 1,
            rate_hz: 208.0,
            backswing_s: 0.731,
            handedness: Handedness::Right,
            strike: true,
            gyro_noise_dps: 0.0,
            seed: 1,
            mounting: [UnitQuaternion::identity(); 3],
            thorax_axis_off_deg: 0.0,
        }
    }

    /// Session time of the impact of swing `i` (from 0), s. Impacts do not fall on samples.
    pub fn impact_s(&self, i: usize) -> f64 {
        FIRST_S + EVERY_S * i as f64 + 0.0013 * (i as f64 * 1.618).fract()
    }

    /// Session time of the common takeaway of swing `i`, s.
    pub fn takeaway_s(&self, i: usize) -> f64 {
        self.impact_s(i) + self.parts[2].reversal_ms * 1e-3 - self.backswing_s
    }

    /// Length, s.
    pub fn duration_s(&self) -> f64 {
        FIRST_S + EVERY_S * self.swings as f64
    }

    /// Turn of a segment towards the target and its speed, deg and deg/s.
    pub fn turn(&self, role: Role) -> Curve {
        let part = &self.parts[role.index()];
        let mut curve = Curve::default();
        for i in 0..self.swings {
            let impact_s = self.impact_s(i);
            curve.rest_to(self.takeaway_s(i));
            curve.move_by(-part.away_deg, impact_s + part.reversal_ms * 1e-3);
            for knot in &part.knots {
                curve.to(impact_s + knot.at_ms * 1e-3, knot.dps, knot.ease);
            }
            assert_eq!(part.knots.last().map(|k| k.dps), Some(0.0), "a swing ends at rest");
            curve.rest_to(impact_s + 1.8);
            curve.move_by(-curve.end().1, impact_s + 4.0);
        }
        curve
    }

    /// Hinge about the segment's axis to the right, deg: calibration and address posture.
    fn hinge(role: Role) -> Curve {
        let mut curve = Curve::default();
        let (span, size) = match role {
            Role::Pelvis => (BOW, -40.0),
            Role::Thorax => (BOW, -45.0),
            Role::LeadArm => (RAISE, 90.0),
        };
        // Movement begins and ends a little inside its marks.
        let (from_s, to_s) = (span.0 + 0.5, span.1 - 0.5);
        let quarter = 0.25 * (to_s - from_s);
        curve.rest_to(from_s);
        for k in 0..4 {
            curve.move_by(if k % 2 == 0 { size } else { -size }, from_s + quarter * f64::from(k + 1));
        }
        curve.rest_to(ADDRESS_S - 1.5);
        curve.move_by(LEAN_DEG[role.index()], ADDRESS_S);
        curve
    }

    fn axis(&self, role: Role) -> Unit<Vector3<f64>> {
        let off = self.thorax_axis_off_deg.to_radians();
        match role {
            Role::Pelvis => Vector3::y_axis(),
            Role::Thorax => Unit::new_normalize(Vector3::new(off.sin(), off.cos(), 0.0)),
            // Across the arm: forwards is towards the target for a right-handed player.
            Role::LeadArm => Vector3::x_axis(),
        }
    }

    /// Samples of one strap.
    pub fn samples(&self, role: Role) -> impl Iterator<Item = Sample> + use<> {
        let (turn, hinge, axis) = (self.turn(role), Self::hinge(role), self.axis(role));
        let side = self.handedness.sign();
        let to_sensor = self.mounting[role.index()].inverse();
        let strikes: Vec<f64> =
            if self.strike { (0..self.swings).map(|i| self.impact_s(i)).collect() } else { Vec::new() };
        let shock_g = [0.8, 1.0, 12.0][role.index()];
        let noise = self.gyro_noise_dps.to_radians();
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed * 3 + role.index() as u64);
        // Straps do not sample at the same instants.
        let phase_s = 0.0011 * role.index() as f64;
        let rate_hz = self.rate_hz;
        let count = (self.duration_s() * rate_hz) as usize;
        (0..count).map(move |i| {
            let t_s = i as f64 / rate_hz + phase_s;
            let spin = Rotation3::from_axis_angle(&axis, side * turn.angle(t_s).to_radians());
            let lean = Rotation3::from_axis_angle(&Vector3::z_axis(), hinge.angle(t_s).to_radians());
            let mut gyro = spin.inverse() * Vector3::z() * hinge.speed(t_s).to_radians()
                + axis.into_inner() * (side * turn.speed(t_s).to_radians());
            let mut force = (lean * spin).inverse() * Vector3::y() * G;
            for hit_s in &strikes {
                let x = t_s - hit_s;
                if (0.0..0.1).contains(&x) {
                    let size = (-x / 0.012).exp() * (TAU * 85.0 * x).cos();
                    force += Vector3::new(0.6, 0.64, 0.48) * (shock_g * G * size);
                }
            }
            gyro += Vector3::from_fn(|_, _| noise * normal(&mut rng));
            let (gyro, force) = (to_sensor * gyro, to_sensor * force);
            Sample { t_s, gyro_rad_s: gyro.into(), accel_m_s2: force.into() }
        })
    }

    /// The marks of its calibration.
    pub fn marks(&self) -> Vec<(f64, &'static str, &'static str)> {
        let mut marks = vec![
            (STILL.0, "still-start", ""),
            (STILL.1, "still-end", ""),
            (BOW.0, "bow-start", ""),
            (BOW.1, "bow-end", ""),
        ];
        if self.roles.contains(&Role::LeadArm) {
            marks.extend([(RAISE.0, "arm-raise-start", ""), (RAISE.1, "arm-raise-end", "")]);
        }
        marks
    }

    /// Writes its files into `folder` and returns what follows `peakorderd import --out DIR`.
    pub fn write(&self, folder: &Path, variant: Variant) -> Vec<String> {
        let mut arguments = Vec::new();
        let mut add = |option: &str, path: PathBuf, text: String| {
            std::fs::write(&path, text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            arguments.extend([format!("--{option}"), path.to_string_lossy().into_owned()]);
        };
        for &role in &self.roles {
            let name = role.key().replace('_', "-");
            add(&name, folder.join(format!("{name}.csv")), csv::table(self.samples(role), variant));
        }
        add("marks", folder.join("marks.csv"), csv::marks(self.marks()));
        arguments.extend(["--handedness".into(), self.handedness.key().into()]);
        arguments
    }

    /// Imports it with the product's program and returns the swings it found.
    pub fn swings_by_import(&self) -> Vec<peakorder_protocol::swing::Swing> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        self.import_into(folder.path());
        crate::files::swings(&folder.path().join("session"))
    }

    /// Imports it into `folder/session`.
    pub fn import_into(&self, folder: &Path) -> crate::programs::CommandOutput {
        let mut arguments =
            vec!["import".to_owned(), "--out".into(), folder.join("session").to_string_lossy().into_owned()];
        arguments.extend(self.write(folder, Variant::Si));
        crate::programs::daemon(arguments).done()
    }
}

/// A standard normal number (Box and Muller 1958).
pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (1.0 - rng.random::<f64>(), rng.random());
    (-2.0 * u.ln()).sqrt() * (TAU * v).cos()
}

/// Means of 19 touring professionals, Cheetham et al. 2008 (second-hand); rise and fall
/// times follow from the mean accelerations given there, turns are plausible assumptions.
pub fn professional() -> [Part; 3] {
    [
        Part::pulse(48.0, 477.0, 87.0, 227.0, 238.5, Ease::Cosine),
        Part::pulse(92.0, 727.0, 68.0, 220.0, 279.6, Ease::Cosine),
        Part::pulse(120.0, 980.0, 65.0, 192.0, 140.0, Ease::Cosine),
    ]
}

/// Means of 19 amateurs, same source.
pub fn amateur() -> [Part; 3] {
    [
        Part::pulse(42.0, 395.0, 78.0, 227.0, 238.5, Ease::Cosine),
        Part::pulse(84.0, 583.0, 59.0, 240.0, 279.6, Ease::Cosine),
        Part::pulse(115.0, 763.0, 64.0, 210.0, 190.0, Ease::Cosine),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_are_the_integrals_of_speeds_and_swings_return() {
        let recording = Recording { swings: 2, ..Recording::of(professional()) };
        for role in Role::ALL {
            let turn = recording.turn(role);
            let mut sum = 0.0;
            let (mut t, h) = (0.0, 1e-4);
            while t < recording.duration_s() {
                sum += turn.speed(t + 0.5 * h) * h;
                t += h;
                assert!((sum - turn.angle(t)).abs() < 2e-3, "{role} at {t}: {sum} {}", turn.angle(t));
            }
            assert!(sum.abs() < 2e-3, "{role} ends at {sum}");
        }
    }

    #[test]
    fn gyroscope_and_gravity_agree() {
        // Gravity carried by the gyroscope alone must stay where the accelerometer shows it.
        let recording = Recording { strike: false, rate_hz: 2000.0, ..Recording::of(professional()) };
        for role in Role::ALL {
            let mut q = UnitQuaternion::<f64>::identity();
            let mut last: Option<Sample> = None;
            for s in recording.samples(role) {
                if let Some(l) = last {
                    let mean = (Vector3::from(l.gyro_rad_s) + Vector3::from(s.gyro_rad_s)) * 0.5;
                    q *= UnitQuaternion::from_scaled_axis(mean * (s.t_s - l.t_s));
                    let up = q * Vector3::from(s.accel_m_s2) / G;
                    assert!((up - Vector3::y()).norm() < 1e-3, "{role} at {}: {up}", s.t_s);
                }
                last = Some(s);
            }
        }
    }
}
