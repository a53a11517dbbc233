//! Swings that depend on one another, lessons against lessons: values by outside libraries, and what must hold.

use peakorder_analysis::stats::lessons::{Scatter, SessionMean, Shared, against, stated_factor};
use peakorder_analysis::stats::{
    LEVEL, Rule, Series, change, false_discovery, holm, level, next, t_quantile,
};
use serde_json::Value;

#[track_caller]
fn close(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "{got} is not {want} within {tolerance}");
}

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/dependent.json")).expect("valid JSON")
}

fn nums(v: &Value) -> Vec<f64> {
    v.as_array().expect("a list").iter().map(|x| x.as_f64().expect("a number")).collect()
}

fn num(v: &Value, key: &str) -> f64 {
    v[key].as_f64().expect("a number")
}

fn check_change(v: &Value) {
    let (values, places) = (nums(&v["y"]), nums(&v["places"]));
    let after: Vec<bool> = nums(&v["after"]).iter().map(|a| *a > 0.0).collect();
    let rule = Rule { correlations: nums(&v["grid"]), drift: num(v, "drift"), widen: num(v, "widen") };
    let got =
        change(Series { values: &values, places: &places }, &after, &rule).expect("two sides that vary");
    let (low, high) = got.difference.interval(LEVEL).expect("an interval");
    close(got.difference.median().expect("a median"), num(v, "median"), 1e-7);
    close(low, num(v, "low"), 1e-6);
    close(high, num(v, "high"), 1e-6);
    close(got.difference.two_sided_p(0.0), num(v, "p"), 1e-8);
    close(got.dependence.correlation, num(v, "correlation"), 1e-9);
    close(got.dependence.drift, num(v, "slope"), 1e-8);
    close(got.dependence.drift_sd, num(v, "slope_sd"), 1e-8);
}

/// Full matrices in numpy 2.4.6, t and roots by scipy 1.17.1 (`make_dependent_vectors.py`).
#[test]
fn changes_agree_with_the_model_written_out() {
    for v in vectors()["changes"].as_array().expect("a list") {
        check_change(v);
    }
}

/// One correlation, no drift: statsmodels 0.15.0, `GLS`; at 0 also scipy's `ttest_ind`.
#[test]
fn with_one_correlation_it_is_generalised_least_squares() {
    for v in vectors()["fixed"].as_array().expect("a list") {
        check_change(v);
    }
}

#[test]
fn means_and_next_swings_agree_with_the_model_written_out() {
    for v in vectors()["levels"].as_array().expect("a list") {
        let (values, places) = (nums(&v["y"]), nums(&v["places"]));
        let series = Series { values: &values, places: &places };
        let got = level(series, &Rule::standard()).expect("values that vary");
        close(got.mean.interval(LEVEL).expect("an interval").1, num(v, "mean_high"), 1e-6);
        close(got.dependence.correlation, num(v, "correlation"), 1e-9);
        close(got.likely_variance, num(v, "likely_variance"), 1e-9);
        let next = next(series, num(v, "at"), &Rule::standard()).expect("values that vary");
        close(next.interval(LEVEL).expect("an interval").1, num(v, "next_high"), 1e-6);
    }
}

/// statsmodels 0.15.0, `multipletests` with `holm` and `fdr_bh`.
#[test]
fn adjusted_p_values_agree_with_statsmodels() {
    for v in vectors()["adjusted"].as_array().expect("a list") {
        let p = nums(&v["p"]);
        for (got, want) in holm(&p).iter().zip(nums(&v["holm"])) {
            close(*got, want, 1e-12);
        }
        for (got, want) in false_discovery(&p).iter().zip(nums(&v["false_discovery"])) {
            close(*got, want, 1e-12);
        }
    }
}

#[test]
fn what_cannot_be_judged_is_none() {
    let rule = Rule::standard();
    let of = |values: &[f64], places: &[f64], after: &[bool]| {
        change(Series { values, places }, after, &rule).is_none()
    };
    assert!(of(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], &[false, false, true]), "one on a side");
    assert!(of(&[1.0; 4], &[1.0, 2.0, 3.0, 4.0], &[false, false, true, true]), "no variation");
    assert!(of(&[1.0, 2.0, 3.0, 5.0], &[1.0, 2.0, 2.0, 4.0], &[false, false, true, true]), "one place twice");
    assert!(level(Series { values: &[1.0], places: &[1.0] }, &rule).is_none());
}

/// By hand. Earlier means 10, 12 and 14: squares 8 on 2 degrees of freedom, 4 each; 1 is the swings', so 3 is beyond;
/// stated 2 (variance 4). Factor of one measure: counted 2, (4 + 2 · 3/4)/(4 + 2) = 0.916667. Variance
/// (4 · 0.916667 · 4 + 2 · 3)/6 = 3.444444 with 6 degrees of freedom. New mean 20 against 12: standard error
/// √(3.444444 · 4/3 + 1 + 1/3) = 2.434322, brought down to 0.95 of it.
#[test]
fn a_lesson_against_three_by_hand() {
    let means = [10.0, 12.0, 14.0].map(|mean| SessionMean { mean, variance: 1.0, least_variance: 1.0 });
    let scatter = Scatter::of(&[&means]);
    close(scatter.squares, 8.0, 1e-12);
    let factor = stated_factor(&[(scatter, 2.0)]);
    close(factor.expect("two degrees of freedom"), 0.916_666_667, 1e-8);
    let shared = Shared { stated_sd: 2.0, factor, scatter };
    close(shared.variance().0, 3.444_444_444, 1e-8);
    let got = against(SessionMean { mean: 20.0, variance: 1.0, least_variance: 1.0 }, &means, &shared)
        .expect("earlier lessons");
    let (low, high) = got.interval(LEVEL).expect("an interval");
    close(f64::midpoint(low, high), 8.0, 1e-9);
    close((high - low) / 2.0, 0.95 * 2.434_322_478 * t_quantile(0.975, 6.0).expect("in range"), 1e-6);
    // With one lesson before there is only the stated figure, 1.05 times as large.
    let alone = Shared { stated_sd: 2.0, factor: None, scatter: Scatter::default() };
    close(alone.variance().0, 4.41, 1e-12);
}
