//! Extremes and changes of sign of a function of time.

/// Searches stop at this width, seconds.
pub(super) const TOLERANCE_S: f64 = 1e-7;
/// Step of the scans that bracket an extreme or a change of sign, seconds.
pub(super) const SCAN_S: f64 = 0.002;

/// Instant of the largest `f` in `from..=to`.
pub(crate) fn largest(f: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let n = (((to - from) / SCAN_S).ceil() as usize).max(2);
    let at = |i: usize| from + (to - from) * i as f64 / n as f64;
    let mut best = 0;
    let mut size = f64::NEG_INFINITY;
    for i in 0..=n {
        let value = f(at(i));
        if value > size {
            (best, size) = (i, value);
        }
    }
    let (mut low, mut high) = (at(best.saturating_sub(1)), at((best + 1).min(n)));
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    while high - low > TOLERANCE_S {
        let (c, d) = (high - golden * (high - low), low + golden * (high - low));
        if f(c) > f(d) {
            high = d;
        } else {
            low = c;
        }
    }
    0.5 * (low + high)
}

/// Last change of sign of `f` from minus to plus in `from..to`, or the end nearest to one.
pub(super) fn upward_zero(f: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let mut high = to;
    while high > from && f(high - SCAN_S) > 0.0 {
        high -= SCAN_S;
    }
    let mut low = high - SCAN_S;
    while high - low > TOLERANCE_S {
        let mid = 0.5 * (low + high);
        if f(mid) > 0.0 {
            high = mid;
        } else {
            low = mid;
        }
    }
    0.5 * (low + high)
}
