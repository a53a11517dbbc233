//! What is known of one lesson, gathered from its events: live and past lessons alike.

use super::views::{BlockView, CalibrationView, Doing, LessonView, PlayerView, StrapStatus};
use peakorder_analysis::against::{Against, against_baseline};
use peakorder_analysis::load::counts;
use peakorder_analysis::measure::Measure;
use peakorder_analysis::order::heading;
use peakorder_analysis::summary::{MeasureSummary, summarise_measure};
use peakorder_analysis::target::{Answer, answer};
use peakorder_analysis::words::quality::QualityWords;
use peakorder_protocol::Role;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{Mark, MarkKind};
use peakorder_protocol::mobility::MobilityCheck;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::session::{CalibrationNote, Session, SourceKind};
use peakorder_protocol::swing::Swing;
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::Arc;
use utoipa::ToSchema;

/// What is said of a swing besides its own numbers.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SwingExtra {
    /// Its number.
    pub number: u32,
    /// Each measure against the player's own baseline.
    pub against: Vec<Against>,
    /// Its answer to the drill target.
    pub answer: Option<Answer>,
    /// What is withheld from it and why, in words.
    pub quality: QualityWords,
}

/// One lesson.
#[derive(Debug, Clone)]
pub struct LessonState {
    id: String,
    session: Session,
    player_id: Option<String>,
    baseline_block: String,
    block: String,
    blocks: Vec<BlockView>,
    doing: Option<Doing>,
    swings: Vec<Arc<Swing>>,
    mobility: Vec<MobilityCheck>,
    remarks: Remarks,
    extras: BTreeMap<u32, SwingExtra>,
}

impl LessonState {
    /// An empty state for `session`, which the library has under `id`.
    pub fn new(id: &str, session: Session, player_id: Option<String>, baseline_block: &str) -> Self {
        Self {
            id: id.to_owned(),
            session,
            player_id,
            baseline_block: baseline_block.to_owned(),
            block: String::new(),
            blocks: Vec::new(),
            doing: None,
            swings: Vec::new(),
            mobility: Vec::new(),
            remarks: Remarks::default(),
            extras: BTreeMap::new(),
        }
    }

    /// Session id.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// The session file as far as known.
    pub fn session(&self) -> &Session {
        &self.session
    }

    /// The swings so far.
    pub fn swings(&self) -> &[Arc<Swing>] {
        &self.swings
    }

    /// Takes a mark; true if what the player is asked to do changed by it.
    pub fn mark(&mut self, mark: &Mark) -> bool {
        let t_s = mark.t_ns as f64 * 1e-9;
        let (what, starts) = match mark.kind {
            MarkKind::StillStart => ("still", true),
            MarkKind::BowStart => ("bow", true),
            MarkKind::ArmRaiseStart => ("arm-raise", true),
            MarkKind::TurnStart => ("turn", true),
            MarkKind::StillEnd | MarkKind::BowEnd | MarkKind::ArmRaiseEnd | MarkKind::TurnEnd => ("", false),
            MarkKind::Block | MarkKind::Note => return false,
        };
        let doing = starts.then(|| Doing {
            what: if what == "turn" { format!("turn {}", mark.detail.trim()) } else { what.to_owned() },
            since_s: t_s,
        });
        let changed = doing != self.doing;
        self.doing = doing;
        changed
    }

    /// The movement that goes on.
    pub fn doing(&self) -> Option<&Doing> {
        self.doing.as_ref()
    }

    /// Calibration steps as the session file has them.
    pub fn set_calibration(&mut self, notes: &[CalibrationNote]) {
        self.session.calibration = notes.to_vec();
    }

    /// Takes an event; returns what is now said differently of swings, newest first.
    pub fn event(&mut self, event: &LiveEvent) -> Vec<SwingExtra> {
        match event {
            LiveEvent::Block { t_s, label } => {
                self.block.clone_from(label);
                self.blocks.push(BlockView { label: label.clone(), start_s: *t_s, first_swing: None });
            }
            LiveEvent::Swing { swing } => {
                let to_baseline = self.is_baseline(swing);
                self.swing(Swing::clone(swing));
                return if to_baseline { self.say_anew() } else { self.say_of_last() };
            }
            LiveEvent::Mobility { check } => self.mobility.push(MobilityCheck::clone(check)),
            _ => {}
        }
        Vec::new()
    }

    /// Takes many swings at once, of a past lesson.
    pub fn add_swings(&mut self, swings: impl IntoIterator<Item = Swing>) {
        for swing in swings {
            self.swing(swing);
        }
        self.say_anew();
    }

    /// What the coach says of swings; returns what is now said differently.
    pub fn set_remarks(&mut self, remarks: Remarks) -> Vec<SwingExtra> {
        self.remarks = remarks;
        self.say_anew()
    }

    /// What the coach says of swings.
    pub fn remarks(&self) -> &Remarks {
        &self.remarks
    }

    fn is_baseline(&self, swing: &Swing) -> bool {
        swing.block == self.baseline_block && counts(swing, &self.remarks)
    }

    /// The baseline's swings that count.
    fn baseline(&self) -> Vec<Arc<Swing>> {
        self.swings.iter().filter(|s| self.is_baseline(s)).map(Arc::clone).collect()
    }

    /// What the baseline comes to in a measure.
    pub fn baseline_measure(&self, measure: Measure) -> Option<MeasureSummary> {
        let baseline = self.baseline();
        summarise_measure(measure, &baseline.iter().map(AsRef::as_ref).collect::<Vec<_>>())
    }

    fn extra(&self, swing: &Swing, baseline: &[&Swing]) -> SwingExtra {
        let target = self.remarks.target_for(swing.events.impact.t_s, &swing.block);
        SwingExtra {
            number: swing.number,
            against: against_baseline(swing, baseline),
            answer: target.map(|t| answer(t, swing)),
            quality: QualityWords::from(&swing.quality),
        }
    }

    fn say_of_last(&mut self) -> Vec<SwingExtra> {
        let Some(last) = self.swings.last() else { return Vec::new() };
        let baseline = self.baseline();
        let extra = self.extra(last, &baseline.iter().map(AsRef::as_ref).collect::<Vec<_>>());
        self.extras.insert(extra.number, extra.clone());
        vec![extra]
    }

    /// The baseline or the remarks have changed: everything is said anew.
    fn say_anew(&mut self) -> Vec<SwingExtra> {
        let baseline = self.baseline();
        let baseline: Vec<&Swing> = baseline.iter().map(AsRef::as_ref).collect();
        let mut changed = Vec::new();
        for swing in self.swings.iter().rev() {
            let extra = self.extra(swing, &baseline);
            if self.extras.get(&extra.number) != Some(&extra) {
                changed.push(extra);
            }
        }
        self.extras.extend(changed.iter().map(|e| (e.number, e.clone())));
        changed
    }

    fn swing(&mut self, swing: Swing) {
        // Blocks of one label may come twice; a swing belongs to the latest before its takeaway.
        let block = self
            .blocks
            .iter_mut()
            .rev()
            .find(|b| b.label == swing.block && b.start_s <= swing.events.takeaway.t_s);
        if let Some(block) = block {
            block.first_swing.get_or_insert(swing.number);
        }
        self.swings.push(Arc::new(swing));
    }

    /// Whether every strap's place on its segment is known.
    fn calibrated(&self) -> bool {
        let passed = |role: Role, step: &str| {
            self.session.calibration.iter().any(|n| n.role == role && n.step == step && n.ok)
        };
        self.session.straps.keys().all(|role| match role {
            Role::Pelvis | Role::Thorax => passed(*role, "still") && passed(*role, "bow"),
            Role::LeadArm => passed(*role, "arm-raise"),
        })
    }

    /// For the page, at session time `t_s`.
    pub fn view(&self, t_s: f64, straps: Vec<StrapStatus>) -> LessonView {
        let player = &self.session.player;
        LessonView {
            session: self.id.clone(),
            invented: self.session.invented,
            source: match self.session.source {
                SourceKind::Straps => "straps",
                SourceKind::Virtual => "virtual",
                SourceKind::Import => "import",
            }
            .into(),
            started_utc: self.session.started_utc.clone(),
            t_s,
            player: PlayerView {
                id: self.player_id.clone(),
                name: player.name.clone(),
                handedness: player.handedness,
                goal: player.goal.clone(),
                limits: player.limits.clone(),
            },
            block: self.block.clone(),
            blocks: self.blocks.clone(),
            calibration: self
                .session
                .calibration
                .iter()
                .map(|n| CalibrationView {
                    t_s: n.t_s,
                    step: n.step.clone(),
                    role: n.role,
                    ok: n.ok,
                    text: n.text.clone(),
                })
                .collect(),
            calibrated: self.calibrated(),
            doing: self.doing.clone(),
            straps,
            swings: self.swings.clone(),
            order_words: self.swings.iter().map(|s| (s.number, heading(&s.sequence))).collect(),
            against: self.extras.values().map(|e| (e.number, e.against.clone())).collect(),
            quality: self.extras.values().map(|e| (e.number, e.quality.clone())).collect(),
            answers: self.extras.values().filter_map(|e| Some((e.number, e.answer.clone()?))).collect(),
            remarks: self.remarks.clone(),
            mobility: self.mobility.clone(),
            baseline_block: self.baseline_block.clone(),
        }
    }
}
