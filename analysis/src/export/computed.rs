//! Tables of what was computed of sessions and said of them; the recording is not read for these.

use super::curves::{self, Point};
use super::error::ExportError;
use super::rows::{self, Of, StepRow};
use super::tables::{Open, Written};
use super::what::What;
use crate::codes::Codes;
use crate::data::{self, BlockStat, Facts, MeasureRow, RemarkRow, RepetitionRow, SessionRow, SwingRow};
use crate::load::Loaded;
use crate::words;
use peakorder_protocol::remark::{self, Remark};
use peakorder_tables::{Cell, Column, Format, Table};
use std::path::Path;
use std::sync::Arc;

/// A row with what may be told besides where names are kept.
struct With<R> {
    row: R,
    player: Option<String>,
    /// What was typed.
    text: Option<String>,
    ball: Option<String>,
    left_out: bool,
}

impl<R> With<R> {
    const fn of(row: R) -> Self {
        Self { row, player: None, text: None, ball: None, left_out: false }
    }
}

const HIDDEN: &str = "Empty unless names are kept.";

fn player<R: 'static>(table: Table<With<R>>) -> Table<With<R>> {
    table.column(Column::text("player", format!("Name of the player. {HIDDEN}")), |r| {
        r.player.as_deref().into()
    })
}

fn sessions() -> Table<With<SessionRow>> {
    player(data::sessions_table().within("peakorder.export/1/sessions", |r| &r.row))
}

fn swings() -> Table<With<SwingRow>> {
    player(data::swings_table().within("peakorder.export/1/swings", |r| &r.row))
        .column(Column::flag("left_out", "The coach left it out of every summary.").required(), |r| {
            r.left_out.into()
        })
        .column(
            Column::text(
                "ball",
                "What the ball did, by the coach; words of the coach's own only where names are kept.",
            ),
            |r| r.ball.as_deref().into(),
        )
        .column(Column::text("note", format!("The coach's note. {HIDDEN}")), |r| r.text.as_deref().into())
}

fn remarks() -> Table<With<RemarkRow>> {
    data::remarks_table()
        .within("peakorder.export/1/remarks", |r: &With<RemarkRow>| &r.row)
        .column(
            Column::text(
                "words",
                format!("What was typed: note, reason, target, text to practise. {HIDDEN}"),
            ),
            |r| r.text.as_deref().into(),
        )
        .column(Column::text("ball", format!("Of outcome: all of its words. {HIDDEN}")), |r| {
            match r.ball.as_deref() {
                Some(ball) => Cell::Text(ball),
                None => Cell::None,
            }
        })
}

/// The tables that are open.
pub(super) struct Computed {
    sessions: Option<Open<With<SessionRow>>>,
    swings: Option<Open<With<SwingRow>>>,
    blocks: Option<Open<BlockStat>>,
    repetitions: Option<Open<RepetitionRow>>,
    remarks: Option<Open<With<RemarkRow>>>,
    measures: Option<Open<MeasureRow>>,
    curves: Option<Open<Of<Point>>>,
    normalised: Option<Open<Of<Point>>>,
    calibration: Option<Open<Of<StepRow>>>,
}

/// How names are handled.
pub(super) struct Naming<'a> {
    /// What replaces them; `None` to keep them.
    pub(super) codes: Option<&'a Codes>,
    /// What stands for a player without an id where names are kept.
    pub(super) ids: &'a Codes,
}

fn open<R>(
    folder: &Path,
    wanted: &[What],
    what: What,
    table: fn() -> Table<R>,
    format: Format,
) -> Result<Option<Open<R>>, ExportError> {
    wanted.contains(&what).then(|| Open::new(folder, what, table(), format)).transpose()
}

impl Computed {
    /// Those of `wanted` that need no recording.
    pub(super) fn open(folder: &Path, wanted: &[What], format: Format) -> Result<Self, ExportError> {
        Ok(Self {
            sessions: open(folder, wanted, What::Sessions, sessions, format)?,
            swings: open(folder, wanted, What::Swings, swings, format)?,
            blocks: open(folder, wanted, What::Blocks, data::block_stats_table, format)?,
            repetitions: open(folder, wanted, What::Repetitions, data::repetitions_table, format)?,
            remarks: open(folder, wanted, What::Remarks, remarks, format)?,
            measures: open(folder, wanted, What::Measures, data::measures_table, format)?,
            curves: open(folder, wanted, What::Curves, curves::table, format)?,
            normalised: open(folder, wanted, What::CurvesNormalised, curves::normalised_table, format)?,
            calibration: open(folder, wanted, What::Calibration, rows::calibration, format)?,
        })
    }

    /// Takes a session, of which names were hidden already if they are to be.
    pub(super) fn session(
        &mut self,
        loaded: &Loaded,
        naming: &Naming<'_>,
        said: &mut Vec<String>,
    ) -> Result<(), ExportError> {
        let id: Arc<str> = loaded.session.id.as_str().into();
        if let Some(table) = &mut self.calibration {
            for judged in &loaded.session.calibration {
                let row = StepRow {
                    t_s: judged.t_s,
                    step: judged.step.key(),
                    role: judged.role,
                    passed: judged.passed(),
                    words: words::calibration::outcome(judged),
                };
                table.push(&Of { session: id.clone(), row })?;
            }
        }
        self.numbers(loaded, naming, said)?;
        self.curves(loaded, &id, said)
    }

    fn numbers(
        &mut self,
        loaded: &Loaded,
        naming: &Naming<'_>,
        said: &mut Vec<String>,
    ) -> Result<(), ExportError> {
        let facts = match Facts::of(loaded, "", Some(naming.ids)) {
            Ok(facts) => Arc::new(facts),
            Err(why) => {
                said.push(format!("not in sessions, swings, blocks, repetitions and remarks: {why}"));
                return Ok(());
            }
        };
        let named = || naming.codes.is_none().then(|| loaded.session.player.name.clone());
        if let Some(table) = &mut self.sessions {
            let row = data::session_row(loaded, &facts);
            table.push(&With { player: named(), ..With::of(row) })?;
        }
        if let Some(table) = &mut self.swings {
            for row in data::swing_rows(loaded, &facts) {
                let of = loaded.remarks.swing(row.swing.number);
                table.push(&With {
                    player: named(),
                    text: of.and_then(|r| filled(r.note.clone())),
                    ball: of.and_then(|r| filled(r.labels.join(", "))),
                    left_out: loaded.remarks.excluded(row.swing.number).is_some(),
                    ..With::of(row)
                })?;
            }
        }
        if let Some(table) = &mut self.blocks {
            data::block_stats(loaded, &facts).iter().try_for_each(|row| table.push(row))?;
        }
        if let Some(table) = &mut self.repetitions {
            data::repetition_rows(loaded, &facts).iter().try_for_each(|row| table.push(row))?;
        }
        if let Some(table) = &mut self.remarks {
            // What cannot be read of them was said when the session was loaded.
            let mut all = loaded.dir.remarks().read().map(|r| r.remarks).unwrap_or_default();
            if let Some(codes) = naming.codes {
                all.iter_mut().for_each(|remark| codes.hide_remark(remark));
            }
            for (row, remark) in data::remark_rows(&all, &facts).into_iter().zip(&all) {
                let (text, ball) = if naming.codes.is_none() { typed(remark) } else { (None, None) };
                table.push(&With { text, ball, ..With::of(row) })?;
            }
        }
        Ok(())
    }

    fn curves(&mut self, loaded: &Loaded, id: &Arc<str>, said: &mut Vec<String>) -> Result<(), ExportError> {
        if self.curves.is_none() && self.normalised.is_none() {
            return Ok(());
        }
        for swing in &loaded.swings {
            let of = match loaded.curves(swing.number) {
                Ok(of) => of,
                Err(why) => {
                    said.push(format!("no curves of swing {}: {why}", swing.number));
                    continue;
                }
            };
            if let Some(table) = &mut self.curves {
                for row in curves::points(swing, &of) {
                    table.push(&Of { session: id.clone(), row })?;
                }
            }
            if let Some(table) = &mut self.normalised {
                for row in curves::normalised(swing, &of) {
                    table.push(&Of { session: id.clone(), row })?;
                }
            }
        }
        Ok(())
    }

    /// Brings the files to the disk.
    pub(super) fn finish(mut self, written: &mut Vec<Written>) -> Result<(), ExportError> {
        fn finish<R>(table: Option<Open<R>>, written: &mut Vec<Written>) -> Result<(), ExportError> {
            if let Some(table) = table {
                written.push(table.finish()?);
            }
            Ok(())
        }
        if let Some(table) = &mut self.measures {
            data::measure_rows().iter().try_for_each(|row| table.push(row))?;
        }
        finish(self.sessions, written)?;
        finish(self.swings, written)?;
        finish(self.blocks, written)?;
        finish(self.repetitions, written)?;
        finish(self.remarks, written)?;
        finish(self.measures, written)?;
        finish(self.curves, written)?;
        finish(self.normalised, written)?;
        finish(self.calibration, written)
    }
}

fn filled(text: String) -> Option<String> {
    (!text.is_empty()).then_some(text)
}

/// What was typed in a remark, and what is said of the ball.
fn typed(remark: &Remark) -> (Option<String>, Option<String>) {
    match &remark.what {
        remark::What::Note { text, .. } | remark::What::Practise { text } => (filled(text.clone()), None),
        remark::What::Exclude { reason, .. } => (filled(reason.clone()), None),
        remark::What::Target { target: Some(target) } => (filled(target.words.clone()), None),
        remark::What::Outcome { labels, .. } => (None, filled(labels.join(", "))),
        _ => (None, None),
    }
}
