//! What real swings have that smooth pulses lack, and groups of players who have it.
//!
//! Figures marked (a) are of ten real swings of one golfer, measured optically (CMU Graphics Lab Motion Capture
//! Database, subject 64, mocap.cs.cmu.edu; created with funding from NSF EIA-0196217): tops of two to four humps,
//! slower downswings, a thorax that keeps its speed, an arm that rolls before anything turns and has a second
//! hump, an address that drifts. Figures marked (b) are published: Cheetham PJ et al. (2008), amateurs
//! (second-hand); Severin AC et al. (2022), 10.1080/14763141.2019.1649452, seventeen healthy men of 62 years
//! (second-hand). What is marked by neither is own judgement.

use super::channel::{Piece, Shape};
use super::player::{PlayerParams, Population, Posture, Spread};
use super::swing::step;
use super::variation::Vary;
use crate::rng::{Draw, Purpose};

/// Groups of players who move like people.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// As the measured golfer (a).
    Measured,
    /// Amateurs: speeds and times of (b), the manner of (a).
    Amateur,
    /// Older and stiffer: smaller turns, slower (b), the manner of (a).
    Older,
}

/// The top of a segment's speed: humps side by side, with dips between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Top {
    /// How many, from…to.
    pub humps: (usize, usize),
    /// From one to the next, s.
    pub apart_s: (f64, f64),
    /// How far the speed falls between two, share of the peak.
    pub dip: (f64, f64),
    /// How much lower than the highest another may be, share of the peak.
    pub lower: (f64, f64),
    /// Share of the swings in which the first is the highest; else any may be.
    pub first_highest: f64,
    /// When the last is, after impact, from…to s; the others follow from it. If there is none, the player's peak
    /// time is that of the highest.
    pub last_after_s: Option<(f64, f64)>,
}

/// How a person moves, beyond one pulse a segment.
#[derive(Debug, Clone, PartialEq)]
pub struct Manner {
    /// Of pelvis, thorax and arm.
    pub tops: [Top; 3],
    /// The downswing's slow beginning starts so long before its main effort and ends as long after, s: together
    /// they rise almost evenly, as measured speeds do.
    pub early_s: f64,
    /// Longest rise of a speed, s.
    pub longest_rise_s: f64,
    /// Second hump of the arm's speed after impact, from…to deg/s.
    pub arm_again_dps: (f64, f64),
    /// The arm rolls away so long before takeaway, from…to s.
    pub roll_early_s: (f64, f64),
    /// By how much until the top, deg.
    pub roll_deg: f64,
    /// The arm's own drift at address, deg/s RMS about each axis, mostly roll.
    pub arm_drift_dps: f64,
}

/// One hump: from the peak before it, over its own, to the next.
#[derive(Debug, Clone, Copy)]
struct Hump {
    /// Relative to the highest, s.
    at_s: f64,
    height: f64,
    /// Fall of the hump before and rise of this, s; of the first the rise of the whole.
    rise_s: f64,
    fall_s: f64,
}

/// Muscles do not change their pull at once: every pulse is spread by a binomial of this SD, s, which takes its corners
/// away (−3 dB at 17 Hz; measured speeds have been smoothed to 12 Hz, so what real ones do beyond is not known).
const SPREAD_S: f64 = 0.008;
/// Of a binomial of four: step and weights. Its SD is one step.
const BINOMIAL: [f64; 5] = [1.0 / 16.0, 4.0 / 16.0, 6.0 / 16.0, 4.0 / 16.0, 1.0 / 16.0];

/// A drawn top.
#[derive(Debug, Clone)]
pub(super) struct Humps(Vec<Hump>);

impl Humps {
    /// `slower` stretches time. Humps that would begin longer before the highest than `room_s` are left out.
    pub(super) fn drawn(top: &Top, fall_s: f64, room_s: f64, slower: f64, draw: &mut Vary<'_>) -> Self {
        let n = top.humps.0 + draw.below(top.humps.1 - top.humps.0 + 1);
        let highest = if draw.chance(top.first_highest) { 0 } else { draw.below(n) };
        let mut humps: Vec<Hump> = Vec::with_capacity(n);
        for i in 0..n {
            draw.next_part();
            let height = if i == highest { 1.0 } else { 1.0 - draw.uniform(top.lower.0, top.lower.1) };
            draw.next_part();
            let apart_s = slower * draw.uniform(top.apart_s.0, top.apart_s.1);
            // Raised cosines that overlap by half add up to a level top; further apart, by a share ε of their
            // rise, they leave a dip of sin(π ε / 2).
            let gap = draw.uniform(top.dip.0, top.dip.1).asin() * std::f64::consts::FRAC_2_PI;
            let rise_s = apart_s / (1.0 + gap);
            if let Some(last) = humps.last_mut() {
                last.fall_s = rise_s;
            }
            let at_s = humps.last().map_or(0.0, |h| h.at_s + apart_s);
            humps.push(Hump { at_s, height, rise_s, fall_s });
        }
        let origin = humps[highest].at_s;
        humps.retain(|h| origin - h.at_s <= room_s);
        for hump in &mut humps {
            hump.at_s -= origin;
        }
        Self(humps)
    }

    /// Of a top of `peak_dps` at `peak_s`, of which the first hump takes `rise_s`.
    pub(super) fn pieces(&self, peak_dps: f64, peak_s: f64, rise_s: f64) -> Vec<Piece> {
        let pulse = |(i, hump): (usize, &Hump)| {
            let rise_s = if i == 0 { rise_s } else { hump.rise_s };
            let duration_s = rise_s + hump.fall_s;
            let shape = Shape::RaisedCosine { rise: rise_s / duration_s };
            // A raised cosine is twice as fast at its peak as on average.
            let delta = 0.5 * hump.height * peak_dps * duration_s;
            let start_s = peak_s + hump.at_s - rise_s;
            BINOMIAL.into_iter().enumerate().map(move |(k, weight)| {
                let later_s = (k as f64 - 2.0) * SPREAD_S;
                step(start_s + later_s, duration_s, weight * delta, shape)
            })
        };
        self.0.iter().enumerate().flat_map(pulse).collect()
    }

    /// Of the last hump after the highest, s.
    pub(super) fn last_after_s(&self) -> f64 {
        self.0[self.0.len() - 1].at_s
    }

    /// Of the first hump before the highest, s.
    pub(super) fn first_before_s(&self) -> f64 {
        -self.0[0].at_s
    }
}

impl Manner {
    /// That of the measured golfer (a); counts and distances of humps are read off his speeds. In the
    /// other groups the thorax has its last hump somewhat earlier.
    fn drawn(group: Group, draw: &mut Draw) -> Self {
        let pelvis = Top {
            humps: (1, 2),
            apart_s: (0.07, 0.10),
            dip: (0.0, 0.04),
            lower: (0.35, 0.55),
            first_highest: 1.0,
            last_after_s: None,
        };
        let thorax = Top {
            humps: (2, 3),
            apart_s: (0.070, 0.100),
            dip: (0.01, 0.10),
            lower: (0.0, 0.08),
            first_highest: 0.5,
            last_after_s: Some(if group == Group::Measured { (-0.01, 0.08) } else { (-0.04, 0.06) }),
        };
        let arm = Top {
            humps: (1, 2),
            apart_s: (0.060, 0.090),
            dip: (0.0, 0.02),
            lower: (0.03, 0.12),
            first_highest: 0.5,
            last_after_s: None,
        };
        Self {
            tops: [pelvis, thorax, arm],
            early_s: draw.uniform(0.24, 0.32),
            longest_rise_s: 0.8,
            arm_again_dps: (310.0, 470.0),
            roll_early_s: (0.0, 0.4),
            roll_deg: draw.uniform(50.0, 90.0),
            arm_drift_dps: draw.uniform(2.0, 4.0),
        }
    }
}

/// What is drawn of each segment: mean and SD between players.
struct Ranges {
    peak_dps: [(f64, f64); 3],
    before_ms: [(f64, f64); 3],
    away_deg: [(f64, f64); 3],
    open_deg: [(f64, f64); 3],
    early_deg: [f64; 3],
    backswing_s: (f64, f64),
    sway_dps: (f64, f64),
    spread: Spread,
}

impl Group {
    fn ranges(self) -> Ranges {
        match self {
            // (a), but that the arm's turn in its plane is own judgement.
            Self::Measured => Ranges {
                peak_dps: [(320.0, 22.0), (425.0, 22.0), (570.0, 60.0)],
                before_ms: [(102.0, 9.0), (30.0, 26.0), (45.0, 15.0)],
                away_deg: [(46.0, 5.0), (78.0, 4.0), (122.0, 6.0)],
                open_deg: [(32.0, 4.0), (5.0, 3.0), (3.0, 3.0)],
                early_deg: [24.0, 28.0, 40.0],
                backswing_s: (0.95, 0.08),
                sway_dps: (0.9, 1.5),
                spread: Spread { time_ms: 10.0, speed: 0.04, turn_deg: 3.0, texture: 0.01 },
            },
            Self::Amateur => Ranges {
                peak_dps: Population::Amateur.peak_dps(),
                before_ms: Population::Amateur.peak_before_ms(),
                away_deg: [(43.0, 6.0), (84.0, 8.0), (125.0, 9.0)],
                open_deg: [(26.0, 8.0), (18.0, 7.0), (3.0, 3.0)],
                early_deg: [17.0, 26.0, 30.0],
                backswing_s: (0.9, 0.12),
                sway_dps: (0.6, 1.5),
                spread: Spread { time_ms: 9.0, speed: 0.04, turn_deg: 3.0, texture: 0.01 },
            },
            // Pelvis speed, its turn at impact, separation of 33 deg at the top and 15 at impact: (b). Thorax and
            // arm: the amateurs' ratios of speed to that of the pelvis, and their times.
            Self::Older => Ranges {
                peak_dps: [(315.0, 52.5), (465.0, 65.0), (609.0, 75.0)],
                before_ms: Population::Amateur.peak_before_ms(),
                away_deg: [(36.0, 6.0), (69.0, 9.0), (108.0, 10.0)],
                open_deg: [(20.8, 10.6), (6.0, 9.5), (3.0, 3.0)],
                early_deg: [12.0, 20.0, 28.0],
                backswing_s: (1.0, 0.15),
                sway_dps: (0.9, 2.0),
                spread: Spread { time_ms: 11.0, speed: 0.05, turn_deg: 3.0, texture: 0.012 },
            },
        }
    }
}

impl PlayerParams {
    /// A player of a group, who moves like a person.
    pub fn like_people(group: Group, seed: u64) -> Self {
        let mut draw = Draw::new(seed, Purpose::Player, 2);
        let mut player = Self::drawn_from(Population::Amateur, seed).with_hanging_arm();
        let of = group.ranges();
        for (i, p) in player.segments.iter_mut().enumerate() {
            let mut pick = |(mean, sd): (f64, f64)| draw.bounded(mean, sd);
            p.peak_dps = pick(of.peak_dps[i]);
            p.peak_before_ms = pick(of.before_ms[i]);
            p.away_deg = pick(of.away_deg[i]);
            p.open_deg = pick(of.open_deg[i]);
            p.early_deg = of.early_deg[i] * pick((1.0, 0.15));
            p.fall_ms = pick(([150.0, 170.0, 140.0][i], 15.0));
            p.follow_gain = 0.0;
        }
        player.backswing_s = draw.bounded(of.backswing_s.0, of.backswing_s.1);
        player.address_sway_dps = draw.uniform(of.sway_dps.0, of.sway_dps.1);
        player.spread = of.spread;
        // The upper arm 3–10 deg off the vertical (a).
        player.posture = Posture {
            arm_forward_deg: draw.uniform(2.0, 8.0),
            arm_side_deg: draw.uniform(-6.0, -1.0),
            ..player.posture
        };
        player.manner = Some(Manner::drawn(group, &mut draw));
        player
    }
}
