//! What is known of one lesson, gathered from its events: live and past lessons alike.

use super::views::{BlockView, CalibrationView, Doing, LessonView, PlayerView, StrapStatus};
use peakorder_protocol::Role;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{Mark, MarkKind};
use peakorder_protocol::mobility::MobilityCheck;
use peakorder_protocol::session::{CalibrationNote, Session, SourceKind};
use peakorder_protocol::swing::Swing;
use std::sync::Arc;

/// One lesson.
#[derive(Debug, Clone)]
pub struct Book {
    id: String,
    session: Session,
    player_id: Option<String>,
    baseline_block: String,
    block: String,
    blocks: Vec<BlockView>,
    doing: Option<Doing>,
    swings: Vec<Arc<Swing>>,
    mobility: Vec<MobilityCheck>,
}

impl Book {
    /// An empty book for `session`, which the library has under `id`.
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

    /// Takes an event.
    pub fn event(&mut self, event: &LiveEvent) {
        match event {
            LiveEvent::Block { t_s, label } => {
                self.block.clone_from(label);
                self.blocks.push(BlockView { label: label.clone(), start_s: *t_s, first_swing: None });
            }
            LiveEvent::Swing { swing } => self.swing(Swing::clone(swing)),
            LiveEvent::Mobility { check } => self.mobility.push(MobilityCheck::clone(check)),
            _ => {}
        }
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
            mobility: self.mobility.clone(),
            baseline_block: self.baseline_block.clone(),
        }
    }
}
