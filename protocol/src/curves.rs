//! `swings/NNNN.curves`: the speed and angle curves of one swing, for plots.
//!
//! The byte tables are in `docs/formats/curves.md`.

use crate::log::wire;
use crate::role::Role;
use serde::{Deserialize, Serialize};

/// First bytes of a curves file.
pub const MAGIC: [u8; 8] = *b"POCURVES";
/// Version this program writes.
pub const VERSION: u16 = 1;
const HEADER_LEN: usize = 18;

/// Curves of one swing on a uniform time grid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Curves {
    /// Session time of index 0, seconds.
    pub start_s: f64,
    /// Grid step, seconds.
    pub step_s: f64,
    /// One entry per strap.
    pub segments: Vec<SegmentCurves>,
}

/// Curves of one segment; all vectors have the same length, angle vectors may be empty
/// when the strap was not calibrated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SegmentCurves {
    /// Segment.
    pub role: Role,
    /// The speed that the peak is of, degrees per second.
    pub speed_dps: Vec<f32>,
    /// Turn relative to address, degrees, positive towards the target.
    pub turn_deg: Vec<f32>,
    /// Orientation of the segment in the global frame (Y up), `[w, x, y, z]`, heading zero at address.
    pub orientation_wxyz: Vec<[f32; 4]>,
}

/// Why a curves file could not be read. `peakorderd replay` makes the files anew.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CurvesError {
    /// The file is something else.
    #[error("not a curves file: it does not begin with \"POCURVES\"")]
    NotCurves,
    /// Another version, most likely a newer one.
    #[error("curves file of version {found}, this program reads version {VERSION}; update peakorder")]
    Version {
        /// Version in the file.
        found: u16,
    },
    /// Too short or too long.
    #[error(
        "damaged curves file: {found} bytes, its header says {expected}; replay the session to make it anew"
    )]
    Length {
        /// Length that the header promises.
        expected: u64,
        /// Length of the file.
        found: u64,
    },
    /// Checksum does not match.
    #[error(
        "damaged curves file: checksum {found:08x}, its header says {expected:08x}; replay the session to make it anew"
    )]
    BadCrc {
        /// Checksum in the header.
        expected: u32,
        /// Checksum of the body.
        found: u32,
    },
    /// The checksum matches but the content does not.
    #[error("curves file with unknown content: {0}; replay the session to make it anew")]
    Undecodable(#[from] CurvesContent),
}

/// What is wrong with the content of a curves file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CurvesContent {
    /// The library's own words.
    #[error("{0}")]
    Encoding(String),
    /// Something follows the curves.
    #[error("the curves end at byte {used} of {of}")]
    Length {
        /// Bytes read.
        used: usize,
        /// Bytes there are.
        of: usize,
    },
    /// A segment that this program does not know.
    #[error("segment number {0} is not known")]
    Segment(u8),
    /// The curves of a segment differ in length.
    #[error("the {0} curves differ in length")]
    Uneven(Role),
}

impl Curves {
    /// The file's bytes.
    pub fn to_bytes(&self) -> Vec<u8> {
        let body = wire::encode_curves(self);
        let mut out = Vec::with_capacity(HEADER_LEN + body.len());
        out.extend_from_slice(&MAGIC);
        out.extend_from_slice(&VERSION.to_le_bytes());
        out.extend_from_slice(&(body.len() as u32).to_le_bytes());
        out.extend_from_slice(&crc32c::crc32c(&body).to_le_bytes());
        out.extend_from_slice(&body);
        out
    }

    /// Reads a file's bytes. Length and checksum are checked before anything is decoded.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, CurvesError> {
        if !bytes.starts_with(&MAGIC) {
            return Err(CurvesError::NotCurves);
        }
        let length_error =
            |expected: usize| CurvesError::Length { expected: expected as u64, found: bytes.len() as u64 };
        let Some((&[_, _, _, _, _, _, _, _, v0, v1, l0, l1, l2, l3, c0, c1, c2, c3], body)) =
            bytes.split_first_chunk::<HEADER_LEN>()
        else {
            return Err(length_error(HEADER_LEN));
        };
        let version = u16::from_le_bytes([v0, v1]);
        if version != VERSION {
            return Err(CurvesError::Version { found: version });
        }
        let length = u32::from_le_bytes([l0, l1, l2, l3]) as usize;
        if body.len() != length || length > wire::CURVES_LIMIT {
            return Err(length_error(HEADER_LEN + length));
        }
        let expected = u32::from_le_bytes([c0, c1, c2, c3]);
        let found = crc32c::crc32c(body);
        if expected != found {
            return Err(CurvesError::BadCrc { expected, found });
        }
        let curves = wire::decode_curves(body)?;
        for s in &curves.segments {
            let n = s.speed_dps.len();
            if [s.turn_deg.len(), s.orientation_wxyz.len()].iter().any(|&m| m != 0 && m != n) {
                return Err(CurvesContent::Uneven(s.role).into());
            }
        }
        Ok(curves)
    }
}
