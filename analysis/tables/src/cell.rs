//! One value of a table.

/// A value, or none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell<'a> {
    /// Not measured, withheld, or not said.
    None,
    /// A number; what is not finite is written as none.
    Real(f64),
    /// A whole number.
    Int(i64),
    /// Yes or no.
    Flag(bool),
    /// Text.
    Text(&'a str),
    /// Microseconds since 1970-01-01T00:00:00Z.
    Instant(i64),
    /// Days since 1970-01-01.
    Date(i32),
}

impl From<Option<f64>> for Cell<'_> {
    fn from(value: Option<f64>) -> Self {
        value.map_or(Self::None, Self::Real)
    }
}

impl<'a> From<Option<&'a str>> for Cell<'a> {
    fn from(value: Option<&'a str>) -> Self {
        value.map_or(Self::None, Self::Text)
    }
}

impl<'a> From<&'a str> for Cell<'a> {
    fn from(value: &'a str) -> Self {
        Self::Text(value)
    }
}

impl From<u32> for Cell<'_> {
    fn from(value: u32) -> Self {
        Self::Int(value.into())
    }
}

impl From<bool> for Cell<'_> {
    fn from(value: bool) -> Self {
        Self::Flag(value)
    }
}

impl Cell<'_> {
    /// The number, if it is one.
    pub const fn real(self) -> Option<f64> {
        match self {
            Self::Real(x) => Some(x),
            _ => None,
        }
    }

    /// The whole number, if it is one.
    pub const fn int(self) -> Option<i64> {
        match self {
            Self::Int(n) => Some(n),
            _ => None,
        }
    }
}

impl<'a> Cell<'a> {
    /// The text, if it is one.
    pub const fn text(self) -> Option<&'a str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }
}
