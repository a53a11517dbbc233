//! A player's lessons over months, with a picture of each measure.

use super::{Follow, Kept};
use crate::kept;
use crate::picture::Size;
use crate::picture::months::months;
use crate::trend::Trend;
use crate::words::capital;
use serde::Serialize;

/// Schema of [`Months`].
pub const MONTHS: &str = "peakorder.months/1";

/// What lasted, the trend of what the player brought, and the pictures.
#[derive(Debug, Serialize)]
pub struct Months {
    schema: &'static str,
    kept: Kept,
    trend: Follow,
    pictures: Vec<Picture>,
}

#[derive(Debug, Serialize)]
struct Picture {
    key: String,
    title: String,
    svg: String,
}

impl Months {
    /// Drawn in that size each.
    pub fn of(kept: &kept::Kept, trend: &Trend, size: Size) -> Self {
        let picture = |(i, course): (usize, &kept::Course)| Picture {
            key: course.measure.key(),
            title: capital(&course.measure.label()),
            svg: months(&format!("months{i}"), size, kept, course).into_string(),
        };
        Self {
            schema: MONTHS,
            kept: kept.into(),
            trend: trend.into(),
            pictures: kept.courses.iter().enumerate().map(picture).collect(),
        }
    }
}
