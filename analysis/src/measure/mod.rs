//! The quantities that are summarised and compared: one list for every command.
//!
//! A measure is one row of `table`: its key, its words, its unit, and the function in
//! `values` that computes it. Everything else in this crate goes through the row.

mod definition;
mod like;
mod repetition;
mod table;
mod values;

pub use definition::Definition;
pub use table::Measure;

use peakorder_protocol::swing::Swing;

/// Kind of quantity, for grouping on screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Gaps and peak times.
    Timing,
    /// Speeds.
    Speed,
    /// Durations.
    Tempo,
    /// Turns of the trunk.
    Turn,
    /// Thorax against pelvis.
    Separation,
    /// Tilt and flexion of the trunk.
    Posture,
    /// What the backswing was made of: turn and lift.
    Backswing,
    /// Lead arm against thorax.
    Arm,
    /// Where the hips go.
    Shift,
}

impl Group {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Timing => "timing",
            Self::Speed => "speed",
            Self::Tempo => "tempo",
            Self::Turn => "turn",
            Self::Separation => "separation",
            Self::Posture => "posture",
            Self::Backswing => "backswing",
            Self::Arm => "arm",
            Self::Shift => "shift",
        }
    }

    /// Whether it is an angle that depends on how the straps sit, so that putting them on anew
    /// shifts it.
    pub const fn depends_on_seat(self) -> bool {
        matches!(self, Self::Turn | Self::Separation | Self::Posture | Self::Backswing | Self::Arm)
    }
}

/// Unit of a measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Time.
    Milliseconds,
    /// Angular speed.
    DegreesPerSecond,
    /// Angle.
    Degrees,
    /// Length.
    Centimetres,
    /// Share.
    Percent,
    /// A plain number.
    Ratio,
}

impl Unit {
    /// On screen; empty for a ratio.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Milliseconds => "ms",
            Self::DegreesPerSecond => "°/s",
            Self::Degrees => "°",
            Self::Centimetres => "cm",
            Self::Percent => "%",
            Self::Ratio => "",
        }
    }

    /// Said aloud.
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Milliseconds => "milliseconds",
            Self::DegreesPerSecond => "degrees per second",
            Self::Degrees => "degrees",
            Self::Centimetres => "centimetres",
            Self::Percent => "per cent",
            Self::Ratio => "",
        }
    }

    /// Digits after the point in a mean, unless the row says otherwise.
    const fn decimals(self) -> usize {
        match self {
            Self::Milliseconds | Self::Degrees | Self::Centimetres => 1,
            Self::DegreesPerSecond | Self::Percent => 0,
            Self::Ratio => 2,
        }
    }

    /// Digits after the point in a sentence: whole degrees and milliseconds are what a person
    /// can use, and the measurement is no finer.
    pub const fn spoken_decimals(self) -> usize {
        match self {
            Self::Ratio => self.decimals(),
            _ => 0,
        }
    }

    /// A number with its unit: `8°`, `12 ms`, `1.35`.
    pub fn after(self, number: &str) -> String {
        match self {
            Self::Ratio => number.to_owned(),
            Self::Degrees => format!("{number}°"),
            unit => format!("{number} {}", unit.symbol()),
        }
    }
}

/// Which way "more" goes in a measure's own sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum More {
    /// A larger number is more.
    Larger,
    /// The larger size is more and is negative: at the top people turn away from the target.
    Negative,
    /// The larger size is more, on whichever side the player's own mean is.
    OwnSide,
}

/// What a row of the table says in constants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// Kind of quantity.
    pub group: Group,
    /// Unit.
    pub unit: Unit,
    /// Digits after the point in a mean.
    pub decimals: usize,
    /// Whether a sign tells a direction, so that `+` is printed too.
    pub signed: bool,
    /// Which way "more" goes.
    pub more: More,
    /// What is said of a negative and of a positive value: `back`, `through`.
    pub ways: [&'static str; 2],
    /// What a change across zero is called, to the negative and to the positive: `further back`, `further through`.
    pub moved: [&'static str; 2],
    /// What is said of a value that is more than another, and of one that is less.
    pub compared: [&'static str; 2],
    /// What is said of a value with too little of it for a target, and of one with too much.
    pub missed: [&'static str; 2],
    /// One swing tells too little of it: only means over a block are shown.
    pub means_only: bool,
}

impl Row {
    /// A quantity whose sign, if it has one, tells nothing.
    const fn size(group: Group, unit: Unit) -> Self {
        Self {
            group,
            unit,
            decimals: unit.decimals(),
            signed: false,
            more: More::Larger,
            ways: ["", ""],
            moved: ["less", "more"],
            compared: ["more", "less"],
            missed: ["short", "too much"],
            means_only: false,
        }
    }

    /// A quantity whose sign is a side with a name.
    const fn sided(
        group: Group,
        unit: Unit,
        more: More,
        ways: [&'static str; 2],
        moved: [&'static str; 2],
    ) -> Self {
        Self { signed: true, more, ways, moved, ..Self::size(group, unit) }
    }
}

/// A quantity's value in one swing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// In the measure's unit.
    pub value: f64,
    /// Standard uncertainty of what the strap did, same unit; `None` where the swing file
    /// states none.
    pub sd: Option<f64>,
    /// Standard uncertainty of the bone below it, same unit; of the shift of the hips `sd` is the bones' already.
    pub bone_sd: Option<f64>,
    /// How it is defined in this swing: values of different definition are never averaged.
    pub definition: Definition,
    /// Parts of `sd` that are the same in every swing of one wearing that is made alike, signed: they
    /// stay in a mean, and cancel between means of like swings.
    pub shared: Option<Shared>,
}

/// Standard uncertainties by source, in the measure's unit, signed.
pub type Shared = [f64; 4];

impl Measure {
    /// Its key with `what` before the unit: `gap_pelvis_thorax_sd_ms`.
    pub fn key_of(self, what: &str) -> String {
        let key = self.key();
        match key.rsplit_once('_') {
            Some((name, unit)) if unit != "ratio" => format!("{name}_{what}_{unit}"),
            _ => format!("{key}_{what}"),
        }
    }

    /// Name of the column with its definition, without the unit: `gap_pelvis_thorax_def`.
    pub fn definition_key(self) -> String {
        let key = self.key();
        match key.rsplit_once('_') {
            Some((name, unit)) if unit != "ratio" => format!("{name}_def"),
            _ => format!("{key}_def"),
        }
    }

    /// The measure of that key.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|m| m.key() == key)
    }

    /// Kind of quantity.
    pub const fn group(self) -> Group {
        self.row().group
    }

    /// Unit.
    pub const fn unit(self) -> Unit {
        self.row().unit
    }

    /// Digits after the point in a mean.
    pub const fn decimals(self) -> usize {
        self.row().decimals
    }

    /// Whether a sign tells a direction, so that `+` is printed too.
    pub const fn signed(self) -> bool {
        self.row().signed
    }

    /// Label with the unit: `pelvis turn at top, °`.
    pub fn name(self) -> String {
        match self.unit() {
            Unit::Ratio => self.label(),
            unit => format!("{}, {}", self.label(), unit.symbol()),
        }
    }

    /// Whether one swing tells too little of it to be shown.
    pub const fn means_only(self) -> bool {
        self.row().means_only
    }

    /// The value in one swing; `None` when it was not measured, is withheld, or tells too little.
    pub fn of(self, swing: &Swing) -> Option<Value> {
        if self.means_only() { None } else { self.part_of_mean(swing) }
    }

    /// The value that a swing adds to a mean; `None` when it was not measured or is withheld.
    pub(crate) fn part_of_mean(self, swing: &Swing) -> Option<Value> {
        self.measured(swing).filter(|v| v.value.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::assert_distinct;

    #[test]
    fn every_row_has_words_of_its_own_and_a_key_that_ends_in_the_unit() {
        assert_distinct(&Measure::ALL.map(Measure::key));
        assert_distinct(&Measure::ALL.map(Measure::label));
        assert_distinct(&Measure::ALL.map(Measure::meaning));
        for m in Measure::ALL {
            let end = match m.unit() {
                Unit::Milliseconds => "_ms",
                Unit::DegreesPerSecond => "_dps",
                Unit::Degrees => "_deg",
                Unit::Centimetres => "_cm",
                Unit::Percent => "_percent",
                Unit::Ratio => "_ratio",
            };
            assert!(m.key().ends_with(end), "{}", m.key());
        }
    }

    #[test]
    fn a_groups_measures_stand_together() {
        let mut groups: Vec<Group> = Measure::ALL.map(Measure::group).to_vec();
        groups.dedup();
        for (i, group) in groups.iter().enumerate() {
            assert!(!groups[..i].contains(group), "{group:?} is split");
        }
    }
}
