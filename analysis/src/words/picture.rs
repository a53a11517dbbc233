//! What stands over, under and beside the pictures of before and after.

use super::{amount, between, capital, difference, plural, subject, value, way};
use crate::compare::{Comparison, Row, Verdict};
use crate::measure::Measure;
use crate::order_change::OrderVerdict;
use peakorder_protocol::Role;

/// What a measure did, as a headline.
pub fn headline(row: &Row) -> String {
    let label = capital(&row.measure.label());
    let differs =
        || format!("{} before", difference(row.measure, row.after.sample.mean, row.before.sample.mean));
    match row.verdict {
        Verdict::Changed => format!("{label}: {}", differs()),
        Verdict::Perhaps => format!("{label}: perhaps {}", differs()),
        Verdict::NoneThatMatters => format!("{label}: no change that matters"),
        Verdict::CantTell => format!("{label}: can’t tell yet"),
        Verdict::TooFew => format!("{label}: too few swings to tell"),
    }
}

/// The numbers behind it: both means, the change with its interval, and what is made of it.
pub fn detail(row: &Row) -> String {
    let m = row.measure;
    let (before, after) = (row.before.sample.mean, row.after.sample.mean);
    let band = row.interval.map_or(String::new(), |i| {
        format!(" {} (95 %), drift allowed for.", capital(&between(m, before, i)))
    });
    format!("{}.{band} {}", from_to(m, Some(before), Some(after)), made_of_it(row)).trim_end().to_owned()
}

fn made_of_it(row: &Row) -> &'static str {
    match row.verdict {
        Verdict::Changed => "More than ordinary variation.",
        Verdict::Perhaps => "About one in ten that are called so is there by chance.",
        Verdict::NoneThatMatters | Verdict::TooFew => "",
        Verdict::CantTell => "Ordinary variation could make that.",
    }
}

/// Before and after of a measure: `31° → 40° back`; both directions where they differ.
pub fn from_to(measure: Measure, before: Option<f64>, after: Option<f64>) -> String {
    match (before, after) {
        (Some(b), Some(a)) if way(measure, b) == way(measure, a) => {
            format!("{} → {}", amount(measure, b), value(measure, a))
        }
        (Some(b), Some(a)) => format!("{} → {}", value(measure, b), value(measure, a)),
        (Some(b), None) => format!("{} → not measured", value(measure, b)),
        (None, Some(a)) => format!("not measured → {}", value(measure, a)),
        (None, None) => "not measured".into(),
    }
}

/// How far a segment is bent at the top; no measure of its own, for one day's straps sit otherwise than another's.
pub fn bent(segment: Role, before: f64, after: f64) -> String {
    let one = |deg: f64| format!("{:.0}° {}", deg.abs(), if deg < 0.0 { "back" } else { "forward" });
    let first = if (before < 0.0) == (after < 0.0) { format!("{:.0}°", before.abs()) } else { one(before) };
    format!("{} bend at top: {first} → {}", capital(segment.label()), one(after))
}

/// A further measure in one sentence.
pub fn sentence(row: &Row) -> String {
    let m = row.measure;
    format!("{} ({}).", headline(row), from_to(m, Some(row.before.sample.mean), Some(row.after.sample.mean)))
}

/// A measure that was only looked through and stands out.
pub fn aside(row: &Row) -> String {
    let m = row.measure;
    let (before, after) = (row.before.sample.mean, row.after.sample.mean);
    format!("Perhaps: {}, {} before ({}).", subject(m, after), difference(m, after, before), value(m, before))
}

/// Whether the order of the peaks changed, without how that is known; `None` where there is nothing to judge by.
pub const fn order(compared: &Comparison) -> Option<&'static str> {
    match compared.order.verdict {
        OrderVerdict::Differ => Some("Order of the peaks: changed, more than chance would make."),
        OrderVerdict::UnlessDependent => {
            Some("Order of the peaks: can’t tell yet; drift alone could make what is seen.")
        }
        OrderVerdict::NotShown => Some("Order of the peaks: no change shown."),
        OrderVerdict::CannotJudge => None,
    }
}

/// How sure the first picture is: what it rests on, and what it could not have shown.
pub fn sure(row: &Row) -> String {
    let swings = format!("{} before and {} after", plural(row.before.sample.n, "swing"), row.after.sample.n);
    match row.half_width() {
        Some(half) => format!(
            "How sure: {swings}. A change of less than about {} could not have been told from ordinary variation.",
            amount(row.measure, half)
        ),
        None => format!("How sure: {swings}, too few to tell a change from ordinary variation."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_protocol::Role::Pelvis;

    #[test]
    fn a_direction_is_said_once_where_both_have_it() {
        let m = Measure::TurnAtTop(Pelvis);
        let both = from_to(m, Some(-31.0), Some(-40.0));
        assert_eq!(both, format!("31° → {}", value(m, -40.0)));
        let m = Measure::TurnAtImpact(Pelvis);
        let apart = from_to(m, Some(-3.0), Some(5.0));
        assert_eq!(apart, format!("{} → {}", value(m, -3.0), value(m, 5.0)));
        assert_eq!(from_to(m, None, Some(5.0)), format!("not measured → {}", value(m, 5.0)));
    }
}
