//! How a player's swings hang together: what varies from swing to swing may follow the swing before and
//! drift over the session.

use crate::rng::Draw;
use std::collections::BTreeMap;
use std::f64::consts::FRAC_1_SQRT_2;

/// Which of a swing's many draws. Draws of one part are counted from 0; parts keep what one swing has
/// more of than another (humps of a top, say) from moving everything after it.
type Slot = (u16, u16);

/// One standard normal series for each of a swing's parameters: first-order autoregressive, with a trend.
///
/// x₁ = z₁, xₙ = R xₙ₋₁ + √(1 − R²) zₙ, so every swing's x has SD 1 about its trend D · position.
#[derive(Debug)]
pub(crate) struct Series {
    correlation: f64,
    drift: f64,
    /// Of the swing that is drawn, from 0 (first of the session) to 1 (last).
    position: f64,
    last: BTreeMap<Slot, f64>,
}

impl Series {
    /// `correlation` between a swing and the next, 0 to below 1; `drift` from the first swing to the last in
    /// SDs. `None` if there is neither: swings are then drawn each by itself.
    pub(crate) fn new(correlation: f64, drift: f64) -> Option<Self> {
        (correlation != 0.0 || drift != 0.0).then(|| Self {
            correlation,
            drift,
            position: 0.0,
            last: BTreeMap::new(),
        })
    }

    /// Goes on to swing `i` (from 0) of `n`.
    pub(crate) fn swing(&mut self, i: u32, n: u32) {
        self.position = f64::from(i) / f64::from(n.max(2) - 1);
    }

    fn trend(&self) -> f64 {
        self.drift * self.position
    }

    /// The series' next value without its trend, of a fresh standard normal number.
    fn next(&mut self, slot: Slot, fresh: f64) -> f64 {
        let r = self.correlation;
        let x = match self.last.get(&slot) {
            Some(last) => r * last + (1.0 - r * r).max(0.0).sqrt() * fresh,
            None => fresh,
        };
        self.last.insert(slot, x);
        x
    }
}

/// Draws one swing's parameters: each by itself, or as the next of its [`Series`].
#[derive(Debug)]
pub(crate) struct Vary<'a> {
    draw: &'a mut Draw,
    series: Option<&'a mut Series>,
    slot: Slot,
}

impl<'a> Vary<'a> {
    pub(crate) const fn new(draw: &'a mut Draw, series: Option<&'a mut Series>) -> Self {
        Self { draw, series, slot: (0, 0) }
    }

    /// What comes now is part `part` of a swing.
    pub(crate) const fn part(&mut self, part: u16) {
        self.slot = (part, 0);
    }

    /// Begins the part after this one.
    pub(crate) const fn next_part(&mut self) {
        self.slot = (self.slot.0 + 1, 0);
    }

    /// The next value of the series without its trend, and the trend.
    fn next(draw: &mut Draw, slot: &mut Slot, series: &mut Series) -> (f64, f64) {
        let x = series.next(*slot, draw.standard());
        slot.1 += 1;
        (x, series.trend())
    }

    /// Normal, cut at ± 2.5 SD; a trend comes on top of what was cut.
    pub(crate) fn bounded(&mut self, mean: f64, sd: f64) -> f64 {
        let Some(series) = self.series.as_deref_mut() else { return self.draw.bounded(mean, sd) };
        let (x, trend) = Self::next(self.draw, &mut self.slot, series);
        mean + sd * (x.clamp(-2.5, 2.5) + trend)
    }

    /// Uniform. In a series it is the normal distribution function of the series' value, so that it stays
    /// uniform where there is no trend and never leaves its range.
    pub(crate) fn uniform(&mut self, low: f64, high: f64) -> f64 {
        let Some(series) = self.series.as_deref_mut() else { return self.draw.uniform(low, high) };
        let (x, trend) = Self::next(self.draw, &mut self.slot, series);
        low + (high - low) * 0.5 * libm::erfc(-(x + trend) * FRAC_1_SQRT_2)
    }

    /// Each swing by itself, always.
    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.draw.chance(probability)
    }

    /// Each swing by itself, always.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        self.draw.below(n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Purpose;

    const SWINGS: u32 = 20_000;

    fn mean(x: &[f64]) -> f64 {
        x.iter().sum::<f64>() / x.len() as f64
    }

    fn sd(x: &[f64]) -> f64 {
        let m = mean(x);
        (x.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (x.len() - 1) as f64).sqrt()
    }

    fn lag_1(x: &[f64]) -> f64 {
        let m = mean(x);
        let products: f64 = x.windows(2).map(|w| (w[0] - m) * (w[1] - m)).sum();
        products / x.iter().map(|v| (v - m).powi(2)).sum::<f64>()
    }

    /// Normal and uniform, each of SD 1 where there is no trend.
    fn drawn(correlation: f64, drift: f64) -> [Vec<f64>; 2] {
        let mut series = Series::new(correlation, drift);
        let mut out = [Vec::new(), Vec::new()];
        for i in 0..SWINGS {
            if let Some(series) = &mut series {
                series.swing(i, SWINGS);
            }
            let mut draw = Draw::new(5, Purpose::Swing, u64::from(i));
            let mut vary = Vary::new(&mut draw, series.as_mut());
            out[0].push(vary.bounded(0.0, 1.0));
            vary.part(7);
            out[1].push(vary.uniform(-(3f64.sqrt()), 3f64.sqrt()));
        }
        out
    }

    /// The first-lag estimate of an AR(1) series has a standard error of √((1 − R²)/n) (Bartlett 1946, from
    /// memory). Cut at 2.5 SD, or made uniform, the series is less alike by up to 0.02: 6/π asin(R/2) of a
    /// normal pair made uniform (Pearson 1907, from memory) is 0.385 at R = 0.4.
    #[test]
    fn a_parameter_is_as_alike_to_the_swing_before_as_asked_and_spreads_as_before() {
        for r in [0.0_f64, 0.2, 0.4, 0.6, 0.9] {
            let [normal, uniform] = drawn(r, 0.0);
            let error = 4.0 * ((1.0 - r * r) / f64::from(SWINGS)).sqrt();
            let of_uniform = 6.0 / std::f64::consts::PI * (r / 2.0).asin();
            assert!((lag_1(&normal) - r).abs() < error + 0.006, "{r}: {}", lag_1(&normal));
            assert!((lag_1(&uniform) - of_uniform).abs() < error, "{r}: {}", lag_1(&uniform));
            // A mean of n correlated values: SD of the SD grows with √((1 + R²)/(1 − R²)).
            let wide = 4.0 * ((1.0 + r * r) / (1.0 - r * r) / f64::from(2 * SWINGS)).sqrt();
            // A normal cut at 2.5 SD has an SD of 0.989 (own integration).
            assert!((sd(&normal) - 0.989).abs() < wide, "{r}: {}", sd(&normal));
            assert!((sd(&uniform) - 1.0).abs() < wide, "{r}: {}", sd(&uniform));
            assert!(uniform.iter().all(|u| u.abs() <= 3f64.sqrt()));
        }
    }

    #[test]
    fn drift_is_even_and_as_far_as_asked_and_keeps_the_spread_about_it() {
        for (r, drift) in [(0.0, 1.0), (0.4, 1.0), (0.4, -0.5), (0.0, 0.5)] {
            let [normal, _] = drawn(r, drift);
            let [still, _] = drawn(r, 0.0);
            let n = f64::from(SWINGS);
            // Least squares against position from 0 to 1; standard error √(12/n · (1 + R)/(1 − R)).
            let (mut top, mut below) = (0.0, 0.0);
            for (i, y) in normal.iter().enumerate() {
                let x = i as f64 / (n - 1.0) - 0.5;
                top += x * y;
                below += x * x;
            }
            let error = 4.0 * (12.0 / n * (1.0 + r) / (1.0 - r)).sqrt();
            assert!((top / below - drift).abs() < error, "{drift}: {}", top / below);
            let flat: Vec<f64> =
                normal.iter().enumerate().map(|(i, y)| y - drift * i as f64 / (n - 1.0)).collect();
            let start = normal[0] - flat[0];
            assert!(start.abs() < 1e-12, "the first swing is where the habit is");
            if r > 0.0 {
                assert!(flat.iter().zip(&still).all(|(a, b)| (a - b).abs() < 1e-9));
            }
            assert!((sd(&flat) - 0.989).abs() < 0.03);
        }
    }

    /// What one swing has more of must not move what another swing's same parameter is tied to.
    #[test]
    fn a_parameter_is_tied_to_itself_whatever_came_before_it() {
        let mut series = Series::new(1.0, 0.0);
        let mut held = Vec::new();
        for i in 0..4_u32 {
            let mut draw = Draw::new(5, Purpose::Swing, u64::from(i));
            let mut vary = Vary::new(&mut draw, series.as_mut());
            for _ in 0..i {
                vary.uniform(0.0, 1.0);
            }
            vary.part(3);
            held.push(vary.bounded(0.0, 1.0));
        }
        assert!(held.iter().all(|v| (v - held[0]).abs() < 1e-12), "{held:?}");
    }

    #[test]
    fn without_either_the_draws_are_those_of_the_generator() {
        assert!(Series::new(0.0, 0.0).is_none());
        let [mut a, mut b] = [0, 0].map(|_| Draw::new(9, Purpose::Swing, 1));
        let mut vary = Vary::new(&mut a, None);
        assert_eq!(vary.bounded(3.0, 2.0).to_bits(), b.bounded(3.0, 2.0).to_bits());
        assert_eq!(vary.uniform(3.0, 5.0).to_bits(), b.uniform(3.0, 5.0).to_bits());
    }
}
