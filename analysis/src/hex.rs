//! Bytes as text.

use std::fmt::Write as _;

/// Two lower-case hexadecimal digits a byte.
pub(crate) fn in_hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
