//! Constants and rounding of measured numbers, said once.

/// Half width of a 95 % band of a normal variable, in standard uncertainties: 1.96.
pub const Z95: f64 = 1.959_963_984_540_054;

/// Standard gravity, which sensors' units of g stand for, m/s² (CODATA, exact by definition).
pub const STANDARD_GRAVITY_M_S2: f64 = 9.80665;

/// Rounds to so many decimal places, never to a negative zero: digits beyond what was measured
/// are noise and cost readability.
pub fn round(x: f64, digits: i32) -> f64 {
    let f = 10_f64.powi(digits);
    let r = (x * f).round() / f;
    if r == 0.0 { 0.0 } else { r }
}

/// A standard uncertainty as a file states it: rounded, absent where it is none.
pub fn stated(sd: f64, digits: i32) -> Option<f64> {
    sd.is_finite().then(|| round(sd, digits))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_negative_zero() {
        assert!(round(-0.0004, 3).is_sign_positive());
        assert_eq!(round(-1.2345, 2), -1.23);
    }
}
