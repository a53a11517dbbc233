//! Trials: what an optical laboratory saw of one movement.

use super::pose::Pose;
use nalgebra::{Quaternion, UnitQuaternion, Vector3};
use std::io::Read;

/// Segments as columns are named, in the order of their roles.
const SEGMENTS: [&str; 3] = ["pelvis", "thorax", "lead_arm"];

/// A trial cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum TrialError {
    /// The text could not be had.
    #[error("{0}")]
    Io(#[from] std::io::Error),
    /// A column is missing.
    #[error("there is no column `{0}`")]
    Column(String),
    /// A row does not hold numbers.
    #[error("line {0} is no row of numbers")]
    Row(usize),
    /// Too short, or its rows are not evenly spaced.
    #[error("the rows are fewer than 0.3 s, or not evenly spaced")]
    Times,
    /// What should be a golf swing has no reversal and impact.
    #[error("trial {0} has no golf swing in it")]
    NoSwing(String),
}

/// One movement of a right-handed body: poses of its segments at an even rate.
#[derive(Debug, Clone)]
pub struct Trial {
    /// Its name.
    pub name: String,
    /// Whether it is a golf swing.
    pub golf: bool,
    /// Rows a second.
    pub(crate) hz: f64,
    /// Pelvis, thorax, lead arm.
    pub(crate) rows: Vec<[Pose; 3]>,
    /// Middle of the hands, m.
    pub(crate) hands: Vec<Vector3<f64>>,
}

impl Trial {
    /// Reads comma-separated text. Columns: `time_s`; for `pelvis`, `thorax` and `lead_arm` `…_qw`, `…_qx`, `…_qy`,
    /// `…_qz` (unit quaternion segment → global; segment axes X anterior, Y cranial or proximal, Z to the right,
    /// global Y up) and `…_x_m`, `…_y_m`, `…_z_m` (root, base of the thorax, lead shoulder); `hands_x_m`, `hands_y_m`,
    /// `hands_z_m`, the middle of both.
    ///
    /// # Errors
    /// When a column is missing, a row holds no numbers, or the rows are not evenly spaced.
    pub fn read(name: &str, golf: bool, mut from: impl Read) -> Result<Self, TrialError> {
        let mut text = String::new();
        from.read_to_string(&mut text)?;
        let mut lines = text.lines();
        let head: Vec<&str> = lines.next().unwrap_or_default().split(',').map(str::trim).collect();
        let find = |name: String| head.iter().position(|h| **h == name).ok_or(TrialError::Column(name));
        let place = |of: &str| -> Result<[usize; 3], TrialError> {
            Ok([find(format!("{of}_x_m"))?, find(format!("{of}_y_m"))?, find(format!("{of}_z_m"))?])
        };
        let mut columns = Vec::new();
        for of in SEGMENTS {
            let turn = ["qw", "qx", "qy", "qz"].map(|c| find(format!("{of}_{c}")));
            let [w, x, y, z] = turn;
            columns.push(([w?, x?, y?, z?], place(of)?));
        }
        let (time, of_hands) = (find("time_s".into())?, place("hands")?);
        let (mut times, mut rows, mut hands) = (Vec::new(), Vec::new(), Vec::new());
        for (i, line) in lines.enumerate() {
            let row: Option<Vec<f64>> =
                line.split(',').map(|v| v.trim().parse().ok().filter(|v: &f64| v.is_finite())).collect();
            let row = row.filter(|r| r.len() == head.len()).ok_or(TrialError::Row(i + 2))?;
            let point = |c: &[usize; 3]| Vector3::from(c.map(|c| row[c]));
            let pose = |i: usize| {
                let (turn, at) = &columns[i];
                let [w, x, y, z] = turn.map(|c| row[c]);
                let rotation = UnitQuaternion::from_quaternion(Quaternion::new(w, x, y, z));
                Pose { rotation, position: point(at) }
            };
            times.push(row[time]);
            rows.push([0, 1, 2].map(pose));
            hands.push(point(&of_hands));
        }
        let span = times.last().zip(times.first()).map_or(0.0, |(last, first)| last - first);
        let step = span / (times.len().max(2) - 1) as f64;
        let even = times.windows(2).all(|w| (w[1] - w[0] - step).abs() < 0.01 * step);
        if span < 0.3 || !even {
            return Err(TrialError::Times);
        }
        Ok(Self { name: name.to_owned(), golf, hz: 1.0 / step, rows, hands })
    }

    /// The same movement at `speed` times its own.
    #[must_use]
    pub fn at_speed(self, speed: f64) -> Self {
        Self { hz: self.hz * speed, ..self }
    }

    /// From its first row to its last, s.
    pub(crate) fn duration_s(&self) -> f64 {
        (self.rows.len() - 1) as f64 / self.hz
    }
}
