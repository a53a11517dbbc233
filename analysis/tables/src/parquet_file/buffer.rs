//! One column's values of a group of rows.

use crate::{Cell, Column, Kind};
use parquet::data_type::ByteArray;

/// Values that are there, without those that are not.
pub(super) enum Values {
    Real(Vec<f64>),
    Int32(Vec<i32>),
    Int64(Vec<i64>),
    Flag(Vec<bool>),
    Text(Vec<ByteArray>),
}

/// A column's values, and for each row whether it has one (definition level 1) or not (0).
pub(super) struct Buffer {
    pub(super) kind: Kind,
    pub(super) required: bool,
    pub(super) values: Values,
    pub(super) levels: Vec<i16>,
}

impl Buffer {
    pub(super) fn of(column: &Column) -> Self {
        let values = match column.kind {
            Kind::Real => Values::Real(Vec::new()),
            Kind::Int32 | Kind::Date => Values::Int32(Vec::new()),
            Kind::Int64 | Kind::Instant => Values::Int64(Vec::new()),
            Kind::Flag => Values::Flag(Vec::new()),
            Kind::Text => Values::Text(Vec::new()),
        };
        Self { kind: column.kind, required: column.required, values, levels: Vec::new() }
    }

    /// Adds a row's cell; `None` if it does not fit the column.
    pub(super) fn push(&mut self, cell: Cell<'_>) -> Option<()> {
        let there = match (&mut self.values, cell) {
            (_, Cell::None) => false,
            (Values::Real(_), Cell::Real(x)) if !x.is_finite() => false,
            (Values::Real(all), Cell::Real(x)) => pushed(all, x),
            (Values::Int32(all), Cell::Int(n)) if self.kind == Kind::Int32 => pushed(all, n.try_into().ok()?),
            (Values::Int32(all), Cell::Date(day)) if self.kind == Kind::Date => pushed(all, day),
            (Values::Int64(all), Cell::Int(n)) if self.kind == Kind::Int64 => pushed(all, n),
            (Values::Int64(all), Cell::Instant(us)) if self.kind == Kind::Instant => pushed(all, us),
            (Values::Flag(all), Cell::Flag(on)) => pushed(all, on),
            (Values::Text(all), Cell::Text(text)) => pushed(all, text.as_bytes().to_vec().into()),
            _ => return None,
        };
        if !there && self.required {
            return None;
        }
        self.levels.push(there.into());
        Some(())
    }

    pub(super) fn clear(&mut self) {
        self.levels.clear();
        match &mut self.values {
            Values::Real(all) => all.clear(),
            Values::Int32(all) => all.clear(),
            Values::Int64(all) => all.clear(),
            Values::Flag(all) => all.clear(),
            Values::Text(all) => all.clear(),
        }
    }

    /// The value at place `at` among those that are there.
    pub(super) fn cell(&self, at: usize) -> Cell<'_> {
        match &self.values {
            Values::Real(all) => Cell::Real(all[at]),
            Values::Int32(all) if self.kind == Kind::Date => Cell::Date(all[at]),
            Values::Int32(all) => Cell::Int(all[at].into()),
            Values::Int64(all) if self.kind == Kind::Instant => Cell::Instant(all[at]),
            Values::Int64(all) => Cell::Int(all[at]),
            Values::Flag(all) => Cell::Flag(all[at]),
            Values::Text(all) => Cell::Text(std::str::from_utf8(all[at].data()).unwrap_or_default()),
        }
    }
}

fn pushed<T>(all: &mut Vec<T>, value: T) -> bool {
    all.push(value);
    true
}
