//! What is known of one lesson, gathered from its events. Live, past and played lessons use it.

use super::assessment::{Assessment, Extras, Movement, SwingExtra, in_baseline};
use super::views::{BlockView, CalibrationView, Doing, LessonView, MobilityView, PlayerView, StrapStatus};
use peakorder_analysis::against::{Against, against_baseline};
use peakorder_analysis::chosen::Family;
use peakorder_analysis::usual::Usual;
use peakorder_analysis::words;
use peakorder_protocol::Role;
use peakorder_protocol::calibration::{CalibrationStep, JudgedStep};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{Mark, MarkKind};
use peakorder_protocol::mobility::MobilityCheck;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::session::{Session, SourceKind};
use peakorder_protocol::swing::Swing;
use std::sync::Arc;

/// The state of one lesson.
#[derive(Debug)]
pub struct LessonState {
    id: String,
    session: Session,
    player_id: Option<String>,
    baseline_block: String,
    block: String,
    blocks: Vec<BlockView>,
    doing: Option<Doing>,
    /// When the straps were last put on, s.
    worn_since_s: f64,
    swings: Vec<Arc<Swing>>,
    repetitions: Vec<Arc<Repetition>>,
    mobility: Vec<MobilityCheck>,
    remarks: Arc<Remarks>,
    extras: Extras,
    /// Labels of `swings` as recorded; those in force are in the swings.
    recorded: Vec<String>,
    /// Labels come as they are in force.
    labels_in_force: bool,
    usual: Arc<Vec<Usual>>,
    /// The version that `usual` is of.
    usual_version: Option<u64>,
    /// Counts the changes of baseline and remarks.
    version: u64,
    /// What has extras that are out of date, oldest first.
    unassessed: Vec<Movement>,
}

impl LessonState {
    /// A lesson without swings; the library has `session` under `id`.
    pub fn new(id: &str, session: Session, player_id: Option<String>, baseline_block: &str) -> Self {
        Self {
            id: id.to_owned(),
            session,
            player_id,
            baseline_block: baseline_block.to_owned(),
            block: String::new(),
            blocks: Vec::new(),
            doing: None,
            worn_since_s: 0.0,
            swings: Vec::new(),
            repetitions: Vec::new(),
            mobility: Vec::new(),
            remarks: Arc::default(),
            extras: Extras::new(),
            recorded: Vec::new(),
            labels_in_force: false,
            usual: Arc::default(),
            usual_version: None,
            version: 0,
            unassessed: Vec::new(),
        }
    }

    /// Whose swings and blocks come with the labels that are in force, and not with those recorded.
    #[must_use]
    pub fn with_labels_in_force(self) -> Self {
        Self { labels_in_force: true, ..self }
    }

    /// The label in force of a block that comes with `label`.
    fn label(&self, label: &str) -> String {
        let label = if self.labels_in_force { label } else { self.remarks.block(label) };
        label.to_owned()
    }

    /// The baseline's label in force.
    fn baseline_label(&self) -> &str {
        self.remarks.block(&self.baseline_block)
    }

    /// Session id.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// The session file as far as it is known.
    pub fn session(&self) -> &Session {
        &self.session
    }

    /// The swings so far.
    pub fn swings(&self) -> &[Arc<Swing>] {
        &self.swings
    }

    /// The repetitions of drills so far.
    pub fn repetitions(&self) -> &[Arc<Repetition>] {
        &self.repetitions
    }

    /// Applies a mark; true if it changes what the player is asked to do.
    pub fn mark(&mut self, mark: &Mark) -> bool {
        let what = match mark.kind {
            MarkKind::StillStart => Some("still".to_owned()),
            MarkKind::BowStart => Some("bow".to_owned()),
            MarkKind::ArmRaiseStart => Some("arm-raise".to_owned()),
            MarkKind::ShakeStart => Some("shake".to_owned()),
            MarkKind::TurnStart => Some(format!("turn {}", mark.detail.trim())),
            MarkKind::StillEnd
            | MarkKind::BowEnd
            | MarkKind::ArmRaiseEnd
            | MarkKind::ShakeEnd
            | MarkKind::TurnEnd
            // It breaks off what was going on; that the straps are to be calibrated is an event of its own.
            | MarkKind::ReWear => None,
            MarkKind::Block | MarkKind::Drill | MarkKind::Note => return false,
        };
        let doing = what.map(|what| Doing { what, since_s: mark.t_ns as f64 * 1e-9 });
        let changed = doing != self.doing;
        self.doing = doing;
        changed
    }

    /// The guided movement that is going on.
    pub fn doing(&self) -> Option<&Doing> {
        self.doing.as_ref()
    }

    /// Replaces the calibration steps by those of the session file.
    pub fn set_calibration(&mut self, notes: &[JudgedStep]) {
        self.session.calibration = notes.to_vec();
    }

    /// Applies an event.
    pub fn event(&mut self, event: &LiveEvent) {
        match event {
            LiveEvent::Block { t_s, label, drill } => {
                self.block.clone_from(label);
                self.blocks.push(BlockView { label: label.clone(), start_s: *t_s, drill: *drill });
            }
            LiveEvent::Repetition { repetition } => {
                let repetition = Arc::new(Repetition::clone(repetition));
                self.repetitions.push(Arc::clone(&repetition));
                self.unassessed.push(Movement::Repetition(self.relabelled(&repetition)));
            }
            LiveEvent::Wearing { t_s, .. } => self.worn_since_s = *t_s,
            LiveEvent::Swing { swing } => self.add_swing(Swing::clone(swing)),
            LiveEvent::Mobility { check } => self.mobility.push(MobilityCheck::clone(check)),
            _ => {}
        }
    }

    /// Adds a swing.
    pub fn add_swing(&mut self, mut swing: Swing) {
        let label = self.label(&swing.block);
        self.recorded.push(std::mem::replace(&mut swing.block, label));
        let swing = Arc::new(swing);
        self.swings.push(Arc::clone(&swing));
        if in_baseline(&swing, self.baseline_label(), &self.remarks) {
            self.inputs_changed();
        } else {
            self.unassessed.push(Movement::Swing(swing));
        }
    }

    /// The repetition with its block's label in force.
    fn relabelled(&self, repetition: &Arc<Repetition>) -> Arc<Repetition> {
        let label = self.label(&repetition.block);
        if label == repetition.block {
            return Arc::clone(repetition);
        }
        Arc::new(Repetition { block: label, ..Repetition::clone(repetition) })
    }

    /// The coach's remarks.
    pub fn remarks(&self) -> &Remarks {
        &self.remarks
    }

    /// The same, shared: they are replaced as a whole.
    pub fn shared_remarks(&self) -> &Arc<Remarks> {
        &self.remarks
    }

    /// Label of the current block, as it is in force; empty before the first.
    pub fn block(&self) -> &str {
        if self.labels_in_force { &self.block } else { self.remarks.block(&self.block) }
    }

    /// Replaces the coach's remarks.
    pub fn set_remarks(&mut self, remarks: Remarks) {
        let renamed = remarks.renamed != self.remarks.renamed;
        self.remarks = Arc::new(remarks);
        if renamed && !self.labels_in_force {
            for (swing, recorded) in self.swings.iter_mut().zip(&self.recorded) {
                let label = self.remarks.block(recorded);
                if swing.block != label {
                    *swing = Arc::new(Swing { block: label.to_owned(), ..Swing::clone(swing) });
                }
            }
        }
        self.inputs_changed();
    }

    fn inputs_changed(&mut self) {
        self.version += 1;
        let swings = self.swings.iter().map(|s| Movement::Swing(Arc::clone(s)));
        let repetitions = self.repetitions.iter().map(|r| Movement::Repetition(self.relabelled(r)));
        self.unassessed = swings.chain(repetitions).collect();
        self.unassessed.sort_by_key(Movement::number);
    }

    /// The baseline's swings that count.
    pub fn baseline(&self) -> Vec<Arc<Swing>> {
        let counts = |s: &&Arc<Swing>| in_baseline(s, self.baseline_label(), &self.remarks);
        self.swings.iter().filter(counts).map(Arc::clone).collect()
    }

    /// What has to be assessed, with all that it takes; `None` if there are none.
    pub fn take_assessment(&mut self) -> Option<Assessment> {
        if self.unassessed.is_empty() {
            return None;
        }
        let mut movements = std::mem::take(&mut self.unassessed);
        movements.reverse();
        Some(Assessment {
            version: self.version,
            movements,
            baseline: self.baseline(),
            remarks: Arc::clone(&self.remarks),
            known: self.extras.clone(),
        })
    }

    /// Whether what is usual has to be found anew with `assessment`.
    pub fn wants_usual(&self, assessment: &Assessment) -> bool {
        self.usual_version != Some(assessment.version)
    }

    /// Takes what is usual by `assessment`; true if it is new.
    pub fn accept_usual(&mut self, assessment: &Assessment, usual: Vec<Usual>) -> bool {
        if assessment.version != self.version {
            return false;
        }
        self.usual_version = Some(assessment.version);
        let changed = *self.usual != usual;
        self.usual = Arc::new(usual);
        changed
    }

    /// What is usual for the player.
    pub fn usual(&self) -> &Arc<Vec<Usual>> {
        &self.usual
    }

    /// Swing `number` against the baseline; `None` if there is no such swing. For lessons that do not run.
    pub fn against(&self, number: u32) -> Option<Vec<Against>> {
        let swing = self.swings.iter().find(|s| s.number == number)?;
        let baseline = self.baseline();
        let baseline: Vec<&Swing> = baseline.iter().map(AsRef::as_ref).collect();
        Some(against_baseline(swing, &baseline, &self.remarks, &Family::of_remarks(&self.remarks)))
    }

    /// What is known of swing `number` besides its own numbers.
    pub fn extra(&self, number: u32) -> Option<&Arc<SwingExtra>> {
        self.extras.get(&number)
    }

    /// Takes a result of `assessment`; false if its inputs have changed since.
    pub fn accept(&mut self, assessment: &Assessment, extra: Arc<SwingExtra>) -> bool {
        let current = assessment.version == self.version;
        if current {
            self.extras.insert(extra.number, extra);
        }
        current
    }

    /// Assesses all swings that need it; returns what has changed, newest first. For lessons
    /// that do not run.
    pub fn assess(&mut self) -> Vec<Arc<SwingExtra>> {
        let mut changed = Vec::new();
        if let Some(assessment) = self.take_assessment() {
            if self.wants_usual(&assessment) {
                self.accept_usual(&assessment, assessment.usual());
            }
            assessment.run(|extra| {
                changed.push(Arc::new(extra));
                true
            });
        }
        self.extras.extend(changed.iter().map(|e| (e.number, Arc::clone(e))));
        changed
    }

    /// The steps of the present wearing.
    fn calibration(&self) -> impl Iterator<Item = &JudgedStep> {
        self.session.calibration.iter().filter(|n| n.t_s >= self.worn_since_s)
    }

    /// Since when the strap that was calibrated first is calibrated, s; `None` while a strap is not.
    pub fn calibrated_since_s(&self) -> Option<f64> {
        let passed = |role: Role, step: CalibrationStep| {
            let good = self.calibration().filter(|n| n.role == role && n.step == step && n.passed());
            good.map(|n| n.t_s).reduce(f64::max)
        };
        let since = self.session.straps.keys().map(|role| match role {
            Role::Pelvis | Role::Thorax => {
                Some(passed(*role, CalibrationStep::Still)?.max(passed(*role, CalibrationStep::Bow)?))
            }
            Role::LeadArm => passed(*role, CalibrationStep::ArmRaise),
        });
        since.collect::<Option<Vec<f64>>>()?.into_iter().reduce(f64::min)
    }

    /// The lesson was interrupted: what was going on is over.
    pub fn interrupted(&mut self) {
        self.doing = None;
    }

    /// The lesson as the page shows it, at session time `t_s`.
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
            block: self.label(&self.block),
            blocks: self
                .blocks
                .iter()
                .map(|b| BlockView { label: self.label(&b.label), ..b.clone() })
                .collect(),
            calibration: self
                .calibration()
                .map(|n| CalibrationView {
                    t_s: n.t_s,
                    step: n.step,
                    role: n.role,
                    ok: n.passed(),
                    text: words::calibration::outcome(n),
                })
                .collect(),
            calibrated: self.calibrated_since_s().is_some(),
            doing: self.doing.clone(),
            straps,
            disk_backlog: 0.0,
            earlier: 0,
            swings: self.swings.clone(),
            repetitions: self.repetitions.iter().map(|r| self.relabelled(r)).collect(),
            order_words: self.swings.clone(),
            against: self.swings.last().and_then(|s| self.extras.get(&s.number)).map(Arc::clone),
            about: self.extras.clone(),
            usual: Arc::clone(&self.usual),
            quality: self.extras.clone(),
            answers: self.extras.clone(),
            remarks: Arc::clone(&self.remarks),
            mobility: self
                .mobility
                .iter()
                .map(|c| MobilityView { check: c.clone(), words: c.into() })
                .collect(),
            baseline_block: self.baseline_label().to_owned(),
        }
    }
}
