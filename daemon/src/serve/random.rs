//! Random numbers from the operating system, for ids and secrets.

/// `bytes` random bytes in hexadecimal.
///
/// # Panics
/// If the operating system gives no random bytes; nothing safe can be done then.
pub(super) fn hex(bytes: usize) -> String {
    let mut raw = vec![0_u8; bytes];
    getrandom::fill(&mut raw).expect("the operating system gives random bytes");
    in_hex(&raw)
}

/// Bytes in lower-case hexadecimal.
pub(super) fn in_hex(bytes: &[u8]) -> String {
    let digit = |nibble: u8| char::from(b"0123456789abcdef"[usize::from(nibble)]);
    bytes.iter().flat_map(|b| [digit(b >> 4), digit(b & 15)]).collect()
}
