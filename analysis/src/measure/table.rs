//! The table of measures: a row each.
//!
//! To add a measure, write its function in `values.rs` and its row here. The compiler names what
//! a row lacks; every command, document, export column and the page take the rest from the row.

use super::{Group, More, Row, Unit, Value, values};
use crate::order::short;
use peakorder_protocol::Role::{self, LeadArm, Pelvis, Thorax};
use peakorder_protocol::swing::{ANGLE_ORDER, SEPARATION_METHOD, Swing};

/// In the words for what a peak is the peak of.
const SPEED: &str = "speed about the segment's own long axis (pelvis, thorax) or across it (lead arm)";
const fn turn(more: More) -> Row {
    Row::sided(Group::Turn, Unit::Degrees, more, ["back", "through"], ["further back", "further through"])
}
/// "Away from the target" beside an answer would sound like far from what is wanted.
const SHIFT: Row = Row::sided(
    Group::Shift,
    Unit::Centimetres,
    More::OwnSide,
    ["to the trail side", "to the lead side"],
    ["further to the trail side", "further to the lead side"],
);
/// The usual side goes without saying.
const SEPARATION: Row = Row::sided(
    Group::Separation,
    Unit::Degrees,
    More::Negative,
    ["", "the other way (pelvis turned further than thorax)"],
    ["more", "less"],
);
const TILT: Row = Row::sided(
    Group::Posture,
    Unit::Degrees,
    More::OwnSide,
    ["to the lead side", "to the trail side"],
    ["further to the lead side", "further to the trail side"],
);
const DURATION: Row = Row {
    decimals: 0,
    compared: ["longer", "shorter"],
    missed: ["too short", "too long"],
    ..Row::size(Group::Tempo, Unit::Milliseconds)
};
const ACROSS: [&str; 2] = ["towards the target", "across"];
const FURTHER_ACROSS: [&str; 2] = ["further towards the target", "further across"];

/// A share and its uncertainties in percent.
fn percent(share: f64, sd: Option<f64>, bone_sd: Option<f64>) -> (f64, Option<f64>, Option<f64>) {
    (share * 100.0, sd.map(|sd| sd * 100.0), bone_sd.map(|sd| sd * 100.0))
}

macro_rules! segment {
    ($role:ident) => {
        Role
    };
}

macro_rules! said {
    ($self:expr, $amount_now:expr, $way_now:expr, |$amount:ident, $way:ident| $said:expr) => {{
        let ($amount, $way) = ($amount_now, $way_now);
        $said
    }};
    ($self:expr, $amount:expr, $way:expr) => {
        format!("{} {} {}", $self.label(), $amount, $way).trim_end().to_owned()
    };
}

macro_rules! members {
    ($name:ident) => { &[Measure::$name] };
    ($name:ident $($roles:tt)+) => { &[$(Measure::$name $roles),+] };
}

/// Makes of each row
///
/// ```text
/// /// What it is, for maintainers.
/// Variant(segments) [(segments of one measure) …] {
///     key:      stable name for programs, ends in the unit
///     label:    name on screen, without the unit
///     row:      group, unit and sense (`Row`)
///     meaning:  one plain sentence
///     said:     optional: value and direction as the subject of a sentence
///     value:    its value in a swing
/// }
/// ```
///
/// a variant of [`Measure`] and its arm in each function.
macro_rules! measures {
    ($(
        $(#[$doc:meta])*
        $name:ident $(($($role:ident),+) [$($member:tt)+])? {
            key: $key:expr,
            label: $label:expr,
            row: $row:expr,
            meaning: $meaning:expr,
            $(said: |$amount:ident, $way:ident| $said:expr,)?
            value: |$swing:ident| $value:expr,
        }
    )+) => {
        /// A quantity of a swing: a row of the table, with the segments it is of.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum Measure {
            $($(#[$doc])* $name $(($(segment!($role)),+))?,)+
        }

        /// The measures of each row.
        const ROWS: &[&[Measure]] = &[$(members!($name $($($member)+)?)),+];

        #[allow(unused_variables, reason = "not every column of a row speaks of the segments")]
        impl Measure {
            /// Stable name for programs, e.g. `gap_pelvis_thorax_ms`; ends in the unit.
            pub fn key(self) -> String {
                match self { $(Self::$name $(($($role),+))? => $key.into(),)+ }
            }

            /// Name on screen, without the unit.
            pub fn label(self) -> String {
                match self { $(Self::$name $(($($role),+))? => $label.into(),)+ }
            }

            /// What the table says of it in constants.
            pub const fn row(self) -> &'static Row {
                match self { $(Self::$name { .. } => const { &$row },)+ }
            }

            /// What it is, for swings of calibrated straps. Where a swing departs from it (the
            /// magnitude of rotation without calibration, the top by the thorax without an arm
            /// strap), the swing's own definition says so.
            pub fn meaning(self) -> String {
                match self { $(Self::$name $(($($role),+))? => $meaning.into(),)+ }
            }

            /// An amount and its direction (empty where there is none) as the subject of a
            /// sentence.
            pub(crate) fn said(self, amount: &str, way: &str) -> String {
                match self {
                    $(Self::$name $(($($role),+))? => {
                        said!(self, amount, way $(, |$amount, $way| $said)?)
                    })+
                }
            }

            pub(super) fn measured(self, swing: &Swing) -> Option<Value> {
                match self {
                    $(Self::$name $(($($role),+))? => {
                        let $swing = swing;
                        $value
                    })+
                }
            }
        }
    };
}

measures! {
    /// Time from the first segment's peak to the second's.
    Gap(a, b) [(Pelvis, Thorax) (Thorax, LeadArm) (Pelvis, LeadArm)] {
        key: format!("gap_{}_{}_ms", a.key(), b.key()),
        label: format!("{} → {} gap", short(a), short(b)),
        row: Row {
            compared: ["later", "earlier"],
            missed: ["too early", "too late"],
            ..Row::sided(Group::Timing, Unit::Milliseconds, More::Larger, ["before", "after"], ["earlier", "later"])
        },
        meaning: format!(
            "time from the {a}'s peak to the {b}'s; positive when the {a} peaked first. Peak: largest {SPEED} \
             between the segment's own reversal and impact"
        ),
        said: |amount, way| match way {
            "" => format!("{a} and {b} peaks together"),
            way => format!("{b} peak {amount} {way} {a} peak"),
        },
        value: |swing| values::gap(swing, a, b),
    }

    /// Time from the segment's peak to impact.
    PeakBeforeImpact(r) [(Pelvis) (Thorax) (LeadArm)] {
        key: format!("{}_peak_before_impact_ms", r.key()),
        label: format!("{} peak to impact", short(r)),
        row: Row {
            ways: ["after impact", "before impact"],
            compared: ["earlier", "later"],
            missed: ["too late", "too early"],
            ..Row::size(Group::Timing, Unit::Milliseconds)
        },
        meaning: format!("how long before impact the {r} reached its largest {SPEED}"),
        said: |amount, way| format!("{r} peak {amount} {way}").trim_end().to_owned(),
        value: |swing| values::peak_before_impact(swing, r),
    }

    /// Speed at the peak.
    PeakSpeed(r) [(Pelvis) (Thorax) (LeadArm)] {
        key: format!("{}_peak_speed_dps", r.key()),
        label: format!("{} peak speed", short(r)),
        row: Row::size(Group::Speed, Unit::DegreesPerSecond),
        meaning: format!("largest {SPEED} of the {r} between its own reversal and impact"),
        value: |swing| values::peak_speed(swing, r),
    }

    /// Speed at impact as a share of the peak.
    SpeedKept(r) [(Pelvis) (Thorax) (LeadArm)] {
        key: format!("{}_speed_kept_percent", r.key()),
        label: format!("{} speed kept", short(r)),
        row: Row::size(Group::Speed, Unit::Percent),
        meaning: format!("{r} speed at impact as a share of its peak"),
        value: |swing| values::speed_kept(swing, r),
    }

    /// Takeaway to top.
    Backswing {
        key: "backswing_ms",
        label: "backswing",
        row: DURATION,
        meaning: "from takeaway to top",
        value: |swing| Some(values::backswing(swing)),
    }

    /// Top to impact.
    Downswing {
        key: "downswing_ms",
        label: "downswing",
        row: DURATION,
        meaning: "from top to impact",
        value: |swing| Some(values::downswing(swing)),
    }

    /// Backswing over downswing.
    TempoRatio {
        key: "tempo_ratio",
        label: "backswing / downswing",
        row: Row::size(Group::Tempo, Unit::Ratio),
        meaning: "backswing over downswing",
        said: |amount, _way| format!("backswing {amount} times as long as the downswing"),
        value: |swing| Some(values::tempo_ratio(swing)),
    }

    /// Turn at the top.
    TurnAtTop(r) [(Pelvis) (Thorax)] {
        key: format!("{}_turn_top_deg", r.key()),
        label: format!("{} turn at top", short(r)),
        row: turn(More::Negative),
        meaning: format!("{r} turn at the top, relative to address ({ANGLE_ORDER})"),
        value: |swing| values::turn_at_top(swing, r),
    }

    /// Turn at impact.
    TurnAtImpact(r) [(Pelvis) (Thorax)] {
        key: format!("{}_turn_impact_deg", r.key()),
        label: format!("{} turn at impact", short(r)),
        row: turn(More::OwnSide),
        meaning: format!("{r} turn at impact, relative to address ({ANGLE_ORDER})"),
        value: |swing| values::turn_at_impact(swing, r),
    }

    /// Thorax turn minus pelvis turn at the top.
    SeparationAtTop {
        key: "separation_top_deg",
        label: "separation at top",
        row: SEPARATION,
        meaning: format!("at the top: {SEPARATION_METHOD}; negative = thorax turned further back"),
        value: |swing| values::separation_at_top(swing),
    }

    /// Its largest value.
    SeparationLargest {
        key: "separation_max_deg",
        label: "largest separation",
        row: SEPARATION,
        meaning: format!("largest between takeaway and impact: {SEPARATION_METHOD}"),
        value: |swing| values::separation(swing, |s| (s.max_deg, s.max_sd_deg, s.max_bone_sd_deg)),
    }

    /// Its growth after the pelvis reversed.
    SeparationStretch {
        key: "separation_stretch_deg",
        label: "separation stretch",
        row: Row { ways: ["the other way (separation shrank)", ""], moved: ["less", "more"], more: More::OwnSide, ..SEPARATION },
        meaning: "how much the separation grew after the pelvis started forward",
        value: |swing| values::separation(swing, |s| (s.stretch_deg, s.stretch_sd_deg, s.stretch_bone_sd_deg)),
    }

    /// Lateral tilt at the top.
    TiltAtTop(r) [(Pelvis) (Thorax)] {
        key: format!("{}_lateral_tilt_top_deg", r.key()),
        label: format!("{} tilt at top", short(r)),
        row: TILT,
        meaning: format!("lateral tilt of the {r} at the top, positive = trail side lower ({ANGLE_ORDER})"),
        value: |swing| values::tilt_at_top(swing, r),
    }

    /// Flexion at impact minus flexion at address.
    FlexionChange(r) [(Pelvis) (Thorax)] {
        key: format!("{}_flexion_change_deg", r.key()),
        label: format!("{} flexion change", short(r)),
        row: Row { ways: ["straighter", "more bent"], moved: ["straighter", "more bent"], ..TILT },
        meaning: format!("{r} flexion at impact minus at address; negative = straightened ({ANGLE_ORDER})"),
        value: |swing| values::flexion_change(swing, r),
    }

    /// Share of the backswing that the chest's turn made.
    TurnShare {
        key: "backswing_turn_share_percent",
        label: "backswing by turn",
        row: Row { decimals: 1, ..Row::size(Group::Backswing, Unit::Percent) },
        meaning: "share of the backswing that the turn made: chest turn at the top over chest turn plus the angle \
                  that the lead arm moved in the shoulder. An index, for it adds angles about different axes: the \
                  lower it is, the more of the backswing was lifted",
        said: |amount, _way| format!("{amount} of the backswing by turn"),
        value: |swing| values::made_of(swing, |b| Some(percent(b.turn_share?, b.turn_share_sd, b.turn_share_bone_sd))),
    }

    /// The hips' part of it.
    HipsShare {
        key: "backswing_hips_share_percent",
        label: "backswing by hips",
        row: Row { decimals: 1, ..Row::size(Group::Backswing, Unit::Percent) },
        meaning: "the hips' part of the backswing by turn: pelvis turn at the top over chest turn plus the angle that \
                  the lead arm moved in the shoulder; an index likewise",
        said: |amount, _way| format!("{amount} of the backswing by the hips"),
        value: |swing| values::made_of(swing, |b| Some(percent(b.hips_share?, b.hips_share_sd, b.hips_share_bone_sd))),
    }

    /// Rotation of the chest per angle of the arm in space.
    ChestPerArm {
        key: "chest_per_arm_ratio",
        label: "chest per arm",
        row: Row::size(Group::Backswing, Unit::Ratio),
        meaning: "how far the chest rotated, address to top, for each degree between the lead upper arm's directions \
                  at address and at the top; the lower it is, the more the arm did by itself",
        said: |amount, _way| format!("chest rotated {amount}° for each degree of the arm"),
        value: |swing| values::made_of(swing, |b| Some((b.chest_per_arm?, b.chest_per_arm_sd, b.chest_per_arm_bone_sd))),
    }

    /// By how much the arm was raised in the shoulder.
    ArmRaised {
        key: "arm_raised_deg",
        label: "arm raised in shoulder",
        row: Row::size(Group::Backswing, Unit::Degrees),
        meaning: "lift: by how much the upper arm's angle from hanging along the chest grew from address to top",
        value: |swing| values::made_of(swing, |b| Some((b.arm_raised_deg?, b.arm_raised_sd_deg, b.arm_raised_bone_sd_deg))),
    }

    /// By how much the arm went across the chest.
    ArmWentAcross {
        key: "arm_went_across_deg",
        label: "arm drawn across chest",
        row: Row::sided(Group::Backswing, Unit::Degrees, More::OwnSide, ACROSS, FURTHER_ACROSS),
        meaning: "by how much the upper arm's direction across the chest changed from address to top; \
                  positive = across, away from the target",
        value: |swing| values::made_of(swing, |b| Some((b.arm_across_deg?, b.arm_across_sd_deg, b.arm_across_bone_sd_deg))),
    }

    /// How far the arm moved in the shoulder in all.
    ArmMoved {
        key: "arm_moved_deg",
        label: "arm moved in shoulder",
        row: Row::size(Group::Backswing, Unit::Degrees),
        meaning: "angle between the directions that the upper arm has in the chest at address and at the top: \
                  raised and drawn across together",
        value: |swing| values::made_of(swing, |b| Some((b.arm_moved_deg?, b.arm_moved_sd_deg, b.arm_moved_bone_sd_deg))),
    }

    /// Angle of the upper arm from hanging straight down, at the top.
    ArmElevationGravity {
        key: "arm_elevation_gravity_top_deg",
        label: "arm elevation, gravity",
        row: Row::size(Group::Arm, Unit::Degrees),
        meaning: "angle of the upper arm from hanging straight down, at the top; 90 = level",
        value: |swing| values::arm(swing, |a| {
            let sd = Some(a.elevation_gravity_sd_deg);
            Some((a.elevation_gravity_top_deg, sd, a.elevation_gravity_bone_sd_deg))
        }),
    }

    /// Angle of the upper arm from hanging along the thorax, at the top.
    ArmElevation {
        key: "arm_elevation_top_deg",
        label: "arm elevation, thorax",
        row: Row::size(Group::Arm, Unit::Degrees),
        meaning: "angle of the upper arm from hanging along the thorax, at the top",
        value: |swing| values::arm(swing, |a| Some((a.elevation_top_deg?, a.elevation_sd_deg, a.elevation_bone_sd_deg))),
    }

    /// Angle of the upper arm across the chest, at the top.
    ArmAcross {
        key: "arm_across_chest_top_deg",
        label: "arm across chest",
        row: Row::sided(Group::Arm, Unit::Degrees, More::OwnSide, ACROSS, FURTHER_ACROSS),
        meaning: "angle of the upper arm across the chest at the top; 0 = straight ahead of the chest, \
                  positive = across, away from the target",
        value: |swing| values::arm(swing, |a| Some((a.across_chest_top_deg?, a.across_chest_sd_deg, a.across_chest_bone_sd_deg))),
    }

    /// Shift of the middle of the hips at the top.
    MidHipsShiftAtTop {
        key: "mid_hips_shift_top_cm",
        label: "mid-hips at top",
        row: SHIFT,
        meaning: "how far the middle of the hips has moved towards the target at the top, since address",
        value: |swing| values::hip_shift_at_top(swing, |at| at.mid_hips),
    }

    /// Shift of the trail hip at the top.
    TrailHipShiftAtTop {
        key: "trail_hip_shift_top_cm",
        label: "trail hip at top",
        row: SHIFT,
        meaning: "how far the trail hip has moved towards the target at the top, since address; turning about it \
                  leaves it where it was",
        value: |swing| values::hip_shift_at_top(swing, |at| at.trail_hip),
    }

    /// Shift of the middle of the hips at impact.
    MidHipsShiftAtImpact {
        key: "mid_hips_shift_impact_cm",
        label: "mid-hips at impact",
        row: Row { means_only: true, ..SHIFT },
        meaning: "how far the middle of the hips has moved towards the target at impact, since address; one swing \
                  tells too little, so only means over a block are shown",
        value: |swing| values::hip_shift_at_impact(swing, |at| at.mid_hips),
    }

    /// Shift of the trail hip at impact.
    TrailHipShiftAtImpact {
        key: "trail_hip_shift_impact_cm",
        label: "trail hip at impact",
        row: Row { means_only: true, ..SHIFT },
        meaning: "how far the trail hip has moved towards the target at impact, since address; one swing tells too \
                  little, so only means over a block are shown",
        value: |swing| values::hip_shift_at_impact(swing, |at| at.trail_hip),
    }
}

/// How many measures the rows hold.
const COUNT: usize = {
    let (mut count, mut row) = (0, 0);
    while row < ROWS.len() {
        count += ROWS[row].len();
        row += 1;
    }
    count
};

impl Measure {
    /// All of them, in the order shown: that of the table, but a segment's turns stand together.
    pub const ALL: [Self; COUNT] = {
        let mut all = [Self::Backswing; COUNT];
        let (mut at, mut row) = (0, 0);
        while row < ROWS.len() {
            // The rows that take turns: all of a group of turns, otherwise this one.
            let mut end = row + 1;
            while matches!(ROWS[row][0].group(), Group::Turn)
                && end < ROWS.len()
                && matches!(ROWS[end][0].group(), Group::Turn)
            {
                end += 1;
            }
            let mut member = 0;
            while member < ROWS[row].len() {
                let mut of = row;
                while of < end {
                    all[at] = ROWS[of][member];
                    at += 1;
                    of += 1;
                }
                member += 1;
            }
            row = end;
        }
        all
    };
}
