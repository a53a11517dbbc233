//! The state that a session's remarks come to.

use super::{ChosenMeasure, Remark, Target, What};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// What is said of a session, undone remarks left out.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Remarks {
    /// By number of the swing; a swing of which nothing is said is absent.
    pub swings: BTreeMap<u32, SwingRemarks>,
    /// Labels of the blocks in which every swing hits a ball.
    #[serde(default)]
    pub balls: BTreeSet<String>,
    /// Labels of the blocks that are without a ball.
    #[serde(default)]
    pub without_ball: BTreeSet<String>,
    /// Blocks that were renamed: recorded label → label in force. All other labels here are those in force.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub renamed: BTreeMap<String, String>,
    /// Notes of the lesson, in the order made.
    pub notes: Vec<LessonNote>,
    /// What the player is to practise; `None` where nothing is said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub practise: Option<String>,
    /// The target in force after the last remark.
    pub target: Option<Target>,
    /// Every setting and ending of a target, in the order made.
    pub targets: Vec<TargetSet>,
    /// What the lesson is about, by the last choice; `None` where none was made or the last one is empty.
    #[serde(default)]
    pub chosen: Option<ChosenSet>,
    /// The remark that an undo would take back.
    pub last: Option<Last>,
}

/// Measures chosen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct ChosenSet {
    /// Id of the remark.
    pub id: u32,
    /// When, session clock, seconds.
    pub t_s: f64,
    /// The measures, the most important first.
    pub measures: Vec<ChosenMeasure>,
}

/// What is said of one swing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct SwingRemarks {
    /// Ball outcome in the coach's words.
    pub labels: Vec<String>,
    /// Note; empty = none.
    pub note: String,
    /// Whether it hit a ball, as the coach says; absent: as the straps and the block say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub struck: Option<bool>,
    /// Left out of every summary.
    pub excluded: bool,
    /// Why; empty when not left out or no reason was given.
    pub reason: String,
}

/// A note of the lesson.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct LessonNote {
    /// Id of the remark.
    pub id: u32,
    /// Session clock, seconds.
    pub t_s: f64,
    /// In the coach's words.
    pub text: String,
}

/// A target set or ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct TargetSet {
    /// Id of the remark.
    pub id: u32,
    /// In force from here on, session clock, seconds.
    pub t_s: f64,
    /// The target; `None` = none from here on.
    pub target: Option<Target>,
}

/// A remark that can be taken back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Last {
    /// Its id.
    pub id: u32,
    /// What it says, in one line.
    pub words: String,
}

impl Remarks {
    /// Folds remarks in the order given. An undo of what does not exist is passed over.
    pub fn fold(remarks: &[Remark]) -> Self {
        let undone: BTreeSet<u32> = remarks
            .iter()
            .filter_map(|r| match r.what {
                What::Undo { id } if id < r.id => Some(id),
                _ => None,
            })
            .collect();
        let mut state = Self::default();
        for remark in remarks.iter().filter(|r| !undone.contains(&r.id)) {
            state.take(remark);
        }
        state.swings.retain(|_, s| *s != SwingRemarks::default());
        state.target = state.targets.last().and_then(|t| t.target.clone());
        state
    }

    fn take(&mut self, remark: &Remark) {
        match &remark.what {
            What::Outcome { swing, labels } => {
                self.swings.entry(*swing).or_default().labels.clone_from(labels);
            }
            What::Note { swing: Some(swing), text } => {
                self.swings.entry(*swing).or_default().note.clone_from(text);
            }
            What::Note { swing: None, text } => {
                self.notes.push(LessonNote { id: remark.id, t_s: remark.t_s, text: text.clone() });
            }
            What::Practise { text } => self.practise = (!text.is_empty()).then(|| text.clone()),
            What::Exclude { swing, excluded, reason } => {
                let said = self.swings.entry(*swing).or_default();
                said.excluded = *excluded;
                said.reason = if *excluded { reason.clone() } else { String::new() };
            }
            What::Balls { block, every_swing, without_ball } => {
                for (said, of) in [(every_swing, &mut self.balls), (without_ball, &mut self.without_ball)] {
                    if *said {
                        of.insert(block.clone());
                    } else {
                        of.remove(block);
                    }
                }
            }
            What::Rename { block, name } => self.rename(block, name),
            What::Ball { swing, struck } => self.swings.entry(*swing).or_default().struck = *struck,
            What::Target { target } => {
                self.targets.push(TargetSet { id: remark.id, t_s: remark.t_s, target: target.clone() });
            }
            What::Chosen { measures } => {
                let set = ChosenSet { id: remark.id, t_s: remark.t_s, measures: measures.clone() };
                self.chosen = (!measures.is_empty()).then_some(set);
            }
            What::Undo { .. } => return,
        }
        self.last = Some(Last { id: remark.id, words: remark.what.words() });
    }

    fn rename(&mut self, block: &str, name: &str) {
        for shown in self.renamed.values_mut().filter(|shown| *shown == block) {
            name.clone_into(shown);
        }
        // A recorded label that is shown under another name already is another block.
        self.renamed.entry(block.to_owned()).or_insert_with(|| name.to_owned());
        self.renamed.retain(|recorded, shown| recorded != shown);
        for labels in [&mut self.balls, &mut self.without_ball] {
            if labels.remove(block) {
                labels.insert(name.to_owned());
            }
        }
        // What holds of two blocks that become one cannot contradict itself.
        self.without_ball.retain(|label| !self.balls.contains(label));
        for target in self.targets.iter_mut().filter_map(|t| t.target.as_mut()).filter(|t| t.block == block) {
            name.clone_into(&mut target.block);
        }
    }

    /// The label in force of a block that was recorded under `label`.
    pub fn block<'a>(&'a self, label: &'a str) -> &'a str {
        self.renamed.get(label).map_or(label, String::as_str)
    }

    /// What is said of swing `number`.
    pub fn swing(&self, number: u32) -> Option<&SwingRemarks> {
        self.swings.get(&number)
    }

    /// Why swing `number` is left out of the summaries; `None` when it is not.
    pub fn excluded(&self, number: u32) -> Option<&str> {
        self.swings.get(&number).filter(|s| s.excluded).map(|s| s.reason.as_str())
    }

    /// The target that a swing at `t_s` (session clock) in `block` answers to.
    pub fn target_for(&self, t_s: f64, block: &str) -> Option<&Target> {
        let set = self.targets.iter().rev().find(|t| t.t_s <= t_s)?;
        set.target.as_ref().filter(|t| t.block.is_empty() || t.block == block)
    }
}
