//! What the columns of a table are.

use std::borrow::Cow;

/// Type of a column's values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// 64-bit floating point.
    Real,
    /// Whole number of 32 bits.
    Int32,
    /// Whole number of 64 bits.
    Int64,
    /// Yes or no.
    Flag,
    /// UTF-8 text.
    Text,
    /// A moment, microseconds since 1970 UTC.
    Instant,
    /// A day, UTC.
    Date,
}

/// One column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its name; of a number with a unit it ends in it.
    pub name: String,
    /// Type of its values.
    pub kind: Kind,
    /// Unit, as `deg/s` or `m/s^2`; empty where there is none.
    pub unit: Cow<'static, str>,
    /// What it holds, in a sentence.
    pub about: String,
    /// Every row has a value.
    pub required: bool,
}

impl Column {
    /// A column that may be empty, without a unit.
    pub fn new(name: impl Into<String>, kind: Kind, about: impl Into<String>) -> Self {
        Self { name: name.into(), kind, unit: Cow::Borrowed(""), about: about.into(), required: false }
    }

    /// A number in that unit.
    pub fn real(
        name: impl Into<String>,
        unit: impl Into<Cow<'static, str>>,
        about: impl Into<String>,
    ) -> Self {
        Self { unit: unit.into(), ..Self::new(name, Kind::Real, about) }
    }

    /// A whole number, of 32 bits.
    pub fn int(name: impl Into<String>, about: impl Into<String>) -> Self {
        Self::new(name, Kind::Int32, about)
    }

    /// Yes or no.
    pub fn flag(name: impl Into<String>, about: impl Into<String>) -> Self {
        Self::new(name, Kind::Flag, about)
    }

    /// Text.
    pub fn text(name: impl Into<String>, about: impl Into<String>) -> Self {
        Self::new(name, Kind::Text, about)
    }

    /// A moment.
    pub fn instant(name: impl Into<String>, about: impl Into<String>) -> Self {
        Self::new(name, Kind::Instant, about)
    }

    /// A day.
    pub fn date(name: impl Into<String>, about: impl Into<String>) -> Self {
        Self::new(name, Kind::Date, about)
    }

    /// Every row has a value.
    #[must_use]
    pub fn required(self) -> Self {
        Self { required: true, ..self }
    }
}

/// A table's columns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Schema {
    /// Stable name with version, as `peakorder.dataset/1/swings`.
    pub id: String,
    /// What a row is, in a sentence.
    pub about: String,
    /// The columns, in order.
    pub columns: Vec<Column>,
}

impl Schema {
    /// Place of the column of that name.
    pub fn place(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|c| c.name == name)
    }
}
