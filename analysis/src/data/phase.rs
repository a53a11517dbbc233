//! Which part of a lesson a block is.

use crate::BASELINE;
use crate::load::Loaded;

/// Part of a lesson.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// What the player brought.
    Baseline,
    /// Between the two.
    Drill,
    /// What the lesson ended with.
    After,
    /// Neither.
    Other,
}

impl Phase {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Baseline => "baseline",
            Self::Drill => "drill",
            Self::After => "after",
            Self::Other => "other",
        }
    }
}

/// A block of a session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockAt {
    /// From 1, by first appearance.
    pub number: u32,
    /// Its label.
    pub label: String,
    /// Its part.
    pub phase: Phase,
}

/// A session's blocks, of swings and of repetitions.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Phases {
    /// In order of first appearance.
    pub blocks: Vec<BlockAt>,
    /// Labels of the drills, joined by ` + `.
    pub drills: Option<String>,
}

impl Phases {
    /// Start and end are those of `kept`: the block `baseline`, or else the first that counts, and the last other one that does.
    pub fn of(loaded: &Loaded) -> Self {
        let swings = loaded.swings.iter().map(|s| (s.number, s.block.as_str()));
        let repetitions = loaded.repetitions.iter().map(|r| (r.number, r.block.as_str()));
        let mut all: Vec<(u32, &str)> = swings.chain(repetitions).collect();
        all.sort_unstable();
        let mut labels: Vec<&str> = Vec::new();
        for (_, label) in all {
            if !labels.contains(&label) {
                labels.push(label);
            }
        }
        let counts = |label: &&&str| !loaded.counted(label).is_empty();
        let start =
            labels.iter().filter(counts).find(|l| **l == BASELINE).or_else(|| labels.iter().find(counts));
        let end = start.and_then(|start| labels.iter().rev().filter(|l| *l != start).find(counts));
        let place = |of: Option<&&str>| of.and_then(|of| labels.iter().position(|l| l == of));
        let (from, to) = (place(start), place(end));
        let phase = |at: usize| match (from, to) {
            (Some(from), _) if at == from => Phase::Baseline,
            (_, Some(to)) if at == to => Phase::After,
            (Some(from), Some(to)) if from < at && at < to => Phase::Drill,
            _ => Phase::Other,
        };
        let blocks: Vec<BlockAt> = (1..)
            .zip(&labels)
            .enumerate()
            .map(|(at, (number, label))| BlockAt { number, label: (*label).to_owned(), phase: phase(at) })
            .collect();
        let drills: Vec<&str> =
            blocks.iter().filter(|b| b.phase == Phase::Drill).map(|b| b.label.as_str()).collect();
        let drills = (!drills.is_empty()).then(|| drills.join(" + "));
        Self { blocks, drills }
    }

    /// The block of that label.
    pub fn at(&self, label: &str) -> Option<&BlockAt> {
        self.blocks.iter().find(|b| b.label == label)
    }
}
