//! Normal noise for tests, the same on every run.

/// Standard normal numbers from `seed`: sums of twelve uniforms, normal enough for a test.
pub(crate) fn normal(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        (0..12)
            .map(|_| {
                state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                (state >> 33) as f64 / f64::from(1_u32 << 31)
            })
            .sum::<f64>()
            - 6.0
    }
}
