//! Statistics against published worked values and against scipy.

use peakorder_analysis::stats::{
    LEVEL, Sample, holm, icc, limits_of_agreement, limits_of_pairs, mdc95, t_quantile, t_two_sided_p,
    typical_error, welch, wilson,
};
use serde_json::Value;

fn close(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "got {got}, want {want} ± {tolerance}");
}

/// Data of Shrout PE, Fleiss JL 1979, Psychol Bull 86:420–428, table 2 (six targets, four
/// judges; data from memory); values recomputed from the data with numpy.
#[test]
fn six_icc_forms_of_shrout_and_fleiss() {
    let rows: Vec<Vec<f64>> = [
        [9.0, 2.0, 5.0, 8.0],
        [6.0, 1.0, 3.0, 2.0],
        [8.0, 4.0, 6.0, 8.0],
        [7.0, 1.0, 2.0, 6.0],
        [10.0, 5.0, 6.0, 9.0],
        [6.0, 2.0, 4.0, 7.0],
    ]
    .iter()
    .map(|r| r.to_vec())
    .collect();
    let i = icc(&rows).expect("six rows of four");
    for (got, want) in [
        (i.ms_between, 11.2417),
        (i.ms_within, 6.2639),
        (i.ms_judges, 32.4861),
        (i.ms_error, 1.0194),
        (i.one_single, 0.1657),
        (i.two_single, 0.2898),
        (i.three_single, 0.7148),
        (i.one_mean, 0.4428),
        (i.two_mean, 0.6201),
        (i.three_mean, 0.9093),
        (i.sem(), 1.0097),
        (mdc95(i.sem()), 2.7987),
    ] {
        close(got, want, 6e-5);
    }
}

#[test]
fn icc_refuses_ragged_tiny_and_constant_tables() {
    assert!(icc(&[]).is_none());
    assert!(icc(&[vec![1.0, 2.0]]).is_none());
    assert!(icc(&[vec![1.0, 2.0], vec![1.0]]).is_none());
    assert!(icc(&[vec![1.0, 1.0], vec![1.0, 1.0]]).is_none());
}

/// Johnson KD et al. 2012, J Athl Train 47:52–60, prints MDC 2.1–6.3° for SEM 0.8–2.3°,
/// from rounded SEMs, hence ± 0.15; formula of Weir JP 2005.
#[test]
fn minimal_detectable_change_of_rotation_tests() {
    for (sem, want) in [(0.8, 2.217), (1.0, 2.772), (1.4, 3.881), (2.0, 5.544), (2.1, 5.821), (2.3, 6.375)] {
        close(mdc95(sem), want, 1e-3);
    }
    close(mdc95(0.8), 2.1, 0.15);
    close(mdc95(2.3), 6.3, 0.15);
}

/// Definitions of Hopkins WG 2000, Sports Med 30:1–15; numbers computed with numpy.
#[test]
fn typical_error_of_two_trials() {
    let te = typical_error(&[450.0, 472.0, 431.0, 490.0, 465.0], &[458.0, 470.0, 440.0, 481.0, 473.0])
        .expect("five pairs");
    close(te.mean_change, 2.8, 1e-9);
    close(te.typical_error, 5.6436, 1e-4);
    close(te.smallest_worthwhile, 4.4690, 1e-4);
    close(te.cv_percent, 1.2189, 1e-4);
    assert!(!te.resolves_smallest_worthwhile(), "one swing cannot resolve it");
}

/// Limits printed by Kim SE et al. 2023, Sensors 23(20):8433, for X-factor and pelvis
/// rotation; biases and SDs recomputed from them.
#[test]
fn limits_of_agreement_of_a_published_validation() {
    let x_factor = limits_of_agreement(-1.395, 10.1811);
    close(x_factor.lower, -21.35, 0.01);
    close(x_factor.upper, 18.56, 0.01);
    let pelvis = limits_of_agreement(0.765, 5.2730);
    close(pelvis.lower, -9.57, 0.01);
    close(pelvis.upper, 11.10, 0.01);
    // By hand: differences 1, 3 have mean 2 and SD √2.
    let pairs = limits_of_pairs(&[0.0, 0.0], &[1.0, 3.0]).expect("two pairs");
    close(pairs.upper, 2.0 + 1.96 * 2.0_f64.sqrt(), 1e-12);
    assert!(limits_of_pairs(&[0.0], &[1.0]).is_none());
}

/// Murray E et al. 2009, Phys Ther Sport 10:131–135: hip rotation of golfers with (28) and
/// without (36) back pain. The paper prints t = 4.228 and 2.908; from the rounded means and
/// SDs, Welch's t is 4.2305 and 2.9120.
#[test]
fn welch_on_published_means() {
    let sample = |n, mean, sd| Sample { n, mean, sd: Some(sd) };
    let passive = welch(&sample(28, 21.14, 10.17), &sample(36, 31.06, 8.06), LEVEL).expect("n > 1");
    close(passive.t, 4.2305, 5e-4);
    close(passive.t, 4.228, 5e-3);
    let active = welch(&sample(28, 21.46, 10.01), &sample(36, 28.06, 7.49), LEVEL).expect("n > 1");
    close(active.t, 2.9120, 5e-4);
    close(active.t, 2.908, 5e-3);
}

#[test]
fn welch_says_nothing_without_spread_or_with_one_swing() {
    let one = Sample::of(&[1.0]).expect("one");
    let flat = Sample::of(&[2.0, 2.0]).expect("two");
    let good = Sample::of(&[2.0, 3.0]).expect("two");
    assert!(welch(&one, &good, LEVEL).is_none());
    assert!(welch(&flat, &flat, LEVEL).is_none());
    assert!(welch(&flat, &good, LEVEL).is_some());
    assert!(one.half_width(LEVEL).is_none());
    assert!(Sample::of(&[]).is_none());
    assert!(t_quantile(1.0, 5.0).is_none());
    assert!(t_two_sided_p(f64::NAN, 5.0).is_none());
}

/// Worked by hand from the definition of Holm S 1979: sorted .01, .02, .03, .04 times
/// 4, 3, 2, 1 gives .04, .06, .06 and .04, which is raised to .06.
#[test]
fn holm_steps_down_and_never_falls() {
    let got = holm(&[0.04, 0.01, 0.03, 0.02]);
    for (g, w) in got.iter().zip([0.06, 0.04, 0.06, 0.06]) {
        close(*g, w, 1e-12);
    }
    assert_eq!(holm(&[0.9, 0.8]), [1.0, 1.0]);
    assert!(holm(&[]).is_empty());
}

fn scipy() -> Value {
    serde_json::from_str(include_str!("vectors/scipy.json")).expect("valid JSON")
}

fn list(v: &Value) -> &[Value] {
    v.as_array().expect("a list")
}

fn num(v: &Value, key: &str) -> f64 {
    v[key].as_f64().expect("a number")
}

fn nums(v: &Value) -> Vec<f64> {
    list(v).iter().map(|x| x.as_f64().expect("a number")).collect()
}

fn relative(got: f64, want: f64, tolerance: f64) {
    close(got, want, tolerance * want.abs().max(1e-300));
}

#[test]
fn student_agrees_with_scipy() {
    let v = scipy();
    for q in list(&v["quantiles"]) {
        let got = t_quantile(num(q, "p"), num(q, "df")).expect("inside the domain");
        relative(got, num(q, "t"), 1e-7);
    }
    for t in list(&v["tails"]) {
        let got = t_two_sided_p(num(t, "t"), num(t, "df")).expect("inside the domain");
        relative(got, num(t, "p"), 1e-8);
    }
    for m in list(&v["means"]) {
        let s = Sample::of(&nums(&m["x"])).expect("values");
        relative(s.mean, num(m, "mean"), 1e-12);
        relative(s.sd.expect("n > 1"), num(m, "sd"), 1e-10);
        let half = s.half_width(LEVEL).expect("n > 1");
        relative(s.mean - half, num(m, "low"), 1e-7);
        relative(s.mean + half, num(m, "high"), 1e-7);
    }
}

#[test]
fn welch_agrees_with_scipy() {
    for w in list(&scipy()["welch"]) {
        let before = Sample::of(&nums(&w["before"])).expect("values");
        let after = Sample::of(&nums(&w["after"])).expect("values");
        let got = welch(&before, &after, LEVEL).expect("n > 1");
        relative(got.t, num(w, "t"), 1e-9);
        relative(got.df, num(w, "df"), 1e-9);
        relative(got.p, num(w, "p"), 1e-7);
        close(got.difference - got.half_width, num(w, "low"), 1e-6);
        close(got.difference + got.half_width, num(w, "high"), 1e-6);
    }
}

#[test]
fn wilson_agrees_with_scipy() {
    for w in list(&scipy()["wilson"]) {
        let (low, high) = wilson(num(w, "count") as usize, num(w, "n") as usize).expect("n > 0");
        close(low, num(w, "low"), 1e-12);
        close(high, num(w, "high"), 1e-12);
    }
    assert!(wilson(0, 0).is_none());
    assert!(wilson(3, 2).is_none());
}

/// One further value of the same kind: t distribution of scale SD · √(1 + 1/n), by scipy.
#[test]
fn prediction_interval_agrees_with_scipy() {
    for v in list(&scipy()["further"]) {
        let s = Sample::of(&nums(&v["x"])).expect("values");
        let half = s.prediction_half_width(LEVEL).expect("n > 1");
        relative(s.mean - half, num(v, "low"), 1e-7);
        relative(s.mean + half, num(v, "high"), 1e-7);
    }
    assert!(Sample::of(&[1.0]).expect("one").prediction_half_width(LEVEL).is_none());
}
