//! Every swing's numbers as CSV, for other programs.

use crate::load::Loaded;
use crate::measure::Measure;
use crate::order::Order;
use crate::words::quality;
use peakorder_protocol::Role;
use peakorder_protocol::swing::Swing;
use peakorder_protocol::text::clean_lines;

/// A column before the measures: its name, and the cell of a swing.
type Column = (&'static str, fn(&Loaded, &Swing) -> String);

/// Columns before the measures. To add one, add its line.
const COLUMNS: [Column; 16] = [
    ("session", |l, _| text(&l.session.id)),
    ("started_utc", |l, _| text(&l.session.started_utc)),
    ("invented", |l, _| flag(l.session.invented)),
    ("player", |l, _| text(&l.session.player.name)),
    ("swing", |_, s| s.number.to_string()),
    ("block", |_, s| text(&s.block)),
    ("impact_s", |_, s| format!("{:.4}", s.events.impact.t_s)),
    ("kind", |_, s| s.kind.key().to_owned()),
    ("counted", |l, s| flag(l.remarks.counts(s))),
    ("left_out", |l, s| flag(l.remarks.excluded(s.number).is_some())),
    ("ball", |l, s| text(&l.remarks.swing(s.number).map_or(String::new(), |r| r.labels.join(", ")))),
    ("note", |l, s| text(l.remarks.swing(s.number).map_or("", |r| &r.note))),
    ("order_of_peaks", |_, s| Order::of_peaks(&s.sequence).map_or(String::new(), |o| o.text())),
    ("trunk_speed", |_, s| trunk_speed(s).to_owned()),
    ("withheld", |_, s| text(&withheld(s))),
    ("withheld_why", |_, s| text(&reasons(s))),
];

/// One row a swing, every measure of one swing with its standard measuring uncertainty beside it where
/// there is one (`…_sd_…`), that of the bone (`…_bone_sd_…`), and how the value is defined (`…_def`): values of different
/// definition do not mix. An empty cell was not measured; `counted` is 1 for swings that
/// enter the summaries. A text that a spreadsheet would take for a formula gets a `'` before
/// it.
pub fn csv(loaded: &Loaded) -> Result<String, csv::Error> {
    let mut table = csv::Writer::from_writer(Vec::new());
    let measures =
        measures().flat_map(|m| [m.key(), m.key_of("sd"), m.key_of("bone_sd"), m.definition_key()]);
    table.write_record(COLUMNS.map(|(name, _)| name.to_owned()).into_iter().chain(measures))?;
    for swing in &loaded.swings {
        table.write_record(row(loaded, swing))?;
    }
    let bytes = table.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Those that one swing tells.
fn measures() -> impl Iterator<Item = Measure> {
    Measure::ALL.into_iter().filter(|m| !m.means_only())
}

fn flag(on: bool) -> String {
    if on { "1" } else { "0" }.to_owned()
}

fn withheld(swing: &Swing) -> String {
    let names: Vec<String> = swing.quality.withheld.iter().map(|w| w.what.key()).collect();
    names.join("; ")
}

/// Each with its reason in words: `pelvis.angles: the calibration has gone stale: …`.
fn reasons(swing: &Swing) -> String {
    let all = swing.quality.withheld.iter().map(|w| format!("{}: {}", w.what.key(), quality::why(&w.why)));
    all.collect::<Vec<_>>().join("; ")
}

fn row(loaded: &Loaded, swing: &Swing) -> Vec<String> {
    let mut cells: Vec<String> = COLUMNS.iter().map(|(_, cell)| cell(loaded, swing)).collect();
    for measure in measures() {
        let value = measure.of(swing);
        cells.push(value.as_ref().map_or(String::new(), |v| number(v.value)));
        cells.push(value.as_ref().and_then(|v| v.sd).map_or(String::new(), number));
        cells.push(value.as_ref().and_then(|v| v.bone_sd).map_or(String::new(), number));
        cells.push(value.map_or(String::new(), |v| text(&v.definition.text())));
    }
    cells
}

/// Which speed the trunk's peaks are of: values of different kinds do not mix.
fn trunk_speed(swing: &Swing) -> &'static str {
    let trunk = swing.segments.get(&Role::Pelvis).or_else(|| swing.segments.get(&Role::Thorax));
    trunk.map_or("", |s| s.speed_kind.key())
}

/// A tenth of what the measurement resolves, at most.
fn number(value: f64) -> String {
    format!("{value:.4}")
}

fn text(text: &str) -> String {
    // A table is also looked at in a terminal.
    let text = clean_lines(text);
    if text.starts_with(['=', '+', '-', '@']) { format!("'{text}") } else { text }
}
