//! The least of a function of one variable.

/// Golden section steps that shrink a bracket to a 10⁵-th.
pub const STEPS: usize = 24;

/// Where `cost` is least between `low` and `high`, by golden section (Kiefer 1953, Proc Am Math
/// Soc 4:502–506): each of the `steps` shrinks the bracket by 0.618. It must fall and then rise.
pub fn golden(cost: impl Fn(f64) -> f64, mut low: f64, mut high: f64, steps: usize) -> f64 {
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    let (mut c, mut d) = (high - golden * (high - low), low + golden * (high - low));
    let (mut at_c, mut at_d) = (cost(c), cost(d));
    for _ in 0..steps {
        if at_c < at_d {
            (high, d, at_d) = (d, c, at_c);
            c = high - golden * (high - low);
            at_c = cost(c);
        } else {
            (low, c, at_c) = (c, d, at_d);
            d = low + golden * (high - low);
            at_d = cost(d);
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabolas_foot_is_found() {
        let at = golden(|x| (x - 0.37).powi(2), -1.0, 2.0, STEPS);
        assert!((at - 0.37).abs() < 3e-5, "{at}");
    }
}
