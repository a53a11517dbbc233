//! What lasted from lesson to lesson.

use crate::kept;
use serde::Serialize;

/// Schema of [`Kept`].
pub const KEPT: &str = "peakorder.kept/1";

/// What lasted.
#[derive(Debug, Serialize)]
pub struct Kept {
    schema: &'static str,
    player: String,
    lessons: Vec<Lesson>,
    measures: Vec<Course>,
    left_out: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Lesson {
    id: String,
    started_utc: String,
    day: f64,
    start: String,
    end: Option<String>,
    practice: bool,
}

#[derive(Debug, Serialize)]
struct Course {
    key: String,
    stages: Vec<Stage>,
    words: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Stage {
    lesson: usize,
    start: Point,
    end: Option<Point>,
    gained: Option<Step>,
    left: Option<Step>,
    since_end: Option<Step>,
    practised: usize,
}

#[derive(Debug, Serialize)]
struct Point {
    mean: f64,
    ci95_half: Option<f64>,
    n: usize,
}

#[derive(Debug, Serialize)]
struct Step {
    difference: f64,
    ci95: (f64, f64),
}

impl From<kept::Step> for Step {
    fn from(s: kept::Step) -> Self {
        Self { difference: s.difference, ci95: s.interval }
    }
}

impl From<kept::Point> for Point {
    fn from(p: kept::Point) -> Self {
        Self { mean: p.mean, ci95_half: p.half_width, n: p.swings }
    }
}

impl From<&kept::Kept> for Kept {
    fn from(k: &kept::Kept) -> Self {
        let lesson = |l: &kept::Lesson| Lesson {
            id: l.id.clone(),
            started_utc: l.started_utc.clone(),
            day: l.day,
            start: l.start.clone(),
            end: l.end.clone(),
            practice: l.end.is_none(),
        };
        let stage = |s: &kept::Stage| Stage {
            lesson: s.lesson,
            start: s.start.into(),
            end: s.end.map(Into::into),
            gained: s.gained.map(Into::into),
            left: s.left.map(Into::into),
            since_end: s.since_end.map(Into::into),
            practised: s.practised,
        };
        let course = |c: &kept::Course| Course {
            key: c.measure.key(),
            stages: c.stages.iter().map(stage).collect(),
            words: crate::words::kept::course(k, c),
        };
        Self {
            schema: KEPT,
            player: k.player.clone(),
            lessons: k.lessons.iter().map(lesson).collect(),
            measures: k.courses.iter().map(course).collect(),
            left_out: k.left_out.clone(),
        }
    }
}
