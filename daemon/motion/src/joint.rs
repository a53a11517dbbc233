//! Heading of one strap against another's, from the joint that their segments share.
//!
//! Gyroscopes and gravity leave every strap with a heading of its own, and headings carried
//! from the calibration drift apart by degrees a minute (0.05 deg/s of bias is 3 deg/min). But
//! the shoulder is one point: thorax and arm strap must find the same acceleration for it.
//! Through a swing that acceleration is tens of m/s² in the horizontal plane and changes its
//! direction, which fixes the heading between the two straps, and where each sits with
//! respect to the joint, anew in every swing. The principle is known from two-segment chains
//! (Weygers & Kok 2020, IEEE Sensors J 20:7969–7979, from memory).

use super::minimum;
use super::path::SegmentPath;
use super::sequence::fit::{LocalFit, at_least_seven_s};
use super::window::SegmentWindow;
use nalgebra::{Matrix3, Rotation3, SMatrix, SVector, UnitQuaternion, Vector3};

/// Grid of the fit, s.
const STEP_S: f64 = 0.005;
/// Rates, their derivatives and forces are local cubics over ± this, s.
const HALF_S: f64 = 0.02;
/// Shortest stretch worth fitting, s.
const LEAST_S: f64 = 0.3;
/// Errors of the model (the joint moves on the chest otherwise than supposed, skin on the bone) last
/// about as long as half a downswing, so that many samples count as one, s. Own judgement, set with
/// the gliding shoulder of the virtual players in view.
const CORRELATED_S: f64 = 0.12;
/// The model is never trusted to be better than this, m/s² per axis. Own judgement.
const LEAST_ERROR_M_S2: f64 = 0.3;
/// What the levers are guessed to be off by, m, and the error they are weighed against, m/s².
const LEVER_SD_M: f64 = 0.08;
const PRIOR_ERROR_M_S2: f64 = 1.5;
/// A tilt of 1.5 deg between the two verticals leaves a constant difference of this, m/s².
const CONSTANT_SD_M_S2: f64 = 0.25;
/// The shoulder blade slides on the ribs as the arm reaches, so the joint moves in the thorax. Where
/// it goes is taken to be linear in the direction the arm points in there, m per unit of that
/// direction in each coordinate (own judgement: some centimetres over the reach of a swing).
const GLIDE_SD_M: f64 = 0.04;
/// Unknown: two levers, a constant difference, and the glide's three vectors.
const UNKNOWNS: usize = 18;
/// Grid points on either side that the pointing direction's rates are taken over.
const RATE_POINTS: usize = 6;
/// Heading is searched in steps of this, then refined, rad.
const SEARCH_RAD: f64 = std::f64::consts::PI / 18.0;
/// Golden section steps from there to 10⁻⁴ rad.
const REFINE_STEPS: usize = 17;

/// One segment on its side of the joint.
#[derive(Debug, Clone, Copy)]
pub struct Side<'a> {
    /// Session times, s.
    pub t_s: &'a [f64],
    /// Bias-free rate, rad/s, segment frame.
    pub gyro: &'a [Vector3<f64>],
    /// Specific force, m/s², segment frame.
    pub acc: &'a [Vector3<f64>],
    /// Orientations at `path_t_s`, segment → a global frame (Y up) of its own heading.
    pub orientation: &'a [UnitQuaternion<f64>],
    /// Their session times, s.
    pub path_t_s: &'a [f64],
    /// Guess of where the joint is from the strap, segment frame, m.
    pub lever_m: Vector3<f64>,
}

impl<'a> Side<'a> {
    /// A segment's samples and path.
    pub fn new(window: &'a SegmentWindow, path: &'a SegmentPath, lever_m: Vector3<f64>) -> Self {
        Self {
            t_s: &window.t_s,
            gyro: &window.gyro,
            acc: &window.acc,
            orientation: &path.orientation,
            path_t_s: &path.t_s,
            lever_m,
        }
    }

    fn orientation_at(&self, t_s: f64) -> Option<UnitQuaternion<f64>> {
        let i = self.path_t_s.partition_point(|t| *t < t_s).max(1);
        let (from, to) = (self.path_t_s.get(i - 1)?, self.path_t_s.get(i)?);
        let share = ((t_s - from) / (to - from)).clamp(0.0, 1.0);
        Some(self.orientation.get(i - 1)?.slerp(self.orientation.get(i)?, share))
    }

    /// Sample period around `t_s`, s.
    fn period_s(&self, t_s: f64) -> Option<f64> {
        let i = self.t_s.partition_point(|t| *t < t_s).max(4);
        Some((self.t_s.get(i)? - self.t_s.get(i - 4)?) / 4.0)
    }
}

/// Heading found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heading {
    /// Turn about the vertical that takes the second path's global frame into the first's, rad.
    pub rad: f64,
    /// Standard uncertainty, rad.
    pub sd_rad: f64,
}

/// One side at one instant, in its own global frame.
struct Instant {
    /// Specific force at the strap, m/s².
    force: Vector3<f64>,
    /// What it changes by per metre of lever (segment frame), 1/s² …
    per_m: Matrix3<f64>,
    /// … per m/s of a lever that changes, 1/s, and per m/s² of it: Coriolis and direct.
    per_m_s: Matrix3<f64>,
    per_m_s2: Matrix3<f64>,
}

/// One instant of both sides.
struct Pair {
    first: Instant,
    second: Instant,
    /// What the first's force changes by per metre of glide, 1/s²: the part that does not hang on the
    /// heading, that with its cosine, that with its sine.
    glide: [Glide; 3],
}

type Glide = SMatrix<f64, 3, 9>;

fn instant(side: &Side<'_>, t_s: f64) -> Option<Instant> {
    let half = at_least_seven_s(HALF_S, side.period_s(t_s)?);
    let within = |edge: f64| side.t_s.partition_point(|t| *t < edge);
    let (lo, hi) = (within(t_s - half), within(t_s + half));
    let fit = |series: &[Vector3<f64>], axis: usize| {
        let y: Vec<f64> = series[lo..hi].iter().map(|v| v[axis]).collect();
        LocalFit::new(&side.t_s[lo..hi], &y, t_s, half)
    };
    let (mut rate, mut turning, mut force) = (Vector3::zeros(), Vector3::zeros(), Vector3::zeros());
    for axis in 0..3 {
        let gyro = fit(side.gyro, axis)?;
        rate[axis] = gyro.at(t_s, 0);
        turning[axis] = gyro.at(t_s, 1);
        force[axis] = fit(side.acc, axis)?.at(t_s, 0);
    }
    let r = side.orientation_at(t_s)?.to_rotation_matrix().into_inner();
    let cross = rate.cross_matrix();
    Some(Instant {
        force: r * force,
        per_m: r * (turning.cross_matrix() + cross * cross),
        per_m_s: r * cross * 2.0,
        per_m_s2: r,
    })
}

/// Normal equations of the unknowns: matrix, right side, and the square of what is to be explained.
#[derive(Debug, Clone, Copy)]
struct Normal {
    matrix: SMatrix<f64, UNKNOWNS, UNKNOWNS>,
    right: SVector<f64, UNKNOWNS>,
    square: f64,
}

impl Normal {
    fn at(heading: f64, pairs: &[Pair], guess: &SVector<f64, UNKNOWNS>) -> Self {
        let turn = Rotation3::from_axis_angle(&Vector3::y_axis(), -heading).into_inner();
        let weight = SVector::<f64, UNKNOWNS>::from_fn(|i, _| {
            let sd = match i {
                0..6 => LEVER_SD_M,
                6..9 => CONSTANT_SD_M_S2,
                _ => GLIDE_SD_M,
            };
            (PRIOR_ERROR_M_S2 / sd).powi(2)
        });
        let right = weight.component_mul(guess);
        let mut n = Self { matrix: SMatrix::from_diagonal(&weight), right, square: guess.dot(&right) };
        let (sin, cos) = heading.sin_cos();
        for Pair { first: a, second: b, glide } in pairs {
            let mut row = SMatrix::<f64, 3, UNKNOWNS>::zeros();
            row.fixed_columns_mut::<3>(0).copy_from(&(turn * a.per_m));
            row.fixed_columns_mut::<3>(3).copy_from(&-b.per_m);
            row.fixed_columns_mut::<3>(6).copy_from(&Matrix3::identity());
            row.fixed_columns_mut::<9>(9).copy_from(&(turn * (glide[0] + glide[1] * cos + glide[2] * sin)));
            let want = b.force - turn * a.force;
            n.matrix += row.transpose() * row;
            n.right += row.transpose() * want;
            n.square += want.norm_squared();
        }
        n
    }

    fn mixed(parts: &[(f64, &Self)]) -> Self {
        let zero = Self { matrix: SMatrix::zeros(), right: SVector::zeros(), square: 0.0 };
        parts.iter().fold(zero, |sum, (k, n)| Self {
            matrix: sum.matrix + n.matrix * *k,
            right: sum.right + n.right * *k,
            square: sum.square + n.square * k,
        })
    }
}

/// Every entry of the normal equations is a trigonometric polynomial of second degree in the
/// heading, so five passes over the samples give them for all headings: constant, cosine, sine,
/// and those of the double angle.
struct Problem([Normal; 5]);

impl Problem {
    fn new(pairs: &[Pair], guess: &SVector<f64, UNKNOWNS>) -> Self {
        let angles = [0.0, 1.0, 2.0, 3.0, 4.0].map(|k| k * std::f64::consts::TAU / 5.0);
        let at = angles.map(|h| Normal::at(h, pairs, guess));
        let waves: [fn(f64) -> f64; 5] =
            [|_| 0.5, f64::cos, f64::sin, |h| (2.0 * h).cos(), |h| (2.0 * h).sin()];
        Self(waves.map(|wave| {
            let parts: Vec<(f64, &Normal)> =
                angles.iter().zip(&at).map(|(h, n)| (0.4 * wave(*h), n)).collect();
            Normal::mixed(&parts)
        }))
    }

    /// Smallest sum of squared differences for a heading, over all else, (m/s²)².
    fn cost(&self, heading: f64) -> f64 {
        let ((s1, c1), (s2, c2)) = (heading.sin_cos(), (2.0 * heading).sin_cos());
        let [n0, n1, n2, n3, n4] = &self.0;
        let n = Normal::mixed(&[(1.0, n0), (c1, n1), (s1, n2), (c2, n3), (s2, n4)]);
        let Some(best) = n.matrix.cholesky().map(|c| c.solve(&n.right)) else { return f64::INFINITY };
        (n.square - n.right.dot(&best)).max(0.0)
    }
}

/// Value, rate and its rate of a series on the grid, at a point: a cubic over the points around it.
struct Rates(SMatrix<f64, 3, { 2 * RATE_POINTS + 1 }>);

impl Rates {
    fn new() -> Option<Self> {
        let x = SMatrix::<f64, { 2 * RATE_POINTS + 1 }, 4>::from_fn(|i, k| {
            ((i as f64 - RATE_POINTS as f64) * STEP_S).powi(k as i32)
        });
        let fit = (x.transpose() * x).try_inverse()? * x.transpose();
        Some(Self(SMatrix::from_fn(|k, i| fit[(k, i)] * if k == 2 { 2.0 } else { 1.0 })))
    }

    fn at(&self, series: &[Vector3<f64>], i: usize) -> [Vector3<f64>; 3] {
        let around = &series[i - RATE_POINTS..=i + RATE_POINTS];
        [0, 1, 2].map(|k| around.iter().enumerate().map(|(j, v)| v * self.0[(k, j)]).sum())
    }
}

/// Where the second segment points to (down its long axis), in the first's frame, on a grid: the
/// part without the heading, that with its cosine, that with its sine.
fn pointing(first: &Side<'_>, second: &Side<'_>, times_s: &[f64]) -> Option<[Vec<Vector3<f64>>; 3]> {
    let mut out = [const { Vec::new() }; 3];
    for t in times_s {
        let v = second.orientation_at(*t)? * -Vector3::y();
        let back = first.orientation_at(*t)?.inverse();
        for (part, v) in out.iter_mut().zip([
            Vector3::new(0.0, v.y, 0.0),
            Vector3::new(v.x, 0.0, v.z),
            Vector3::new(v.z, 0.0, -v.x),
        ]) {
            part.push(back * v);
        }
    }
    Some(out)
}

/// Both sides on a grid between two session times.
fn pairs(first: &Side<'_>, second: &Side<'_>, from_s: f64, to_s: f64) -> Option<Vec<Pair>> {
    let n = ((to_s - from_s) / STEP_S) as usize;
    let times_s: Vec<f64> =
        (0..=n + 2 * RATE_POINTS).map(|i| from_s + (i as f64 - RATE_POINTS as f64) * STEP_S).collect();
    let points = pointing(first, second, &times_s)?;
    let rates = Rates::new()?;
    let pair = |i: usize| -> Option<Pair> {
        let (a, b) = (instant(first, times_s[i])?, instant(second, times_s[i])?);
        let glide = points.each_ref().map(|series| {
            let [at, rate, bend] = rates.at(series, i);
            // What the joint's place at the start is, the lever says.
            let since = at - series[RATE_POINTS];
            let mut all = Glide::zeros();
            for j in 0..3 {
                let per_m = a.per_m * since[j] + a.per_m_s * rate[j] + a.per_m_s2 * bend[j];
                all.fixed_columns_mut::<3>(3 * j).copy_from(&per_m);
            }
            all
        });
        Some(Pair { first: a, second: b, glide })
    };
    Some((RATE_POINTS..=n + RATE_POINTS).filter_map(pair).collect())
}

/// Heading of `second` against `first` from their motion between two session times. `None`
/// where there are too few samples or the motion leaves it open.
pub fn heading(first: Side<'_>, second: Side<'_>, from_s: f64, to_s: f64) -> Option<Heading> {
    if to_s - from_s < LEAST_S {
        return None;
    }
    let pairs = pairs(&first, &second, from_s, to_s)?;
    if (pairs.len() as f64) < 0.7 * (to_s - from_s) / STEP_S {
        return None;
    }
    let (a, b) = (first.lever_m, second.lever_m);
    let mut guess = SVector::<f64, UNKNOWNS>::zeros();
    guess.fixed_rows_mut::<3>(0).copy_from(&a);
    guess.fixed_rows_mut::<3>(3).copy_from(&b);
    let problem = Problem::new(&pairs, &guess);
    let steps = (std::f64::consts::TAU / SEARCH_RAD).round() as usize;
    let coarse = (0..steps)
        .map(|i| i as f64 * SEARCH_RAD - std::f64::consts::PI)
        .map(|h| (problem.cost(h), h))
        .min_by(|x, y| x.0.total_cmp(&y.0))?
        .1;
    let rad = minimum::golden(|h| problem.cost(h), coarse - SEARCH_RAD, coarse + SEARCH_RAD, REFINE_STEPS);
    let (h, least) = (0.03, problem.cost(rad));
    let bend = (problem.cost(rad + h) + problem.cost(rad - h) - 2.0 * least) / (h * h);
    let error = (least / (3 * pairs.len()) as f64).max(LEAST_ERROR_M_S2.powi(2));
    let variance = 2.0 * error * (CORRELATED_S / STEP_S) / bend;
    (bend > 0.0 && variance.is_finite()).then(|| Heading { rad, sd_rad: variance.sqrt() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    const RATE_HZ: f64 = 208.0;
    const SECONDS: f64 = 1.2;
    /// Pivot to shoulder and to strap in the first segment; shoulder to strap in the second.
    const SHOULDER: Vector3<f64> = Vector3::new(0.02, 0.4, -0.17);
    const FIRST_STRAP: Vector3<f64> = Vector3::new(-0.1, 0.33, 0.02);
    const SECOND_STRAP: Vector3<f64> = Vector3::new(0.01, -0.17, -0.04);

    fn turn(axis: Vector3<f64>, rad: f64) -> UnitQuaternion<f64> {
        UnitQuaternion::from_scaled_axis(axis * rad)
    }

    /// Two segments that turn there and back, the second faster and about a tilted axis.
    fn frames(t: f64, speed: f64) -> (UnitQuaternion<f64>, UnitQuaternion<f64>) {
        let x = speed * t;
        let first = turn(Vector3::z(), -0.6) * turn(Vector3::y(), -1.5 * (1.0 - (2.6 * x).cos()) / 2.0);
        let second = turn(Vector3::new(0.8, 0.6, 0.1).normalize(), -2.2 * (1.0 - (2.9 * x).cos()) / 2.0)
            * turn(Vector3::z(), 0.4);
        (first, second)
    }

    /// `glide`: how far the shoulder moves in the first segment as the second points elsewhere, m.
    fn place(t: f64, speed: f64, second: bool, glide: &Matrix3<f64>) -> Vector3<f64> {
        let (a, b) = frames(t, speed);
        let pointing = a.inverse() * (b * -Vector3::y());
        if second { a * (SHOULDER + glide * pointing) + b * SECOND_STRAP } else { a * FIRST_STRAP }
    }

    struct Straps {
        t_s: Vec<f64>,
        gyro: [Vec<Vector3<f64>>; 2],
        acc: [Vec<Vector3<f64>>; 2],
        path: [Vec<UnitQuaternion<f64>>; 2],
    }

    /// What the straps measure, by finite differences of places and orientations; the second's
    /// path is given in a global frame turned by `-heading`.
    fn measured(speed: f64, heading: f64) -> Straps {
        measured_gliding(speed, heading, &Matrix3::zeros())
    }

    fn measured_gliding(speed: f64, heading: f64, glide: &Matrix3<f64>) -> Straps {
        let h = 1e-4;
        let t_s: Vec<f64> = (0..(SECONDS * RATE_HZ) as usize).map(|i| i as f64 / RATE_HZ).collect();
        let of = |second: bool, t: f64| if second { frames(t, speed).1 } else { frames(t, speed).0 };
        let up = Vector3::new(0.0, 9.80665, 0.0);
        let both = [false, true];
        let gyro = both.map(|s| {
            t_s.iter().map(|&t| (of(s, t - h).inverse() * of(s, t + h)).scaled_axis() / (2.0 * h)).collect()
        });
        let acc = both.map(|s| {
            t_s.iter()
                .map(|&t| {
                    let p = |t| place(t, speed, s, glide);
                    of(s, t).inverse() * ((p(t + h) + p(t - h) - p(t) * 2.0) / (h * h) + up)
                })
                .collect()
        });
        let path = both.map(|s| {
            let own = turn(Vector3::y(), if s { -heading } else { 0.0 });
            t_s.iter().map(|&t| own * of(s, t)).collect()
        });
        Straps { t_s, gyro, acc, path }
    }

    fn found(straps: &Straps) -> Option<Heading> {
        let side = |i: usize, lever_m: Vector3<f64>| Side {
            t_s: &straps.t_s,
            gyro: &straps.gyro[i],
            acc: &straps.acc[i],
            orientation: &straps.path[i],
            path_t_s: &straps.t_s,
            lever_m,
        };
        // Guesses some centimetres off.
        let guesses = (Vector3::new(0.1, 0.05, -0.18), Vector3::new(0.0, 0.15, 0.0));
        heading(side(0, guesses.0), side(1, guesses.1), 0.05, SECONDS - 0.05)
    }

    /// Exact geometry: two bodies that share a point.
    #[test]
    fn the_heading_between_two_straps_is_found_whatever_it_is() {
        for degrees in [-170.0, -95.0, -20.0, 0.0, 33.0, 120.0, 179.0] {
            let want = f64::to_radians(degrees);
            let got = found(&measured(3.0, want)).expect("enough motion");
            let off = turn(Vector3::y(), got.rad - want).angle().to_degrees();
            assert!(off < 1.0, "{degrees}: off by {off:.2} deg");
            // Below the 8 deg from which on nothing is told of it, at half the speed of a swing.
            assert!(got.sd_rad.to_degrees() < 8.0, "{degrees}: sd {:.1} deg", got.sd_rad.to_degrees());
        }
    }

    /// A shoulder that glides by 3 cm and 2 cm, which a fixed one would take for a heading.
    #[test]
    fn a_gliding_shoulder_is_found_as_well() {
        let glide = Matrix3::new(0.0, 0.0, 0.03, 0.0, 0.02, -0.02, 0.02, 0.0, 0.0);
        for degrees in [-95.0, 33.0] {
            let want = f64::to_radians(degrees);
            let got = found(&measured_gliding(3.0, want, &glide)).expect("enough motion");
            let off = turn(Vector3::y(), got.rad - want).angle().to_degrees();
            assert!(off < 2.0 && off < 2.0 * got.sd_rad.to_degrees(), "{degrees}: off by {off:.2} deg");
        }
    }

    #[test]
    fn gentle_motion_leaves_the_heading_open_and_says_so() {
        let brisk = found(&measured(3.0, 0.4)).expect("enough motion").sd_rad;
        let gentle = found(&measured(0.5, 0.4)).map_or(PI, |h| h.sd_rad);
        assert!(gentle.to_degrees() > 8.0, "{:.1} deg", gentle.to_degrees());
        assert!(gentle > 5.0 * brisk);
    }

    #[test]
    fn too_short_or_empty_stretches_have_no_heading() {
        let straps = measured(1.0, 0.0);
        let side = Side {
            t_s: &straps.t_s,
            gyro: &straps.gyro[0],
            acc: &straps.acc[0],
            orientation: &straps.path[0],
            path_t_s: &straps.t_s,
            lever_m: Vector3::zeros(),
        };
        assert_eq!(heading(side, side, 0.2, 0.3), None);
        assert_eq!(heading(side, side, 5.0, 6.0), None);
        let empty = Side { t_s: &[], gyro: &[], acc: &[], orientation: &[], path_t_s: &[], ..side };
        assert_eq!(heading(side, empty, 0.1, 1.0), None);
    }
}
