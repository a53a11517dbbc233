//! Follows the trunk's turn through a drill, sample by sample, and says when a turn back and forward again is over.
//!
//! Slow turns and brisk ones differ in speed by a factor of ten, so nothing here is a threshold of speed but what
//! calm is: the turn is followed as an angle, from one point where it turns round to the next.

use std::collections::VecDeque;

/// The turn has turned round once it has come back by this, deg: above sway, below any repetition.
const ROUND_DEG: f64 = 8.0;
/// Turned back by less than this is no repetition, deg.
const LEAST_BACK_DEG: f64 = 18.0;
/// Come forward again by less than this share of it is a pause on the way.
const FORWARD_SHARE: f64 = 0.6;
/// Calm: over so long, s, the turn changes by less than this, deg, and the trunk's speed is below this, deg/s. A
/// restless player sways by some 4 deg/s, a slow repetition turns by 10.
const CALM_S: f64 = 0.35;
const CALM_TURN_DEG: f64 = 2.2;
const CALM_DPS: f64 = 18.0;
/// Of a calm that lasts the last part counts, s.
const CALM_KEPT_S: f64 = 1.5;
/// A calm further back than this is no address: of a drill 75 s are kept.
const ADDRESS_WITHIN_S: f64 = 66.0;
/// A calm is at home when it is within this of where the repetition before began, deg, or within this share of how
/// far it turned.
const HOME_DEG: f64 = 12.0;
const HOME_SHARE: f64 = 0.25;

/// The trunk stood still.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Calm {
    from_s: f64,
    to_s: f64,
    turn_deg: f64,
}

/// The turn at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
struct At {
    t_s: f64,
    turn_deg: f64,
}

/// A turn back and forward again that is worth looking at; session times, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The calm that its angles count from.
    pub address_s: [f64; 2],
    /// The turn back began after this: the end of that calm, or where the turn through of the repetition before ended.
    pub from_s: f64,
    /// It began there without a calm between.
    pub chained: bool,
    /// Furthest back, roughly.
    pub back_s: f64,
    /// Furthest forward after it.
    pub forward_s: f64,
    /// Seen to be over.
    pub seen_s: f64,
}

/// The watch over one drill.
#[derive(Debug, Clone)]
pub struct Watch {
    turn_deg: f64,
    last_s: Option<f64>,
    /// The last [`CALM_S`]: time, turn, speed.
    recent: VecDeque<(f64, f64, f64)>,
    speed_sum: f64,
    calm: Option<Calm>,
    calms: VecDeque<Calm>,
    rising: bool,
    /// Furthest forward before the turn back that is going on or was the last.
    before: At,
    /// Furthest back of it.
    low: At,
    /// Furthest forward since.
    high: At,
    looked_at: bool,
    /// Where the last repetition began, and how far it turned.
    home: Option<(f64, f64)>,
}

impl Default for Watch {
    fn default() -> Self {
        Self::new()
    }
}

impl Watch {
    /// A watch that begins with the first sample.
    pub fn new() -> Self {
        let none = At { t_s: f64::NEG_INFINITY, turn_deg: 0.0 };
        Self {
            turn_deg: 0.0,
            last_s: None,
            recent: VecDeque::new(),
            speed_sum: 0.0,
            calm: None,
            calms: VecDeque::new(),
            rising: false,
            before: none,
            low: none,
            high: none,
            looked_at: false,
            home: None,
        }
    }

    /// Takes the trunk's rate of turn towards the target and its speed, deg/s. `Some` when a turn back and forward is
    /// over.
    pub fn push(&mut self, t_s: f64, forward_dps: f64, speed_dps: f64) -> Option<Candidate> {
        let Some(last_s) = self.last_s.replace(t_s) else {
            (self.before.t_s, self.low.t_s, self.high.t_s) = (t_s, t_s, t_s);
            return None;
        };
        self.turn_deg += forward_dps * (t_s - last_s).max(0.0);
        let here = At { t_s, turn_deg: self.turn_deg };
        let settled = self.note_calm(here, speed_dps);
        let turns_back = self.follow(here);
        let over = turns_back || (settled && self.rising);
        let candidate = if over && !self.looked_at { self.candidate(t_s) } else { None };
        self.looked_at |= candidate.is_some();
        if turns_back {
            self.rising = false;
            let forward = self.high.turn_deg - self.low.turn_deg;
            // Where it came forward by less, the turn back goes on after a pause.
            if self.looked_at || forward >= FORWARD_SHARE * (self.before.turn_deg - self.low.turn_deg) {
                (self.before, self.low, self.looked_at) = (self.high, here, false);
            }
        }
        candidate
    }

    /// What began at the calm of `candidate` was a repetition that turned back by `back_deg`.
    pub fn found(&mut self, candidate: &Candidate, back_deg: f64) {
        let began = self.calms.iter().rev().find(|c| c.to_s <= candidate.address_s[1]);
        if let Some(calm) = began {
            self.home = Some((calm.turn_deg, back_deg));
        }
    }

    /// Follows the turn from one point where it turns round to the next; true where a turn forward is over because it
    /// turns back.
    fn follow(&mut self, here: At) -> bool {
        if self.rising {
            if here.turn_deg > self.high.turn_deg {
                self.high = here;
            }
            return here.turn_deg < self.high.turn_deg - ROUND_DEG;
        }
        if here.turn_deg < self.low.turn_deg {
            self.low = here;
        } else if here.turn_deg > self.before.turn_deg && self.low.turn_deg > self.before.turn_deg - ROUND_DEG
        {
            // Turning forward without having turned back.
            (self.before, self.low) = (here, here);
        } else if here.turn_deg > self.low.turn_deg + ROUND_DEG {
            (self.rising, self.high) = (true, here);
        }
        false
    }

    /// Whether a calm has just been reached.
    fn note_calm(&mut self, here: At, speed_dps: f64) -> bool {
        self.recent.push_back((here.t_s, here.turn_deg, speed_dps));
        self.speed_sum += speed_dps;
        while self.recent.front().is_some_and(|(t, ..)| here.t_s - t > CALM_S) {
            if let Some((.., speed)) = self.recent.pop_front() {
                self.speed_sum -= speed;
            }
        }
        let Some(&(from_s, turn_deg, _)) = self.recent.front() else { return false };
        let calm = here.t_s - from_s > 0.9 * CALM_S
            && (here.turn_deg - turn_deg).abs() < CALM_TURN_DEG
            && self.speed_sum < CALM_DPS * self.recent.len() as f64;
        let middle_deg = 0.5 * (here.turn_deg + turn_deg);
        match (&mut self.calm, calm) {
            (None, true) => {
                self.calm = Some(Calm { from_s, to_s: here.t_s, turn_deg: middle_deg });
                return true;
            }
            (Some(open), true) => {
                open.to_s = here.t_s;
                open.from_s = open.from_s.max(here.t_s - CALM_KEPT_S);
                open.turn_deg = middle_deg;
            }
            (open @ Some(_), false) => {
                self.calms.extend(open.take());
                while self.calms.front().is_some_and(|c| here.t_s - c.to_s > ADDRESS_WITHIN_S) {
                    self.calms.pop_front();
                }
            }
            (None, false) => {}
        }
        false
    }

    fn candidate(&self, seen_s: f64) -> Option<Candidate> {
        let (low, high) = (self.low, self.high);
        if high.turn_deg - low.turn_deg < LEAST_BACK_DEG * FORWARD_SHARE {
            return None;
        }
        let calm = self.address()?;
        let back_deg = calm.turn_deg - low.turn_deg;
        if high.turn_deg - low.turn_deg < FORWARD_SHARE * back_deg {
            return None;
        }
        // The turn through of the repetition before lies between.
        let chained = self.before.t_s > calm.to_s + 0.2 && self.before.turn_deg > calm.turn_deg + ROUND_DEG;
        Some(Candidate {
            address_s: [calm.from_s, calm.to_s],
            from_s: if chained { self.before.t_s } else { calm.to_s },
            chained,
            back_s: low.t_s,
            forward_s: high.t_s,
            seen_s,
        })
    }

    /// The calm from which the turn back to `low` counts: the last one at home, or else the last one.
    fn address(&self) -> Option<Calm> {
        let low = self.low;
        let fits = |c: &&Calm| {
            c.to_s <= low.t_s
                && low.t_s - c.from_s < ADDRESS_WITHIN_S
                && c.turn_deg - low.turn_deg > LEAST_BACK_DEG
        };
        let at_home = |c: &&Calm| {
            self.home.is_some_and(|(home, back)| (c.turn_deg - home).abs() < HOME_DEG.max(HOME_SHARE * back))
        };
        let fitting = || self.calms.iter().rev().filter(fits);
        fitting().find(at_home).or_else(|| fitting().next()).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Angles of the trunk, deg, reached at the given times, s, by smooth turns.
    fn played(points: &[(f64, f64)]) -> Vec<Candidate> {
        let mut watch = Watch::new();
        let mut found = Vec::new();
        let (mut t, mut last) = (0.0, points[0].1);
        for pair in points.windows(2) {
            let ((t0, a), (t1, b)) = (pair[0], pair[1]);
            while t < t1 {
                let x: f64 = (t - t0) / (t1 - t0);
                let angle = a + (b - a) * x * x * x * (10.0 - 15.0 * x + 6.0 * x * x);
                let rate = (angle - last) / 0.005;
                if let Some(candidate) = watch.push(t, rate, rate.abs()) {
                    watch.found(&candidate, 60.0);
                    found.push(candidate);
                }
                last = angle;
                t += 0.005;
            }
        }
        found
    }

    #[test]
    fn slow_and_brisk_turns_are_seen_once_each() {
        for s in [0.5, 1.0, 3.0, 6.0] {
            let turn = played(&[
                (0.0, 0.0),
                (1.0, 0.0),
                (1.0 + s, -60.0),
                (1.0 + 2.5 * s, 40.0),
                (2.5 + 2.5 * s, 40.0),
            ]);
            assert_eq!(turn.len(), 1, "{s} s");
            assert!((turn[0].back_s - 1.0 - s).abs() < 0.1 + 0.1 * s, "{s} s: {turn:?}");
            assert!(turn[0].address_s[1] < 1.0 + 0.4 * s && !turn[0].chained);
        }
    }

    #[test]
    fn a_hold_at_the_top_and_one_through_are_no_address() {
        let one = [(0.0, 0.0), (1.0, 0.0), (2.0, -60.0), (4.0, -60.0), (5.0, 40.0), (6.5, 40.0), (7.5, 0.0)];
        let mut two = one.to_vec();
        two.extend(one.iter().skip(1).map(|(t, a)| (t + 8.0, *a)));
        let found = played(&two);
        assert_eq!(found.len(), 2, "{found:?}");
        assert!((7.4..9.1).contains(&found[1].address_s[0]), "{found:?}");
        assert!(found[1].back_s > 9.9 && !found[1].chained);
    }

    #[test]
    fn repetitions_without_a_pause_count_from_where_the_first_began() {
        let mut points = vec![(0.0, 0.0), (1.0, 0.0)];
        for i in 0..5 {
            let t = 1.0 + 2.0 * f64::from(i);
            points.extend([(t + 1.0, -60.0), (t + 2.0, 40.0)]);
        }
        points.extend([(12.0, 0.0), (14.0, 0.0)]);
        let found = played(&points);
        assert_eq!(found.len(), 5, "{found:?}");
        assert!(found[1..].iter().all(|c| c.chained && c.address_s[1] < 1.3), "{found:?}");
        assert!((found[2].from_s - 5.0).abs() < 0.2);
    }

    #[test]
    fn standing_about_and_small_turns_are_nothing() {
        assert_eq!(played(&[(0.0, 0.0), (2.0, 5.0), (4.0, -8.0), (6.0, 6.0), (8.0, -6.0), (10.0, 0.0)]), []);
        assert_eq!(played(&[(0.0, 0.0), (1.0, 0.0), (2.0, -60.0), (9.0, -60.0)]), [], "it did not come back");
    }
}
