//! Chances in words.

/// `p = 0.012`, `p < 0.001`, `p = 0.31`.
pub fn p(p: f64) -> String {
    if p < 0.001 {
        "p < 0.001".into()
    } else if p < 0.1 {
        format!("p = {p:.3}")
    } else {
        format!("p = {p:.2}")
    }
}

#[cfg(test)]
mod tests {
    use super::p;

    #[test]
    fn small_ones_have_more_digits() {
        assert_eq!(p(0.000_2), "p < 0.001");
        assert_eq!(p(0.012_34), "p = 0.012");
        assert_eq!(p(0.314), "p = 0.31");
        assert_eq!(p(1.0), "p = 1.00");
    }
}
