//! Does a strap fit its profile?
//!
//! Two readers of one stream may disagree about its unit or layout, and both look
//! plausible while it moves. At rest there is no doubt: one g and no rotation.

use nalgebra::Vector3;
use peakorder_motion::stream::Sample;
use peakorder_protocol::log::RestFault;
use peakorder_protocol::profile::Profile;

/// A rest of this length is judged, seconds.
const REST_S: f64 = 2.0;
/// At rest |acc| varies by less than this share of itself, whatever its unit.
const REST_ACC_SHARE: f64 = 0.02;
/// At rest the rate varies by less than this, rad/s (10 deg/s: wide, because its scale may be wrong).
const REST_GYRO_SD_RAD_S: f64 = 10.0 * std::f64::consts::PI / 180.0;

/// What a strap shows at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RestFigures {
    /// Median |acc|, m/s².
    pub acc_m_s2: f64,
    /// Median |gyro|, rad/s.
    pub gyro_rad_s: f64,
    /// Noise: standard deviation of the rate, root mean square over the axes, rad/s.
    pub gyro_sd_rad_s: f64,
    /// Noise: standard deviation of |acc|, m/s².
    pub acc_sd_m_s2: f64,
}

/// Looks for rest in a stream of samples.
#[derive(Debug, Clone, Default)]
pub struct RestFinder {
    gyro: Vec<Vector3<f64>>,
    acc: Vec<f64>,
}

fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

impl RestFinder {
    /// Takes a sample (`gyro` rad/s, `acc` m/s²); a stretch of `n` samples is judged at a
    /// time, and its figures returned if the strap lay still.
    pub fn push(&mut self, gyro: Vector3<f64>, acc: Vector3<f64>, n: usize) -> Option<RestFigures> {
        self.gyro.push(gyro);
        self.acc.push(acc.norm());
        if self.gyro.len() < n.max(10) {
            return None;
        }
        let figures = self.judge();
        self.gyro.clear();
        self.acc.clear();
        figures
    }

    /// Forgets an unfinished stretch.
    pub fn clear(&mut self) {
        self.gyro.clear();
        self.acc.clear();
    }

    fn judge(&mut self) -> Option<RestFigures> {
        let n = self.gyro.len() as f64;
        let mean = self.gyro.iter().sum::<Vector3<f64>>() / n;
        let gyro_sd = (self.gyro.iter().map(|g| (g - mean).norm_squared()).sum::<f64>() / (3.0 * n)).sqrt();
        let acc_mean = self.acc.iter().sum::<f64>() / n;
        let acc_sd = (self.acc.iter().map(|a| (a - acc_mean).powi(2)).sum::<f64>() / n).sqrt();
        if gyro_sd > REST_GYRO_SD_RAD_S || acc_sd > REST_ACC_SHARE * acc_mean {
            return None;
        }
        let mut rates: Vec<f64> = self.gyro.iter().map(Vector3::norm).collect();
        Some(RestFigures {
            acc_m_s2: median(&mut self.acc),
            gyro_rad_s: median(&mut rates),
            gyro_sd_rad_s: gyro_sd,
            acc_sd_m_s2: acc_sd,
        })
    }
}

impl RestFigures {
    /// What of them does not agree with `profile`.
    pub fn judge(&self, profile: &Profile) -> Option<RestFault> {
        let check = profile.rest_check();
        let id = || profile.id().to_owned();
        if !(check.acc_min_m_s2..=check.acc_max_m_s2).contains(&self.acc_m_s2) {
            let (min_m_s2, max_m_s2) = (check.acc_min_m_s2, check.acc_max_m_s2);
            return Some(RestFault::Acceleration { profile: id(), min_m_s2, max_m_s2 });
        }
        (self.gyro_rad_s > check.gyro_max_rad_s)
            .then(|| RestFault::Rotation { profile: id(), max_rad_s: check.gyro_max_rad_s })
    }
}

/// Judges the first rest after each connection.
pub struct FirstRest {
    profile: Profile,
    rest: RestFinder,
    judged: bool,
    samples: usize,
}

impl FirstRest {
    /// For a strap of `profile`.
    pub fn new(profile: Profile) -> Self {
        let samples = (profile.clock().nominal_rate_hz.max(10.0) * REST_S) as usize;
        Self { profile, rest: RestFinder::default(), judged: false, samples }
    }

    /// The link is up again: the next rest is judged anew.
    pub fn connected(&mut self) {
        self.rest.clear();
        self.judged = false;
    }

    /// Looks at samples of the strap's stream; judges the first rest in them.
    pub fn look(&mut self, samples: &[Sample]) -> Option<(RestFigures, Option<RestFault>)> {
        if self.judged {
            return None;
        }
        let figures = samples.iter().find_map(|s| self.rest.push(s.gyro, s.acc, self.samples))?;
        self.judged = true;
        Some((figures, figures.judge(&self.profile)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_motion::clock::time::SessionTime;
    use peakorder_motion::stream::StrapStream;
    use peakorder_protocol::packet::{RawCounts, ReferencePacket};
    use peakorder_protocol::profile::STANDARD_GRAVITY;

    fn reference() -> Profile {
        Profile::from_toml(Profile::builtin("ref-strap-v1").unwrap()).unwrap()
    }

    /// What is found in six seconds of the reference strap's counts.
    fn judged(counts: impl Fn(u16) -> RawCounts) -> Vec<(RestFigures, Option<RestFault>)> {
        let mut stream = StrapStream::unaligned(&reference());
        let mut first = FirstRest::new(reference());
        let mut found = Vec::new();
        for k in 0..300_u16 {
            let t_us = u32::from(k) * 19_231;
            let packet = ReferencePacket {
                flags: 0,
                sequence: k,
                t_first_us: t_us,
                period_fifth_us: 0,
                event_age_10us: 0xffff,
                samples: vec![counts(k); 4],
            };
            let mut bytes = Vec::new();
            packet.encode(&mut bytes);
            let at = SessionTime::from_ns(u64::from(t_us) * 1000 + 20_000_000);
            found.extend(first.look(stream.notification(at, 0, &bytes).samples));
        }
        found
    }

    fn still(acc: i16, gyro: i16) -> impl Fn(u16) -> RawCounts {
        move |k| {
            let wiggle = if k % 2 == 0 { 1 } else { -1 };
            RawCounts { gyro: [gyro + wiggle, 0, 0], acc: [0, acc + wiggle, 0] }
        }
    }

    #[test]
    fn one_g_and_no_rotation_pass_once() {
        // 2049 counts of 0.488 mg are one g.
        let found = judged(still(2049, 3));
        let [(figures, None)] = found.as_slice() else { panic!("{found:?}") };
        assert!((figures.acc_m_s2 - STANDARD_GRAVITY).abs() < 0.02, "{figures:?}");
    }

    #[test]
    fn a_wrong_unit_and_a_false_rotation_are_told_apart() {
        let found = judged(still(2049 / 4, 3));
        let [(figures, Some(RestFault::Acceleration { profile, .. }))] = found.as_slice() else {
            panic!("{found:?}")
        };
        assert!(
            (figures.acc_m_s2 / STANDARD_GRAVITY - 0.25).abs() < 0.005 && profile == "ref-strap-v1",
            "{found:?}"
        );
        let found = judged(still(2049, 100));
        let [(figures, Some(RestFault::Rotation { .. }))] = found.as_slice() else { panic!("{found:?}") };
        assert!((figures.gyro_rad_s.to_degrees() - 7.1).abs() < 0.1, "{found:?}");
    }

    #[test]
    fn a_moving_strap_is_not_judged() {
        let moving = |k: u16| RawCounts {
            gyro: [((f64::from(k) * 0.5).sin() * 2000.0) as i16, 0, 0],
            acc: [0, 2049, 0],
        };
        assert_eq!(judged(moving), []);
    }
}
