//! What is suspicious about an imported file, in words.

use peakorder_protocol::import_warning::{ImportWarning, Mistaken, Sensor, TimeUnit};

/// A sentence: what is suspicious, and what to do.
pub fn warning(warning: &ImportWarning) -> String {
    match warning {
        ImportWarning::BothUnits { role, used, unused } => format!(
            "the {role} file has {used} and {unused}; {used} is used: take out the other if that is the wrong one"
        ),
        ImportWarning::TimeUnit { role, unit, rate_hz } => {
            let (name, divisor) = match unit {
                TimeUnit::Milliseconds => ("milliseconds", "1000"),
                TimeUnit::Microseconds => ("microseconds", "1 000 000"),
                TimeUnit::Nanoseconds => ("nanoseconds", "1 000 000 000"),
            };
            format!(
                "the {role} file has {rate_hz:.2e} samples a second by its time_s, which looks like {name}: divide the times by {divisor}"
            )
        }
        ImportWarning::LowRate { role, rate_hz, least_hz } => format!(
            "the {role} file has {rate_hz:.1} samples a second, too few to see when a swing is fastest (at least {least_hz:.0}): record or export at 100 or more"
        ),
        ImportWarning::Gaps { role, count, longest_s, from_s } => format!(
            "the {role} file has {}, the longest {longest_s:.1} s from {from_s:.3} s on; swings in it are not seen: export the recording again if it should be whole",
            super::plural(*count as usize, "gap")
        ),
        ImportWarning::AllZero { role, sensor } => format!(
            "the {role} file has nothing but zeros of the {}; check what the logger exports",
            name(*sensor)
        ),
        ImportWarning::OutOfRange { role, sensor, line, value, count, of } => format!(
            "the {role} file has {count} of {of} samples that no {} gives, the first in line {line} ({value:.3e} {}); check that line and the unit",
            name(*sensor),
            match sensor {
                Sensor::Gyroscope => "deg/s",
                Sensor::Accelerometer => "g",
            }
        ),
        ImportWarning::Gravity { role, found_g, mistaken } => {
            let what = match mistaken {
                Some(mistaken) => rename(*mistaken),
                None => "check the unit, and that gravity is not taken out".into(),
            };
            format!("the {role} accelerometer mostly reads {found_g:.3} g instead of 1; {what}")
        }
        ImportWarning::GyroUnit { role, times, mistaken } => format!(
            "the {role} strap tilts {times:.2} times as fast as its gyroscope says; {}",
            rename(*mistaken)
        ),
        ImportWarning::SameSamples { one, other } => format!(
            "the {one} and the {other} file hold the same samples; name the right file for each strap"
        ),
        ImportWarning::MissingStrap { role } => {
            format!("without the {role} strap no swing can be told from other turns; give its file too")
        }
        ImportWarning::NoGuidedMovements => "no guided movement is marked, so turns are withheld and peaks are of the resultant speed; mark still, bow and arm-raise in --marks".into(),
    }
}

const fn name(sensor: Sensor) -> &'static str {
    match sensor {
        Sensor::Gyroscope => "gyroscope",
        Sensor::Accelerometer => "accelerometer",
    }
}

fn rename(mistaken: Mistaken) -> String {
    let (quantity, said, is) = match mistaken {
        Mistaken::RadPerSecond => ("gyro", "dps", "rad_s"),
        Mistaken::DegPerSecond => ("gyro", "rad_s", "dps"),
        Mistaken::StandardGravity => ("accel", "m_s2", "g"),
        Mistaken::MetrePerSecondSquared => ("accel", "g", "m_s2"),
    };
    format!("its values look like {quantity}_{{x,y,z}}_{is}, not _{said}: rename the columns")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::assert_distinct;
    use peakorder_protocol::Role;

    #[test]
    fn every_warning_says_what_to_do() {
        let role = Role::Thorax;
        let gyro = |mistaken| ImportWarning::GyroUnit { role, times: 57.0, mistaken };
        let gravity = |mistaken| ImportWarning::Gravity { role, found_g: 9.8, mistaken };
        let all = [
            ImportWarning::BothUnits { role, used: "gyro_x_rad_s".into(), unused: "gyro_x_dps".into() },
            ImportWarning::TimeUnit { role, unit: TimeUnit::Milliseconds, rate_hz: 0.2 },
            ImportWarning::TimeUnit { role, unit: TimeUnit::Nanoseconds, rate_hz: 2e-7 },
            ImportWarning::LowRate { role, rate_hz: 10.0, least_hz: 50.0 },
            ImportWarning::Gaps { role, count: 1, longest_s: 3600.0, from_s: 1.0 },
            ImportWarning::AllZero { role, sensor: Sensor::Gyroscope },
            ImportWarning::OutOfRange {
                role,
                sensor: Sensor::Accelerometer,
                line: 7,
                value: 1e30,
                count: 1,
                of: 9,
            },
            gravity(Some(Mistaken::MetrePerSecondSquared)),
            gravity(None),
            gyro(Mistaken::RadPerSecond),
            gyro(Mistaken::DegPerSecond),
            ImportWarning::SameSamples { one: Role::Pelvis, other: role },
            ImportWarning::MissingStrap { role },
            ImportWarning::NoGuidedMovements,
        ]
        .map(|w| warning(&w));
        assert_distinct(&all);
        let to_do = [
            "take out",
            "divide",
            "record or export",
            "export",
            "check",
            "rename",
            "name the",
            "give",
            "mark ",
        ];
        for sentence in &all {
            assert!(to_do.iter().any(|word| sentence.contains(word)), "{sentence}");
            assert!(!sentence.contains('\n'));
        }
    }
}
