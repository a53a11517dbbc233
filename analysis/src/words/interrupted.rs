//! What is said of a lesson that was interrupted and can be gone on with.

/// Whether the calibration still holds when the lesson goes on: `age_s` old then, `None` if the straps were not
/// calibrated.
pub fn calibration(age_s: Option<f64>, valid_s: f64) -> String {
    match age_s {
        None => "The straps were not calibrated; calibrate them after continuing.".into(),
        Some(age_s) if age_s <= valid_s => {
            format!("The calibration is {} old and holds, if no strap was moved.", span(age_s))
        }
        Some(age_s) => format!("The calibration is {} old; calibrate again after continuing.", span(age_s)),
    }
}

/// A time in minutes, or in hours and minutes.
fn span(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round().max(1.0) as u64;
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

#[cfg(test)]
mod tests {
    use super::calibration;

    #[test]
    fn a_calibration_holds_as_long_as_it_is_valid() {
        assert_eq!(
            calibration(Some(20.0), 7200.0),
            "The calibration is 1 min old and holds, if no strap was moved."
        );
        assert_eq!(
            calibration(Some(7200.0), 7200.0),
            "The calibration is 2 h old and holds, if no strap was moved."
        );
        assert!(
            calibration(Some(7260.0), 7200.0)
                .starts_with("The calibration is 2 h 1 min old; calibrate again")
        );
        assert!(calibration(None, 7200.0).contains("not calibrated"));
    }
}
