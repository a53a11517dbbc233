//! Statistics against published worked values and against scipy.

use peakorder_analysis::stats::{
    LEVEL, Mixture, Sample, holm, line, mdc95, t_quantile, t_two_sided_p, wilson,
};
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

#[test]
fn what_does_not_exist_is_none() {
    assert!(Sample::of(&[1.0]).expect("one").sd.is_none());
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
        // The interval of a mean: a t distribution with n − 1 degrees of freedom.
        let sd = s.sd.expect("n > 1");
        let mean = Mixture::student(s.mean, sd / (s.n as f64).sqrt(), s.n as f64 - 1.0).expect("it varies");
        let (low, high) = mean.interval(LEVEL).expect("an interval");
        relative(low, num(m, "low"), 1e-7);
        relative(high, num(m, "high"), 1e-7);
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
