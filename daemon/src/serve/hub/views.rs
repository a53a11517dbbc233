//! What the page shows, as JSON.

use super::assessment::{Extras, SwingExtra};
use crate::serve::lesson::InterruptedView;
use crate::serve::viewers::ViewersSee;
use peakorder_analysis::order::heading;
use peakorder_analysis::usual::Usual;
use peakorder_analysis::words::mobility::MobilityWords;
use peakorder_protocol::calibration::CalibrationStep;
use peakorder_protocol::mobility::MobilityCheck;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::swing::Swing;
use peakorder_protocol::{Handedness, Role};
use serde::{Serialize, Serializer};
use std::sync::Arc;

/// The state of the program at one moment.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Snapshot {
    /// Version of the program.
    pub version: String,
    /// Random id of this run of the program; it changes when the program is started again.
    pub boot: String,
    /// Number of the newest event that the state includes.
    pub seq: u64,
    /// What this device may do: `coach` (everything) or `viewer` (read only).
    pub device: String,
    /// Lessons use virtual straps: all data is invented.
    #[serde(rename = "virtual")]
    pub invented: bool,
    /// What viewers may see; absent where there are none, on a loopback address.
    pub viewers: Option<ViewersSee>,
    /// A lesson that was never ended and can be continued; told to the coach alone.
    pub interrupted: Option<InterruptedView>,
    /// The lesson that is running. A viewer is told names, goal, limits and notes only if `viewers` says so.
    pub lesson: Option<LessonView>,
}

/// A lesson, running or past.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct LessonView {
    /// Session id.
    pub session: String,
    /// The scenario is invented.
    pub invented: bool,
    /// Where the samples come from: `straps`, `virtual` or `import`.
    pub source: String,
    /// Start, RFC 3339 UTC.
    pub started_utc: String,
    /// Now on the session clock, seconds; for a past lesson, the finish of its last swing.
    pub t_s: f64,
    /// The player.
    pub player: PlayerView,
    /// Label of the current block; empty before the first.
    pub block: String,
    /// All blocks in order.
    pub blocks: Vec<BlockView>,
    /// Calibration steps with their results, in order.
    pub calibration: Vec<CalibrationView>,
    /// The calibration covers every strap.
    pub calibrated: bool,
    /// The guided movement that is going on.
    pub doing: Option<Doing>,
    /// Status of the straps; empty for a past lesson.
    pub straps: Vec<StrapStatus>,
    /// Samples that are not safe on the disk yet, as a share of the memory for them (0 to 1).
    pub disk_backlog: f64,
    /// How many swings and repetitions there were before those that are here; `/sessions/{id}/swings` has them. Only of the state.
    pub earlier: usize,
    /// The swings, each as in its file (`peakorder.swing/1`); of the state the newest [`NEWEST`].
    #[cfg_attr(feature = "openapi", schema(value_type = Vec<Swing>))]
    #[serde(serialize_with = "all_shared")]
    pub swings: Vec<Arc<Swing>>,
    /// The repetitions of drills, each as in its file; numbered in one row with the swings.
    #[cfg_attr(feature = "openapi", schema(value_type = Vec<Repetition>))]
    #[serde(serialize_with = "all_shared")]
    pub repetitions: Vec<Arc<Repetition>>,
    /// Swing by swing, the order of its peaks in words.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, String>))]
    #[serde(serialize_with = "order_words")]
    pub order_words: Vec<Arc<Swing>>,
    /// Of the newest swing, each measure against the player's own baseline. Of the others
    /// `/sessions/{id}/swings/{n}/against` tells it: of all swings together it is most of a lesson.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, Vec<peakorder_analysis::against::Against>>))]
    #[serde(serialize_with = "against_only")]
    pub against: Option<Arc<SwingExtra>>,
    /// Swing by swing, its values of what the lesson is about.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, Vec<peakorder_analysis::usual::AboutValue>>))]
    #[serde(serialize_with = "about_only")]
    pub about: Extras,
    /// What is usual for the player in each measure, by the baseline.
    #[cfg_attr(feature = "openapi", schema(value_type = Vec<Usual>))]
    #[serde(serialize_with = "usual_shared")]
    pub usual: Arc<Vec<Usual>>,
    /// Swing by swing, what is withheld and why, in words.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, peakorder_analysis::words::quality::QualityWords>))]
    #[serde(serialize_with = "quality_only")]
    pub quality: Extras,
    /// Answers to the drill target, for the swings made while there was one.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, peakorder_analysis::target::Answer>))]
    #[serde(serialize_with = "answers_only")]
    pub answers: Extras,
    /// The coach's remarks.
    #[cfg_attr(feature = "openapi", schema(value_type = Remarks))]
    #[serde(serialize_with = "shared")]
    pub remarks: Arc<Remarks>,
    /// Mobility checks.
    pub mobility: Vec<MobilityView>,
    /// Label of the block that others are compared with.
    pub baseline_block: String,
}

/// So many swings and repetitions come with the state: those that the page shows at once. A swing is 2 to 3 kB compressed, and a lesson
/// of 200 would take a tablet on a slow network longer than a coach waits.
pub const NEWEST: usize = 16;

impl LessonView {
    /// With the newest swings and repetitions only.
    #[must_use]
    pub fn newest(mut self) -> Self {
        let mut numbers: Vec<u32> =
            self.swings.iter().map(|s| s.number).chain(self.repetitions.iter().map(|r| r.number)).collect();
        numbers.sort_unstable();
        self.earlier = numbers.len().saturating_sub(NEWEST);
        let first = numbers.get(self.earlier).copied().unwrap_or(0);
        self.swings.retain(|s| s.number >= first);
        self.repetitions.retain(|r| r.number >= first);
        self.order_words.clone_from(&self.swings);
        for extras in [&mut self.about, &mut self.quality, &mut self.answers] {
            *extras = extras.split_off(&first);
        }
        self
    }

    /// The swings and repetitions before number `before`.
    pub fn before(mut self, before: u32) -> EarlierSwings {
        self.swings.retain(|s| s.number < before);
        self.repetitions.retain(|r| r.number < before);
        for extras in [&mut self.about, &mut self.quality, &mut self.answers] {
            let _ = extras.split_off(&before);
        }
        EarlierSwings {
            order_words: self.swings.clone(),
            swings: self.swings,
            repetitions: self.repetitions,
            about: self.about,
            quality: self.quality,
            answers: self.answers,
        }
    }
}

/// Swings of a lesson and what is known of them, as in the lesson itself.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct EarlierSwings {
    /// The swings, each as in its file (`peakorder.swing/1`).
    #[cfg_attr(feature = "openapi", schema(value_type = Vec<Swing>))]
    #[serde(serialize_with = "all_shared")]
    swings: Vec<Arc<Swing>>,
    /// The repetitions of drills, each as in its file.
    #[cfg_attr(feature = "openapi", schema(value_type = Vec<Repetition>))]
    #[serde(serialize_with = "all_shared")]
    repetitions: Vec<Arc<Repetition>>,
    /// Swing by swing, the order of its peaks in words.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, String>))]
    #[serde(serialize_with = "order_words")]
    order_words: Vec<Arc<Swing>>,
    /// Swing by swing, its values of what the lesson is about.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, Vec<peakorder_analysis::usual::AboutValue>>))]
    #[serde(serialize_with = "about_only")]
    about: Extras,
    /// Swing by swing, what is withheld and why, in words.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, peakorder_analysis::words::quality::QualityWords>))]
    #[serde(serialize_with = "quality_only")]
    quality: Extras,
    /// Answers to the drill target.
    #[cfg_attr(feature = "openapi", schema(value_type = BTreeMap<u32, peakorder_analysis::target::Answer>))]
    #[serde(serialize_with = "answers_only")]
    answers: Extras,
}

// What a lesson has a lot of is shared with its state and not copied: the view is made under
// the lock.

fn all_shared<T: Serialize, S: Serializer>(swings: &[Arc<T>], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(swings.iter().map(AsRef::as_ref))
}

fn order_words<S: Serializer>(swings: &[Arc<Swing>], to: S) -> Result<S::Ok, S::Error> {
    to.collect_map(swings.iter().map(|s| (s.number, heading(s))))
}

fn shared<S: Serializer>(remarks: &Remarks, to: S) -> Result<S::Ok, S::Error> {
    remarks.serialize(to)
}

#[expect(clippy::ref_option, reason = "serde hands on the field as it is")]
fn against_only<S: Serializer>(newest: &Option<Arc<SwingExtra>>, to: S) -> Result<S::Ok, S::Error> {
    to.collect_map(newest.iter().map(|extra| (extra.number, &extra.against)))
}

fn about_only<S: Serializer>(extras: &Extras, to: S) -> Result<S::Ok, S::Error> {
    let said = extras.iter().filter(|(_, extra)| !extra.about.is_empty());
    to.collect_map(said.map(|(number, extra)| (number, &extra.about)))
}

fn usual_shared<S: Serializer>(usual: &[Usual], to: S) -> Result<S::Ok, S::Error> {
    usual.serialize(to)
}

fn quality_only<S: Serializer>(extras: &Extras, to: S) -> Result<S::Ok, S::Error> {
    to.collect_map(extras.iter().map(|(number, extra)| (number, &extra.quality)))
}

fn answers_only<S: Serializer>(extras: &Extras, to: S) -> Result<S::Ok, S::Error> {
    to.collect_map(extras.iter().filter_map(|(number, extra)| Some((number, extra.answer.as_ref()?))))
}

/// The player.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct PlayerView {
    /// Id in the library; absent when the library has no such player.
    pub id: Option<String>,
    /// Name, as it was at the lesson.
    pub name: String,
    /// Side the player swings from.
    pub handedness: Handedness,
    /// What the player works on.
    pub goal: String,
    /// Limits in the coach's words.
    pub limits: String,
}

/// A block of swings.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct BlockView {
    /// Label.
    pub label: String,
    /// Session clock, seconds.
    pub start_s: f64,
    /// It is of repetitions without a ball.
    pub drill: bool,
}

/// A mobility check and what is said of it.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct MobilityView {
    /// The check as in `mobility.json`.
    #[serde(flatten)]
    pub check: MobilityCheck,
    /// What is said of it.
    pub words: MobilityWords,
}

/// The result of a calibration step.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct CalibrationView {
    /// Session clock, seconds.
    pub t_s: f64,
    /// Movement.
    pub step: CalibrationStep,
    /// Where it is worn.
    pub role: Role,
    /// Accepted.
    pub ok: bool,
    /// Figures, or what to repeat and why.
    pub text: String,
}

/// A guided movement that is going on.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Doing {
    /// `still`, `bow`, `arm-raise`, `turn seated` or `turn standing`.
    pub what: String,
    /// Its start on the session clock, seconds.
    pub since_s: f64,
}

/// Status of a strap.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct StrapStatus {
    /// Where it is worn.
    pub role: Role,
    /// Name and address.
    pub name: String,
    /// The link is up.
    pub connected: bool,
    /// Battery, percent.
    pub battery_percent: Option<f64>,
    /// Samples a second over the last seconds.
    pub rate_hz: f64,
    /// Samples a second that the strap should send.
    pub nominal_hz: f64,
    /// Samples lost by the strap's own count, percent of the last ten seconds.
    pub lost_percent: f64,
    /// Standard uncertainty of its clock against the others, milliseconds; absent while it settles.
    pub clock_sd_ms: Option<f64>,
    /// Standard uncertainty of its gyroscope's bias about the least certain axis, degrees per second; absent before
    /// the first sample.
    pub gyro_bias_sd_dps: Option<f64>,
    /// That bias is not known well yet, and angles are less certain: how much longer that takes as a rule, seconds;
    /// 0 where it takes longer, absent once it is known.
    pub gyro_settling_s: Option<f64>,
    /// The same in words.
    pub gyro_settling: Option<String>,
    /// Age of its newest sample, seconds; absent before the first.
    pub last_sample_age_s: Option<f64>,
    /// The status in words.
    pub words: String,
}
