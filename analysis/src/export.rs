//! Every swing's numbers as CSV, for other programs.

use crate::load::{Loaded, counts};
use crate::measure::Measure;
use crate::order::Order;
use peakorder_protocol::Role;
use peakorder_protocol::swing::Swing;

/// Columns before the measures.
const FIRST: [&str; 15] = [
    "session",
    "started_utc",
    "invented",
    "player",
    "swing",
    "block",
    "impact_s",
    "kind",
    "counted",
    "left_out",
    "ball",
    "note",
    "order_of_peaks",
    "trunk_speed",
    "withheld",
];

/// One row a swing, every measure with its standard measuring uncertainty beside it where
/// there is one (`…_sd_…`). An empty cell was not measured; `counted` is 1 for swings that
/// enter the summaries. A text that a spreadsheet would take for a formula gets a `'` before
/// it.
pub fn csv(loaded: &Loaded) -> Result<String, csv::Error> {
    let mut table = csv::Writer::from_writer(Vec::new());
    let measures = Measure::ALL.into_iter().flat_map(|m| [m.key(), sd_key(&m.key())]);
    table.write_record(FIRST.map(ToOwned::to_owned).into_iter().chain(measures))?;
    for swing in &loaded.swings {
        table.write_record(row(loaded, swing))?;
    }
    let bytes = table.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// `gap_pelvis_thorax_ms` → `gap_pelvis_thorax_sd_ms`: the unit stays last.
fn sd_key(key: &str) -> String {
    match key.rsplit_once('_') {
        Some((name, unit)) if unit != "ratio" => format!("{name}_sd_{unit}"),
        _ => format!("{key}_sd"),
    }
}

fn row(loaded: &Loaded, swing: &Swing) -> Vec<String> {
    let session = &loaded.session;
    let said = loaded.remarks.swing(swing.number);
    let flag = |on: bool| if on { "1" } else { "0" }.to_owned();
    let withheld: Vec<String> = swing.quality.withheld.iter().map(|w| w.what.key()).collect();
    let mut cells = vec![
        text(&session.id),
        text(&session.started_utc),
        flag(session.invented),
        text(&session.player.name),
        swing.number.to_string(),
        text(&swing.block),
        format!("{:.4}", swing.events.impact.t_s),
        swing.kind.key().to_owned(),
        flag(counts(swing, &loaded.remarks)),
        flag(loaded.remarks.excluded(swing.number).is_some()),
        text(&said.map_or(String::new(), |s| s.labels.join(", "))),
        text(said.map_or("", |s| &s.note)),
        Order::of_peaks(&swing.sequence).map_or(String::new(), |o| o.text()),
        trunk_speed(swing).to_owned(),
        text(&withheld.join("; ")),
    ];
    for measure in Measure::ALL {
        let value = measure.of(swing);
        cells.push(value.as_ref().map_or(String::new(), |v| number(v.value)));
        cells.push(value.and_then(|v| v.sd).map_or(String::new(), number));
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
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}
