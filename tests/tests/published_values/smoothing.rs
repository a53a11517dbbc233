//! What smoothing and sampling do to the time of a peak.

use chacha20::ChaCha8Rng;
use peakorder_motion::sequence::fit::LocalFit;
use peakorder_motion::sequence::peak::{self, Series};
use peakorder_tests::synthetic::{Curve, Ease, normal};
use rand::{RngExt as _, SeedableRng as _};
use serde::Deserialize;
use std::f64::consts::{FRAC_1_SQRT_2, TAU};

#[derive(Deserialize)]
struct Vectors {
    butterworth: Butterworth,
}

#[derive(Deserialize)]
struct Butterworth {
    filters: Vec<Filter>,
    double_pass_minus_3_db: f64,
}

#[derive(Deserialize)]
struct Filter {
    cut_hz: f64,
    b: [f64; 3],
    a: [f64; 3],
}

/// Second-order Butterworth coefficients as printed by scipy 1.17.1, and the −3 dB point of a
/// double pass at (√2 − 1)^¼ = 0.802243 of the design frequency (Robertson & Dowling 2003,
/// from memory). The product uses no Butterworth filter; this keeps the script honest.
#[test]
fn the_vector_script_knows_its_butterworth() {
    let vectors: Vectors = serde_json::from_str(include_str!("../../vectors/orientation.json")).unwrap();
    let b = vectors.butterworth;
    assert!((b.double_pass_minus_3_db - 0.802_243).abs() < 2e-6);
    assert!(((2.0_f64.sqrt() - 1.0).powf(0.25) - 0.802_243).abs() < 1e-6);
    let want = [
        (10.0, [0.067_455, 0.134_911, 0.067_455], [1.0, -1.142_981, 0.412_802]),
        (12.0, [0.027_86, 0.055_72, 0.027_86], [1.0, -1.475_48, 0.586_92]),
    ];
    for (filter, (cut_hz, b, a)) in b.filters.iter().zip(want) {
        assert_eq!(filter.cut_hz, cut_hz);
        for (got, want) in filter.b.iter().chain(&filter.a).zip(b.iter().chain(&a)) {
            assert!((got - want).abs() < 5e-6, "{got} is not {want}");
        }
    }
}

/// Gain of the product's smoothing for a sinusoid of `hz` sampled at `rate_hz`, at the samples.
fn gain(hz: f64, rate_hz: f64, half_s: f64) -> f64 {
    let t_s: Vec<f64> = (0..(2.0 * rate_hz) as usize).map(|i| i as f64 / rate_hz).collect();
    // Least squares of cosine and sine on the smoothed series: its amplitude.
    let wave = |phase: f64| -> Vec<f64> { t_s.iter().map(|t| (TAU * hz * t + phase).cos()).collect() };
    let y = wave(0.3);
    let (mut real, mut imaginary, mut n) = (0.0, 0.0, 0.0);
    for t in &t_s {
        let Some(fit) = LocalFit::new(&t_s, &y, *t, half_s).filter(|_| (0.2..1.8).contains(t)) else {
            continue;
        };
        let (s, c) = (TAU * hz * t + 0.3).sin_cos();
        let v = fit.at(*t, 0);
        real += 2.0 * v * c;
        imaginary += 2.0 * v * s;
        n += 1.0;
    }
    assert!(imaginary.abs() / n < 0.04, "zero phase: {}", imaginary / n);
    real / n
}

/// A 10 Hz filter inverts thorax and arm in the professionals' means, one that passes 25 Hz
/// does not (scipy, see below): the product's smoothing passes 25 Hz at −3 dB or better,
/// without any phase.
#[test]
fn the_smoothing_passes_25_hz() {
    for rate_hz in [104.0, 208.0, 416.0] {
        let half_s = peak::half_width_s(1.0 / rate_hz);
        let low = gain(5.0, rate_hz, half_s);
        assert!((0.98..1.02).contains(&low), "{rate_hz} Hz: {low}");
        let at_25 = gain(25.0, rate_hz, half_s);
        // At half the usual rate seven samples reach further; there is no need to hide it.
        if rate_hz >= 208.0 {
            assert!(at_25 >= FRAC_1_SQRT_2, "{rate_hz} Hz: gain {at_25} at 25 Hz");
        }
        let corner =
            (20..1000).map(|i| 0.1 * f64::from(i)).find(|hz| gain(*hz, rate_hz, half_s) < FRAC_1_SQRT_2);
        eprintln!("smoothing at {rate_hz} Hz: gain {at_25:.3} at 25 Hz, −3 dB at {corner:.1?} Hz");
    }
}

/// Speed pulses of the professionals' means (Cheetham et al. 2008, second-hand): deg/s, ms
/// before impact, rise, fall.
const PULSES: [(f64, f64, f64, f64); 3] =
    [(477.0, 87.0, 227.0, 238.5), (727.0, 68.0, 220.0, 279.6), (980.0, 65.0, 192.0, 140.0)];

/// Impact of the pulses, s.
const IMPACT_S: f64 = 1.0;

/// Times (s) and speeds (deg/s) of a pulse as a strap samples it.
fn sampled(
    pulse: (f64, f64, f64, f64),
    rate_hz: f64,
    phase: f64,
    noise: &mut impl FnMut() -> f64,
) -> (Vec<f64>, Vec<f64>) {
    let (dps, before, rise, fall) = pulse;
    let impact_s = IMPACT_S;
    let mut curve = Curve::default();
    curve.rest_to(impact_s - (before + rise) * 1e-3);
    curve.to(impact_s - before * 1e-3, dps, Ease::Cosine);
    curve.to(impact_s + (fall - before) * 1e-3, 0.0, Ease::Cosine);
    let t_s: Vec<f64> = (0..(1.3 * rate_hz) as usize).map(|i| (i as f64 + phase) / rate_hz).collect();
    let dps = t_s.iter().map(|t| curve.speed(*t) + noise()).collect();
    (t_s, dps)
}

/// Peak before impact (ms) of a pulse as the product finds it.
fn found_ms(pulse: (f64, f64, f64, f64), rate_hz: f64, phase: f64, noise: &mut impl FnMut() -> f64) -> f64 {
    let impact_s = IMPACT_S;
    let (t_s, dps) = sampled(pulse, rate_hz, phase, noise);
    let series = Series { t_s: &t_s, dps: &dps };
    let half_s = peak::half_width_s(1.0 / rate_hz);
    let mut found = peak::find(series, 0.75, impact_s, impact_s, half_s).expect("there is a peak");
    // As the chain does: noise asks for longer smoothing.
    let wider_s = peak::widened_s(half_s, found.noise_sd_s);
    if wider_s > 1.1 * half_s {
        found = peak::find(series, 0.75, impact_s, impact_s, wider_s).expect("there is a peak");
    }
    assert!(!found.rising);
    (impact_s - found.t_s) * 1e3
}

/// On clean data at 2000 Hz a double-pass Butterworth of 10 Hz finds the peaks at 86.40,
/// 65.10 and 69.16 ms — thorax and arm inverted; one of 25 Hz at 86.77, 66.91 and 66.45 (scipy).
/// The product must do no worse than the latter: right order, each within 1.5 ms.
#[test]
fn the_smoothing_does_not_invert_thorax_and_arm() {
    for rate_hz in [208.0, 2000.0] {
        let found = PULSES.map(|p| found_ms(p, rate_hz, 0.37, &mut || 0.0));
        eprintln!("peaks found at {rate_hz} Hz: {found:.2?} ms before impact");
        assert!(found[0] > found[1] && found[1] > found[2], "{rate_hz} Hz: {found:?}");
        for (found, pulse) in found.iter().zip(PULSES) {
            assert!((found - pulse.1).abs() < 1.5, "{rate_hz} Hz: {found} is not {}", pulse.1);
        }
    }
}

/// Taking the largest sample errs by 1000/(f √12) ms (uniform, arithmetic): 2.89 ms at 100 Hz,
/// 1.44 at 200. A 12 Hz double pass with a parabola and 2 deg/s of noise reaches SD 0.9 and 0.8
/// ms (simulated with scipy), with peaks shifted by up to 3.3 ms. The product's local cubic
/// passes 25 Hz, shifts them by less than half a millisecond, and has more noise to bear: 1.38,
/// 1.15 and 0.62 ms at 100 Hz, 0.93, 0.93 and 0.64 at 200 Hz (measured here). Only the arm, the
/// fastest, stays within the published SDs; the others may not get worse than they are.
#[test]
fn sub_sample_peaks_beat_the_largest_sample() {
    let mut rng = ChaCha8Rng::seed_from_u64(9);
    for (rate_hz, most_ms) in [(100.0, [1.5, 1.25, 0.9]), (200.0, [1.0, 1.0, 0.8])] {
        let mut sds = [0.0; 3];
        for (i, pulse) in PULSES.into_iter().enumerate() {
            let found: Vec<f64> = (0..400)
                .map(|_| {
                    let phase: f64 = rng.random();
                    found_ms(pulse, rate_hz, phase, &mut || 2.0 * normal(&mut rng))
                })
                .collect();
            let mean = found.iter().sum::<f64>() / found.len() as f64;
            sds[i] = (found.iter().map(|f| (f - mean).powi(2)).sum::<f64>() / found.len() as f64).sqrt();
        }
        let largest_sample = 1000.0 / (rate_hz * 12.0_f64.sqrt());
        eprintln!("SD of peak times at {rate_hz} Hz: {sds:.2?} ms; largest sample {largest_sample:.2}");
        for (sd, most) in sds.iter().zip(most_ms) {
            assert!(*sd < most && *sd < largest_sample, "{rate_hz} Hz: {sds:?} ms");
        }
    }
}

/// Why the product bears more noise than that filter. A cubic over ±65 ms finds peaks at 100 Hz with
/// 2 deg/s of noise to 0.84, 0.63 and 0.37 ms (SD), but by +0.5, +2.5 and −3.5 ms off (numpy polyfit,
/// samples up to impact): the arm, 3 ms after the thorax, comes before it.
#[test]
fn a_wider_cubic_turns_thorax_and_arm_round() {
    let half_s = 0.065;
    let off_ms = PULSES.map(|pulse| {
        let off: Vec<f64> = (0..20)
            .map(|i| {
                let (t_s, dps) = sampled(pulse, 100.0, f64::from(i) / 20.0, &mut || 0.0);
                let end = t_s.partition_point(|t| *t <= IMPACT_S);
                let mut at = IMPACT_S - pulse.1 * 1e-3;
                for _ in 0..4 {
                    let fit = LocalFit::new(&t_s[..end], &dps[..end], at, half_s).expect("enough samples");
                    at = fit.root(1, at).expect("a maximum");
                }
                (at - IMPACT_S) * 1e3 + pulse.1
            })
            .collect();
        off.iter().sum::<f64>() / off.len() as f64
    });
    eprintln!("a cubic over ±65 ms at 100 Hz is off by {off_ms:.2?} ms");
    for (off, want) in off_ms.into_iter().zip([0.52, 2.50, -3.46]) {
        assert!((off - want).abs() < 0.15, "{off} is not {want}");
    }
    assert!(PULSES[2].1 - off_ms[2] > PULSES[1].1 - off_ms[1], "the arm comes first: {off_ms:?}");
}
