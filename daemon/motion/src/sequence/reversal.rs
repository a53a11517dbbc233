//! When a segment turned back towards the target.

use super::fit::LocalFit;
use super::peak::Series;

/// A located reversal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reversal {
    /// Session time, s.
    pub t_s: f64,
    /// Standard uncertainty, s.
    pub sd_s: f64,
}

/// Speed of a signed axial component known to no better than this: sway and cross-talk of
/// an axis some degrees off, deg/s (own judgement).
const CROSS_TALK_DPS: f64 = 4.0;

/// Share of the distance of two possible instants that is its standard uncertainty: a little
/// over 1 / 1.96, so that the 95 % band holds both.
const BOTH_IN_BAND: f64 = 0.53;

/// Half width of the fit that the change of sign is read off, s. Narrower than for peaks: a
/// segment may turn round at once, and a corner at zero speed is moved by smoothing.
pub const HALF_S: f64 = 0.012;

/// The last change from away to forward before `peak_s`, not before `from_s`.
///
/// Two things blur it. A segment may rock back a little in transition: going back by less than
/// `rock_back_deg` after a start forward does not make a new reversal. And it may pause: until
/// it has gone forward by `rock_back_deg` it has not turned round, so the reversal is the end of
/// the pause. Either way the other instant lies within the stated band. `bias_sd_dps` is what the speed may be
/// off by throughout.
pub fn find(
    series: Series<'_>,
    from_s: f64,
    peak_s: f64,
    half_s: f64,
    rock_back_deg: f64,
    bias_sd_dps: f64,
) -> Option<Reversal> {
    let lo = series.t_s.partition_point(|t| *t < from_s);
    let hi = series.t_s.partition_point(|t| *t < peak_s);
    let (mut angle, mut least, mut furthest) = (0.0, 0.0, None);
    // Last slow moments, each with the angle there: changes of sign, and the end of a pause.
    let mut starts: Vec<(usize, f64)> = Vec::new();
    for i in (lo..hi.saturating_sub(1)).rev() {
        angle -= 0.5 * (series.dps[i] + series.dps[i + 1]) * (series.t_s[i + 1] - series.t_s[i]);
        let level = if starts.is_empty() { CROSS_TALK_DPS } else { 0.0 };
        if series.dps[i] <= level && series.dps[i + 1] > level {
            starts.push((i, angle));
        }
        if angle < least {
            (least, furthest) = (angle, Some(i));
        } else if furthest.is_some() && angle > least + rock_back_deg {
            break;
        }
    }
    let furthest = furthest.filter(|_| angle > least)?;
    let near_least = |(_, angle): &&(usize, f64)| *angle <= least + rock_back_deg;
    // The latest start that is still as far away as that: the end of a pause, if there is one.
    let chosen = starts.iter().find(near_least).map_or(furthest, |(i, _)| *i);
    let near = series.t_s[chosen];
    let spread_s = starts
        .iter()
        .map(|(i, _)| *i)
        .chain([furthest])
        .filter(|i| *i + 2 >= furthest)
        .map(|i| (series.t_s[i] - near).abs())
        .fold(0.0, f64::max);
    let fit = LocalFit::new(series.t_s, series.dps, near, half_s)?;
    let t = fit.root(0, near).filter(|t| (t - near).abs() <= half_s).unwrap_or(near);
    let slope = fit.at(t, 1).abs().max(50.0);
    let noise = fit.sd(t, 0, fit.residual_var());
    Some(Reversal {
        t_s: t,
        sd_s: (noise.hypot(CROSS_TALK_DPS).hypot(bias_sd_dps) / slope).hypot(BOTH_IN_BAND * spread_s),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(f: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
        let t: Vec<f64> = (0..208).map(|i| f64::from(i) / 208.0).collect();
        let v = t.iter().map(|t| f(*t)).collect();
        (t, v)
    }

    #[test]
    fn a_change_of_sign_is_found_between_samples() {
        let (t, v) = series(|t| 900.0 * (t - 0.5012));
        let r = find(Series { t_s: &t, dps: &v }, 0.1, 0.9, 0.022, 0.7, 0.0).unwrap();
        assert!((r.t_s - 0.5012).abs() < 1e-6, "{}", r.t_s);
    }

    #[test]
    fn rocking_back_a_little_is_no_new_reversal() {
        // Forward from 0.3 s, a dip to -10 deg/s around 0.5 s (0.3 deg back), then on.
        let f = |t: f64| 300.0 * (t - 0.3) - 70.0 * (-((t - 0.5) / 0.02).powi(2)).exp();
        let (t, v) = series(f);
        assert!(v.iter().zip(&t).any(|(v, t)| *t > 0.4 && *v < 0.0), "the dip is one");
        let r = find(Series { t_s: &t, dps: &v }, 0.05, 0.9, 0.022, 0.7, 0.0).unwrap();
        assert!((r.t_s - 0.3).abs() < 0.002, "{}", r.t_s);
        // The later turning point, 0.2 s on, lies in the band.
        assert!(1.96 * r.sd_s > 0.18 && r.sd_s < 0.15, "{}", r.sd_s);
    }

    #[test]
    fn after_a_pause_the_end_of_it_is_the_reversal() {
        // Away until 0.3 s, 0.25 s of creeping forward at 1 deg/s, then off.
        let f = |t: f64| {
            if t < 0.3 {
                700.0 * (t - 0.3)
            } else if t < 0.55 {
                1.0
            } else {
                1.0 + 900.0 * (t - 0.55)
            }
        };
        let (t, v) = series(f);
        let r = find(Series { t_s: &t, dps: &v }, 0.05, 0.9, 0.012, 0.4, 0.0).unwrap();
        assert!((r.t_s - 0.55).abs() < 0.012, "{}", r.t_s);
        assert!(r.t_s - 1.96 * r.sd_s < 0.3, "the other end of the pause lies in the band: {}", r.sd_s);
    }

    #[test]
    fn without_going_away_there_is_none() {
        let (t, v) = series(|t| 100.0 + 300.0 * t);
        assert_eq!(find(Series { t_s: &t, dps: &v }, 0.1, 0.9, 0.022, 0.7, 0.0), None);
    }
}
