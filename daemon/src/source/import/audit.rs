//! Looks at the samples of one file as they pass, and says what is suspicious about them.

use super::samples::Row;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::STANDARD_GRAVITY_M_S2;
use peakorder_protocol::import_warning::{ImportWarning, Mistaken, Sensor, TimeUnit};

/// Longer without a sample is a gap, s.
const GAP_S: f64 = 1.0;
/// Fewer samples a second do not show a swing, Hz (own judgement: five samples in a downswing's 100 ms,
/// the least that a peak can be placed by).
const LEAST_RATE_HZ: f64 = 50.0;
/// Rates that loggers of inertial sensors have, Hz (own judgement).
const LOGGER_RATES_HZ: std::ops::RangeInclusive<f64> = 20.0..=4000.0;
/// Ranges of inertial sensors end at 4000 deg/s and, for strikes, at 400 g (data sheets of common
/// sensors, from memory); twice that is none.
const MOST_RATE_RAD_S: f64 = 8000.0 * std::f64::consts::PI / 180.0;
const MOST_FORCE_M_S2: f64 = 800.0 * STANDARD_GRAVITY_M_S2;
/// The median of the force may be so much, g. People are mostly slow.
const ORDINARY_GRAVITY_G: std::ops::RangeInclusive<f64> = 0.7..=1.4;
/// Tilts are compared over so long, s.
const TILT_WINDOW_S: f64 = 0.5;
/// … if the force changed its size by no more than this share,
const TILT_STEADY: f64 = 0.08;
/// … and gravity turned by at least so much, rad.
const TILT_LEAST_RAD: f64 = 0.1;
/// A correlation of the two that chance does not give: at least so much, and times the root of the
/// number of independent pairs (two a window) so many standard errors. Together with the
/// sizes below, own judgement.
const TILT_CORRELATION: f64 = 0.3;
const TILT_CERTAIN: f64 = 2.5;
/// Who tilts so that gravity shows it turns at some moment as fast as this, deg/s.
const SOME_RATE_DPS: f64 = 20.0;
/// Degrees in a radian are 57.3; what lies around it is no other scale (own judgement).
const AROUND_57: std::ops::RangeInclusive<f64> = 20.0..=170.0;

/// What is known of one file's samples.
#[derive(Debug, Default)]
pub(super) struct Audit {
    samples: u64,
    first_s: f64,
    last_s: f64,
    gaps: u64,
    gaps_s: f64,
    longest: (f64, f64),
    gyro: Sizes,
    accel: Sizes,
    force: Histogram,
    tilt: Tilt,
}

/// Sizes of a sensor's values.
#[derive(Debug, Default)]
struct Sizes {
    any: bool,
    most: f64,
    wild: u64,
    /// Line and value of the first wild one.
    first: Option<(u64, f64)>,
}

impl Sizes {
    /// Whether the value is one that a sensor may give.
    fn take(&mut self, values: [f64; 3], most: f64, line: u64) -> bool {
        self.any |= values.iter().any(|v| *v != 0.0);
        self.most = values.iter().fold(self.most, |most, v| most.max(v.abs()));
        match values.into_iter().find(|v| v.abs() > most) {
            None => true,
            Some(value) => {
                self.wild += 1;
                self.first.get_or_insert((line, value));
                false
            }
        }
    }
}

impl Audit {
    /// Takes the row of line `line`.
    pub(super) fn take(&mut self, row: &Row, line: u64) {
        if self.samples == 0 {
            self.first_s = row.t_s;
        } else {
            let step_s = row.t_s - self.last_s;
            if step_s > GAP_S {
                self.gaps += 1;
                self.gaps_s += step_s;
                if step_s > self.longest.1 {
                    self.longest = (self.last_s, step_s);
                }
            }
        }
        self.samples += 1;
        let fits = [
            self.gyro.take(row.gyro_rad_s, MOST_RATE_RAD_S, line),
            self.accel.take(row.acc_m_s2, MOST_FORCE_M_S2, line),
        ];
        // Values in deg/s under a name in rad/s are wild and still show the unit.
        if fits[1] {
            self.force.take(norm(row.acc_m_s2) / STANDARD_GRAVITY_M_S2);
            if row.gyro_rad_s.iter().all(|v| v.abs() < 1e6) {
                self.tilt.take(row);
            }
        }
        self.last_s = row.t_s;
    }

    /// What is suspicious.
    pub(super) fn warnings(&self, role: Role) -> Vec<ImportWarning> {
        let mut all = Vec::new();
        self.times(role, &mut all);
        let unit_of_rate = self.tilt.gyro_unit(role, self.gyro.most);
        let sensors = [(Sensor::Gyroscope, &self.gyro), (Sensor::Accelerometer, &self.accel)];
        for (sensor, sizes) in sensors {
            if !sizes.any && self.samples > 0 {
                all.push(ImportWarning::AllZero { role, sensor });
            }
            let unit = if sensor == Sensor::Gyroscope {
                180.0 / std::f64::consts::PI
            } else {
                1.0 / STANDARD_GRAVITY_M_S2
            };
            // Values in deg/s taken for rad/s are wild; the unit says it better.
            if let Some((line, value)) = sizes.first
                && !(sensor == Sensor::Gyroscope && unit_of_rate.is_some())
            {
                let (count, of) = (sizes.wild, self.samples);
                all.push(ImportWarning::OutOfRange { role, sensor, line, value: value * unit, count, of });
            }
        }
        if self.accel.any
            && let Some(found_g) = self.force.median()
            && !ORDINARY_GRAVITY_G.contains(&found_g)
        {
            let near = |g: f64| (0.8..1.25).contains(&(found_g / g));
            let mistaken = if near(STANDARD_GRAVITY_M_S2) {
                Some(Mistaken::MetrePerSecondSquared)
            } else if near(1.0 / STANDARD_GRAVITY_M_S2) {
                Some(Mistaken::StandardGravity)
            } else {
                None
            };
            all.push(ImportWarning::Gravity { role, found_g, mistaken });
        }
        all.extend(unit_of_rate);
        all
    }

    fn times(&self, role: Role, all: &mut Vec<ImportWarning>) {
        let steps = self.samples.saturating_sub(1);
        if steps == 0 {
            return;
        }
        let span_s = self.last_s - self.first_s;
        // Where most steps are longer than a gap, the rate is what is wrong.
        if self.gaps * 2 < steps {
            let rate_hz = (steps - self.gaps) as f64 / (span_s - self.gaps_s).max(f64::MIN_POSITIVE);
            if self.gaps > 0 {
                let (from_s, longest_s) = self.longest;
                all.push(ImportWarning::Gaps { role, count: self.gaps, longest_s, from_s });
            }
            rate(role, rate_hz, all);
        } else {
            rate(role, steps as f64 / span_s, all);
        }
    }
}

fn rate(role: Role, rate_hz: f64, all: &mut Vec<ImportWarning>) {
    if rate_hz >= LEAST_RATE_HZ {
        return;
    }
    let units = [TimeUnit::Milliseconds, TimeUnit::Microseconds, TimeUnit::Nanoseconds];
    let unit = units.into_iter().find(|u| LOGGER_RATES_HZ.contains(&(rate_hz * u.in_a_second())));
    all.push(match unit {
        Some(unit) => ImportWarning::TimeUnit { role, unit, rate_hz },
        None => ImportWarning::LowRate { role, rate_hz, least_hz: LEAST_RATE_HZ },
    });
}

fn norm(v: [f64; 3]) -> f64 {
    v.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// How often sizes between 10⁻⁴ and 10⁴ occur, in steps of 5 %.
#[derive(Debug)]
struct Histogram(Vec<u64>);

const STEP: f64 = 0.05;
const LOWEST: f64 = 1e-4;

impl Default for Histogram {
    fn default() -> Self {
        Self(vec![0; ((1e4 / LOWEST).ln() / STEP) as usize + 1])
    }
}

impl Histogram {
    fn take(&mut self, size: f64) {
        let at = ((size.max(LOWEST) / LOWEST).ln() / STEP) as usize;
        if let Some(count) = self.0.get_mut(at) {
            *count += 1;
        }
    }

    fn median(&self) -> Option<f64> {
        let half = self.0.iter().sum::<u64>().div_ceil(2);
        let mut seen = 0;
        let at = self.0.iter().position(|n| {
            seen += n;
            seen >= half && half > 0
        })?;
        Some(LOWEST * ((at as f64 + 0.5) * STEP).exp())
    }
}

/// How far gravity turned in the strap's frame by its accelerometer, and by its gyroscope, over
/// short times without much other acceleration. A constant vector seen from a turning frame changes by
/// −ω × a; so the ratio of the two is 1, however the strap is worn.
#[derive(Debug, Default)]
struct Tilt {
    window: Option<TiltWindow>,
    windows: u32,
    seen2: f64,
    said2: f64,
    product: f64,
}

#[derive(Debug)]
struct TiltWindow {
    from_s: f64,
    last_s: f64,
    first: [f64; 3],
    said: [f64; 3],
    /// Least and largest size of the force.
    sizes: (f64, f64),
}

impl Tilt {
    fn take(&mut self, row: &Row) {
        let (a, w) = (row.acc_m_s2, row.gyro_rad_s);
        let size = norm(a);
        if let Some(window) = &mut self.window {
            let dt = row.t_s - window.last_s;
            if dt < TILT_WINDOW_S {
                let change =
                    [a[1] * w[2] - a[2] * w[1], a[2] * w[0] - a[0] * w[2], a[0] * w[1] - a[1] * w[0]];
                for (said, c) in window.said.iter_mut().zip(change) {
                    *said += c * dt;
                }
                window.last_s = row.t_s;
                window.sizes = (window.sizes.0.min(size), window.sizes.1.max(size));
                if row.t_s - window.from_s < TILT_WINDOW_S {
                    return;
                }
                self.close(a);
            }
        }
        let start =
            TiltWindow { from_s: row.t_s, last_s: row.t_s, first: a, said: [0.0; 3], sizes: (size, size) };
        self.window = Some(start);
    }

    fn close(&mut self, last: [f64; 3]) {
        let Some(window) = self.window.take() else { return };
        let (least, most) = window.sizes;
        if least <= 0.0 || most > least * (1.0 + TILT_STEADY) {
            return;
        }
        let seen = [0, 1, 2].map(|i| (last[i] - window.first[i]) / most);
        let said = window.said.map(|v| v / most);
        if norm(seen) < TILT_LEAST_RAD {
            return;
        }
        self.windows += 1;
        self.seen2 += seen.iter().map(|v| v * v).sum::<f64>();
        self.said2 += said.iter().map(|v| v * v).sum::<f64>();
        self.product += seen.iter().zip(said).map(|(a, b)| a * b).sum::<f64>();
    }

    /// `most_rad_s`: the largest rate of the file as it was read.
    fn gyro_unit(&self, role: Role, most_rad_s: f64) -> Option<ImportWarning> {
        let correlation = self.product / (self.seen2 * self.said2).sqrt();
        let certain = correlation * f64::from(2 * self.windows).sqrt() > TILT_CERTAIN;
        if !(certain && correlation > TILT_CORRELATION) {
            return None;
        }
        let times = self.product / self.said2;
        // Nobody turns faster than sensors measure, and somebody who tilts turns.
        let mistaken = if AROUND_57.contains(&times) && most_rad_s.to_degrees() < MOST_RATE_RAD_S {
            Mistaken::RadPerSecond
        } else if AROUND_57.contains(&(1.0 / times)) && most_rad_s > SOME_RATE_DPS {
            Mistaken::DegPerSecond
        } else {
            return None;
        };
        Some(ImportWarning::GyroUnit { role, times, mistaken })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script, SensorModel};

    fn warnings(rows: impl Iterator<Item = Row>, gyro_times: f64) -> (Audit, Vec<ImportWarning>) {
        let mut audit = Audit::default();
        for (i, row) in rows.enumerate() {
            let row = Row { gyro_rad_s: row.gyro_rad_s.map(|v| v * gyro_times), ..row };
            audit.take(&row, i as u64 + 2);
        }
        let found = audit.warnings(Role::Pelvis);
        (audit, found)
    }

    /// Twelve invented players, every strap: none is warned of whose units are right, and every one
    /// whose gyroscope is off by the degrees in a radian.
    #[test]
    fn the_gyroscopes_unit_is_told_by_how_gravity_turns() {
        let mut factors = Vec::new();
        for seed in 0..12 {
            let population = [Population::Amateur, Population::Professional][seed as usize % 2];
            let player = PlayerParams::drawn_from(population, seed);
            let session = Script::practice(seed, player, 2, &PracticeOptions::default()).session();
            for role in Role::ALL {
                let rows: Vec<Row> = session
                    .ideal_samples(role, 208.0, SensorModel::consumer())
                    .map(|s| Row { t_s: s.t_s, gyro_rad_s: s.gyro_rad_s, acc_m_s2: s.accel_m_s2 })
                    .collect();
                let (audit, found) = warnings(rows.iter().copied(), 1.0);
                assert_eq!(found, [], "{role} of {seed}");
                factors.push(audit.tilt.product / audit.tilt.said2);
                for (times, mistaken) in [
                    (1.0_f64.to_radians(), Mistaken::RadPerSecond),
                    (1.0_f64.to_degrees(), Mistaken::DegPerSecond),
                ] {
                    let (_, found) = warnings(rows.iter().copied(), times);
                    let [ImportWarning::GyroUnit { mistaken: said, .. }] = found[..] else {
                        panic!("{role} of {seed}, × {times}: {found:?}, {:?}", audit.tilt)
                    };
                    assert_eq!(said, mistaken, "{role} of {seed}");
                }
            }
        }
        factors.sort_by(f64::total_cmp);
        eprintln!("true rate over the gyroscope's: {:.2} to {:.2}", factors[0], factors[factors.len() - 1]);
    }

    #[test]
    fn the_median_is_within_a_step() {
        let mut sizes = Histogram::default();
        assert_eq!(sizes.median(), None);
        for i in 0..=1000 {
            sizes.take(0.5 + f64::from(i) * 1e-3);
        }
        let median = sizes.median().unwrap();
        assert!((median - 1.0).abs() < STEP, "{median}");
    }
}
