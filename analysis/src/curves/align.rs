//! Curves of swings of different duration on one axis: takeaway, top and impact each at one place.

use peakorder_protocol::swing::Events;

/// Points from takeaway to top, without the top.
pub const BACKSWING: usize = 60;
/// Points from top to impact, without impact.
pub const DOWNSWING: usize = 50;
/// Points after impact.
pub const AFTER: usize = 25;
/// Index of the top.
pub const TOP: usize = BACKSWING;
/// Index of impact.
pub const IMPACT: usize = BACKSWING + DOWNSWING;
/// Points in all.
pub const POINTS: usize = IMPACT + 1 + AFTER;
/// How far the axis goes on after impact, as a share of the downswing. Own judgement: far enough to see whether the body
/// goes on turning, and short enough that every recording has it.
pub const AFTER_SHARE: f64 = 0.5;

/// The instants that curves are aligned at, seconds on the session clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landmarks {
    /// Takeaway.
    pub takeaway_s: f64,
    /// Top.
    pub top_s: f64,
    /// Impact.
    pub impact_s: f64,
}

impl Landmarks {
    /// Of a swing's events; `None` where they do not follow each other.
    pub fn of(events: &Events) -> Option<Self> {
        let marks =
            Self { takeaway_s: events.takeaway.t_s, top_s: events.top.t_s, impact_s: events.impact.t_s };
        let Self { takeaway_s, top_s, impact_s } = marks;
        (takeaway_s < top_s && top_s < impact_s && (impact_s - takeaway_s).is_finite()).then_some(marks)
    }

    /// The same relative to impact, with durations that are the means of `swings`; `None` without any.
    pub fn mean(swings: &[Self]) -> Option<Self> {
        let mean = |of: fn(&Self) -> f64| crate::stats::mean(&swings.iter().map(of).collect::<Vec<_>>());
        let (back, down) = (mean(|m| m.top_s - m.takeaway_s)?, mean(|m| m.impact_s - m.top_s)?);
        Some(Self { takeaway_s: -back - down, top_s: -down, impact_s: 0.0 })
    }

    /// When point `i` of the axis is, seconds on the clock of the landmarks: linear between them, and on after impact at
    /// the downswing's pace.
    pub fn at(&self, i: usize) -> f64 {
        let down = (self.impact_s - self.top_s) / DOWNSWING as f64;
        match i {
            0..TOP => self.takeaway_s + (self.top_s - self.takeaway_s) * i as f64 / BACKSWING as f64,
            TOP..IMPACT => self.top_s + down * (i - TOP) as f64,
            _ => {
                let share = (i - IMPACT) as f64 / AFTER as f64;
                self.impact_s + AFTER_SHARE * share * (self.impact_s - self.top_s)
            }
        }
    }
}

/// `values` of a uniform grid at the points of the axis, linear between its points (5 ms apart as written). `None` where the
/// grid does not reach from takeaway to the axis' end, or a value there is no number.
pub fn aligned(values: &[f32], start_s: f64, step_s: f64, marks: &Landmarks) -> Option<Vec<f64>> {
    let place = |i: usize| (marks.at(i) - start_s) / step_s;
    let (first, last) = (place(0), place(POINTS - 1));
    if !(step_s > 0.0 && first >= 0.0 && last < 1e9) {
        return None;
    }
    let between = values.get(first.floor() as usize..=last.ceil() as usize)?;
    if between.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let at = |i: usize| f64::from(values[i]);
    Some(
        (0..POINTS)
            .map(|i| {
                let (left, share) = (place(i).floor() as usize, place(i).fract());
                if share > 0.0 { at(left) + share * (at(left + 1) - at(left)) } else { at(left) }
            })
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const MARKS: Landmarks = Landmarks { takeaway_s: 10.0, top_s: 10.8, impact_s: 11.1 };

    #[test]
    fn landmarks_fall_on_their_points_and_time_never_runs_back() {
        for (i, s) in [(0, 10.0), (TOP, 10.8), (IMPACT, 11.1), (POINTS - 1, 11.25)] {
            assert!((MARKS.at(i) - s).abs() < 1e-12, "{i}: {}", MARKS.at(i));
        }
        assert!((1..POINTS).all(|i| MARKS.at(i) > MARKS.at(i - 1)));
    }

    /// A curve that is straight in time between landmarks stays what it was, whatever the swing's durations.
    #[test]
    fn a_straight_curve_is_met_exactly() {
        let values: Vec<f32> = (0..400).map(|i| 3.0 * i as f32).collect();
        let got = aligned(&values, 9.5, 0.005, &MARKS).expect("long enough");
        for (i, v) in got.iter().enumerate() {
            assert!((v - 600.0 * (MARKS.at(i) - 9.5)).abs() < 1e-3, "{i}: {v}");
        }
    }

    #[test]
    fn what_is_too_short_or_no_number_is_nothing() {
        let values = vec![0.0_f32; 400];
        assert!(aligned(&values[..340], 9.5, 0.005, &MARKS).is_none());
        assert!(aligned(&values, 10.1, 0.005, &MARKS).is_none());
        assert!(aligned(&values, 9.5, 0.0, &MARKS).is_none());
        let mut broken = values;
        broken[200] = f32::NAN;
        assert!(aligned(&broken, 9.5, 0.005, &MARKS).is_none());
    }

    #[test]
    fn events_out_of_order_align_nothing() {
        let events = |takeaway_s, top_s, impact_s| {
            let at = |t_s| format!(r#"{{"t_s":{t_s},"sd_ms":1.0}}"#);
            let impact = format!(r#"{{"t_s":{impact_s},"sd_ms":1.0,"evidence":"arm-shock"}}"#);
            let text = format!(
                r#"{{"takeaway":{},"top":{},"impact":{impact},"finish":{}}}"#,
                at(takeaway_s),
                at(top_s),
                at(99.0)
            );
            serde_json::from_str::<Events>(&text).expect("events")
        };
        assert!(Landmarks::of(&events(1.0, 2.0, 2.3)).is_some());
        assert!(Landmarks::of(&events(1.0, 2.3, 2.3)).is_none());
        assert!(Landmarks::of(&events(2.0, 1.0, 2.3)).is_none());
    }
}
