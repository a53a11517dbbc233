//! A strap's oscillators: the sensor's own RC oscillator paces the samples, a crystal
//! stamps them.

use crate::rng::{Draw, Purpose};
use peakorder_protocol::Role;

/// Oscillator errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockModel {
    /// The sensor's rate is off by up to this share, uniformly.
    pub rc_share: f64,
    /// Slow wander (OU, τ 10 min) of that rate, SD, parts per million.
    pub rc_wander_ppm: f64,
    /// The rate moves by up to this much while the strap warms up (τ 400 s), ppm.
    pub rc_warm_up_ppm: f64,
    /// The crystal is off by up to this much, uniformly, ppm.
    pub crystal_ppm: f64,
    /// Slow wander of the crystal, SD, ppm.
    pub crystal_wander_ppm: f64,
    /// Warm-up of the crystal, up to, ppm.
    pub crystal_warm_up_ppm: f64,
}

impl ClockModel {
    /// A common inertial sensor (±1 %) beside a common crystal (±50 ppm).
    pub const fn common() -> Self {
        Self {
            rc_share: 0.01,
            rc_wander_ppm: 20.0,
            rc_warm_up_ppm: 100.0,
            crystal_ppm: 50.0,
            crystal_wander_ppm: 1.0,
            crystal_warm_up_ppm: 3.0,
        }
    }

    /// Samples paced by the crystal itself.
    pub const fn crystal_paced() -> Self {
        Self { rc_share: 0.0, rc_wander_ppm: 0.0, rc_warm_up_ppm: 0.0, ..Self::common() }
    }
}

const WANDER_TAU_S: f64 = 600.0;
const WARM_UP_TAU_S: f64 = 400.0;

/// One oscillator: constant error, warm-up, wander. Errors are shares of its rate.
#[derive(Debug, Clone)]
struct Oscillator {
    constant: f64,
    warm_up: f64,
    wander: f64,
    wander_sd: f64,
}

impl Oscillator {
    fn new(limit: f64, wander_ppm: f64, warm_up_ppm: f64, draw: &mut Draw) -> Self {
        let wander_sd = wander_ppm * 1e-6;
        Self {
            constant: draw.uniform(-limit, limit),
            warm_up: 1e-6 * draw.uniform(-warm_up_ppm, warm_up_ppm),
            wander: wander_sd * draw.standard(),
            wander_sd,
        }
    }

    fn second_passes(&mut self, draw: &mut Draw) {
        let keep = (-1.0 / WANDER_TAU_S).exp();
        let fresh = draw.standard();
        self.wander = keep * self.wander + self.wander_sd * (1.0 - keep * keep).sqrt() * fresh;
    }

    fn error(&self, t: f64) -> f64 {
        self.constant + self.wander + self.warm_up * (-t / WARM_UP_TAU_S).exp()
    }
}

/// When a sample was really taken and what the strap's clock said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Tick {
    /// Host (true) time, seconds.
    pub(crate) host_s: f64,
    /// Device clock, seconds.
    pub(crate) device_s: f64,
    /// Length of one device second in host time, relative to one: for short device spans.
    pub(crate) device_rate: f64,
    /// Sample period on the device clock, seconds.
    pub(crate) period_s: f64,
}

/// Paces and stamps samples.
#[derive(Debug)]
pub(crate) struct StrapClock {
    nominal_period_s: f64,
    pace: Oscillator,
    crystal: Oscillator,
    /// Errors as of the last whole second, shares.
    errors: (f64, f64),
    host_s: f64,
    device_s: f64,
    second: f64,
    draw: Draw,
}

impl StrapClock {
    pub(crate) fn new(model: &ClockModel, rate_hz: f64, seed: u64, role: Role) -> Self {
        let mut draw = Draw::new(seed, Purpose::Clock, role.index() as u64);
        let nominal_period_s = 1.0 / rate_hz;
        let pace = Oscillator::new(model.rc_share, model.rc_wander_ppm, model.rc_warm_up_ppm, &mut draw);
        let crystal = Oscillator::new(
            model.crystal_ppm * 1e-6,
            model.crystal_wander_ppm,
            model.crystal_warm_up_ppm,
            &mut draw,
        );
        let host_s = draw.uniform(0.0, nominal_period_s);
        // Straps were switched on some time before the session.
        let device_s = draw.uniform(5.0, 4000.0);
        let errors = (pace.error(0.0), crystal.error(0.0));
        Self { nominal_period_s, pace, crystal, errors, host_s, device_s, second: 0.0, draw }
    }

    pub(crate) fn tick(&mut self) -> Tick {
        if self.host_s >= self.second + 1.0 {
            self.second += 1.0;
            self.pace.second_passes(&mut self.draw);
            self.crystal.second_passes(&mut self.draw);
            self.errors = (self.pace.error(self.second), self.crystal.error(self.second));
        }
        let (pace, crystal) = self.errors;
        // A sensor without an oscillator of its own runs off the crystal.
        let host_period = self.nominal_period_s / ((1.0 + pace) * (1.0 + crystal));
        let device_period = host_period * (1.0 + crystal);
        let now = Tick {
            host_s: self.host_s,
            device_s: self.device_s,
            device_rate: 1.0 + crystal,
            period_s: device_period,
        };
        self.host_s += host_period;
        self.device_s += device_period;
        now
    }

    /// The device clock starts anew, as after a reset.
    pub(crate) fn restart(&mut self) {
        self.device_s = self.draw.uniform(0.2, 0.6);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn oscillators_stay_within_their_limits_and_differ_between_straps() {
        let mut rates = Vec::new();
        for role in Role::ALL {
            let mut clock = StrapClock::new(&ClockModel::common(), 208.0, 11, role);
            let first = clock.tick();
            let mut last = first;
            for _ in 0..208 * 300 {
                last = clock.tick();
            }
            let host = last.host_s - first.host_s;
            let crystal_ppm = 1e6 * ((last.device_s - first.device_s) / host - 1.0);
            assert!(crystal_ppm.abs() < 57.0, "{role}: {crystal_ppm} ppm");
            let rate = 208.0 * 300.0 / host;
            assert!((rate / 208.0 - 1.0).abs() < 0.0103, "{role}: {rate} Hz");
            rates.push(rate);
        }
        assert!((rates[0] - rates[1]).abs() > 0.01 && (rates[1] - rates[2]).abs() > 0.01);
    }

    #[test]
    fn a_crystal_paced_sensor_has_its_nominal_rate_on_the_device_clock() {
        let mut clock = StrapClock::new(&ClockModel::crystal_paced(), 100.0, 1, Role::Pelvis);
        let (a, b) = (clock.tick(), clock.tick());
        assert!((b.device_s - a.device_s - 0.01).abs() < 1e-12);
    }
}
