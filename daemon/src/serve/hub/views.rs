//! What the page is shown, as JSON.

use peakorder_analysis::against::Against;
use peakorder_analysis::target::Answer;
use peakorder_analysis::words::quality::QualityWords;
use peakorder_protocol::mobility::MobilityCheck;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::swing::Swing;
use peakorder_protocol::{Handedness, Role};
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::Arc;
use utoipa::ToSchema;

/// Everything at one moment.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Snapshot {
    /// Version of the program.
    pub version: String,
    /// Random id of this run of the program; another one means that it was started anew.
    pub boot: String,
    /// Number of the newest event that is contained in this.
    pub seq: u64,
    /// What this device may do: `coach` (everything) or `viewer` (look).
    pub device: String,
    /// LessonControl use virtual straps: everything is invented.
    #[serde(rename = "virtual")]
    pub invented: bool,
    /// The lesson that is running.
    pub lesson: Option<LessonView>,
}

/// A lesson, running or past.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LessonView {
    /// Session id.
    pub session: String,
    /// The scenario is invented.
    pub invented: bool,
    /// Where the samples come from: `straps`, `virtual` or `import`.
    pub source: String,
    /// Start, RFC 3339 UTC.
    pub started_utc: String,
    /// Now on the session clock, seconds; of a past lesson, the time of its last swing's finish.
    pub t_s: f64,
    /// The player.
    pub player: PlayerView,
    /// Label of the block that runs; empty before the first.
    pub block: String,
    /// All blocks in order.
    pub blocks: Vec<BlockView>,
    /// Judged calibration steps in order.
    pub calibration: Vec<CalibrationView>,
    /// Every strap's place on its segment is known.
    pub calibrated: bool,
    /// The guided movement that goes on.
    pub doing: Option<Doing>,
    /// How the straps are; empty for a past lesson.
    pub straps: Vec<StrapStatus>,
    /// The swings, each as in its file (`peakorder.swing/1`).
    #[schema(value_type = Vec<Swing>)]
    #[serde(serialize_with = "shared")]
    pub swings: Vec<Arc<Swing>>,
    /// Swing by swing, the order of its peaks in words.
    pub order_words: BTreeMap<u32, String>,
    /// Swing by swing, each measure against the player's own baseline.
    pub against: BTreeMap<u32, Vec<Against>>,
    /// What is withheld from each swing and why, in words, by number.
    pub quality: BTreeMap<u32, QualityWords>,
    /// Answers to the drill target, of swings made while there was one.
    pub answers: BTreeMap<u32, Answer>,
    /// What the coach says.
    pub remarks: Remarks,
    /// Mobility checks, each as in `mobility.json`.
    pub mobility: Vec<MobilityCheck>,
    /// Label of the block that others are held against.
    pub baseline_block: String,
}

/// Swings are shared with the hub, not copied.
fn shared<S: serde::Serializer>(swings: &[Arc<Swing>], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(swings.iter().map(AsRef::as_ref))
}

/// Who swings.
#[derive(Debug, Clone, Serialize, ToSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct BlockView {
    /// Label.
    pub label: String,
    /// Session clock, seconds.
    pub start_s: f64,
    /// Number of its first swing, once there is one.
    pub first_swing: Option<u32>,
}

/// A judged calibration step.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CalibrationView {
    /// Session clock, seconds.
    pub t_s: f64,
    /// `still`, `bow` or `arm-raise`.
    pub step: String,
    /// Where it is worn.
    pub role: Role,
    /// Accepted.
    pub ok: bool,
    /// Figures, or what to repeat and why.
    pub text: String,
}

/// A guided movement that goes on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Doing {
    /// `still`, `bow`, `arm-raise`, `turn seated` or `turn standing`.
    pub what: String,
    /// Since when, session clock, seconds.
    pub since_s: f64,
}

/// How a strap is.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
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
    /// Samples a second that it should send.
    pub nominal_hz: f64,
    /// Samples lost by the strap's own count, percent of the last ten seconds.
    pub lost_percent: f64,
    /// Standard uncertainty of its clock against the others, milliseconds; absent while it settles.
    pub clock_sd_ms: Option<f64>,
    /// Age of its newest sample, seconds; absent before the first.
    pub last_sample_age_s: Option<f64>,
    /// The same in words.
    pub words: String,
}
