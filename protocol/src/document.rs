//! JSON files that name their schema and end in a checksum.
//!
//! How the checksum is taken is in `docs/formats/session.md`.

use std::fmt::Write as _;

/// Why a JSON file's text is not a document that can be read.
#[derive(Debug, thiserror::Error)]
pub enum DocumentError {
    /// Not UTF-8.
    #[error("it is not a text file")]
    NotText,
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
    /// Not the bytes that were written.
    #[error(transparent)]
    Checksum(#[from] Changed),
}

/// A file whose bytes are no longer those that were written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("damaged, or changed by hand after it was written (checksum {found:08x}, the file says {stated})")]
pub struct Changed {
    /// What the file says of itself; `nothing readable` where its end is damaged.
    pub stated: String,
    /// Checksum of the bytes as they are.
    pub found: u32,
}

impl DocumentError {
    pub(crate) fn unless_schema(found: &str, known: &'static str) -> Result<(), Self> {
        if found == known { Ok(()) } else { Err(Self::Schema { found: found.to_owned(), known }) }
    }
}

/// CRC-32C of some bytes.
pub fn checksum(bytes: &[u8]) -> u32 {
    crc32c::crc32c(bytes)
}

/// The key that holds the checksum. It is the last one of its file.
const KEY: &str = "\"crc32c\":";
/// How a pretty-printed object ends.
const END: &str = "\n}\n";
/// What stands between the covered bytes and the checksum's eight digits.
const BEFORE: &str = ",\n  \"crc32c\": \"";
/// What stands after them.
const AFTER: &str = "\"\n}\n";

/// Adds the checksum to the text of a pretty-printed object that ends in a newline.
pub(crate) fn seal(text: &mut String) {
    let body = text.len() - END.len();
    debug_assert_eq!(&text[body..], END, "a pretty-printed object");
    text.truncate(body);
    let crc = crc32c::crc32c(text.as_bytes());
    let _ = write!(text, "{BEFORE}{crc:08x}{AFTER}");
}

/// Whether the bytes are those that were written. A file without a checksum, which earlier versions
/// wrote, passes.
pub(crate) fn check(bytes: &[u8]) -> Result<(), Changed> {
    // In a text the quotes would be escaped, so this can only be the key.
    if !bytes.windows(KEY.len()).rev().any(|w| w == KEY.as_bytes()) {
        return Ok(());
    }
    let ending = bytes.len().saturating_sub(BEFORE.len() + 8 + AFTER.len());
    let (covered, ending) = bytes.split_at(ending);
    let found = crc32c::crc32c(covered);
    let stated = ending.strip_prefix(BEFORE.as_bytes()).and_then(|e| e.strip_suffix(AFTER.as_bytes()));
    if stated == Some(format!("{found:08x}").as_bytes()) {
        return Ok(());
    }
    let stated = stated
        .and_then(|s| std::str::from_utf8(s).ok())
        .filter(|s| s.bytes().all(|b| b.is_ascii_hexdigit()))
        .unwrap_or("nothing readable");
    Err(Changed { stated: stated.to_owned(), found })
}
