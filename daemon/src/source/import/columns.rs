//! Finding the columns of a sample file by name, and their units.

use peakorder_protocol::estimate::STANDARD_GRAVITY_M_S2;
use peakorder_protocol::text::{clean, excerpt};

/// Every column that is looked for.
pub(super) const WANTED: [&str; 13] = [
    "time_s",
    "gyro_x_rad_s",
    "gyro_y_rad_s",
    "gyro_z_rad_s",
    "gyro_x_dps",
    "gyro_y_dps",
    "gyro_z_dps",
    "accel_x_m_s2",
    "accel_y_m_s2",
    "accel_z_m_s2",
    "accel_x_g",
    "accel_y_g",
    "accel_z_g",
];

/// So many names are listed in a message.
const LISTED: usize = 24;

/// Names of a header in a message.
pub(super) fn listed(names: &[String]) -> String {
    let shown: Vec<String> = names
        .iter()
        .take(LISTED)
        .map(|name| if name.len() <= LISTED { clean(name) } else { excerpt(name) })
        .collect();
    let more = names.len().saturating_sub(LISTED);
    if more == 0 { shown.join(", ") } else { format!("{} and {more} more", shown.join(", ")) }
}

const DEG: f64 = std::f64::consts::PI / 180.0;

/// Where a quantity stands in a row and what it is multiplied by.
#[derive(Debug, Clone, Copy)]
pub(super) struct Column {
    pub(super) at: usize,
    pub(super) scale: f64,
}

/// Columns of a sample file.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    pub(super) time: usize,
    pub(super) gyro: [Column; 3],
    pub(super) accel: [Column; 3],
    /// Columns that are not read.
    pub(super) ignored: Vec<String>,
    /// Columns of one quantity in two units: the one that is read, the one that is not.
    pub(super) both_units: Vec<(String, String)>,
}

/// The header lacks columns.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "the header lacks {}; it has {}. Rename the columns (unit in the name) and try again",
    missing.join(", "),
    if found.is_empty() { "nothing".to_owned() } else { listed(found) }
)]
pub(super) struct MissingColumns {
    /// Each as it may be spelled.
    pub(super) missing: Vec<String>,
    /// Those there are.
    pub(super) found: Vec<String>,
}

impl Columns {
    /// Reads the header.
    pub(super) fn from_header(names: &[String]) -> Result<Self, MissingColumns> {
        let mut used = vec![false; names.len()];
        let mut missing = Vec::new();
        let mut both_units = Vec::new();
        let mut find = |wanted: &str, units: &[(&str, f64)]| -> Option<Column> {
            let mut found: Option<(Column, String)> = None;
            for (unit, scale) in units {
                let name = if unit.is_empty() { wanted.to_owned() } else { format!("{wanted}_{unit}") };
                if let Some(at) = names.iter().position(|n| n.trim() == name) {
                    used[at] = true;
                    match &found {
                        None => found = Some((Column { at, scale: *scale }, name)),
                        Some((_, first)) => both_units.push((first.clone(), name)),
                    }
                }
            }
            if found.is_none() {
                let spelled: Vec<String> = units
                    .iter()
                    .map(|(u, _)| if u.is_empty() { wanted.to_owned() } else { format!("{wanted}_{u}") })
                    .collect();
                missing.push(spelled.join(" or "));
            }
            found.map(|(column, _)| column)
        };
        let time = find("time_s", &[("", 1.0)]);
        let gyro = ["x", "y", "z"].map(|axis| find(&format!("gyro_{axis}"), &[("rad_s", 1.0), ("dps", DEG)]));
        let accel = ["x", "y", "z"]
            .map(|axis| find(&format!("accel_{axis}"), &[("m_s2", 1.0), ("g", STANDARD_GRAVITY_M_S2)]));
        match (time, gyro, accel) {
            (Some(time), [Some(gx), Some(gy), Some(gz)], [Some(ax), Some(ay), Some(az)]) => Ok(Self {
                time: time.at,
                gyro: [gx, gy, gz],
                accel: [ax, ay, az],
                ignored: names.iter().zip(&used).filter(|(_, u)| !**u).map(|(n, _)| n.clone()).collect(),
                both_units,
            }),
            _ => Err(MissingColumns { missing, found: names.to_vec() }),
        }
    }
}
