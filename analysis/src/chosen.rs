//! What a lesson is about: the few measures that were meant before the drill.
//!
//! Whoever looks at forty numbers finds some that differ by chance. So the verdicts are given for those
//! that were named beforehand, and allow for each other only; all others are looked through.

use crate::measure::Measure;
use peakorder_protocol::remark::Remarks;
use std::fmt;

/// So many may be meant; with more, verdicts become weak.
pub const MOST: usize = 5;

/// A measure that was meant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chosen {
    /// Which.
    pub measure: Measure,
    /// Smallest change that matters, in its unit, where the coach has said one.
    pub matters: Option<f64>,
}

impl Chosen {
    /// Without a smallest change of the coach's.
    pub const fn of(measure: Measure) -> Self {
        Self { measure, matters: None }
    }
}

/// Which measures get verdicts.
#[derive(Debug, Clone, PartialEq)]
pub enum Family {
    /// These; all others are looked through.
    Chosen(Vec<Chosen>),
    /// These and no others are looked at.
    Only(Vec<Chosen>),
    /// None was named beforehand, so the verdicts allow for all.
    All,
}

impl Family {
    /// What the coach chose in a session; the targets of its drills are chosen by having been set.
    pub fn of_remarks(remarks: &Remarks) -> Self {
        let mut chosen: Vec<Chosen> = Vec::new();
        if let Some(set) = &remarks.chosen {
            chosen.extend(set.measures.iter().filter_map(|c| {
                Some(Chosen { measure: Measure::from_key(&c.measure)?, matters: c.matters })
            }));
        }
        for target in remarks.targets.iter().filter_map(|t| t.target.as_ref()) {
            let Some(measure) = Measure::from_key(&target.measure) else { continue };
            if chosen.len() < MOST && chosen.iter().all(|c| c.measure != measure) {
                chosen.push(Chosen::of(measure));
            }
        }
        if chosen.is_empty() { Self::All } else { Self::Chosen(chosen) }
    }

    /// The smallest change that matters, where the coach has said one.
    pub fn matters(&self, measure: Measure) -> Option<f64> {
        self.find(measure)?.matters
    }

    /// Whether `measure` gets a verdict.
    pub fn judges(&self, measure: Measure) -> bool {
        matches!(self, Self::All) || self.find(measure).is_some()
    }

    fn find(&self, measure: Measure) -> Option<&Chosen> {
        match self {
            Self::Chosen(chosen) | Self::Only(chosen) => chosen.iter().find(|c| c.measure == measure),
            Self::All => None,
        }
    }

    /// The measures that get verdicts.
    pub fn judged(&self) -> Vec<Measure> {
        match self {
            Self::All => Measure::ALL.to_vec(),
            Self::Chosen(chosen) | Self::Only(chosen) => chosen.iter().map(|c| c.measure).collect(),
        }
    }

    /// All measures that are looked at, those that were meant first.
    pub fn looked_at(&self) -> Vec<Measure> {
        match self {
            Self::All => Measure::ALL.to_vec(),
            Self::Only(chosen) => chosen.iter().map(|c| c.measure).collect(),
            Self::Chosen(chosen) => {
                let rest = Measure::ALL.into_iter().filter(|m| self.find(*m).is_none());
                chosen.iter().map(|c| c.measure).chain(rest).collect()
            }
        }
    }
}

/// Why a text names no chosen measure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotChosen(String);

impl fmt::Display for NotChosen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for NotChosen {}

impl std::str::FromStr for Chosen {
    type Err = NotChosen;

    /// `KEY`, or `KEY=SMALLEST`.
    fn from_str(text: &str) -> Result<Self, NotChosen> {
        let (key, matters) = text.split_once('=').map_or((text, None), |(key, value)| (key, Some(value)));
        let measure = Measure::from_key(key).ok_or_else(|| {
            let keys: Vec<String> = Measure::ALL.into_iter().map(Measure::key).collect();
            NotChosen(format!("no measure '{key}'; there are {}", keys.join(", ")))
        })?;
        let matters = matters
            .map(|value| match value.parse::<f64>() {
                Ok(v) if v.is_finite() && v > 0.0 => Ok(v),
                _ => Err(NotChosen(format!(
                    "'{value}' is no smallest change; write {key}=3 for 3 in the measure's unit, above 0"
                ))),
            })
            .transpose()?;
        Ok(Self { measure, matters })
    }
}
