//! Where curves differ, in sentences.

use super::{Curve, CurveChange, CurvePair, CurveVerdict, Kind, Stretch};
use crate::arranged::Layout;
use crate::compare::ALPHA;
use crate::words::{capital, chance, list, plural};
use peakorder_protocol::Role;

impl CurvePair {
    /// A sentence for every stretch in which the sides differ, one for all in which that cannot be told, or one that says
    /// that no difference can be shown.
    pub fn sentences(&self) -> Vec<String> {
        let label = capital(&self.curve.label());
        let of = |verdict| self.stretches.iter().filter(move |s| s.verdict == verdict);
        let mut sentences: Vec<String> = of(CurveVerdict::Differ)
            .map(|s| {
                let dependent = s.p_dependent.map_or(String::new(), |p| {
                    format!("; with drift and dependence allowed for, {}", chance::p(p))
                });
                format!(
                    "{label} differs {}: {} (family-wise {}{dependent}).",
                    when(s.from_to_s),
                    self.size(s),
                    chance::p(s.p)
                )
            })
            .collect();
        let listed = |verdict| {
            let one = |s: &Stretch| format!("{} ({}; {})", when(s.from_to_s), self.size(s), chance::p(s.p));
            list(&of(verdict).map(one).collect::<Vec<_>>())
        };
        let dependent: Vec<String> = of(CurveVerdict::UnlessDependent)
            .map(|s| s.p_dependent.map_or("not known".into(), chance::p))
            .collect();
        if !dependent.is_empty() {
            sentences.push(format!(
                "{label} may differ {}: family-wise if swings do not depend on each other. With drift and dependence allowed \
                 for, {}: can't tell.",
                listed(CurveVerdict::UnlessDependent),
                list(&dependent)
            ));
        }
        if of(CurveVerdict::WornAnew).next().is_some() {
            sentences.push(format!(
                "{label}: unlike before {}, family-wise. Can't tell whether the swing changed or the straps sat otherwise.",
                listed(CurveVerdict::WornAnew)
            ));
        }
        if sentences.is_empty() {
            sentences.push(self.no_difference(&format!(" (smallest family-wise {})", chance::p(self.p))));
        }
        sentences
    }

    /// The same for a player: what differs with the more cautious p, and what is apart without its being known why together.
    pub fn plain(&self) -> Vec<String> {
        let label = capital(&self.curve.label());
        let of = |verdict| self.stretches.iter().filter(move |s| s.verdict == verdict);
        let mut sentences: Vec<String> = of(CurveVerdict::Differ)
            .map(|s| {
                let p = chance::p(s.p_dependent.unwrap_or(0.0).max(s.p));
                format!("{label} differs {}: {} ({p}).", when(s.from_to_s), self.size(s))
            })
            .collect();
        for (verdict, why) in [
            (CurveVerdict::UnlessDependent, "settling in, or one swing taking after another, can make that"),
            (CurveVerdict::WornAnew, "putting the straps on anew can make that by itself"),
        ] {
            let apart: Vec<String> =
                of(verdict).map(|s| format!("{} ({})", when(s.from_to_s), self.size(s))).collect();
            if !apart.is_empty() {
                let also = if sentences.is_empty() { "" } else { "also " };
                sentences.push(format!("{label}: {also}unlike before {}. Can't tell: {why}.", list(&apart)));
            }
        }
        if sentences.is_empty() {
            sentences.push(self.no_difference(""));
        }
        sentences
    }

    /// Where there is no stretch to report: the curves cannot be told apart, or only by less than is reported.
    fn no_difference(&self, how_sure: &str) -> String {
        let (label, least) = (capital(&self.curve.label()), self.curve.kind.least());
        if self.p >= ALPHA {
            return format!("{label}: no difference can be shown anywhere{how_sure}.");
        }
        let least = match self.curve.kind {
            Kind::Speed => format!("{least} °/s"),
            Kind::Turn => format!("{least}°"),
        };
        format!("{label}: less than {least} apart wherever a difference can be shown.")
    }

    /// `up to 58 ± 12 °/s more towards the target after`.
    fn size(&self, s: &Stretch) -> String {
        let (amount, way) = (amount(self.curve, s.difference.abs(), s.half), way(self.curve, s.difference));
        format!("up to {amount} {way} after")
    }
}

/// `58 ± 12 °/s`, `6° ± 2°`.
fn amount(curve: Curve, size: f64, half: f64) -> String {
    match curve.kind {
        Kind::Speed => format!("{size:.0} ± {half:.0} °/s"),
        Kind::Turn => format!("{size:.1}° ± {half:.1}°"),
    }
}

/// What more of it is: the arm's speed has no direction.
fn way(curve: Curve, difference: f64) -> &'static str {
    match (curve.role, curve.kind, difference < 0.0) {
        (Role::LeadArm, Kind::Speed, false) => "faster",
        (Role::LeadArm, Kind::Speed, true) => "slower",
        (_, Kind::Speed, false) => "more towards the target",
        (_, Kind::Speed, true) => "less towards the target",
        (_, Kind::Turn, false) => "further through",
        (_, Kind::Turn, true) => "further back",
    }
}

/// `from 0.12 to 0.05 s before impact`.
fn when((from, to): (f64, f64)) -> String {
    let (a, b) = (format!("{:.2}", from.abs()), format!("{:.2}", to.abs()));
    let rounded = |s: f64| (s * 100.0).round() as i64;
    match (rounded(from), rounded(to)) {
        (from, to) if from == to && from == 0 => "at impact".into(),
        (from, to) if from == to => {
            format!("at {a} s {}", if from < 0 { "before impact" } else { "after impact" })
        }
        (_, 0) => format!("from {a} s before impact to impact"),
        (0, _) => format!("from impact to {b} s after"),
        (from, to) if from < 0 && to < 0 => format!("from {a} to {b} s before impact"),
        (from, _) if from < 0 => format!("from {a} s before impact to {b} s after"),
        _ => format!("from {a} to {b} s after impact"),
    }
}

impl CurveChange {
    /// What was compared: how many curves of how many swings, and by which test.
    pub fn method(&self) -> String {
        let dealt = match (self.by_runs, self.all_deals) {
            (true, true) => format!("all {} ways to deal the runs out to the two sides", self.deals),
            (true, false) => format!("{} random ways to deal the runs out to the two sides", self.deals),
            (false, true) => format!("all {} ways to deal the swings out to the two sides", self.deals),
            (false, false) => format!("{} random ways to deal the swings out to the two sides", self.deals),
        };
        format!(
            "{} of {} before and {} after, aligned at takeaway, top and impact, linear between; times are those of the \
             mean swing of both. p: the largest t over all points of these curves together, among {dealt}. So, if {} do \
             not depend on each other, chance calls a difference anywhere in at most one comparison in twenty.",
            plural(self.curves.len(), "curve"),
            plural(self.before.len(), "swing"),
            self.after.len(),
            if self.by_runs { "runs" } else { "swings" }
        )
    }

    /// What the finding presumes, and what was left out.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if self.least_p >= ALPHA {
            notes.push(format!(
                "So few swings cannot show a difference in curves: their smallest possible p is {:.2}. Four on each side can.",
                self.least_p
            ));
        }
        notes.push(match &self.layout {
            Layout::TwoSessions => "Two sessions: straps put on anew shift whole curves, and swings of one day hang together. \
                 The test knows neither."
                .into(),
            Layout::Returning { enough: true, runs } => format!(
                "The blocks alternate in {runs} runs, which were dealt out whole: swings of a run may depend on each other."
            ),
            Layout::Returning { enough: false, .. } => "The blocks return, which a steady drift does not imitate. p over all \
                 deals presumes swings that do not depend on each other; what is said to differ holds with that allowed for."
                .into(),
            Layout::OneAfterTheOther | Layout::Overlapping => "p over all deals presumes that swings neither depend on each \
                 other nor drift; what is said to differ holds with both allowed for. One block after the other cannot tell \
                 a drill from a settling in that is quicker than a steady drift."
                .into(),
        });
        for left in &self.left_out {
            notes.push(format!("Left out: {} ({}).", left.what, left.why));
        }
        notes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_are_told_relative_to_impact() {
        for (from_to, want) in [
            ((-0.124, -0.05), "from 0.12 to 0.05 s before impact"),
            ((-0.12, 0.001), "from 0.12 s before impact to impact"),
            ((-0.12, 0.04), "from 0.12 s before impact to 0.04 s after"),
            ((0.002, 0.04), "from impact to 0.04 s after"),
            ((0.02, 0.04), "from 0.02 to 0.04 s after impact"),
            ((-0.051, -0.049), "at 0.05 s before impact"),
            ((0.0, 0.0), "at impact"),
        ] {
            assert_eq!(when(from_to), want);
        }
    }
}
