//! What the page must say of a swing, put into words from the swing's file alone.

use peakorder_protocol::Role;
use peakorder_protocol::swing::Swing;

/// The headline: order of the peaks, ties called ties, late segments called so.
pub(crate) fn headline(swing: &Swing) -> String {
    let mut text = String::new();
    if let Some(tied) = tied_with_both(swing) {
        let pair = swing.sequence.gaps.iter().find(|g| g.resolved).expect("a resolved pair");
        let (first, second) = if pair.gap_ms > 0.0 { (pair.from, pair.to) } else { (pair.to, pair.from) };
        text = format!("{first} before {second}, {tied} tied with both");
    } else {
        for (i, group) in swing.sequence.order.iter().enumerate() {
            if i > 0 {
                text += ", then ";
            }
            let names: Vec<&str> = group.iter().map(|r| r.label()).collect();
            text += &list(&names);
            if group.len() > 1 {
                text += " tied";
            }
        }
    }
    if !swing.sequence.rising_at_impact.is_empty() {
        let names: Vec<&str> = swing.sequence.rising_at_impact.iter().map(|r| r.label()).collect();
        if !text.is_empty() {
            text += "; ";
        }
        text.push_str(&list(&names));
        text.push_str(" still rising at impact");
    }
    if text.is_empty() {
        return "No order could be measured".into();
    }
    let (first, rest) = text.split_at(1);
    format!("{}{rest}", first.to_uppercase())
}

/// The third segment where only one of three pairs is resolved.
pub(crate) fn tied_with_both(swing: &Swing) -> Option<Role> {
    let resolved: Vec<_> = swing.sequence.gaps.iter().filter(|g| g.resolved).collect();
    let ([pair], 3) = (resolved.as_slice(), swing.sequence.gaps.len()) else { return None };
    Role::ALL.into_iter().find(|r| *r != pair.from && *r != pair.to)
}

fn list(names: &[&str]) -> String {
    match names {
        [all @ .., last] if !all.is_empty() => format!("{} and {last}", all.join(", ")),
        _ => names.join(""),
    }
}

/// What stands between two neighbours' rows: the gap with its 95 % band, or that it is a tie.
pub(crate) fn gap(swing: &Swing, from: Role, to: Role) -> Option<String> {
    let gap =
        swing.sequence.gaps.iter().find(|g| (g.from, g.to) == (from, to) || (g.from, g.to) == (to, from))?;
    // 1.96 standard uncertainties either way are 95 % of a normal distribution.
    let size = gap.gap_ms.abs().round();
    let half = (1.96 * gap.sd_ms).round().max(1.0);
    Some(if gap.resolved { format!("{size} ± {half} ms") } else { format!("tie {size} ± {half} ms") })
}

/// Differences in white space do not matter to a reader.
pub(crate) fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
