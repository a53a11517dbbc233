//! Rows that are made of the recording itself, and their columns. The data dictionary is made of the same columns.

use nalgebra::{UnitQuaternion, Vector3};
use peakorder_motion::calibrate::Mounting;
use peakorder_motion::samples::{InSegment, SampleRow};
use peakorder_protocol::Role;
use peakorder_tables::{Cell, Column, Table};
use std::sync::Arc;

/// Version of these tables.
fn id(table: &str) -> String {
    format!("peakorder.export/1/{table}")
}

/// Numbers of samples are rounded to this many to the unit: a ten-thousandth of what a sensor resolves.
const PER_UNIT: f64 = 1e6;
/// Times are rounded to this many to the second, and so are the numbers of a quaternion.
const PER_SECOND: f64 = 1e9;

fn rounded(value: f64) -> Cell<'static> {
    Cell::Real((value * PER_UNIT).round() / PER_UNIT)
}

fn time(seconds: f64) -> Cell<'static> {
    Cell::Real((seconds * PER_SECOND).round() / PER_SECOND)
}

fn session_column() -> Column {
    Column::text("session_id", "Session, or its code.").required()
}

fn segment_column() -> Column {
    Column::text("segment", "Where the strap is worn: pelvis, thorax or lead_arm.").required()
}

const T_ABOUT: &str =
    "Session time: seconds on the computer's monotonic clock since the session began, common to all straps.";

fn time_column(about: impl Into<String>) -> Column {
    Column::real("t_s", "s", about).required()
}

/// A row that belongs to a session.
pub(super) struct Of<R> {
    pub(super) session: Arc<str>,
    pub(super) row: R,
}

/// A sample in the frame of its segment.
pub(super) struct Segmental {
    pub(super) sample: SampleRow,
    pub(super) there: InSegment,
}

type Sample = Of<SampleRow>;

fn axes(v: &Vector3<f64>, axis: usize) -> Cell<'static> {
    rounded(v[axis])
}

fn dps(v: &Vector3<f64>, axis: usize) -> Cell<'static> {
    rounded(v[axis].to_degrees())
}

const AXES: [&str; 3] = ["x", "y", "z"];

/// What every table of samples says of a sample besides its numbers. `of` finds the sample in a row.
fn quality<R: 'static>(table: Table<R>, of: fn(&R) -> &SampleRow) -> Table<R> {
    table
        .column(
            Column::real("clock_sd_ms", "ms", "Standard uncertainty of t_s against another strap's times.").required(),
            move |r| rounded(of(r).clock_sd_s * 1e3),
        )
        .column(
            Column::flag(
                "clock_unsettled",
                "The strap's clock was still settling, or a correction of it would have put the sample before the one before it.",
            )
            .required(),
            move |r| Cell::Flag(of(r).clock_settling || of(r).time_held),
        )
        .column(
            Column::int("lost_before", "Samples missing between the sample before and this one.").required(),
            move |r| Cell::Int(of(r).lost_before.into()),
        )
        .column(Column::flag("clipped", "At the sensor's limit: the true value may be larger.").required(), move |r| {
            Cell::Flag(of(r).clipped)
        })
        .column(
            Column::int("wearing", "How often the straps had been taken off and put on again.").required(),
            move |r| Cell::Int(of(r).wearing.into()),
        )
}

/// Samples as worn.
pub(super) fn samples_strap() -> Table<Sample> {
    let mut table = Table::new(
        id("samples_strap"),
        "A sample as the strap felt it, in the strap's own axes and physical units. Nothing is corrected but the time.",
    )
    .column(session_column(), |s: &Sample| Cell::Text(&s.session))
    .column(segment_column(), |s| Cell::Text(s.row.role.key()))
    .column(time_column(T_ABOUT), |s| time(s.row.t_s));
    for (axis, name) in AXES.into_iter().enumerate() {
        let about = format!("Angular velocity about the strap's {name} axis, gyroscope bias included.");
        table = table.column(Column::real(format!("gyro_{name}_dps"), "deg/s", about).required(), move |s| {
            dps(&s.row.gyro_rad_s, axis)
        });
    }
    for (axis, name) in AXES.into_iter().enumerate() {
        let about = format!("Specific force along the strap's {name} axis; at rest it points up.");
        table = table
            .column(Column::real(format!("accel_{name}_m_s2"), "m/s^2", about).required(), move |s| {
                axes(&s.row.acc_m_s2, axis)
            });
    }
    quality(table, |s| &s.row)
}

/// Samples in the axes of their segments.
pub(super) fn samples_segment() -> Table<Of<Segmental>> {
    const FRAME: [&str; 3] = ["X (anterior)", "Y (cranial; arm: proximal)", "Z (to the wearer's right)"];
    let mut table = Table::new(
        id("samples_segment"),
        "A sample in the frame of the segment that the strap is worn on (X anterior, Y cranial, Z to the wearer's right), found by \
         the calibration; gyroscope bias taken off. Samples before the calibration are in samples_strap only.",
    )
    .column(session_column(), |s: &Of<Segmental>| Cell::Text(&s.session))
    .column(segment_column(), |s| Cell::Text(s.row.sample.role.key()))
    .column(time_column(T_ABOUT), |s| time(s.row.sample.t_s));
    for (axis, name) in AXES.into_iter().enumerate() {
        let about = format!("Angular velocity about the segment's {}, bias taken off.", FRAME[axis]);
        table = table.column(Column::real(format!("gyro_{name}_dps"), "deg/s", about).required(), move |s| {
            dps(&s.row.there.gyro_rad_s, axis)
        });
    }
    for (axis, name) in AXES.into_iter().enumerate() {
        let about = format!("Specific force along the segment's {}; at rest it points up.", FRAME[axis]);
        table = table
            .column(Column::real(format!("accel_{name}_m_s2"), "m/s^2", about).required(), move |s| {
                axes(&s.row.there.acc_m_s2, axis)
            });
    }
    for (axis, name) in AXES.into_iter().enumerate() {
        let about = format!("Gyroscope bias that was taken off about the segment's {}.", FRAME[axis]);
        table = table.column(Column::real(format!("bias_{name}_dps"), "deg/s", about).required(), move |s| {
            dps(&s.row.there.bias_rad_s, axis)
        });
    }
    let about = "Standard uncertainty of that bias about the least certain axis.";
    table = table.column(Column::real("bias_sd_dps", "deg/s", about).required(), |s| {
        rounded(s.row.sample.bias_sd_rad_s.to_degrees())
    });
    quality(table, |s| &s.row.sample)
}

/// An orientation by the running filter.
pub(super) struct Orientation {
    pub(super) role: Role,
    pub(super) t_s: f64,
    /// The strap is not calibrated: it is the strap's.
    pub(super) of_strap: bool,
    pub(super) quaternion: UnitQuaternion<f64>,
}

/// Orientations.
pub(super) fn orientations() -> Table<Of<Orientation>> {
    let mut table = Table::new(
        id("orientations"),
        "Orientation by the running filter, 50 a second (each that of the first sample in its fiftieth): the unit quaternion q, scalar \
         first, that turns vectors from the frame named in `frame` into the global one (Y up; right-handed): v_global = q v q*. The \
         heading is each strap's own, begins anywhere and drifts. Through swings the curves have orientations latched at address.",
    )
    .column(session_column(), |o: &Of<Orientation>| Cell::Text(&o.session))
    .column(segment_column(), |o| Cell::Text(o.row.role.key()))
    .column(time_column(T_ABOUT), |o| time(o.row.t_s))
    .column(
        Column::text("frame", "segment (X anterior, Y cranial, Z to the wearer's right), or strap while it is not calibrated.")
            .required(),
        |o| Cell::Text(if o.row.of_strap { "strap" } else { "segment" }),
    );
    for (name, at) in [("w", 3), ("x", 0), ("y", 1), ("z", 2)] {
        let about = format!("The quaternion's {name}.");
        table = table.column(Column::real(format!("q_{name}"), "", about).required(), move |o| {
            time(o.row.quaternion.coords[at])
        });
    }
    table
}

/// Where samples are missing.
pub(super) struct Gap {
    pub(super) role: Role,
    pub(super) from_s: f64,
    pub(super) to_s: f64,
    /// `None` where the strap's own count does not say.
    pub(super) lost: Option<u16>,
}

/// Gaps.
pub(super) fn gaps() -> Table<Of<Gap>> {
    Table::new(id("gaps"), "A stretch in which samples of a strap are missing.")
        .column(session_column(), |g: &Of<Gap>| Cell::Text(&g.session))
        .column(segment_column(), |g| Cell::Text(g.row.role.key()))
        .column(Column::real("from_s", "s", "Session time of the last sample before it.").required(), |g| {
            time(g.row.from_s)
        })
        .column(Column::real("to_s", "s", "Session time of the first sample after it.").required(), |g| {
            time(g.row.to_s)
        })
        .column(
            Column::int(
                "lost",
                "Samples missing; empty where the strap started anew and its count does not say.",
            ),
            |g| g.row.lost.map_or(Cell::None, |n| Cell::Int(n.into())),
        )
}

/// A mark of the recording.
pub(super) struct MarkRow {
    pub(super) t_s: f64,
    pub(super) kind: &'static str,
    /// `None` where there is none, or where it was typed and is not to be told.
    pub(super) detail: Option<String>,
}

/// Marks.
pub(super) fn marks() -> Table<Of<MarkRow>> {
    Table::new(id("marks"), "A mark that was made while it was recorded: guided movements, blocks, notes.")
        .column(session_column(), |m: &Of<MarkRow>| Cell::Text(&m.session))
        .column(time_column("Session time."), |m| time(m.row.t_s))
        .column(
            Column::text(
                "mark",
                "still-start, still-end, bow-start, …, block, drill, note, re-wear, as import takes them.",
            )
            .required(),
            |m| Cell::Text(m.row.kind),
        )
        .column(
            Column::text(
                "detail",
                "Label of the block (or its code), posture of a mobility turn, or text of the note.",
            ),
            |m| m.row.detail.as_deref().into(),
        )
}

/// A judged calibration step.
pub(super) struct StepRow {
    pub(super) t_s: f64,
    pub(super) step: &'static str,
    pub(super) role: Role,
    pub(super) passed: bool,
    pub(super) words: String,
}

/// Calibration steps.
pub(super) fn calibration() -> Table<Of<StepRow>> {
    Table::new(id("calibration"), "A guided movement of the calibration as judged for one strap.")
        .column(session_column(), |c: &Of<StepRow>| Cell::Text(&c.session))
        .column(segment_column(), |c| Cell::Text(c.row.role.key()))
        .column(time_column("Session time at the end of the movement."), |c| time(c.row.t_s))
        .column(Column::text("step", "still, bow, arm-raise or shake.").required(), |c| {
            Cell::Text(c.row.step)
        })
        .column(Column::flag("passed", "It need not be repeated.").required(), |c| Cell::Flag(c.row.passed))
        .column(Column::text("words", "What was found, or what to repeat and why.").required(), |c| {
            Cell::Text(&c.row.words)
        })
}

/// How a strap sat on its segment.
pub(super) struct Seat {
    pub(super) role: Role,
    pub(super) from_s: f64,
    pub(super) wearing: u32,
    pub(super) mounting: Mounting,
}

/// Mountings.
pub(super) fn mountings() -> Table<Of<Seat>> {
    let mut table = Table::new(
        id("mountings"),
        "How a strap sits on its segment, from `t_s` to the next row of the same strap or the next wearing: the unit quaternion q, scalar \
         first, that turns vectors from the strap's axes into the segment's: v_segment = q v q*.",
    )
    .column(session_column(), |m: &Of<Seat>| Cell::Text(&m.session))
    .column(segment_column(), |m| Cell::Text(m.row.role.key()))
    .column(time_column("Session time of the first sample that was brought into the segment's frame by it."), |m| {
        time(m.row.from_s)
    })
    .column(Column::int("wearing", "How often the straps had been taken off and put on again.").required(), |m| {
        Cell::Int(m.row.wearing.into())
    });
    for (name, at) in [("w", 3), ("x", 0), ("y", 1), ("z", 2)] {
        let about = format!("The quaternion's {name}.");
        table = table.column(Column::real(format!("q_{name}"), "", about).required(), move |m| {
            time(m.row.mounting.to_segment.coords[at])
        });
    }
    table
        .column(
            Column::real("sd_deg", "deg", "Standard uncertainty of the calibration's axes together.")
                .required(),
            |m| rounded(m.row.mounting.sd_deg),
        )
        .column(
            Column::real(
                "long_axis_sd_deg",
                "deg",
                "Of which that of the long axis, about each axis across it.",
            )
            .required(),
            |m| rounded(m.row.mounting.long_axis_sd_deg),
        )
}

/// A sample as files for import have it.
pub(super) fn for_import() -> Table<SampleRow> {
    let mut table = Table::new(id("for_import"), "Samples as peakorderd import takes them.")
        .column(Column::real("time_s", "s", "Session time.").required(), |s: &SampleRow| time(s.t_s));
    for (axis, name) in AXES.into_iter().enumerate() {
        table = table
            .column(Column::real(format!("gyro_{name}_dps"), "deg/s", "Angular velocity."), move |s| {
                Cell::Real(s.gyro_rad_s[axis].to_degrees())
            });
    }
    for (axis, name) in AXES.into_iter().enumerate() {
        table = table
            .column(Column::real(format!("accel_{name}_m_s2"), "m/s^2", "Specific force."), move |s| {
                Cell::Real(s.acc_m_s2[axis])
            });
    }
    table
}
