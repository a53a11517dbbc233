//! A word that a person wrote and that names nothing.

use crate::text::excerpt;
use std::borrow::Cow;

/// The word names none of what it should.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{} is not {wanted}; use {known}", excerpt(given))]
pub struct UnknownWord {
    /// As written.
    pub given: String,
    /// What it should name, e.g. `a mark`.
    pub wanted: &'static str,
    /// The words there are.
    pub known: Cow<'static, str>,
}

impl UnknownWord {
    /// `given` is not `wanted`; use `known`.
    pub fn new(given: &str, wanted: &'static str, known: impl Into<Cow<'static, str>>) -> Self {
        Self { given: given.to_owned(), wanted, known: known.into() }
    }
}
