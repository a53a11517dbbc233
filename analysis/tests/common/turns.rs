//! Mobility checks of invented players.

use peakorder_protocol::Handedness;
use peakorder_protocol::mobility::*;

fn statistics(deg: &[f64], measuring: f64) -> TurnStatistics {
    let n = deg.len() as f64;
    let mean = deg.iter().sum::<f64>() / n;
    let spread = (deg.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    TurnStatistics {
        largest_deg: deg.iter().copied().fold(0.0, f64::max),
        largest_sd_deg: measuring.hypot(0.748 * spread),
        mean_deg: mean,
        mean_sd_deg: measuring.hypot(spread / n.sqrt()),
        spread_deg: Some(spread),
        measuring_sd_deg: measuring,
    }
}

fn turns(side: Side, thorax: [f64; 3], pelvis: f64) -> SideTurns {
    let pelvis_deg = thorax.map(|t| t * pelvis);
    let on = [0, 1, 2].map(|i| thorax[i] - pelvis_deg[i]);
    SideTurns {
        swing_side: side.swing_side(Handedness::Right),
        repetitions: (0..3)
            .map(|i| Repetition {
                t_s: 40.0 + 6.0 * i as f64,
                thorax_deg: thorax[i],
                thorax_sd_deg: 0.7,
                pelvis_deg: Some(pelvis_deg[i]),
                pelvis_sd_deg: Some(0.6),
            })
            .collect(),
        thorax: statistics(&thorax, 0.7),
        pelvis: Some(statistics(&pelvis_deg, 0.6)),
        thorax_on_pelvis: Some(statistics(&on, 0.9)),
        pelvis_share: Some(Share { share: pelvis, sd: 0.02 }),
    }
}

fn balance(left: &TurnStatistics, right: &TurnStatistics) -> Balance {
    let (difference, range) = (left.mean_deg - right.mean_deg, left.mean_deg + right.mean_deg);
    let sd = left.mean_sd_deg.hypot(right.mean_sd_deg);
    Balance {
        left_minus_right_deg: difference,
        left_minus_right_sd_deg: sd,
        share: Some(Share { share: 2.0 * difference / range, sd: 2.0 * sd / range }),
        range_deg: range,
        range_sd_deg: sd,
    }
}

/// A check that was done as asked: the thorax turns so far, the pelvis that share of it.
pub(crate) fn check(
    number: u32,
    posture: Posture,
    left: [f64; 3],
    right: [f64; 3],
    pelvis: f64,
) -> MobilityCheck {
    let (left, right) = (turns(Side::Left, left, pelvis), turns(Side::Right, right, pelvis));
    let start_s = 35.0 + 60.0 * f64::from(number);
    MobilityCheck {
        number,
        posture: Some(posture),
        start_s,
        end_s: start_s + 38.0,
        ok: true,
        repeat: Vec::new(),
        notes: Vec::new(),
        thorax_balance: Some(balance(&left.thorax, &right.thorax)),
        thorax_on_pelvis_balance: left
            .thorax_on_pelvis
            .zip(right.thorax_on_pelvis)
            .map(|(l, r)| balance(&l, &r)),
        left: Some(left),
        right: Some(right),
        drift: Some(Drift {
            still_positions: 7,
            thorax_dps: 0.04,
            thorax_largest_deg: 0.6,
            pelvis_dps: Some(-0.02),
            pelvis_largest_deg: Some(0.3),
        }),
    }
}
