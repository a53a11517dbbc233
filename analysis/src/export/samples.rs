//! From the recording to its tables.

use super::error::ExportError;
use super::rows::{self, Gap, MarkRow, Of, Orientation, Seat, Segmental};
use super::tables::{Open, Written};
use super::what::What;
use peakorder_motion::calibrate::Mounting;
use peakorder_motion::samples::SampleRow;
use peakorder_protocol::Role;
use peakorder_tables::Format;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

/// Orientations a second.
const ORIENTATIONS_PER_S: f64 = 50.0;
/// Samples further apart than this lie on both sides of a gap, whatever the strap's count says, s: no strap is slower than 4 Hz.
const SURELY_A_GAP_S: f64 = 0.25;

/// Tables that are made of the recording.
pub(super) struct FromLog {
    segment: Option<Open<Of<Segmental>>>,
    strap: Option<Open<Of<SampleRow>>>,
    orientations: Option<Open<Of<Orientation>>>,
    gaps: Option<Open<Of<Gap>>>,
    marks: Option<Open<Of<MarkRow>>>,
    mountings: Option<Open<Of<Seat>>>,
    straps: BTreeMap<Role, Before>,
}

/// What was last seen of a strap.
#[derive(Clone, Copy)]
struct Before {
    t_s: f64,
    fiftieth: f64,
    seat: Option<(u32, Mounting)>,
}

impl FromLog {
    /// Those of `wanted` that are made of the recording.
    pub(super) fn open(folder: &Path, wanted: &[What], format: Format) -> Result<Self, ExportError> {
        fn open<R>(
            folder: &Path,
            wanted: &[What],
            what: What,
            table: fn() -> peakorder_tables::Table<R>,
            format: Format,
        ) -> Result<Option<Open<R>>, ExportError> {
            wanted.contains(&what).then(|| Open::new(folder, what, table(), format)).transpose()
        }
        Ok(Self {
            segment: open(folder, wanted, What::SamplesSegment, rows::samples_segment, format)?,
            strap: open(folder, wanted, What::SamplesStrap, rows::samples_strap, format)?,
            orientations: open(folder, wanted, What::Orientations, rows::orientations, format)?,
            gaps: open(folder, wanted, What::Gaps, rows::gaps, format)?,
            marks: open(folder, wanted, What::Marks, rows::marks, format)?,
            mountings: open(folder, wanted, What::Mountings, rows::mountings, format)?,
            straps: BTreeMap::new(),
        })
    }

    /// Another session begins.
    pub(super) fn next_session(&mut self) {
        self.straps.clear();
    }

    /// Takes a sample of `session`.
    pub(super) fn sample(&mut self, session: &Arc<str>, row: &SampleRow) -> Result<(), ExportError> {
        let before = self.straps.get(&row.role).copied();
        let fiftieth = (row.t_s * ORIENTATIONS_PER_S).floor();
        let seat = row.mounting.map(|m| (row.wearing, m));
        self.straps.insert(row.role, Before { t_s: row.t_s, fiftieth, seat });
        if let Some(strap) = &mut self.strap {
            strap.push(&Of { session: session.clone(), row: *row })?;
        }
        let there = row.in_segment();
        if let (Some(segment), Some(there)) = (&mut self.segment, there) {
            segment.push(&Of { session: session.clone(), row: Segmental { sample: *row, there } })?;
        }
        if let Some(gaps) = &mut self.gaps
            && let Some(before) = before
            && (row.lost_before > 0 || row.t_s - before.t_s > SURELY_A_GAP_S)
        {
            let lost = (row.lost_before > 0).then_some(row.lost_before);
            let gap = Gap { role: row.role, from_s: before.t_s, to_s: row.t_s, lost };
            gaps.push(&Of { session: session.clone(), row: gap })?;
        }
        if let Some(orientations) = &mut self.orientations
            && before.is_none_or(|b| b.fiftieth < fiftieth)
            && let Some(quaternion) = there.map_or(row.orientation, |t| t.orientation)
        {
            let orientation =
                Orientation { role: row.role, t_s: row.t_s, of_strap: there.is_none(), quaternion };
            orientations.push(&Of { session: session.clone(), row: orientation })?;
        }
        if let Some(mountings) = &mut self.mountings
            && let Some(mounting) = row.mounting
            && before.is_none_or(|b| b.seat != seat)
        {
            let seat = Seat { role: row.role, from_s: row.t_s, wearing: row.wearing, mounting };
            mountings.push(&Of { session: session.clone(), row: seat })?;
        }
        Ok(())
    }

    /// Takes a mark of `session`.
    pub(super) fn mark(&mut self, session: &Arc<str>, row: MarkRow) -> Result<(), ExportError> {
        match &mut self.marks {
            Some(marks) => marks.push(&Of { session: session.clone(), row }),
            None => Ok(()),
        }
    }

    /// Brings the files to the disk.
    pub(super) fn finish(self, written: &mut Vec<Written>) -> Result<(), ExportError> {
        fn finish<R>(table: Option<Open<R>>, written: &mut Vec<Written>) -> Result<(), ExportError> {
            if let Some(table) = table {
                written.push(table.finish()?);
            }
            Ok(())
        }
        finish(self.segment, written)?;
        finish(self.strap, written)?;
        finish(self.orientations, written)?;
        finish(self.gaps, written)?;
        finish(self.marks, written)?;
        finish(self.mountings, written)
    }
}
