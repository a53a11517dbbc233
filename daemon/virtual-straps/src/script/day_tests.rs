//! Is it the same player on another day, and are the days' swings tied as asked?

use super::{PracticeOptions, Script, StrapOptions};
use crate::strap::sensor::SensorModel;
use crate::{Group, PlayerParams, Population, Sliding, SwingTruth};
use peakorder_protocol::Role;

fn practice(day: u64, player: PlayerParams, swings: u32, correlation: f64, drift: f64) -> Vec<SwingTruth> {
    let options = PracticeOptions {
        correlation,
        drift,
        calibration: false,
        pause_s: (0.5, 1.0),
        ..PracticeOptions::default()
    };
    Script::practice(day, player, swings, &options).session().truth()
}

fn column(swings: &[SwingTruth], f: impl Fn(&SwingTruth) -> f64) -> Vec<f64> {
    swings.iter().map(f).collect()
}

fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len() as f64
}

fn squares(x: &[f64]) -> f64 {
    let m = mean(x);
    x.iter().map(|v| (v - m).powi(2)).sum()
}

type Read = fn(&SwingTruth) -> f64;

const READ: [(&str, Read); 5] = [
    ("pelvis turn at the top", |s| s.segments[&Role::Pelvis].turn_deg.top),
    ("thorax turn at the top", |s| s.segments[&Role::Thorax].turn_deg.top),
    ("pelvis peak", |s| s.segments[&Role::Pelvis].peak_before_ms),
    ("thorax speed", |s| s.segments[&Role::Thorax].peak_dps),
    ("thorax flexion at address", |s| s.segments[&Role::Thorax].flexion_deg.address),
];

/// Sampling error of a first-lag correlation: √((1 − R²)/n) (Bartlett 1946, from memory).
#[test]
fn true_swings_are_as_alike_as_asked() {
    let n = 300;
    for r in [0.0_f64, 0.4, 0.6] {
        let swings = practice(3, PlayerParams::drawn_from(Population::Amateur, 3), n, r, 0.0);
        for (what, read) in READ {
            let x = column(&swings, read);
            let m = mean(&x);
            let lag = x.windows(2).map(|w| (w[0] - m) * (w[1] - m)).sum::<f64>() / squares(&x);
            println!("{what}, {r}: {lag:.3}");
            let error = 3.5 * ((1.0 - r * r) / f64::from(n)).sqrt() + 0.02;
            assert!((lag - r).abs() < error, "{what}, {r}: {lag:.3}");
        }
    }
}

#[test]
fn true_swings_drift_as_far_as_asked() {
    let n = 300;
    let of = |drift| practice(4, PlayerParams::drawn_from(Population::Amateur, 3), n, 0.3, drift);
    let (still, drifting) = (of(0.0), of(2.0));
    // A number read at the swing's end mixes parameters, so only those that are parameters themselves.
    for (what, read) in READ.into_iter().filter(|r| r.0.contains("peak") || r.0.contains("address")) {
        let (a, b) = (column(&still, read), column(&drifting, read));
        let sd = (squares(&a) / f64::from(n - 1)).sqrt();
        let further: Vec<f64> = a.iter().zip(&b).map(|(a, b)| (b - a) / sd).collect();
        println!("{what}: {:.2} at first, {:.2} at last", further[0], further[n as usize - 1]);
        assert!(further[0].abs() < 0.05, "{what}: {}", further[0]);
        assert!((further[n as usize - 1] - 2.0).abs() < 0.25, "{what}: {}", further[n as usize - 1]);
    }
}

/// Means of two days differ by what swings of a day differ by, not by what players differ by.
#[test]
fn the_player_stays_and_the_day_differs() {
    let n = 40;
    let read = READ[0].1;
    for who in [3, 4] {
        let player = PlayerParams::drawn_from(Population::Amateur, who);
        let days: Vec<Vec<f64>> = (10..13)
            .map(|day| {
                let script = Script::practice(day, player.clone(), n, &PracticeOptions::default());
                assert_eq!(*script.player(), player);
                column(&script.session().truth(), read)
            })
            .collect();
        assert_ne!(days[0], days[1]);
        for pair in days.windows(2) {
            let error = ((squares(&pair[0]) + squares(&pair[1])) / f64::from(n - 1) / f64::from(n)).sqrt();
            let apart = mean(&pair[0]) - mean(&pair[1]);
            assert!(apart.abs() < 3.5 * error, "player {who}: {apart} ± {error}");
        }
    }
    // Players differ by more than that (6 deg SD).
    let of = |who| {
        mean(&column(&practice(1, PlayerParams::drawn_from(Population::Amateur, who), 6, 0.0, 0.0), read))
    };
    let players: Vec<f64> = (0..12).map(of).collect();
    assert!((squares(&players) / 11.0).sqrt() > 3.0, "{players:?}");
}

#[test]
fn straps_are_worn_anew_every_day() {
    let player = PlayerParams::drawn_from(Population::Amateur, 3);
    let worn = |day| {
        let session = Script::practice(day, player.clone(), 1, &PracticeOptions::default()).session();
        Role::ALL.map(|role| session.mounting_rotation(role))
    };
    for (a, b) in worn(1).iter().zip(&worn(2)) {
        assert!((a - b).norm() > 0.05, "{a} {b}");
    }
    assert_eq!(worn(1), worn(1));
}

/// The strap's own turn at the top against the bone's, which is what the skin has slid.
#[test]
fn skin_slides_by_another_amount_every_day() {
    let slid = |day, sliding| {
        let player = PlayerParams::mean_of(Population::Professional);
        let options =
            PracticeOptions { calibration: false, pause_s: (0.5, 1.0), ..PracticeOptions::default() };
        let straps = StrapOptions { sliding: Some(sliding), ..StrapOptions::default() };
        let session = Script::practice(day, player, 1, &options).with_straps(straps).session();
        let truth = session.truth().remove(0);
        let to_segment = session.mounting_rotation(Role::Thorax);
        let mut slid = nalgebra::Vector3::zeros();
        for s in session.ideal_samples(Role::Thorax, 500.0, SensorModel::ideal()) {
            if (truth.takeaway_s - 0.1..truth.top_s).contains(&s.t_s) {
                let bone = session.sample_truth(Role::Thorax, s.t_s).omega_body;
                slid +=
                    (to_segment * nalgebra::Vector3::from(s.gyro_rad_s) - bone).map(f64::to_degrees) / 500.0;
            }
        }
        slid.norm()
    };
    let sd = |sliding: Sliding| {
        let days: Vec<f64> = (0..30).map(|day| slid(day, sliding)).collect();
        println!("mean {:.2} deg, SD {:.2} deg", mean(&days), (squares(&days) / 29.0).sqrt());
        (mean(&days), (squares(&days) / 29.0).sqrt())
    };
    let (size, same) = sd(Sliding { wearing_sd_deg: 0.0, ..Sliding::of_size(4.5) });
    let (again, differing) = sd(Sliding::of_size(4.5));
    assert!((size - 4.5).abs() < 1.0 && (again - 4.5).abs() < 1.5, "{size} {again}");
    // χ² of 29: the SD of 30 is 0.77 to 1.23 of the true one in 95 of 100, 0.64 to 1.38 in 999 of 1000.
    assert!(same < 0.4 && (1.28..2.76).contains(&differing), "{same} {differing}");
}

/// People's tops have more humps in one swing than in another; their parameters stay tied all the same.
#[test]
fn people_are_alike_from_swing_to_swing_too() {
    let n = 300;
    let swings = practice(3, PlayerParams::like_people(Group::Measured, 3), n, 0.6, 0.0);
    for (what, read) in [READ[0], READ[3]] {
        let x = column(&swings, read);
        let m = mean(&x);
        let lag = x.windows(2).map(|w| (w[0] - m) * (w[1] - m)).sum::<f64>() / squares(&x);
        println!("{what}: {lag:.3}");
        // Humps are chosen anew each time and dilute it.
        assert!((0.35..0.72).contains(&lag), "{what}: {lag:.3}");
    }
}
