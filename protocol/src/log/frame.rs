//! Byte layout of `samples.log`: file header and frames. The tables, and what a reader does with
//! damage, are in `docs/formats/log.md`.
//!
//! Version 1 differs in the payload alone: strap events are a kind with text.

/// First bytes of a log.
pub const FILE_MAGIC: [u8; 8] = *b"PEAKOLOG";
/// Format version this program writes; it reads every version up to it.
pub const VERSION: u16 = 2;
/// Length of the file header.
pub const FILE_HEADER_LEN: usize = 16;
/// First bytes of a frame. Neither ASCII nor a small number, so that it is rare in data.
pub const FRAME_MAGIC: [u8; 4] = [0xf7, 0x50, 0x4b, 0xd9];
/// Version of the payload this program writes.
pub const PAYLOAD_VERSION: u8 = 2;
/// Length of a frame header.
pub const FRAME_HEADER_LEN: usize = 24;
/// Longest payload; a larger length field is damage and is never allocated.
pub const PAYLOAD_LIMIT: usize = 1 << 20;

const CRC_AT: usize = 20;

/// The file header.
pub(super) fn file_header() -> [u8; FILE_HEADER_LEN] {
    let mut h = [0; FILE_HEADER_LEN];
    h[..8].copy_from_slice(&FILE_MAGIC);
    h[8..10].copy_from_slice(&VERSION.to_le_bytes());
    let crc = crc32c::crc32c(&h[..12]);
    h[12..].copy_from_slice(&crc.to_le_bytes());
    h
}

/// What the first bytes of a file are.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum FileHeader {
    /// A header of this version.
    Whole { version: u16 },
    /// One that was damaged later: its magic or its checksum still shows what it was.
    Damaged,
    /// Something else.
    Foreign,
}

/// Judges the first bytes of a file.
pub(super) fn judge_file_header(h: &[u8; FILE_HEADER_LEN]) -> FileHeader {
    let magic_right = h[..8] == FILE_MAGIC;
    // The checksum is taken with the right magic, so that a damaged magic can be told
    // from a foreign file.
    let crc_right = crc32c::crc32c_append(crc32c::crc32c(&FILE_MAGIC), &h[8..12]).to_le_bytes() == h[12..];
    match (magic_right, crc_right) {
        (true, true) => FileHeader::Whole { version: u16::from_le_bytes([h[8], h[9]]) },
        (false, false) => FileHeader::Foreign,
        _ => FileHeader::Damaged,
    }
}

/// Fills in the header of `frame`, whose payload begins at [`FRAME_HEADER_LEN`].
pub(super) fn seal(frame: &mut [u8], sequence: u64) {
    let length = (frame.len() - FRAME_HEADER_LEN) as u32;
    frame[..4].copy_from_slice(&FRAME_MAGIC);
    frame[4..8].copy_from_slice(&[PAYLOAD_VERSION, 0, 0, 0]);
    frame[8..12].copy_from_slice(&length.to_le_bytes());
    frame[12..CRC_AT].copy_from_slice(&sequence.to_le_bytes());
    let crc = frame_crc(frame);
    frame[CRC_AT..FRAME_HEADER_LEN].copy_from_slice(&crc.to_le_bytes());
}

/// Fields of a frame header that begins with the magic.
#[derive(Debug, Clone, Copy)]
pub(super) struct FrameHeader {
    pub(super) version: u8,
    /// Length of header and payload.
    pub(super) total: usize,
    pub(super) sequence: u64,
    crc: u32,
}

/// Reads a frame header; `None` without the magic or with a length over the limit.
pub(super) fn parse(h: &[u8; FRAME_HEADER_LEN]) -> Option<FrameHeader> {
    let [m0, m1, m2, m3, version, _, _, _, l0, l1, l2, l3, s0, s1, s2, s3, s4, s5, s6, s7, c0, c1, c2, c3] =
        *h;
    let length = u32::from_le_bytes([l0, l1, l2, l3]) as usize;
    ([m0, m1, m2, m3] == FRAME_MAGIC && length <= PAYLOAD_LIMIT).then_some(FrameHeader {
        version,
        total: FRAME_HEADER_LEN + length,
        sequence: u64::from_le_bytes([s0, s1, s2, s3, s4, s5, s6, s7]),
        crc: u32::from_le_bytes([c0, c1, c2, c3]),
    })
}

impl FrameHeader {
    /// Does the checksum match the frame's bytes?
    pub(super) fn matches(&self, frame: &[u8]) -> bool {
        frame_crc(frame) == self.crc
    }
}

fn frame_crc(frame: &[u8]) -> u32 {
    crc32c::crc32c_append(crc32c::crc32c(&frame[..CRC_AT]), &frame[FRAME_HEADER_LEN..])
}

#[cfg(test)]
mod tests {
    #[test]
    fn crc_32c_gives_the_values_of_rfc_3720_appendix_b_4() {
        // The RFC prints the bytes in the order they are sent, least significant first.
        let ascending: Vec<u8> = (0..32).collect();
        let descending: Vec<u8> = (0..32).rev().collect();
        for (data, bytes) in [
            (vec![0u8; 32], [0xaa, 0x36, 0x91, 0x8a]),
            (vec![0xff; 32], [0x43, 0xab, 0xa8, 0x62]),
            (ascending, [0x4e, 0x79, 0xdd, 0x46]),
            (descending, [0x5c, 0xdb, 0x3f, 0x11]),
        ] {
            assert_eq!(crc32c::crc32c(&data).to_le_bytes(), bytes);
        }
    }
}
