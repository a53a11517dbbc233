//! Orders, curves and outlying swings of blocks against scipy, statsmodels and spm1d (`vectors/make_block_vectors.py`;
//! versions in the file).

use peakorder_analysis::outliers::far_out;
use peakorder_analysis::stats::{
    Deals, extreme_limit, extremes, field_threshold, full_width_half_maximum, independence, max_t,
    rotated_max_t, t_two_sided_p,
};
use serde_json::Value;

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/blocks.json")).expect("valid JSON")
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

fn counts(v: &Value) -> Vec<usize> {
    list(v).iter().map(|x| x.as_u64().expect("a count") as usize).collect()
}

fn rows(v: &Value) -> Vec<Vec<f64>> {
    list(v).iter().map(nums).collect()
}

fn close(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "got {got}, want {want} ± {tolerance}");
}

/// Fisher–Freeman–Halton against scipy; the Monte Carlo p of 200 000 tables within 4.5 of its standard errors.
#[test]
fn tables_of_orders_agree_with_scipy() {
    for table in list(&vectors()["tables"]) {
        let got = independence(&counts(&table["first"]), &counts(&table["second"])).expect("a table");
        assert!(got.all);
        let want = num(table, "p");
        close(got.p, want, 1e-9);
        if let Some(drawn) = table["p_monte_carlo"].as_f64() {
            close(got.p, drawn, 4.5 * (want * (1.0 - want) / 200_000.0).sqrt() + 1e-5);
        }
    }
}

/// Fisher RA 1935, *The Design of Experiments*, the lady tasting tea: 3 of 4 cups told right, two-sided p = 34/70
/// (from memory; 1 + 16 tables of 70 on either side).
#[test]
fn the_lady_tasting_tea() {
    close(independence(&[3, 1], &[1, 3]).expect("a table").p, 34.0 / 70.0, 1e-12);
    close(independence(&[4, 0], &[0, 4]).expect("a table").p, 2.0 / 70.0, 1e-12);
}

#[test]
fn a_table_without_two_rows_and_two_kinds_says_nothing() {
    assert!(independence(&[3, 0], &[4, 0]).is_none());
    assert!(independence(&[0, 0], &[4, 1]).is_none());
    assert!(independence(&[], &[]).is_none());
    // A kind that nobody showed changes nothing.
    assert_eq!(independence(&[3, 0, 1], &[1, 0, 5]), independence(&[3, 1], &[1, 5]));
}

/// A table too large to look at every other one is drawn, and the same table gives the same p. Both p are estimates, of
/// 100 000 and of a million tables: four standard errors of the difference.
#[test]
fn a_large_table_is_drawn() {
    let v = &vectors()["large"];
    let (first, second) = (counts(&v["first"]), counts(&v["second"]));
    let got = independence(&first, &second).expect("a table");
    assert!(!got.all);
    assert_eq!(Some(got), independence(&first, &second));
    let want = num(v, "p_monte_carlo");
    close(got.p, want, 4.0 * (want * (1.0 - want) * (1.0 / 1e5 + 1.0 / 1e6)).sqrt());
}

/// t, smoothness and random-field threshold value by value; spm1d adds 2e-16 to the standard error and finds
/// the threshold by a simplex search to 1e-9.
#[test]
fn curves_agree_with_spm1d() {
    for v in list(&vectors()["curves"]) {
        let (before, after) = (rows(&v["before"]), rows(&v["after"]));
        let sides: Vec<bool> = before.iter().map(|_| false).chain(after.iter().map(|_| true)).collect();
        let curves: Vec<Vec<f64>> = before.iter().chain(&after).cloned().collect();
        let deals = Deals::of_swings(&sides);
        let got = max_t(&curves, &deals).expect("curves");
        for (got, want) in got.t.iter().zip(nums(&v["t"])) {
            close(*got, want, 1e-9 * (1.0 + want.abs()));
        }
        let mean = |rows: &[Vec<f64>], i: usize| rows.iter().map(|r| r[i]).sum::<f64>() / rows.len() as f64;
        let residuals: Vec<Vec<f64>> = [&before, &after]
            .iter()
            .flat_map(|side| {
                side.iter().map(|r| r.iter().enumerate().map(|(i, y)| y - mean(side, i)).collect())
            })
            .collect();
        let width = full_width_half_maximum(&residuals).expect("a width");
        close(width, num(v, "fwhm"), 1e-9 * width);
        for (alpha, one_sided) in [("0.05", 0.025), ("0.01", 0.005)] {
            let got = field_threshold(got.t.len(), width, num(v, "df"), one_sided).expect("a threshold");
            close(got, num(&v["thresholds"], alpha), 1e-5);
        }
        // Every deal's largest |t|.
        assert!(deals.all);
        assert_eq!(deals.sides.len() as u64, v["deals"].as_u64().expect("a count"));
        let mut largest = got.largest.clone();
        largest.sort_by(f64::total_cmp);
        let want = nums(&v["largest"]);
        assert_eq!(largest.len(), want.len());
        for (got, want) in largest.iter().zip(&want) {
            close(*got, *want, 1e-9 * (1.0 + want.abs()));
        }
        // numpy's percentile interpolates between two deals; ours is one of them, next to it.
        let interpolated = num(v, "percentile_95");
        let ours = got.threshold(0.05);
        let above = want.iter().filter(|z| **z > ours + 1e-9).count();
        assert!(above as f64 <= 0.05 * want.len() as f64, "{above} of {}", want.len());
        let next = |z: f64| want.iter().copied().filter(|w| *w > z + 1e-9).fold(f64::INFINITY, f64::min);
        assert!(interpolated <= next(ours) && ours <= next(interpolated), "{ours}, {interpolated}");
    }
}

/// The t with dependence and drift allowed for is that of generalised least squares, by statsmodels.
#[test]
fn dependent_curves_agree_with_statsmodels() {
    for v in list(&vectors()["gls"]) {
        let sides: Vec<bool> = v["sides"].as_str().expect("sides").chars().map(|c| c == 'B').collect();
        let got = rotated_max_t(&rows(&v["curves"]), &sides, &nums(&v["places"])).expect("curves");
        for (got, want) in got.t.iter().zip(nums(&v["t"])) {
            close(*got, want, 1e-8 * (1.0 + want.abs()));
        }
    }
}

/// Of one point the rotations' distribution of t is Student's with n − 2 degrees of freedom, whatever the point.
#[test]
fn rotations_of_one_point_are_students() {
    let v = &vectors()["gls"][0];
    let sides: Vec<bool> = v["sides"].as_str().expect("sides").chars().map(|c| c == 'B').collect();
    let one: Vec<Vec<f64>> = rows(&v["curves"]).iter().map(|r| vec![r[4]]).collect();
    let got = rotated_max_t(&one, &sides, &nums(&v["places"])).expect("curves");
    for t in [0.5, 1.5, 2.306, 3.5] {
        let want = t_two_sided_p(t, 8.0).expect("inside the domain");
        // Four standard errors of 4 999 draws.
        close(got.p(t), want, 4.0 * (want * (1.0 - want) / 4_999.0).sqrt() + 3e-4);
    }
}

#[test]
fn curves_that_cannot_be_tested_are_not() {
    let deals = |text: &str| Deals::of_swings(&text.chars().map(|c| c == 'B').collect::<Vec<_>>());
    let flat = vec![vec![1.0, 2.0]; 4];
    let got = max_t(&flat, &deals("AABB")).expect("curves");
    assert_eq!(got.t, [0.0, 0.0]);
    assert_eq!(got.p(0.0), 1.0);
    assert!(max_t(&flat, &deals("AAAA")).is_none());
    assert!(max_t(&flat, &deals("AAB")).is_none());
    assert!(max_t(&[vec![1.0], vec![1.0, 2.0], vec![0.0]], &deals("AAB")).is_none());
    assert!(rotated_max_t(&flat, &[false, false, true, true], &[1.0, 2.0, 2.0, 3.0]).is_none());
    assert!(field_threshold(1, 5.0, 8.0, 0.025).is_none());
    assert!(full_width_half_maximum(&[vec![0.0, 0.0], vec![0.0, 0.0]]).is_none());
}

/// A value's t against the others follows from its deviate: t = R √(n (n − 2) / ((n − 1)² − n R²)); statsmodels has it and
/// its Bonferroni p, which is below 0.05 exactly where the deviate exceeds its limit.
#[test]
fn extreme_deviates_agree_with_statsmodels() {
    for v in list(&vectors()["outliers"]) {
        let x = nums(&v["x"]);
        let n = x.len() as f64;
        let first = extremes(&x, 1)[0];
        let r = first.deviate;
        let t = r * (n * (n - 2.0) / ((n - 1.0).powi(2) - n * r * r)).sqrt();
        let want = nums(&v["t"])[first.index];
        close(t, want, 1e-6 * want);
        assert_eq!(want, nums(&v["t"]).into_iter().fold(0.0, f64::max));
        let p = nums(&v["bonferroni_p"])[first.index];
        assert!(p < 1.0);
        for (alpha, beyond) in [(1.01 * p, true), (0.99 * p, false)] {
            assert_eq!(r > extreme_limit(x.len(), alpha).expect("three or more"), beyond);
        }
    }
}

/// NIST/SEMATECH *e-Handbook of Statistical Methods*, 1.3.5.17.3, Rosner's 54 values: three outliers, although neither the
/// first nor the second deviate exceeds its limit (values as printed there, from memory, to ± 0.002).
#[test]
fn outliers_that_hide_each_other_are_found_as_in_the_nist_handbook() {
    let values = [
        -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65,
        1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26,
        2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30,
        4.64, 5.34, 5.42, 6.01,
    ];
    let got = extremes(&values, 10);
    let want = [3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101, 2.067];
    let limits = [3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094, 3.085];
    for (i, (got, want)) in got.iter().zip(want).enumerate() {
        close(got.deviate, want, 0.002);
        close(extreme_limit(54 - i, 0.05).expect("three or more"), limits[i], 0.002);
    }
    assert_eq!(got.iter().take(3).map(|e| values[e.index]).collect::<Vec<_>>(), [6.01, 5.42, 5.34]);
}

/// Of clean normal values no more are flagged than stated; two that hide each other are found.
#[test]
fn clean_blocks_are_rarely_flagged() {
    use rand::SeedableRng as _;
    use rand_distr::{Distribution as _, StandardNormal};
    let mut rng = chacha20::ChaCha8Rng::seed_from_u64(3);
    for n in [5, 8, 12, 20, 60] {
        let mut flagged = 0;
        let (blocks, alpha) = (4_000, 0.05);
        for _ in 0..blocks {
            let values: Vec<f64> = (0..n).map(|_| StandardNormal.sample(&mut rng)).collect();
            flagged += usize::from(!far_out(&values, alpha).is_empty());
        }
        // 0.05 and three standard errors of a share of 4 000.
        assert!(flagged as f64 <= (0.05 + 3.0 * 0.003_45) * f64::from(blocks), "{n}: {flagged} of {blocks}");
    }
    let mut two = far_out(&[1.0, 2.0, 1.5, 40.0, 1.2, 41.0, 1.8, 1.4, 1.6, 1.1], 0.05 / 36.0);
    two.sort_unstable();
    assert_eq!(two, [3, 5]);
    assert!(far_out(&[2.0; 9], 0.05).is_empty());
    assert!(far_out(&[1.0, 2.0], 0.05).is_empty());
}
