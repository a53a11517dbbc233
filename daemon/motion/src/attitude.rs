//! How every segment stands right now, by the running filter: for a live view of the body
//! between swings. Nothing of a swing's numbers comes from here.

use super::angles::{Cardan, Readable};
use super::segment::Segment;
use nalgebra::Vector3;
use peakorder_protocol::{Handedness, Role};

/// One segment's attitude at its newest sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attitude {
    /// Segment.
    pub role: Role,
    /// Session time of the newest sample, s.
    pub t_s: f64,
    /// Up in the segment's axes (in the strap's while not calibrated), unit length.
    pub up: [f64; 3],
    /// Rate in the same axes, bias removed, deg/s.
    pub rate_dps: [f64; 3],
    /// The strap has been lying or held still for a second.
    pub at_rest: bool,
    /// Angles; none while not calibrated. The turn is that since the last address, or since
    /// calibration before the first swing, within ±180 deg. Without a magnetometer it drifts by
    /// some degrees a minute, each segment by itself.
    pub angles: Option<Readable>,
}

/// Attitude of one strap's segment; none before its first sample.
pub(super) fn attitude(stream: &Segment, handedness: Handedness) -> Option<Attitude> {
    let sample = stream.newest()?;
    let mounting = stream.mounting();
    let in_segment = |v: Vector3<f64>| mounting.map_or(v, |a| a.to_segment * v);
    let rate = in_segment(sample.gyro - stream.bias().bias()).map(f64::to_degrees);
    Some(Attitude {
        role: stream.role(),
        t_s: stream.latest_s(),
        up: in_segment(sample.attitude.inverse() * Vector3::y()).into(),
        rate_dps: rate.into(),
        at_rest: stream.bias().rest_since_s().is_some(),
        angles: mounting.map(|a| {
            let cardan = Cardan::from_quaternion(&(sample.attitude * a.to_segment.inverse()));
            let turn = cardan.axial - stream.heading_zero_rad();
            let axial = turn.sin().atan2(turn.cos());
            Cardan { axial, ..cardan }.for_people(stream.role(), handedness)
        }),
    })
}

#[cfg(test)]
mod tests {
    use crate::pipeline::Pipeline;
    use crate::settings::FilterKind;
    use nalgebra::Vector3;
    use peakorder_protocol::session::Player;
    use peakorder_protocol::{Handedness, Role};
    use peakorder_virtual_straps::virtual_session;
    use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script};

    /// Against the virtual players' exact attitude, at moments between swings, for every filter.
    #[test]
    fn between_swings_the_attitude_is_that_of_the_body() {
        for (kind, handedness) in [
            (FilterKind::Madgwick, Handedness::Right),
            (FilterKind::Mahony, Handedness::Left),
            (FilterKind::Vqf, Handedness::Left),
        ] {
            let mut player = PlayerParams::mean_of(Population::Amateur);
            player.handedness = handedness;
            let script = Script::practice(11, player, 3, &PracticeOptions::default());
            let mut meta = virtual_session(
                &script,
                "attitude",
                Player { handedness, ..Player::default() },
                "2026-01-01T00:00:00Z",
            );
            meta.settings.insert("filter".into(), kind.to_string().into());
            let session = script.session();
            let addresses: Vec<f64> = session.truth().iter().map(|t| t.takeaway_s - 0.1).collect();
            let mut pipeline = Pipeline::new(&meta).expect("the virtual session is valid");
            assert!(pipeline.attitudes().is_empty(), "nothing has come in");
            let mut out = Vec::new();
            let mut next = 0;
            let mut compared = 0;
            for record in session.records() {
                pipeline.push(&record, &mut out);
                if next == addresses.len() || (record.t_ns() as f64) * 1e-9 < addresses[next] {
                    continue;
                }
                for seen in pipeline.attitudes() {
                    let truth = session.sample_truth(seen.role, seen.t_s).orientation;
                    let want = truth.inverse() * Vector3::y();
                    let off = Vector3::from(seen.up).angle(&want).to_degrees();
                    // Long axis after calibration 1.1 deg off on average; a filter some degrees after a swing.
                    assert!(off < 8.0, "{kind} {} {}: up is {off:.1} deg off", seen.role, seen.t_s);
                    assert!(seen.rate_dps.iter().all(|r| r.abs() < 40.0), "{seen:?}");
                    let angles = seen.angles.expect("calibrated");
                    if seen.role != Role::LeadArm && next > 0 {
                        assert!(angles.turn_deg.abs() < 15.0, "back at address: {seen:?}");
                        assert!(angles.flexion_deg > 5.0, "a player bends forward: {seen:?}");
                    }
                    compared += 1;
                }
                next += 1;
            }
            assert_eq!(compared, 9);
        }
    }
}
