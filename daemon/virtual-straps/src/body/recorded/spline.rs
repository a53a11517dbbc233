//! Uniform quintic interpolating splines: a curve through samples whose first four derivatives are continuous.
//!
//! Basis and prefilter: Unser M, Aldroubi A, Eden M (1993), B-spline signal processing, IEEE Trans Signal
//! Process 41:821–848. Beyond its ends the curve keeps the value of its first and last sample.

/// Poles of the prefilter of degree five (Unser 1993, table I), and how many samples the slower one remembers.
const POLES: [f64; 2] = [-0.430_575_347_099_973_8, -0.043_096_288_203_264_65];
const MEMORY: usize = 48;

/// A curve of `N` components.
#[derive(Debug, Clone)]
pub(crate) struct Spline<const N: usize> {
    hz: f64,
    /// Of the samples with [`MEMORY`] copies of the first in front and of the last behind.
    coefficients: Vec<[f64; N]>,
}

/// Value, first and second derivative of a spline.
pub(crate) type Jets<const N: usize> = [[f64; N]; 3];

impl<const N: usize> Spline<N> {
    /// Through `samples` at 0, 1/`hz`, 2/`hz` … seconds.
    pub(crate) fn through(samples: &[[f64; N]], hz: f64) -> Self {
        let (first, last) =
            (samples.first().copied().unwrap_or([0.0; N]), samples.last().copied().unwrap_or([0.0; N]));
        let mut c = vec![first; MEMORY];
        c.extend_from_slice(samples);
        c.extend([last; MEMORY]);
        for i in 0..N {
            for z in POLES {
                let gain = (1.0 - z) * (1.0 - 1.0 / z);
                let mut before = gain * c[0][i] / (1.0 - z);
                for v in &mut c {
                    before = gain * v[i] + z * before;
                    v[i] = before;
                }
                let mut after = -z * before / (1.0 - z);
                for v in c.iter_mut().rev() {
                    after = z * (after - v[i]);
                    v[i] = after;
                }
            }
        }
        Self { hz, coefficients: c }
    }

    /// At time `t`, seconds.
    pub(crate) fn at(&self, t: f64) -> Jets<N> {
        let place = t * self.hz + MEMORY as f64;
        let i = place.floor();
        let mut jets = [[0.0; N]; 3];
        for j in -2_i32..=3 {
            let k = (i + f64::from(j)).clamp(0.0, (self.coefficients.len() - 1) as f64) as usize;
            let weights = basis(place - i - f64::from(j));
            for (order, jet) in jets.iter_mut().enumerate() {
                let weight = weights[order] * self.hz.powi(order as i32);
                for (sum, c) in jet.iter_mut().zip(&self.coefficients[k]) {
                    *sum += weight * c;
                }
            }
        }
        jets
    }
}

/// The quintic B-spline about 0 with its first two derivatives.
fn basis(x: f64) -> [f64; 3] {
    let (a, sign) = (x.abs(), x.signum());
    let [value, slope, bend] = if a < 1.0 {
        let a2 = a * a;
        [
            0.55 + a2 * (-0.5 + a2 * (0.25 - a / 12.0)),
            a * (-1.0 + a2 * (1.0 - 5.0 * a / 12.0)),
            -1.0 + a2 * (3.0 - 5.0 * a / 3.0),
        ]
    } else if a < 2.0 {
        [
            0.425 + a * (0.625 + a * (-1.75 + a * (1.25 + a * (-0.375 + a / 24.0)))),
            0.625 + a * (-3.5 + a * (3.75 + a * (-1.5 + 5.0 * a / 24.0))),
            -3.5 + a * (7.5 + a * (-4.5 + 5.0 * a / 6.0)),
        ]
    } else if a < 3.0 {
        let b = 3.0 - a;
        [b.powi(5) / 120.0, -b.powi(4) / 24.0, b.powi(3) / 6.0]
    } else {
        [0.0; 3]
    };
    [value, sign * slope, bend]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wave(t: f64) -> [f64; 3] {
        let w = 14.0;
        [(w * t).sin(), w * (w * t).cos(), -w * w * (w * t).sin()]
    }

    #[test]
    fn a_spline_goes_through_its_samples_and_has_the_curves_derivatives() {
        let samples: Vec<[f64; 1]> = (0..240).map(|i| [wave(f64::from(i) / 120.0)[0]]).collect();
        let spline = Spline::through(&samples, 120.0);
        for (i, sample) in samples.iter().enumerate() {
            assert!((spline.at(i as f64 / 120.0)[0][0] - sample[0]).abs() < 1e-10);
        }
        for i in 0..500 {
            let t = 0.5 + f64::from(i) * 0.002;
            for (order, (got, want)) in spline.at(t).iter().zip(wave(t)).enumerate() {
                let allowed = [1e-6, 1e-4, 0.05][order];
                assert!((got[0] - want).abs() < allowed, "order {order} at {t}: {} {want}", got[0]);
            }
        }
    }

    #[test]
    fn derivatives_are_those_of_the_value_and_rest_stays_rest() {
        let samples: Vec<[f64; 1]> =
            (0..60).map(|i| [if i < 20 { 1.0 } else { 1.0 + f64::from(i * i % 7) }]).collect();
        let spline = Spline::through(&samples, 100.0);
        let h = 1e-5;
        for i in 0..600 {
            let t = f64::from(i) * 0.001 + 0.000_31;
            for order in 0..2 {
                let slope = (spline.at(t + h)[order][0] - spline.at(t - h)[order][0]) / (2.0 * h);
                let got = spline.at(t)[order + 1][0];
                assert!((slope - got).abs() < 1e-4 * (100.0 + got.abs()), "{t}: {slope} {got}");
            }
        }
        for t in [-3.0, -0.5, 0.0] {
            let [value, rate, accel] = spline.at(t);
            assert!((value[0] - 1.0).abs() < 1e-6 && rate[0].abs() < 1e-3 && accel[0].abs() < 0.1, "{t}");
        }
    }
}
