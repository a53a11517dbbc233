//! The recording log's checksum, written here once more so that tests do not take the
//! product's word for it.

/// CRC-32C (Castagnoli, reflected polynomial 0x82f63b78; RFC 3720 appendix B.4), bit by bit.
pub(crate) fn crc32c(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0x82f6_3b78 & (crc & 1).wrapping_neg()))
    })
}
