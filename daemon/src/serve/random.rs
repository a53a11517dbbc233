//! Numbers nobody can guess, from the operating system.

/// `bytes` random bytes in hexadecimal.
///
/// # Panics
/// When the operating system has no randomness to give: nothing safe can be done then.
pub(super) fn hex(bytes: usize) -> String {
    let mut raw = vec![0_u8; bytes];
    getrandom::fill(&mut raw).expect("the operating system gives random bytes");
    raw.iter().map(|b| format!("{b:02x}")).collect()
}
