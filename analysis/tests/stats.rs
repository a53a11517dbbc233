//! Statistics against published worked values and against scipy.

use peakorder_analysis::stats::{LEVEL, Sample, holm, line, mdc95, t_quantile, t_two_sided_p, welch, wilson};
use serde_json::Value;

fn close(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "got {got}, want {want} ± {tolerance}");
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

/// Degrees of freedom after Satterthwaite have no upper end: a known error may outweigh the scatter by any factor.
/// A quantile comes for each, is the inverse of the distribution, and falls to that of the normal distribution.
#[test]
fn quantiles_of_any_degrees_of_freedom_come_and_are_right() {
    let mut before = f64::INFINITY;
    for i in 0..60_000 {
        let df = 0.5 * 1.0006_f64.powi(i);
        let t = t_quantile(0.975, df).expect("inside the domain");
        assert!(t <= before * (1.0 + 1e-9), "{t} after {before} at {df}");
        let p = t_two_sided_p(t, df).expect("inside the domain");
        assert!((p - 0.05).abs() < 1e-8, "p {p} at {df}");
        before = t;
    }
    assert!((before - 1.959_963_984_540_054).abs() < 1e-12, "{before}");
    assert!(t_quantile(0.975, 1e300).is_some());
    for t in [2e3, 1e5, 1e9] {
        assert_eq!(t_two_sided_p(t, 1e6), Some(0.0), "{t}");
    }
}

/// Satterthwaite's degrees of freedom with a part known exactly, computed with scipy 1.17.1 (`stats.t.ppf`, `t.sf`).
#[test]
fn an_error_that_more_swings_do_not_average_away_widens_the_interval() {
    let sample = |n, mean, sd| Sample { n, mean, sd: Some(sd) };
    let five = sample(5, 0.0, 2.0);
    close(five.half_width_with(1.0, LEVEL).expect("n > 1"), 2.796_400_333_8, 1e-8);
    assert_eq!(five.half_width_with(0.0, LEVEL), five.half_width(LEVEL));
    let alone = welch(&five, &sample(6, 5.0, 3.0), LEVEL).expect("n > 1");
    let joined = alone.with_known(2.25, LEVEL).expect("known");
    close(joined.se, 2.133_072_900_8, 1e-8);
    close(joined.df, 33.938_524_590_2, 1e-7);
    close(joined.half_width, 4.335_214_936_7, 1e-7);
    close(joined.p, 0.025_069_932_8, 1e-8);
    assert_eq!(alone.with_known(0.0, LEVEL), Some(alone));
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

/// Slope, standard error and p by scipy's linregress.
#[test]
fn a_line_agrees_with_scipy() {
    for v in list(&scipy()["lines"]) {
        let l = line(&nums(&v["x"]), &nums(&v["y"]), LEVEL).expect("three points or more");
        for (got, key) in
            [(l.slope, "slope"), (l.intercept, "intercept"), (l.se, "se"), (l.half_width, "half")]
        {
            relative(got, num(v, key), 1e-7);
        }
        close(l.p, num(v, "p"), 1e-8);
    }
    assert!(line(&[1.0, 2.0], &[1.0, 2.0], LEVEL).is_none());
    assert!(line(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0], LEVEL).is_none());
    assert!(line(&[1.0, 2.0, 3.0], &[2.0, 2.0, 2.0], LEVEL).is_none());
}
