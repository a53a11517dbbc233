//! Numbers said the way people say them: sizes with their direction, never a bare sign.

pub mod ball;
pub mod calibration;
pub mod chance;
pub mod compared;
pub mod import;
pub mod integrity;
pub mod kept;
pub mod mobility;
pub mod quality;
pub mod said;
pub mod strap;
pub mod trouble;

use peakorder_protocol::Role;
use peakorder_protocol::order::PartialOrder;
pub use said::{amount, between, difference, sense, step, subject, value, way};

/// Stands where the half width of a band would, if a file states no uncertainty.
pub const UNKNOWN: &str = "unknown";

/// `1 swing`, `2 swings`.
pub fn plural(n: usize, one: &str) -> String {
    format!("{n} {one}{}", if n == 1 { "" } else { "s" })
}

/// `5`, `5 and 7`, `5, 7 and 9`.
pub fn list<T: ToString>(items: &[T]) -> String {
    let texts: Vec<String> = items.iter().map(T::to_string).collect();
    match texts.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

/// With a capital first letter.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}

/// An order of peaks as a sentence's part: `pelvis first, then thorax and lead arm too close
/// to tell apart`.
pub fn order(order: &crate::order::Order) -> String {
    let names = |roles: &[Role]| list(&roles.iter().map(|r| r.label()).collect::<Vec<_>>());
    let mut parts: Vec<String> = Vec::new();
    match &order.of {
        PartialOrder::Groups(groups) => {
            for (i, group) in groups.iter().enumerate() {
                let lead = if i == 0 { "" } else { "then " };
                let first = if i == 0 && groups.len() > 1 && group.len() == 1 { " first" } else { "" };
                let tie = if group.len() > 1 { ", too close to tell apart" } else { "" };
                parts.push(format!("{lead}{}{first}{tie}", names(group)));
            }
        }
        PartialOrder::OnePair { first, second, tied } => {
            parts.push(format!("{first} before {second}"));
            parts.push(format!("{tied} too close to both to tell apart"));
        }
    }
    if !order.rising.is_empty() {
        let verb = if order.rising.len() == 1 { "was" } else { "were" };
        parts.push(format!("{} {verb} still speeding up at impact", names(&order.rising)));
    }
    parts.join(", ")
}

/// For the tests of every module of words: each sentence is there, and is no other's.
#[cfg(test)]
pub(crate) fn assert_distinct(sentences: &[String]) {
    for (i, sentence) in sentences.iter().enumerate() {
        assert!(!sentence.trim().is_empty(), "sentence {i} is empty");
        assert!(!sentence.contains("  ") && !sentence.contains("NaN"), "{sentence}");
        assert!(!sentences[..i].contains(sentence), "twice: {sentence}");
    }
}

/// What starts the downswing: the reversal that is the top.
pub fn top(segment: Role) -> String {
    format!("reversal of the {segment}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::Measure;
    use Role::{LeadArm, Pelvis, Thorax};

    #[test]
    fn turns_have_a_side_and_gaps_an_order() {
        assert_eq!(subject(Measure::TurnAtTop(Pelvis), -44.2), "Pelvis turn at top 44° back");
        assert_eq!(subject(Measure::TurnAtImpact(Pelvis), 30.0), "Pelvis turn at impact 30° through");
        assert_eq!(subject(Measure::Gap(Pelvis, Thorax), 12.0), "Thorax peak 12 ms after pelvis peak");
        assert_eq!(subject(Measure::Gap(Thorax, LeadArm), -6.0), "Lead arm peak 6 ms before thorax peak");
        assert_eq!(subject(Measure::Gap(Thorax, LeadArm), 0.3), "Thorax and lead arm peaks together");
        assert_eq!(subject(Measure::TempoRatio, 2.853), "Backswing 2.85 times as long as the downswing");
    }

    #[test]
    fn more_is_further_in_the_players_direction() {
        assert_eq!(difference(Measure::TurnAtTop(Pelvis), -44.0, -35.0), "9° more than");
        assert_eq!(difference(Measure::TurnAtTop(Pelvis), -31.0, -35.0), "4° less than");
        assert_eq!(difference(Measure::TurnAtImpact(Thorax), -3.0, 5.0), "8° further back than");
        assert_eq!(difference(Measure::Gap(Thorax, LeadArm), -2.0, -6.0), "4 ms later than");
        assert_eq!(difference(Measure::PeakBeforeImpact(Pelvis), 90.0, 80.0), "10 ms earlier than");
        assert_eq!(difference(Measure::Backswing, 700.0, 740.0), "40 ms shorter than");
        assert_eq!(difference(Measure::PeakSpeed(Pelvis), 450.2, 450.0), "the same as");
        // 12° and 22° stand there, so it is 10 and not 11.
        assert_eq!(difference(Measure::TurnAtImpact(Thorax), 11.7, 22.4), "10° less than");
    }

    #[test]
    fn orders_are_read_out_with_their_ties() {
        let of = PartialOrder::Groups(vec![vec![Pelvis], vec![Thorax, LeadArm]]);
        let o = crate::order::Order { of, rising: vec![] };
        assert_eq!(order(&o), "pelvis first, then thorax and lead arm, too close to tell apart");
        let of = PartialOrder::Groups(vec![vec![Pelvis], vec![Thorax]]);
        let o = crate::order::Order { of, rising: vec![LeadArm] };
        assert_eq!(order(&o), "pelvis first, then thorax, lead arm was still speeding up at impact");
        let of = PartialOrder::OnePair { first: Pelvis, second: LeadArm, tied: Thorax };
        let o = crate::order::Order { of, rising: vec![] };
        assert_eq!(order(&o), "pelvis before lead arm, thorax too close to both to tell apart");
    }
}
