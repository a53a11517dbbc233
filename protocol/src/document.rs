//! JSON files that name their schema.

/// Why a JSON file's text is not a document that can be read.
#[derive(Debug, thiserror::Error)]
pub enum DocumentError {
    /// Not JSON, or not with these keys.
    #[error(transparent)]
    Json(#[from] serde_json::Error),
    /// A schema that this program does not know.
    #[error("schema is '{found}', this program reads '{known}'; update peakorder")]
    Schema {
        /// The file's.
        found: String,
        /// This program's.
        known: &'static str,
    },
}

impl DocumentError {
    pub(crate) fn unless_schema(found: &str, known: &'static str) -> Result<(), Self> {
        if found == known { Ok(()) } else { Err(Self::Schema { found: found.to_owned(), known }) }
    }
}
