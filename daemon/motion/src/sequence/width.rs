//! How wide a top is, and what can be said of it when it lies near impact.
//!
//! Speeds of real bodies have flat tops with several humps: which of them is the highest depends on the
//! smoothing. Other smoothings that would be as reasonable say what the time of the peak is worth.

use super::peak::{FoundPeak, HALF_S, Series};
use super::smoothing::{Stretch, Top, largest};
use peakorder_protocol::estimate::Z95;
use peakorder_protocol::swing::Outcome;

/// Half widths of the smoothings that are compared, s. As filters their −3 dB points lie at about 26, 20,
/// 15, 12 and 10 Hz: what is in use for movements of this kind (Winter 2009, Biomechanics and Motor
/// Control of Human Movement, ch. 3, from memory: human movement lies below 6–10 Hz; fast ones need more).
const HALVES_S: [f64; 5] = [HALF_S, 0.0266, 0.0355, 0.0443, 0.0532];
/// The narrowest is this share of the half width that noise and sample rate leave for the peak itself.
const LEAST_SHARE: f64 = 0.8;
/// A second smoothing this much wider than the narrowest tells where the top is without smoothing.
const COARSER: f64 = 1.3;
/// How many there are, with none at all.
pub const SMOOTHINGS: usize = HALVES_S.len() + 1;

/// What is this close to the top belongs to it, share of its speed.
const TOP_SHARE: f64 = 0.02;
/// No smoothing of these moves a maximum to where the least of them is lower than this share of the top.
const SEARCH_SHARE: f64 = 0.8;

/// The same top as all smoothings see it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Width {
    /// Session time of the largest speed by each of the smoothings, s; impact if it was rising there.
    pub by_smoothing_s: [f64; SMOOTHINGS],
    /// How many were still rising at impact.
    at_impact: usize,
    /// First and last session time within 2 % of the top, s.
    pub within_2pct_s: [f64; 2],
    /// Within 2 % of the top until impact.
    until_impact: bool,
}

/// Looks at the largest maximum in (`from_s`, `impact_s`]; arguments as of [`super::peak::find`].
pub fn of(series: Series<'_>, from_s: f64, impact_s: f64, data_to_s: f64, half_s: f64) -> Option<Width> {
    let stretch = Stretch::new(series, from_s, impact_s, data_to_s)?;
    let finest = stretch.smoothed(half_s, |_| true);
    let (_, top_dps) = largest(&finest)?;
    let candidates: Vec<usize> =
        finest.iter().filter(|(_, v)| *v >= SEARCH_SHARE * top_dps).map(|(i, _)| *i).collect();

    let by = |each_s: f64| -> Option<Option<f64>> {
        let speeds = stretch.smoothed(each_s, |i| candidates.binary_search(&i).is_ok());
        let (at, _) = largest(&speeds)?;
        Some(match stretch.top(at, each_s)? {
            Top::Inside(t_s, _) => Some(t_s),
            Top::AtImpact(_) => None,
        })
    };
    let least_s = LEAST_SHARE * half_s;
    let halves_s = HALVES_S.map(|h| h.max(least_s));
    let mut by_smoothing_s = [impact_s; SMOOTHINGS];
    let mut at_impact = 0;
    for (i, each_s) in halves_s.into_iter().enumerate() {
        match by(each_s)? {
            Some(t_s) => by_smoothing_s[i] = t_s,
            None => at_impact += 1,
        }
    }
    // Fine smoothings shift a top by the square of their width, so two of them say where it would be
    // without any, if they see the same top.
    let [fine_s, coarse_s] = [halves_s[0], halves_s[1].max(COARSER * halves_s[0])];
    let unsmoothed = |t_s: f64| -> Option<f64> {
        let shift_s = t_s - by(coarse_s)??;
        let shift_s = shift_s * fine_s.powi(2) / (coarse_s.powi(2) - fine_s.powi(2));
        (shift_s.abs() < fine_s).then_some((t_s + shift_s).min(impact_s))
    };
    by_smoothing_s[SMOOTHINGS - 1] = unsmoothed(by_smoothing_s[0]).unwrap_or(by_smoothing_s[0]);

    let limit_dps = (1.0 - TOP_SHARE) * top_dps;
    let first = finest.iter().position(|(_, v)| *v >= limit_dps)?;
    let last = finest.iter().rposition(|(_, v)| *v >= limit_dps)?;
    // Between two samples the limit is crossed on a straight line.
    let crossing = |inside: usize, outside: Option<&(usize, f64)>| {
        let (i, v) = finest[inside];
        outside.map_or(stretch.t_s[i], |(j, w)| {
            stretch.t_s[i] + (stretch.t_s[*j] - stretch.t_s[i]) * (v - limit_dps) / (v - w)
        })
    };
    let until_impact = last + 1 == finest.len();
    let ends_s = if until_impact { impact_s } else { crossing(last, finest.get(last + 1)) };
    let begins_s = crossing(first, first.checked_sub(1).and_then(|i| finest.get(i)));
    Some(Width { by_smoothing_s, at_impact, within_2pct_s: [begins_s, ends_s], until_impact })
}

/// A peak with all that is known of its time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// What can be said of it.
    pub outcome: Outcome,
    /// Session time, s: where the finest smoothing has it; the middle of what is possible if it held to
    /// impact; impact if the speed was still rising there.
    pub t_s: f64,
    /// First and last session time of the stated 95 % band, s.
    pub band_s: [f64; 2],
    /// By the finest smoothing.
    pub found: FoundPeak,
    /// By all smoothings.
    pub width: Width,
}

impl Told {
    /// Joins what the finest smoothing found, with its standard uncertainty, with what the others say.
    /// `otherwise` is what it would have found had impact been at either end of its band; `impact_sd_s` is
    /// the standard uncertainty of impact.
    pub fn new(
        found: FoundPeak,
        otherwise: &[FoundPeak],
        width: Width,
        impact_s: f64,
        impact_sd_s: f64,
    ) -> Self {
        let [first_s, last_s] = range(
            width.by_smoothing_s.into_iter().chain(found.rivals_s.into_iter().filter(|_| !found.rising)),
        );
        let half_s = Z95 * found.sd_s;
        let passed = [&found].into_iter().chain(otherwise).filter(|p| !p.rising);
        let earliest_s = passed.clone().map(|p| p.t_s - half_s).fold(first_s, f64::min);
        let outcome = match (width.at_impact, passed.count()) {
            (n, 0) if n == HALVES_S.len() => Outcome::Rising,
            (0, all) if !width.until_impact && all == otherwise.len() + 1 => Outcome::Peak,
            _ => Outcome::Held,
        };
        let (t_s, band_s) = match outcome {
            Outcome::Rising => (impact_s, [impact_s; 2]),
            Outcome::Held => {
                // Had impact been earlier while it rose, its top would have been there.
                let ends_s = otherwise.iter().map(|p| p.t_s).fold(earliest_s, f64::min);
                let from_s = ends_s.min(width.within_2pct_s[0]);
                let to_s = impact_s + Z95 * impact_sd_s;
                (0.5 * (from_s + to_s), [from_s, to_s])
            }
            Outcome::Peak => (found.t_s, [earliest_s, (found.t_s + half_s).max(last_s)]),
        };
        Self { outcome, t_s, band_s, found, width }
    }

    /// Half width of a symmetrical band that holds the stated one, over 1.96, s.
    pub fn whole_sd_s(&self) -> f64 {
        let [from_s, to_s] = self.band_s;
        (self.t_s - from_s).max(to_s - self.t_s) / Z95
    }
}

/// The least and the largest.
fn range(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[least, most], v| [least.min(v), most.max(v)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sequence::peak;

    const HZ: f64 = 208.0;
    const HALF: f64 = HALF_S;

    fn told(f: impl Fn(f64) -> f64, impact_s: f64, impact_sd_s: f64) -> Told {
        let t_s: Vec<f64> = (0..208).map(|i| f64::from(i) / HZ).collect();
        let dps: Vec<f64> = t_s.iter().map(|t| f(*t)).collect();
        let series = Series { t_s: &t_s, dps: &dps };
        let found = peak::find(series, 0.2, impact_s, impact_s, HALF).unwrap();
        let width = of(series, 0.2, impact_s, impact_s, HALF).unwrap();
        Told::new(found, &[], width, impact_s, impact_sd_s)
    }

    /// A top that rises and falls alike is where every smoothing has it, however wide it is.
    #[test]
    fn an_even_top_keeps_its_sharpness() {
        for width_s in [0.05, 0.09, 0.15] {
            let top = told(|t| 600.0 * (-((t - 0.5013) / width_s).powi(2)).exp(), 0.75, 1e-3);
            assert_eq!(top.outcome, Outcome::Peak, "{width_s}");
            assert!((top.t_s - 0.5013).abs() < 0.2e-3, "{width_s}: {}", top.t_s);
            assert!(Z95 * top.whole_sd_s() < 0.5e-3, "{width_s}: {}", top.whole_sd_s());
            let [from_s, to_s] = top.width.within_2pct_s;
            // exp(-(d/w)²) = 0.98 where d = w √(-ln 0.98) = 0.1421 w (arithmetic), but for the smoothing.
            let half_s = 0.1421 * width_s;
            assert!(((to_s - from_s) * 0.5 - half_s).abs() < 2e-3, "{width_s}: {from_s} {to_s}");
        }
    }

    /// A narrow hump 1.6 % above a broad one (464 and 457 deg/s): a coarser smoothing finds the broad one.
    #[test]
    fn of_two_humps_the_band_holds_both() {
        let f = |t: f64| {
            400.0 * (-((t - 0.45) / 0.02).powi(2)).exp() + 455.0 * (-((t - 0.52) / 0.05).powi(2)).exp()
        };
        let top = told(f, 0.75, 1e-3);
        let [from_s, to_s] = top.band_s;
        assert!(from_s <= 0.455 && to_s >= 0.505, "{from_s} {to_s}");
        assert!(top.width.within_2pct_s[0] < 0.46, "{:?}", top.width.within_2pct_s);
    }

    #[test]
    fn a_top_that_lasts_until_impact_is_held() {
        // Flat within 1 % from 0.55 s on.
        let f = |t: f64| if t < 0.55 { 400.0 - 4e4 * (t - 0.55).powi(2) } else { 400.0 - 20.0 * (t - 0.55) };
        let top = told(f, 0.65, 1e-3);
        assert_eq!(top.outcome, Outcome::Held);
        let [from_s, to_s] = top.band_s;
        assert!(from_s < 0.55 && to_s >= 0.65, "{from_s} {to_s}");
        assert!((top.t_s - 0.5 * (from_s + to_s)).abs() < 1e-9);
    }

    #[test]
    fn a_speed_that_rises_to_impact_has_no_top() {
        let top = told(|t| 900.0 * t, 0.65, 1e-3);
        assert_eq!(top.outcome, Outcome::Rising);
        assert_eq!(top.t_s, 0.65);
    }

    /// The band of a strike that is badly known: with impact a little earlier the speed still rose.
    #[test]
    fn where_impact_decides_the_top_is_a_stretch() {
        let t_s: Vec<f64> = (0..208).map(|i| f64::from(i) / HZ).collect();
        let dps: Vec<f64> = t_s.iter().map(|t| 600.0 * (-((t - 0.6) / 0.1).powi(2)).exp()).collect();
        let series = Series { t_s: &t_s, dps: &dps };
        let find = |impact_s| peak::find(series, 0.2, impact_s, impact_s + 0.03, HALF).unwrap();
        let width = of(series, 0.2, 0.66, 0.69, HALF).unwrap();
        let top = Told::new(find(0.66), &[find(0.56), find(0.76)], width, 0.66, 0.05);
        assert_eq!(top.outcome, Outcome::Held);
        assert!(top.band_s[0] <= 0.56 && top.band_s[1] > 0.75, "{:?}", top.band_s);
    }
}
