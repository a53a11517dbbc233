//! Numbers of swings and remarks in JSON. To JSON, `3` and `3.0` are the same number.

use serde::Deserialize;
use serde::de::{Deserializer, Error, Visitor};
use std::fmt;

struct WholeNumber(u32);

impl<'de> Deserialize<'de> for WholeNumber {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Read;
        impl Visitor<'_> for Read {
            type Value = WholeNumber;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "a whole number from 0 to {}", u32::MAX)
            }

            fn visit_u64<E: Error>(self, v: u64) -> Result<WholeNumber, E> {
                u32::try_from(v)
                    .map(WholeNumber)
                    .map_err(|_| E::invalid_value(serde::de::Unexpected::Unsigned(v), &self))
            }

            fn visit_f64<E: Error>(self, v: f64) -> Result<WholeNumber, E> {
                if v.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&v) {
                    return Ok(WholeNumber(v as u32));
                }
                Err(E::invalid_value(serde::de::Unexpected::Float(v), &self))
            }
        }
        // Whatever comes: the parts of a tagged enum know only what they were read as.
        from.deserialize_any(Read)
    }
}

/// For `deserialize_with`.
pub(crate) fn required<'de, D: Deserializer<'de>>(from: D) -> Result<u32, D::Error> {
    WholeNumber::deserialize(from).map(|n| n.0)
}

/// For `deserialize_with`, where it may be absent or null.
pub(crate) fn optional<'de, D: Deserializer<'de>>(from: D) -> Result<Option<u32>, D::Error> {
    Option::<WholeNumber>::deserialize(from).map(|n| n.map(|n| n.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::remark::What;

    #[test]
    fn three_is_three_however_it_is_written() {
        let read = |text: &str| serde_json::from_str::<WholeNumber>(text).ok().map(|n| n.0);
        assert_eq!(read("3"), Some(3));
        assert_eq!(read("3.0"), Some(3));
        assert_eq!(read("4294967295.0"), Some(u32::MAX));
        for wrong in ["3.5", "-1", "-1.0", "4294967296", "4294967296.0", "\"3\"", "null"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
        let undo = serde_json::from_str::<What>(r#"{"what":"undo","id":3.0}"#);
        assert_eq!(undo.unwrap(), What::Undo { id: 3 });
    }
}
