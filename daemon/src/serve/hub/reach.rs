//! Whether the player is at the drill target now, for a tone inside the movement: "turn until you hear it".
//!
//! It is decided here, with every batch of samples, and only changes are sent: the live pose is published for a picture, 25
//! times a second, and would come up to 40 ms late.

use super::lesson_state::LessonState;
use peakorder_analysis::measure::Measure;
use peakorder_motion::attitude::Attitude;
use peakorder_protocol::Role;
use peakorder_protocol::remark::Remarks;
use serde::Serialize;
use std::sync::Arc;

/// A pose is still while every trunk segment is slower than this, deg/s, and
const STILL_DPS: f64 = 15.0;
/// stays so near to where it was when it became still, deg: a slow turn is not still.
const STILL_DEG: f64 = 1.5;
/// A still pose is an address after so long, s,
const ADDRESS_S: f64 = 0.5;
/// as it was this long before, s,
const MOMENT_S: f64 = 0.25;
/// if the trunk is turned like at the last one, deg. A held top is not.
const ALIKE_DEG: f64 = 12.0;
/// Else, because a player has turned round or the straps have drifted: after so long,
const LONG_S: f64 = 6.0;
/// or after this if the last address was left so long ago that no repetition lasts as long, s.
const MOVED_ON_S: f64 = 1.0;
const LEFT_S: f64 = 15.0;
/// A tilt is as it was at address within this, deg: a target that address meets is reached by moving.
const MOVED_DEG: f64 = 2.0;
/// Once reached it is so until the value is this much short, deg: noise does not make the tone flutter.
const RELEASE_DEG: f64 = 0.5;

/// The trunk against the target now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Reach {
    /// Session clock of the newest record, seconds.
    pub t_s: f64,
    /// The player is at the target, or beyond it.
    pub reached: bool,
    /// The last still pose is known, from which turns count.
    pub address: bool,
}

/// One trunk segment's angles, degrees, signed as in the swing file.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Angles {
    turn: f64,
    lateral: f64,
}

/// Pelvis and thorax, as far as they are calibrated.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Trunk {
    pelvis: Option<Angles>,
    thorax: Option<Angles>,
}

impl Trunk {
    fn of(self, role: Role) -> Option<Angles> {
        match role {
            Role::Pelvis => self.pelvis,
            Role::Thorax => self.thorax,
            Role::LeadArm => None,
        }
    }

    fn both(self, other: Self) -> impl Iterator<Item = (Angles, Angles)> {
        [self.pelvis.zip(other.pelvis), self.thorax.zip(other.thorax)].into_iter().flatten()
    }

    /// Whether the same segments are turned and tilted alike, within so many degrees.
    fn alike(self, other: Self, deg: f64) -> bool {
        self.pelvis.is_some() == other.pelvis.is_some()
            && self.thorax.is_some() == other.thorax.is_some()
            && self
                .both(other)
                .all(|(a, b)| turned(a.turn, b.turn).abs() <= deg && (a.lateral - b.lateral).abs() <= deg)
    }
}

/// From one direction to another, within ±180 degrees.
fn turned(to: f64, from: f64) -> f64 {
    (to - from + 540.0).rem_euclid(360.0) - 180.0
}

/// A pose that lasts.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    first: Trunk,
    since_s: f64,
    /// The pose a moment ago, and when; and the one before it. A slow turn begins within what counts as still: the older
    /// one is from before it.
    recent: (Trunk, f64),
    settled: Trunk,
}

/// The target of position that remarks set, if any.
#[derive(Debug)]
struct Wanted {
    remarks: Arc<Remarks>,
    position: Option<(Measure, f64)>,
}

/// Follows the trunk from address to the target.
#[derive(Debug, Default)]
pub(super) struct ReachTracker {
    wanted: Option<Wanted>,
    stretch: Option<Stretch>,
    /// The last address, and when it was last held.
    address: Option<(Trunk, f64)>,
    reached: bool,
}

impl ReachTracker {
    /// The state after the newest samples; `None` where no target of position is in force.
    pub(super) fn update(&mut self, state: &LessonState, attitudes: &[Attitude], t_s: f64) -> Option<Reach> {
        let (trunk, fastest) = trunk(attitudes);
        self.follow(trunk, fastest, t_s);
        let (measure, value) = self.target(state)?;
        self.reached = self.address.is_some_and(|(address, _)| {
            let now = position(measure, trunk, address);
            let needed = value.abs() - if self.reached { RELEASE_DEG } else { 0.0 };
            now.is_some_and(|now| now * value.signum() >= needed)
        });
        Some(Reach { t_s, reached: self.reached, address: self.address.is_some() })
    }

    /// The target in force, if it is a position of the trunk.
    fn target(&mut self, state: &LessonState) -> Option<(Measure, f64)> {
        let remarks = state.shared_remarks();
        // Remarks are replaced as a whole.
        if !self.wanted.as_ref().is_some_and(|w| Arc::ptr_eq(&w.remarks, remarks)) {
            let found = remarks.target.as_ref().and_then(|t| Some((Measure::from_key(&t.measure)?, t.value)));
            let found = found.filter(|(m, value)| is_position(*m) && value.abs() >= MOVED_DEG);
            self.wanted = Some(Wanted { remarks: Arc::clone(remarks), position: found });
        }
        let block = &remarks.target.as_ref()?.block;
        self.wanted.as_ref()?.position.filter(|_| block.is_empty() || block == state.block())
    }

    /// Finds the address: the last pose that was still before the movement.
    fn follow(&mut self, trunk: Trunk, fastest_dps: f64, t_s: f64) {
        if trunk == Trunk::default() || fastest_dps > STILL_DPS {
            self.stretch = None;
            return;
        }
        let stretch = match self.stretch {
            Some(s) if s.first.alike(trunk, STILL_DEG) => s,
            _ => Stretch { first: trunk, since_s: t_s, recent: (trunk, t_s), settled: trunk },
        };
        let stretch = if t_s - stretch.recent.1 >= MOMENT_S {
            Stretch { settled: stretch.recent.0, recent: (trunk, t_s), ..stretch }
        } else {
            stretch
        };
        self.stretch = Some(stretch);
        let lasted = t_s - stretch.since_s;
        let is_address = match self.address {
            None => lasted >= ADDRESS_S,
            Some((last, _)) if last.alike(trunk, ALIKE_DEG) => lasted >= ADDRESS_S,
            Some((_, held_s)) => {
                lasted >= LONG_S || (lasted >= MOVED_ON_S && stretch.since_s - held_s >= LEFT_S)
            }
        };
        if is_address {
            self.address = Some((stretch.settled, t_s));
        }
    }
}

/// Whether the measure is a position of the trunk, which the live attitude shows.
fn is_position(measure: Measure) -> bool {
    matches!(
        measure,
        Measure::TurnAtTop(_)
            | Measure::TurnAtImpact(_)
            | Measure::TiltAtTop(_)
            | Measure::SeparationAtTop
            | Measure::SeparationLargest
    )
}

fn position(measure: Measure, now: Trunk, address: Trunk) -> Option<f64> {
    let turn = |role: Role| Some(turned(now.of(role)?.turn, address.of(role)?.turn));
    match measure {
        Measure::TurnAtTop(role) | Measure::TurnAtImpact(role) => turn(role),
        Measure::SeparationAtTop | Measure::SeparationLargest => {
            Some(turn(Role::Thorax)? - turn(Role::Pelvis)?)
        }
        Measure::TiltAtTop(role) => {
            let (now, before) = (now.of(role)?.lateral, address.of(role)?.lateral);
            ((now - before).abs() >= MOVED_DEG).then_some(now)
        }
        _ => None,
    }
}

/// The trunk, and the speed of its faster segment, deg/s.
fn trunk(attitudes: &[Attitude]) -> (Trunk, f64) {
    let of = |role: Role| {
        let found = attitudes.iter().find(|a| a.role == role)?;
        let angles = found.angles?;
        let speed = found.rate_dps.iter().map(|v| v * v).sum::<f64>().sqrt();
        Some((Angles { turn: angles.turn_deg, lateral: angles.lateral_deg }, speed))
    };
    let (pelvis, thorax) = (of(Role::Pelvis), of(Role::Thorax));
    let fastest = [pelvis, thorax].into_iter().flatten().map(|(_, speed)| speed).fold(0.0, f64::max);
    (Trunk { pelvis: pelvis.map(|p| p.0), thorax: thorax.map(|t| t.0) }, fastest)
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP_S: f64 = 0.01;

    /// A body whose pelvis turns by half of what its thorax does.
    struct Body {
        tracker: ReachTracker,
        t_s: f64,
        turn: f64,
    }

    impl Body {
        fn new(turn: f64) -> Self {
            Self { tracker: ReachTracker::default(), t_s: 0.0, turn }
        }

        fn trunk(&self) -> Trunk {
            let angles = |share: f64| Some(Angles { turn: share * self.turn, lateral: 2.0 });
            Trunk { pelvis: angles(0.5), thorax: angles(1.0) }
        }

        fn hold(&mut self, for_s: f64) {
            self.to(self.turn, for_s);
        }

        /// Turns the thorax to `turn` in so many seconds.
        fn to(&mut self, turn: f64, in_s: f64) {
            let steps = (in_s / STEP_S).round() as i32;
            let (from, speed) = (self.turn, (turn - self.turn).abs() / in_s);
            for i in 1..=steps {
                self.turn = from + (turn - from) * f64::from(i) / f64::from(steps);
                self.t_s += STEP_S;
                self.tracker.follow(self.trunk(), speed, self.t_s);
            }
        }

        fn thorax(&self) -> Option<f64> {
            position(Measure::TurnAtTop(Role::Thorax), self.trunk(), self.tracker.address?.0)
        }
    }

    #[test]
    fn turns_count_from_the_last_still_pose_and_a_held_top_is_none() {
        let mut body = Body::new(7.0);
        body.hold(0.3);
        assert_eq!(body.thorax(), None, "not still for long enough");
        body.hold(0.4);
        assert!(body.thorax().expect("an address").abs() < 1e-9);
        // Back, held for three seconds, and back again: the address is still the same.
        for (turn_s, hold_s) in [(0.8, 0.1), (2.0, 3.0), (9.0, 4.0)] {
            body.to(-60.0, turn_s);
            assert!((body.thorax().expect("an address") + 67.0).abs() < 1e-6, "{turn_s}");
            body.hold(hold_s);
            assert!((body.thorax().expect("an address") + 67.0).abs() < 1e-6, "held {hold_s}");
            body.to(7.0, 1.0);
            body.hold(1.0);
        }
        // Within some degrees the newer address counts: the straps' headings drift.
        body.to(3.0, 0.5);
        body.hold(0.6);
        assert!(body.thorax().expect("an address").abs() < 1e-6);
    }

    #[test]
    fn a_slow_turn_is_not_still_and_another_place_becomes_the_address() {
        let mut body = Body::new(0.0);
        body.hold(1.0);
        // 5 deg/s, slower than what counts as still.
        body.to(-40.0, 8.0);
        assert!((body.thorax().expect("an address") + 40.0).abs() < 2.0, "{:?}", body.thorax());
        // Turned round to talk for a while, and then still: that is where the next one starts.
        body.to(70.0, 1.0);
        body.to(95.0, 1.0);
        body.hold(7.0);
        assert!(body.thorax().expect("an address").abs() < 1e-6);
    }

    #[test]
    fn a_walk_ends_at_a_new_address_soon() {
        let mut body = Body::new(0.0);
        body.hold(1.0);
        for _ in 0..12 {
            body.to(50.0, 0.8);
            body.to(20.0, 0.8);
        }
        body.hold(1.2);
        assert!(body.thorax().expect("an address").abs() < 1e-6);
    }

    #[test]
    fn separation_is_told_by_both_and_a_tilt_by_moving() {
        let address = Trunk {
            pelvis: Some(Angles { turn: 170.0, lateral: 3.0 }),
            thorax: Some(Angles { turn: -178.0, lateral: 8.0 }),
        };
        let now = Trunk {
            pelvis: Some(Angles { turn: 140.0, lateral: 6.5 }),
            thorax: Some(Angles { turn: 100.0, lateral: 8.5 }),
        };
        let told = |m| position(m, now, address);
        assert_eq!(told(Measure::TurnAtTop(Role::Pelvis)), Some(-30.0));
        // Past ±180 degrees.
        assert_eq!(told(Measure::TurnAtTop(Role::Thorax)), Some(-82.0));
        assert_eq!(told(Measure::SeparationAtTop), Some(-52.0));
        assert_eq!(told(Measure::TiltAtTop(Role::Pelvis)), Some(6.5));
        assert_eq!(told(Measure::TiltAtTop(Role::Thorax)), None, "as at address");
        assert_eq!(told(Measure::Backswing), None);
    }
}
