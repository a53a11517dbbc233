//! Who swings: parameters of a player's full swing and populations to draw them from.
//!
//! Peak speeds and times before impact: Cheetham PJ et al. (2008), Comparison of kinematic
//! sequence parameters between amateur and professional golfers, in *Science and Golf V*,
//! 30–36 (means and SDs between golfers; second-hand, the paper itself was not opened).
//! Turns at the top: M. `McTeigue` et al. (1994), *Science and Golf II*, 50–58, and Burden AM
//! et al. (1998), J Sports Sci 16:165–176. Backswing time: Grober RD, Cholewicki J (2006),
//! arXiv physics/0611291. Follow-through of the thorax: Zhou JY et al. (2022),
//! 10.3389/fspor.2022.986281. What no source gives (spread within a player, fall times of
//! amateurs' pulses, posture) is an assumption and is marked so.

use super::channel::Family;
use super::people::Manner;
use crate::rng::{Draw, Purpose};
use peakorder_protocol::Handedness;
use serde::Serialize;

/// One segment's part in a full swing. Speeds are the component about the own long axis
/// (pelvis, thorax) or perpendicular to it (lead arm).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SegmentParams {
    /// Own turn away from address at the segment's reversal, degrees, positive.
    pub away_deg: f64,
    /// Turn in an early, slow start towards the target ahead of the main effort, degrees:
    /// makes the segment reverse earlier.
    pub early_deg: f64,
    /// Own turn beyond address at impact, degrees, positive towards the target.
    pub open_deg: f64,
    /// Peak speed in the downswing, deg/s.
    pub peak_dps: f64,
    /// Peak before impact, ms; negative = the segment still accelerates at impact.
    pub peak_before_ms: f64,
    /// From the peak to rest if nothing followed, ms.
    pub fall_ms: f64,
    /// Own turn at the finish that is at least reached, degrees.
    pub finish_deg: f64,
    /// Speed maximum after impact as a multiple of the downswing peak; 0 = none of its own.
    pub follow_gain: f64,
}

/// Spread between the swings of one player (assumption: no published source gives it).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// SD of each peak time, ms.
    pub time_ms: f64,
    /// SD of each speed, as a share.
    pub speed: f64,
    /// SD of each turn, degrees.
    pub turn_deg: f64,
    /// Size of irregular small bumps on each speed curve, share of the peak speed.
    pub texture: f64,
}

/// Posture at address, degrees from upright and from a hanging arm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Posture {
    /// Pelvis forward.
    pub pelvis_forward_deg: f64,
    /// Thorax forward.
    pub thorax_forward_deg: f64,
    /// Lead arm forward.
    pub arm_forward_deg: f64,
    /// Lead arm's hand towards the lead side.
    pub arm_side_deg: f64,
    /// Forward lean of the normal of the arm's swing plane.
    pub arm_plane_deg: f64,
}

/// A player.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerParams {
    /// An invented first name.
    pub name: String,
    /// What the player works on.
    pub goal: String,
    /// Limits of the body in plain words.
    pub limits: String,
    /// Side.
    pub handedness: Handedness,
    /// Stature, metres.
    pub stature_m: f64,
    /// Pulse family of all speeds.
    pub family: Family,
    /// Pelvis, thorax, lead arm.
    pub segments: [SegmentParams; 3],
    /// Takeaway to the lead arm's turn-round, seconds.
    pub backswing_s: f64,
    /// Address.
    pub posture: Posture,
    /// Spread between swings.
    pub spread: Spread,
    /// RMS rate of sway at address, deg/s.
    pub address_sway_dps: f64,
    /// How far the hips slide away from the target in the backswing, beyond what everybody's do, metres.
    /// They slide back in the downswing.
    pub slide_m: f64,
    /// What the speeds and the arm do beyond one pulse a segment; nothing more if there is none.
    pub manner: Option<Manner>,
}

/// Hand towards the lead side at address, deg (plausible).
pub(crate) const ARM_SIDE_DEG: f64 = -8.0;

/// Groups with published means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Population {
    /// Touring professionals, n = 19 (Cheetham 2008).
    Professional,
    /// Amateurs, n = 19 (Cheetham 2008).
    Amateur,
}

impl Population {
    /// Peak speed of pelvis, thorax, lead arm: mean and SD between golfers, deg/s (Cheetham 2008).
    pub const fn peak_dps(self) -> [(f64, f64); 3] {
        match self {
            Self::Professional => [(477.0, 53.0), (727.0, 61.0), (980.0, 68.0)],
            Self::Amateur => [(395.0, 68.0), (583.0, 84.0), (763.0, 95.0)],
        }
    }

    /// Peak before impact: mean and SD between golfers, ms (Cheetham 2008).
    pub const fn peak_before_ms(self) -> [(f64, f64); 3] {
        match self {
            Self::Professional => [(87.0, 19.0), (68.0, 14.0), (65.0, 8.0)],
            Self::Amateur => [(78.0, 38.0), (59.0, 29.0), (64.0, 23.0)],
        }
    }

    /// Peak to rest, ms: from the mean decelerations of Cheetham 2008 with a raised cosine.
    const fn fall_ms(self) -> [f64; 3] {
        match self {
            Self::Professional => [238.5, 279.6, 140.0],
            Self::Amateur => [205.0, 224.0, 191.0],
        }
    }
}

impl PlayerParams {
    /// The mean player of a population, without spread of any kind between swings.
    pub fn mean_of(population: Population) -> Self {
        let (speed, time, fall) = (population.peak_dps(), population.peak_before_ms(), population.fall_ms());
        let professional = population == Population::Professional;
        let (away, open) = if professional {
            ([47.0, 90.0, 138.0], [37.0, 27.0, 3.0])
        } else {
            ([43.0, 84.0, 128.0], [26.0, 20.0, 3.0])
        };
        let early = if professional { [5.0, 0.0, 0.0] } else { [1.5, 0.0, 0.0] };
        let finish = [88.0, 125.0, 120.0];
        let follow = if professional { [0.0, 1.15, 0.0] } else { [0.0, 0.85, 0.0] };
        let segments = std::array::from_fn(|i| SegmentParams {
            away_deg: away[i],
            early_deg: early[i],
            open_deg: open[i],
            peak_dps: speed[i].0,
            peak_before_ms: time[i].0,
            fall_ms: fall[i],
            finish_deg: finish[i],
            follow_gain: follow[i],
        });
        Self {
            name: "Sanne".into(),
            goal: String::new(),
            limits: String::new(),
            handedness: Handedness::Right,
            stature_m: 1.78,
            family: Family::RaisedCosine,
            segments,
            backswing_s: if professional { 0.731 } else { 0.85 },
            posture: Posture {
                pelvis_forward_deg: 18.0,
                thorax_forward_deg: 37.0,
                arm_forward_deg: 24.0,
                arm_side_deg: ARM_SIDE_DEG,
                arm_plane_deg: 54.0,
            },
            spread: Spread { time_ms: 0.0, speed: 0.0, turn_deg: 0.0, texture: 0.0 },
            address_sway_dps: 0.3,
            slide_m: 0.0,
            manner: None,
        }
    }

    /// The same player with an arm as in ten real swings of one golfer (CMU Graphics Lab Motion Capture
    /// Database, subject 64): it hangs 3–10° off the vertical at address and is raised by 70–80° in the
    /// shoulder up to the top. As drawn, it hangs further forward and is raised by 7–41°.
    #[must_use]
    pub fn with_hanging_arm(mut self) -> Self {
        self.posture.thorax_forward_deg = 26.0;
        self.posture.arm_forward_deg = 6.0;
        self.posture.arm_plane_deg = 66.0;
        self
    }

    /// A player drawn from a population, with spread between swings.
    pub fn drawn_from(population: Population, seed: u64) -> Self {
        let mut draw = Draw::new(seed, Purpose::Player, 0);
        let mut player = Self::mean_of(population);
        let professional = population == Population::Professional;
        let (speed, time) = (population.peak_dps(), population.peak_before_ms());
        for (i, segment) in player.segments.iter_mut().enumerate() {
            segment.peak_dps = draw.bounded(speed[i].0, speed[i].1);
            segment.peak_before_ms = draw.bounded(time[i].0, time[i].1);
            segment.fall_ms *= draw.bounded(1.0, 0.1);
            segment.away_deg = draw.bounded(segment.away_deg, [6.0, 8.0, 9.0][i]);
            segment.open_deg = draw.bounded(segment.open_deg, [8.0, 7.0, 3.0][i]);
            segment.follow_gain *= draw.bounded(1.0, 0.12);
        }
        if draw.chance(0.5) {
            player.family = Family::Bell;
        }
        if draw.chance(0.1) {
            player.handedness = Handedness::Left;
        }
        player.stature_m = draw.bounded(1.76, 0.08);
        player.backswing_s = draw.bounded(player.backswing_s, if professional { 0.04 } else { 0.1 });
        player.posture = Posture {
            pelvis_forward_deg: draw.bounded(18.0, 2.5),
            thorax_forward_deg: draw.bounded(37.0, 3.0),
            arm_forward_deg: draw.bounded(24.0, 3.0),
            arm_side_deg: ARM_SIDE_DEG,
            arm_plane_deg: draw.bounded(54.0, 4.0),
        };
        player.spread = if professional {
            Spread { time_ms: 4.0, speed: 0.02, turn_deg: 1.5, texture: 0.006 }
        } else {
            Spread { time_ms: 8.0, speed: 0.035, turn_deg: 2.5, texture: 0.01 }
        };
        player.address_sway_dps = draw.uniform(0.2, 0.7);
        player
    }
}
