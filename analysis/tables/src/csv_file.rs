//! Rows as CSV: RFC 4180, UTF-8, a point in numbers, nothing for none.

use crate::{Cell, Schema};
use std::io::Write;

pub(crate) struct CsvRows<W: Write>(csv::Writer<W>);

impl<W: Write> CsvRows<W> {
    pub(crate) fn begin(to: W, schema: &Schema) -> Result<Self, csv::Error> {
        let mut rows = csv::Writer::from_writer(to);
        rows.write_record(schema.columns.iter().map(|c| &c.name))?;
        Ok(Self(rows))
    }

    pub(crate) fn push(&mut self, row: &[Cell<'_>]) -> Result<(), csv::Error> {
        for cell in row {
            self.0.write_field(text(*cell))?;
        }
        self.0.write_record(None::<&[u8]>)
    }

    pub(crate) fn finish(self) -> std::io::Result<W> {
        self.0.into_inner().map_err(csv::IntoInnerError::into_error)
    }
}

fn text(cell: Cell<'_>) -> String {
    match cell {
        // The shortest text that is read back as the same number.
        Cell::Real(x) if x.is_finite() => format!("{x}"),
        Cell::None | Cell::Real(_) => String::new(),
        Cell::Int(n) => n.to_string(),
        Cell::Flag(on) => on.to_string(),
        Cell::Text(text) => harmless(text),
        Cell::Instant(us) => {
            jiff::Timestamp::from_microsecond(us).map_or_else(|_| String::new(), |t| t.to_string())
        }
        Cell::Date(days) => date(days).map_or_else(String::new, |d| d.to_string()),
    }
}

/// A text that a spreadsheet would take for a formula gets a `'` before it.
fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

fn date(days: i32) -> Option<jiff::civil::Date> {
    jiff::civil::date(1970, 1, 1).checked_add(jiff::Span::new().try_days(days).ok()?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Column, Schema};

    #[test]
    fn numbers_times_and_texts_are_read_back_as_they_were() {
        let schema = Schema {
            id: "t/1".into(),
            about: String::new(),
            columns: vec![
                Column::real("a_m", "m", ""),
                Column::text("b", ""),
                Column::instant("c", ""),
                Column::date("d", ""),
            ],
        };
        let mut rows = CsvRows::begin(Vec::new(), &schema).unwrap();
        rows.push(&[
            Cell::Real(0.1 + 0.2),
            Cell::Text("a, \"b\"\nc"),
            Cell::Instant(1_764_540_312_250_000),
            Cell::Date(20_422),
        ])
        .unwrap();
        rows.push(&[Cell::Real(f64::NAN), Cell::Text("=1+1"), Cell::None, Cell::Date(-1)]).unwrap();
        let text = String::from_utf8(rows.finish().unwrap()).unwrap();
        assert_eq!(
            text,
            "a_m,b,c,d\n0.30000000000000004,\"a, \"\"b\"\"\nc\",2025-11-30T22:05:12.25Z,2025-11-30\n,'=1+1,,1969-12-31\n"
        );
    }
}
