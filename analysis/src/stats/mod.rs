//! Statistics of small samples of swings, each with its source.
//!
//! Everything here is a pure function of numbers. A value that does not exist (the SD of
//! one swing, a confidence interval without spread) is `None`, never NaN.

mod deal;
mod dependent;
mod discovery;
mod extreme;
mod field;
mod holm;
mod independence;
pub mod lessons;
mod line;
mod maxt;
mod mixture;
mod proportion;
mod reliability;
mod rotation;
mod student;

pub use deal::{ALL_UP_TO, DRAWN, Deals, choose, share_at_least};
pub use dependent::{Change, Dependence, Level, Rule, Series, change, level, next};
pub use discovery::{false_discovery, false_discovery_known};
pub use extreme::{Extreme, extreme_limit, extremes};
pub use field::{field_threshold, full_width_half_maximum};
pub use holm::{holm, holm_known};
pub use independence::{Independence, TABLES_DRAWN, independence};
pub use line::{Line, line};
pub use maxt::{MaxT, max_t};
pub use mixture::{Mixture, Term};
pub use proportion::wilson;
pub use reliability::mdc95;
pub use rotation::{ROTATIONS, RotatedMaxT, WORKING_CORRELATION, WORKING_DRIFT, rotated_max_t};
pub use student::{Sample, t_quantile, t_two_sided_p};

/// The level of every interval this crate prints.
pub const LEVEL: f64 = 0.95;

pub use peakorder_protocol::estimate::Z95;

/// Adjusts those p values that there are; the others stay absent.
fn over_known(p_values: &[Option<f64>], adjust: fn(&[f64]) -> Vec<f64>) -> Vec<Option<f64>> {
    let known: Vec<f64> = p_values.iter().copied().flatten().collect();
    let mut adjusted = adjust(&known).into_iter();
    p_values.iter().map(|p| p.and_then(|_| adjusted.next())).collect()
}

/// Arithmetic mean; `None` without values.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Sample standard deviation (n − 1); `None` for fewer than two values.
pub fn sd(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let m = mean(values)?;
    let squares: f64 = values.iter().map(|v| (v - m).powi(2)).sum();
    Some((squares / (values.len() - 1) as f64).sqrt())
}

/// Root mean square; `None` without values. The typical size of a set of standard
/// uncertainties, since variances are what averages.
pub fn rms(values: &[f64]) -> Option<f64> {
    let squares: Vec<f64> = values.iter().map(|v| v * v).collect();
    mean(&squares).map(f64::sqrt)
}
