//! A number with how well it is known.

/// Half width of a 95 % band of a normal variable, in standard uncertainties: 1.96.
pub const Z95: f64 = 1.959_963_984_540_054;

/// Acceleration of gravity that sensors' units of g stand for, m/s².
pub const STANDARD_GRAVITY_M_S2: f64 = 9.80665;

/// A measured number with its standard uncertainty, both in the number's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// Its standard uncertainty; `None` where it is not known.
    pub sd: Option<f64>,
}

impl Estimate {
    /// A number whose standard uncertainty is known, or is not.
    pub fn new(value: f64, sd: impl Into<Option<f64>>) -> Self {
        Self { value, sd: sd.into() }
    }

    /// The same in another unit.
    pub fn scaled(self, by: f64) -> Self {
        Self { value: self.value * by, sd: self.sd.map(|sd| sd * by.abs()) }
    }

    /// Half width of its 95 % band.
    pub fn half_width(self) -> Option<f64> {
        self.sd.map(|sd| Z95 * sd)
    }
}

/// Rounds to so many decimal places, never to a negative zero: digits beyond what was measured
/// are noise and cost readability.
pub fn round(x: f64, digits: i32) -> f64 {
    let f = 10_f64.powi(digits);
    let r = (x * f).round() / f;
    if r == 0.0 { 0.0 } else { r }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unknown_uncertainty_stays_unknown() {
        assert_eq!(Estimate::new(2.0, None).scaled(1e3).half_width(), None);
        assert_eq!(Estimate::new(2.0, 0.5).scaled(-10.0), Estimate::new(-20.0, 5.0));
    }

    #[test]
    fn no_negative_zero() {
        assert!(round(-0.0004, 3).is_sign_positive());
        assert_eq!(round(-1.2345, 2), -1.23);
    }
}
