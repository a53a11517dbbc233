//! What each swing is compared with: the player's own baseline and the drill target.
//!
//! A baseline swing or a remark changes the assessment of every swing of the lesson. That is
//! too much work for the lock that the computation waits for, so it is cut in three: take an
//! [`Assessment`] under the lock, compute without it, accept the result under it again if its
//! inputs have not changed meanwhile.

use peakorder_analysis::against::{Against, against_baseline};
use peakorder_analysis::chosen::Family;
use peakorder_analysis::target::{Answer, answer, answer_repetition};
use peakorder_analysis::usual::{AboutValue, Usual, about, about_repetition, usual};
use peakorder_analysis::words::quality::QualityWords;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::swing::Swing;
use serde::ser::SerializeStruct as _;
use serde::{Serialize, Serializer};
use std::collections::BTreeMap;
use std::sync::Arc;

/// What is known of a swing besides its own numbers.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct SwingExtra {
    /// Number of the swing.
    pub number: u32,
    /// Each measure against the player's own baseline; told of the newest swing only.
    #[cfg_attr(feature = "openapi", schema(value_type = Option<Vec<Against>>))]
    pub against: Vec<Against>,
    /// Its values of what the lesson is about, in the coach's order.
    pub about: Vec<AboutValue>,
    /// The answer to the drill target.
    pub answer: Option<Answer>,
    /// What is withheld and why, in words.
    pub quality: QualityWords,
}

/// A swing's extra as it is published.
#[derive(Debug)]
pub struct ToldExtra<'a> {
    /// What is known of the swing.
    pub extra: &'a SwingExtra,
    /// With what it has against the baseline; otherwise that is asked for.
    pub against: bool,
}

impl Serialize for ToldExtra<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let SwingExtra { number, against, about, answer, quality } = self.extra;
        let mut told = to.serialize_struct("SwingExtra", 5)?;
        told.serialize_field("number", number)?;
        told.serialize_field("against", &self.against.then_some(against))?;
        told.serialize_field("about", about)?;
        told.serialize_field("answer", answer)?;
        told.serialize_field("quality", quality)?;
        told.end()
    }
}

/// What is known of the swings, by number. Shared with views, not copied.
pub(super) type Extras = BTreeMap<u32, Arc<SwingExtra>>;

/// A swing or a repetition of a drill; both are numbered in one row.
#[derive(Debug, Clone)]
pub(super) enum Movement {
    /// A swing.
    Swing(Arc<Swing>),
    /// A repetition.
    Repetition(Arc<Repetition>),
}

impl Movement {
    /// Its number.
    pub(super) fn number(&self) -> u32 {
        match self {
            Self::Swing(swing) => swing.number,
            Self::Repetition(repetition) => repetition.number,
        }
    }
}

/// The inputs of an assessment.
#[derive(Debug)]
pub struct Assessment {
    /// Version of `baseline` and `remarks`.
    pub(super) version: u64,
    /// What is to be assessed, newest first.
    pub(super) movements: Vec<Movement>,
    pub(super) baseline: Vec<Arc<Swing>>,
    pub(super) remarks: Arc<Remarks>,
    /// The results so far.
    pub(super) known: Extras,
}

impl Assessment {
    /// What is usual for the player by this baseline.
    pub fn usual(&self) -> Vec<Usual> {
        let baseline: Vec<&Swing> = self.baseline.iter().map(AsRef::as_ref).collect();
        usual(&baseline, &Family::of_remarks(&self.remarks))
    }

    /// Computes the assessments one by one, newest first, and hands on those that
    /// differ from what is known. Ends early when `accept` returns false.
    pub fn run(&self, mut accept: impl FnMut(SwingExtra) -> bool) {
        let baseline: Vec<&Swing> = self.baseline.iter().map(AsRef::as_ref).collect();
        let family = Family::of_remarks(&self.remarks);
        for movement in &self.movements {
            let extra = match movement {
                Movement::Swing(swing) => {
                    let target = self.remarks.target_for(swing.events.impact.t_s, &swing.block);
                    SwingExtra {
                        number: swing.number,
                        against: against_baseline(swing, &baseline, &self.remarks, &family),
                        about: about(swing, &self.remarks),
                        answer: target.map(|t| answer(t, swing)),
                        quality: QualityWords::from(&swing.quality),
                    }
                }
                Movement::Repetition(repetition) => {
                    let target = self.remarks.target_for(repetition.events.top.t_s, &repetition.block);
                    SwingExtra {
                        number: repetition.number,
                        // A drill is not held against full swings.
                        against: Vec::new(),
                        about: about_repetition(repetition, &self.remarks),
                        answer: target.map(|t| answer_repetition(t, repetition)),
                        quality: QualityWords::from(&repetition.quality),
                    }
                }
            };
            let known = self.known.get(&extra.number).is_some_and(|k| **k == extra);
            if !known && !accept(extra) {
                return;
            }
        }
    }
}

/// Whether a swing belongs to the baseline: it is of the block `label` and counts.
pub(super) fn in_baseline(swing: &Swing, label: &str, remarks: &Remarks) -> bool {
    swing.block == label && remarks.counts(swing)
}
