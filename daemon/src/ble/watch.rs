//! Does a strap fit its profile, and did its clock start anew?
//!
//! Two readers of one stream may disagree about its unit or layout, and both look
//! plausible while it moves. At rest there is no doubt: one g and no rotation.

use nalgebra::Vector3;
use peakorder_motion::clock::StrapClock;
use peakorder_protocol::log::RestFault;
use peakorder_protocol::profile::{Decoded, Decoder, Profile, RestCheck};

/// A rest of this length is judged, seconds.
const REST_S: f64 = 2.0;
/// At rest |acc| varies by less than this share of itself, whatever its unit.
const REST_ACC_SHARE: f64 = 0.02;
/// At rest the rate varies by less than this, rad/s (10 deg/s: wide, because its scale may be wrong).
const REST_GYRO_SD_RAD_S: f64 = 10.0 * std::f64::consts::PI / 180.0;

/// What was noticed.
#[derive(Debug, Clone, PartialEq)]
pub enum Noticed {
    /// The strap's clock or counter began anew.
    Restarted,
    /// First rest since the (re)connection: what the strap shows, and what of it does not agree
    /// with its profile.
    Rest(RestFigures, Option<RestFault>),
}

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

/// What of a strap's figures at rest does not agree with its profile.
pub fn judge_rest(figures: &RestFigures, check: &RestCheck, profile: &str) -> Option<RestFault> {
    let profile = profile.to_owned();
    if !(check.acc_min_m_s2..=check.acc_max_m_s2).contains(&figures.acc_m_s2) {
        let (min_m_s2, max_m_s2) = (check.acc_min_m_s2, check.acc_max_m_s2);
        return Some(RestFault::Acceleration { profile, min_m_s2, max_m_s2 });
    }
    (figures.gyro_rad_s > check.gyro_max_rad_s)
        .then(|| RestFault::Rotation { profile, max_rad_s: check.gyro_max_rad_s })
}

/// Watches one strap.
pub struct StrapWatch {
    profile_id: String,
    check: RestCheck,
    decoder: Decoder,
    decoded: Decoded,
    clock: StrapClock,
    rest: RestFinder,
    rest_judged: bool,
    rest_samples: usize,
    samples: u64,
}

impl StrapWatch {
    /// For a strap of `profile`.
    pub fn new(profile: &Profile) -> Self {
        Self {
            profile_id: profile.id().to_owned(),
            check: *profile.rest_check(),
            decoder: Decoder::new(profile),
            decoded: Decoded::default(),
            clock: StrapClock::new(profile, 0.0, None, None),
            rest: RestFinder::default(),
            rest_judged: false,
            samples: 0,
            rest_samples: (profile.clock().nominal_rate_hz.max(10.0) * REST_S) as usize,
        }
    }

    /// Samples that came in so far.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// The link is up anew: look again.
    pub fn connected(&mut self) {
        self.decoder.reset();
        self.rest.clear();
        self.rest_judged = false;
    }

    /// Takes one notification.
    pub fn packet(&mut self, t_ns: u64, channel: u8, bytes: &[u8], noticed: &mut Vec<Noticed>) {
        // What cannot be decoded is counted and reported by the pipeline.
        let _ = self.decoder.decode(channel, bytes, &mut self.decoded);
        self.samples += self.decoded.samples.len() as u64;
        for head in &self.decoded.packets {
            if self.clock.packet(head, head.n, t_ns as f64 * 1e-9).restarted {
                noticed.push(Noticed::Restarted);
            }
        }
        if self.rest_judged {
            return;
        }
        for sample in &self.decoded.samples {
            let figures =
                self.rest.push(Vector3::from(sample.gyro), Vector3::from(sample.acc), self.rest_samples);
            if let Some(figures) = figures {
                self.rest_judged = true;
                let fault = judge_rest(&figures, &self.check, &self.profile_id);
                noticed.push(Noticed::Rest(figures, fault));
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_protocol::packet::{RawCounts, ReferencePacket};

    fn still(
        watch: &mut StrapWatch,
        from: u16,
        packets: u16,
        acc: i16,
        gyro: i16,
        flags: u8,
    ) -> Vec<Noticed> {
        let mut noticed = Vec::new();
        for k in from..from + packets {
            let wiggle = if k % 2 == 0 { 1 } else { -1 };
            let sample = RawCounts { gyro: [gyro + wiggle, 0, 0], acc: [0, acc + wiggle, 0] };
            let t_us = u32::from(k) * 19_231;
            let packet = ReferencePacket {
                flags: if k == from { flags } else { 0 },
                sequence: k,
                t_first_us: t_us,
                period_fifth_us: 0,
                event_age_10us: 0xffff,
                samples: vec![sample; 4],
            };
            let mut bytes = Vec::new();
            packet.encode(&mut bytes);
            watch.packet(u64::from(t_us) * 1000 + 20_000_000, 0, &bytes, &mut noticed);
        }
        noticed
    }

    fn watch() -> StrapWatch {
        StrapWatch::new(&Profile::from_toml(Profile::builtin("ref-strap-v1").unwrap()).unwrap())
    }

    #[test]
    fn one_g_and_no_rotation_pass_once() {
        // 2049 counts of 0.488 mg are one g.
        let noticed = still(&mut watch(), 0, 300, 2049, 3, 0);
        let [Noticed::Rest(figures, None)] = noticed.as_slice() else { panic!("{noticed:?}") };
        assert!((figures.acc_m_s2 - 9.80665).abs() < 0.02, "{figures:?}");
    }

    #[test]
    fn a_wrong_unit_is_a_fault() {
        let noticed = still(&mut watch(), 0, 150, 2049 / 4, 3, 0);
        let [Noticed::Rest(figures, Some(RestFault::Acceleration { profile, .. }))] = noticed.as_slice()
        else {
            panic!("{noticed:?}")
        };
        assert_eq!(profile, "ref-strap-v1");
        assert!((figures.acc_m_s2 - 9.80665 / 4.0).abs() < 0.02, "{figures:?}");
        let noticed = still(&mut watch(), 0, 150, 2049, 100, 0);
        let [Noticed::Rest(figures, Some(RestFault::Rotation { .. }))] = noticed.as_slice() else {
            panic!("{noticed:?}")
        };
        assert!((figures.gyro_rad_s.to_degrees() - 7.1).abs() < 0.1, "{figures:?}");
    }

    #[test]
    fn a_moving_strap_is_not_judged_and_a_restart_is_seen() {
        let mut watch = watch();
        let mut noticed = Vec::new();
        for k in 0..200_u16 {
            let swing = ((f64::from(k) * 0.5).sin() * 2000.0) as i16;
            let sample = RawCounts { gyro: [swing, 0, 0], acc: [0, 2049, 0] };
            let packet = ReferencePacket {
                flags: 0,
                sequence: k,
                t_first_us: u32::from(k) * 19_231,
                period_fifth_us: 0,
                event_age_10us: 0xffff,
                samples: vec![sample; 4],
            };
            let mut bytes = Vec::new();
            packet.encode(&mut bytes);
            watch.packet(u64::from(k) * 19_231_000, 0, &bytes, &mut noticed);
        }
        assert_eq!(noticed, []);
        let noticed = still(&mut watch, 300, 3, 2049, 0, peakorder_protocol::packet::FLAG_RESTARTED);
        assert_eq!(noticed, [Noticed::Restarted]);
    }
}
