//! Curves of swings, point by point and at the same points of every swing.

use super::rows::Of;
use peakorder_protocol::curves::{Curves, SegmentCurves};
use peakorder_protocol::swing::Swing;
use peakorder_tables::{Cell, Column, Table};

/// Per cent of a phase: takeaway to top is 0 to 100, top to impact 100 to 200, impact to finish 200 to 300.
const PHASES: [f64; 4] = [0.0, 100.0, 200.0, 300.0];

/// A point of a curve.
pub(super) struct Point {
    swing: u32,
    role: &'static str,
    t_s: f64,
    before_impact_ms: f64,
    phase: Option<f64>,
    speed_dps: Option<f64>,
    turn_deg: Option<f64>,
    orientation: Option<[f32; 4]>,
    speed_kind: &'static str,
}

const SPEED: &str = "Speed of the segment, of the kind named in speed_def; negative away from the target where the kind has a sign.";
const SPEED_DEF: &str = "axial (about the long axis), across (perpendicular to it, without sign) or resultant (the whole, without sign).";
const TURN: &str =
    "Turn since the swing's address, positive towards the target; empty where the strap was not calibrated.";
const PHASE: &str =
    "Where in the swing: 0 takeaway, 100 top, 200 impact, 300 finish, linear in time between.";

fn begin(id: &str, about: &str) -> Table<Of<Point>> {
    Table::new(id, about)
        .column(Column::text("session_id", "Session, or its code.").required(), |p: &Of<Point>| {
            Cell::Text(&p.session)
        })
        .column(Column::int("swing", "Number of the swing in the session.").required(), |p| {
            p.row.swing.into()
        })
        .column(Column::text("segment", "pelvis, thorax or lead_arm.").required(), |p| Cell::Text(p.row.role))
}

/// Curves on session time.
pub(super) fn table() -> Table<Of<Point>> {
    let mut table = begin(
        "peakorder.export/1/curves",
        "A point of a swing's curves, as the product keeps them (uniform in time). The orientation is latched at address and follows the \
         gyroscope from there: the unit quaternion q, scalar first, that turns vectors from the segment's frame into the global one (Y up, \
         heading zero at address): v_global = q v q*.",
    )
    .column(Column::real("t_s", "s", "Session time.").required(), |p| Cell::Real(p.row.t_s))
    .column(Column::real("before_impact_ms", "ms", "Time left to impact; negative after it.").required(), |p| {
        Cell::Real(p.row.before_impact_ms)
    })
    .column(Column::real("phase_percent", "%", format!("{PHASE} Empty before takeaway and after finish.")), |p| {
        p.row.phase.into()
    })
    .column(Column::real("speed_dps", "deg/s", SPEED).required(), |p| p.row.speed_dps.into())
    .column(Column::text("speed_def", SPEED_DEF).required(), |p| Cell::Text(p.row.speed_kind))
    .column(Column::real("turn_deg", "deg", TURN), |p| p.row.turn_deg.into());
    for (at, name) in ["w", "x", "y", "z"].into_iter().enumerate() {
        let about = format!("The quaternion's {name}; empty where the strap was not calibrated.");
        table = table.column(Column::real(format!("q_{name}"), "", about), move |p| {
            p.row.orientation.map(|q| f64::from(q[at])).into()
        });
    }
    table
}

/// Curves at every per cent of each phase.
pub(super) fn normalised_table() -> Table<Of<Point>> {
    begin(
        "peakorder.export/1/curves_normalised",
        "Speed and turn at the same 301 points of every swing, linear between the points of `curves`. Speeds are in deg/s of real time.",
    )
    .column(Column::real("phase_percent", "%", PHASE).required(), |p| p.row.phase.into())
    .column(Column::real("t_s", "s", "Session time.").required(), |p| Cell::Real(p.row.t_s))
    .column(Column::real("speed_dps", "deg/s", format!("{SPEED} Empty where the curve does not reach.")), |p| {
        p.row.speed_dps.into()
    })
    .column(Column::text("speed_def", SPEED_DEF).required(), |p| Cell::Text(p.row.speed_kind))
    .column(Column::real("turn_deg", "deg", TURN), |p| p.row.turn_deg.into())
}

/// Takeaway, top, impact, finish, if they come in this order.
fn events(swing: &Swing) -> Option<[f64; 4]> {
    let e = &swing.events;
    let times = [e.takeaway.t_s, e.top.t_s, e.impact.t_s, e.finish.t_s];
    times.windows(2).all(|w| w[0] < w[1]).then_some(times)
}

/// `y` at `x` on the line through the points (`xs`, `ys`), four of them.
fn between(x: f64, xs: &[f64; 4], ys: &[f64; 4]) -> Option<f64> {
    let i = xs.windows(2).position(|w| (w[0]..=w[1]).contains(&x))?;
    Some(ys[i] + (ys[i + 1] - ys[i]) * (x - xs[i]) / (xs[i + 1] - xs[i]))
}

fn speed_kind(swing: &Swing, of: &SegmentCurves) -> &'static str {
    swing.segments.get(&of.role).map_or("resultant", |s| s.speed_kind.key())
}

/// The points of a swing's curves.
pub(super) fn points<'a>(swing: &'a Swing, curves: &'a Curves) -> impl Iterator<Item = Point> + 'a {
    let events = events(swing);
    curves.segments.iter().flat_map(move |of| {
        of.speed_dps.iter().enumerate().map(move |(i, speed)| {
            let t_s = curves.start_s + i as f64 * curves.step_s;
            Point {
                swing: swing.number,
                role: of.role.key(),
                t_s,
                before_impact_ms: (swing.events.impact.t_s - t_s) * 1e3,
                phase: events.and_then(|e| between(t_s, &e, &PHASES)),
                speed_dps: Some(f64::from(*speed)),
                turn_deg: of.turn_deg.get(i).map(|t| f64::from(*t)),
                orientation: of.orientation_wxyz.get(i).copied(),
                speed_kind: speed_kind(swing, of),
            }
        })
    })
}

/// The same at every per cent of each phase; none where the swing's events are out of order.
pub(super) fn normalised<'a>(swing: &'a Swing, curves: &'a Curves) -> impl Iterator<Item = Point> + 'a {
    let events = events(swing);
    curves.segments.iter().flat_map(move |of| {
        events.into_iter().flat_map(move |events| {
            (0..=300).map(move |percent| {
                let phase = f64::from(percent);
                let t_s = between(phase, &PHASES, &events).unwrap_or(events[3]);
                let at = |values: &[f32]| interpolated(values, (t_s - curves.start_s) / curves.step_s);
                Point {
                    swing: swing.number,
                    role: of.role.key(),
                    t_s,
                    before_impact_ms: (swing.events.impact.t_s - t_s) * 1e3,
                    phase: Some(phase),
                    speed_dps: at(&of.speed_dps),
                    turn_deg: at(&of.turn_deg),
                    orientation: None,
                    speed_kind: speed_kind(swing, of),
                }
            })
        })
    })
}

/// The value at place `x` of a series; none outside it.
fn interpolated(values: &[f32], x: f64) -> Option<f64> {
    if x < 0.0 {
        return None;
    }
    let i = x as usize;
    let (a, f) = (f64::from(*values.get(i)?), x.fract());
    if f == 0.0 { Some(a) } else { Some(a + (f64::from(*values.get(i + 1)?) - a) * f) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phases_are_linear_between_events_and_none_outside() {
        let events = [1.0, 2.0, 2.25, 3.0];
        let phase = |t: f64| between(t, &events, &PHASES);
        assert_eq!((phase(1.0), phase(1.5), phase(2.0)), (Some(0.0), Some(50.0), Some(100.0)));
        assert_eq!((phase(2.125), phase(2.25), phase(3.0)), (Some(150.0), Some(200.0), Some(300.0)));
        assert_eq!((phase(0.99), phase(3.01)), (None, None));
    }

    #[test]
    fn between_points_the_line_counts_and_beyond_them_nothing() {
        assert_eq!(interpolated(&[1.0, 3.0], 0.25), Some(1.5));
        assert_eq!(interpolated(&[1.0, 3.0], 1.0), Some(3.0));
        assert_eq!(interpolated(&[1.0, 3.0], 1.1), None);
        assert_eq!(interpolated(&[], 0.0), None);
        assert_eq!(interpolated(&[1.0], -0.1), None);
    }
}
