//! Recorded movements as files: a folder with `optical/NAME.csv.gz` (see [`Trial::read`]) and the skeleton that the
//! markers were solved onto.

use crate::{Trial, TrialError};
use flate2::read::{DeflateDecoder, GzDecoder};
use nalgebra::Vector3;
use std::fs::File;
use std::io::{Error, ErrorKind, Read as _};
use std::path::Path;

/// Reads one trial of `folder`.
///
/// # Errors
/// When the file is missing, or as [`Trial::read`].
pub fn trial(folder: &Path, name: &str, golf: bool) -> Result<Trial, TrialError> {
    let packed = File::open(folder.join("optical").join(format!("{name}.csv.gz")))?;
    Trial::read(name, golf, GzDecoder::new(packed))
}

/// Middle of the hip joints from the root, in the pelvis's axes (X anterior, Y cranial), m: third row of the zero
/// pose `zero` (left, up, ahead) in the archive of arrays `archive`. Left and right are taken as even.
///
/// # Errors
/// When the archive cannot be read or has no such array.
pub fn hips_from_root(archive: &Path, zero: &str) -> Result<Vector3<f64>, TrialError> {
    let missing = || Error::new(ErrorKind::InvalidData, format!("no zero pose {zero} in the archive"));
    let packed = std::fs::read(archive)?;
    // A zip archive: local headers of 30 bytes, name and extra field, then the deflated array.
    let header = packed
        .windows(30 + zero.len())
        .position(|w| w.starts_with(b"PK\x03\x04") && w.ends_with(zero.as_bytes()))
        .ok_or_else(missing)?;
    let length = |at: usize| usize::from(u16::from_le_bytes([packed[header + at], packed[header + at + 1]]));
    let mut array = Vec::new();
    let start = header + 30 + length(26) + length(28);
    DeflateDecoder::new(packed.get(start..).ok_or_else(missing)?).read_to_end(&mut array)?;
    // Three rows of three 32-bit floats behind the head.
    let (head, values) = array.split_at_checked(array.len().saturating_sub(36)).ok_or_else(missing)?;
    let floats = head.starts_with(b"\x93NUMPY") && head.windows(3).any(|w| w == b"<f4");
    let (numbers, _) = values.as_chunks::<4>();
    if !floats || numbers.len() != 9 {
        return Err(missing().into());
    }
    let value = |i: usize| f64::from(f32::from_le_bytes(numbers[i]));
    Ok(Vector3::new(value(8), value(7), 0.0))
}
