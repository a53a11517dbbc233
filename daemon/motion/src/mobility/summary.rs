//! Numbers of each side from its turns.

use super::find::Found;
use super::track::Track;
use super::{mean, round};
use peakorder_protocol::Handedness;
use peakorder_protocol::mobility::{
    Balance, MobilityCheck, Repetition, Share, Side, SideTurns, TurnStatistics,
};

/// SD of the largest of n standard normal values, n = 1…5 (order statistics of the normal
/// distribution; from memory, checked by sampling in the tests).
const LARGEST_SD: [f64; 5] = [1.0, 0.826, 0.748, 0.701, 0.669];

/// Values of one quantity with their measuring uncertainties.
#[derive(Debug, Default)]
struct Values {
    deg: Vec<f64>,
    sd: Vec<f64>,
}

impl Values {
    fn push(&mut self, deg: f64, sd: f64) {
        self.deg.push(deg);
        self.sd.push(sd);
    }

    fn statistics(&self) -> Option<TurnStatistics> {
        let n = self.deg.len();
        let largest = (0..n).max_by(|&a, &b| self.deg[a].total_cmp(&self.deg[b]))?;
        let measuring = mean(&self.sd.iter().map(|s| s * s).collect::<Vec<_>>()).sqrt();
        let spread = spread(&self.deg);
        let between = spread.unwrap_or(0.0);
        Some(TurnStatistics {
            largest_deg: round(self.deg[largest]),
            largest_sd_deg: round(self.sd[largest].hypot(between * LARGEST_SD[n.min(LARGEST_SD.len()) - 1])),
            mean_deg: round(mean(&self.deg)),
            mean_sd_deg: round(measuring.hypot(between / (n as f64).sqrt())),
            spread_deg: spread.map(round),
            measuring_sd_deg: round(measuring),
        })
    }
}

/// SD (n − 1); `None` for fewer than two.
fn spread(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let m = mean(values);
    Some((values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (values.len() - 1) as f64).sqrt())
}

/// Fills the sides of `check`.
pub(super) fn fill(
    check: &mut MobilityCheck,
    handedness: Handedness,
    found: &Found,
    thorax: &Track,
    pelvis: Option<&Track>,
) {
    let side = |side| side_turns(side, handedness, found, thorax, pelvis);
    (check.left, check.right) = (side(Side::Left), side(Side::Right));
    if let (Some(left), Some(right)) = (&check.left, &check.right) {
        check.thorax_balance = Some(balance(&left.thorax, &right.thorax));
        check.thorax_on_pelvis_balance =
            left.thorax_on_pelvis.zip(right.thorax_on_pelvis).map(|(l, r)| balance(&l, &r));
    }
}

fn side_turns(
    side: Side,
    handedness: Handedness,
    found: &Found,
    thorax: &Track,
    pelvis: Option<&Track>,
) -> Option<SideTurns> {
    let sign = side.sign();
    let (mut t, mut p, mut on) = (Values::default(), Values::default(), Values::default());
    let mut repetitions = Vec::new();
    for turn in found.turns.iter().filter(|t| t.side == side) {
        let (t_s, deg) = thorax.extreme(sign, turn.from_s, turn.to_s)?;
        let (deg, sd) = (sign * deg, thorax.sd_deg(deg, t_s));
        t.push(deg, sd);
        let pelvis = pelvis.map(|track| {
            let turned = sign * track.at(t_s);
            (turned, track.sd_deg(turned, t_s))
        });
        if let Some((turned, turned_sd)) = pelvis {
            p.push(turned, turned_sd);
            on.push(deg - turned, sd.hypot(turned_sd));
        }
        repetitions.push(Repetition {
            t_s: round(t_s),
            thorax_deg: round(deg),
            thorax_sd_deg: round(sd),
            pelvis_deg: pelvis.map(|p| round(p.0)),
            pelvis_sd_deg: pelvis.map(|p| round(p.1)),
        });
    }
    Some(SideTurns {
        swing_side: side.swing_side(handedness),
        thorax: t.statistics()?,
        pelvis: p.statistics(),
        thorax_on_pelvis: on.statistics(),
        pelvis_share: pelvis_share(&t, &p),
        repetitions,
    })
}

/// Mean share over the repetitions; its uncertainty joins their spread and the measuring of both angles.
fn pelvis_share(thorax: &Values, pelvis: &Values) -> Option<Share> {
    if pelvis.deg.is_empty() {
        return None;
    }
    let shares: Vec<f64> = pelvis.deg.iter().zip(&thorax.deg).map(|(p, t)| p / t).collect();
    let variances: Vec<f64> = (0..shares.len())
        .map(|i| (pelvis.sd[i].hypot(shares[i] * thorax.sd[i]) / thorax.deg[i]).powi(2))
        .collect();
    let between = spread(&shares).unwrap_or(0.0) / (shares.len() as f64).sqrt();
    Some(Share { share: round(mean(&shares)), sd: round(mean(&variances).sqrt().hypot(between)) })
}

/// Left against right. The sides' uncertainties are taken as independent, which is the larger
/// for the difference, where scale and alignment errors cancel in part.
fn balance(left: &TurnStatistics, right: &TurnStatistics) -> Balance {
    let (difference, range) = (left.mean_deg - right.mean_deg, left.mean_deg + right.mean_deg);
    let sd = left.mean_sd_deg.hypot(right.mean_sd_deg);
    // d(share) for share = 2 (L − R) / (L + R).
    let share = (range > 1.0).then(|| Share {
        share: round(2.0 * difference / range),
        sd: round(
            4.0 * (right.mean_deg * left.mean_sd_deg).hypot(left.mean_deg * right.mean_sd_deg)
                / (range * range),
        ),
    });
    Balance {
        left_minus_right_deg: round(difference),
        left_minus_right_sd_deg: round(sd),
        share,
        range_deg: round(range),
        range_sd_deg: round(sd),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sampling 2·10⁵ times with sums of twelve uniforms; tolerance 0.01.
    #[test]
    fn largest_of_n_varies_as_the_table_says() {
        let mut normal = crate::noise::normal(3);
        for (i, expected) in LARGEST_SD.into_iter().enumerate() {
            let largest: Vec<f64> =
                (0..200_000).map(|_| (0..=i).map(|_| normal()).fold(f64::NEG_INFINITY, f64::max)).collect();
            let sd = spread(&largest).unwrap();
            assert!((sd - expected).abs() < 0.01, "{} of {}: {sd}", i + 1, expected);
        }
    }

    /// 50, 48, 52 left and 40, 41, 39 right: means 50 and 40, SDs 2 and 1, difference 10,
    /// share 10/45, range 90 (worked by hand).
    #[test]
    fn statistics_of_three() {
        let values = |deg: [f64; 3]| Values { deg: deg.to_vec(), sd: vec![1.0; 3] };
        let (l, r) = (values([50.0, 48.0, 52.0]), values([40.0, 41.0, 39.0]));
        let (left, right) = (l.statistics().unwrap(), r.statistics().unwrap());
        assert_eq!((left.mean_deg, left.largest_deg, left.spread_deg), (50.0, 52.0, Some(2.0)));
        assert!((left.mean_sd_deg - (1.0 + 4.0 / 3.0_f64).sqrt()).abs() < 1e-3);
        assert!((right.mean_sd_deg - (1.0 + 1.0 / 3.0_f64).sqrt()).abs() < 1e-3);
        let b = balance(&left, &right);
        assert_eq!((b.left_minus_right_deg, b.range_deg), (10.0, 90.0));
        assert!((b.share.unwrap().share - 10.0 / 45.0).abs() < 1e-3);
        let share = pelvis_share(&l, &values([25.0, 24.0, 26.0])).unwrap();
        assert_eq!(share.share, 0.5);
        assert!(Values::default().statistics().is_none());
    }
}
