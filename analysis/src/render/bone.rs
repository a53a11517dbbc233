//! What is stated of the bones below the straps, beside one swing's numbers.

use super::{Style, heading, number, wrap};
use crate::measure::{Group, Measure};
use crate::stats::Z95;
use peakorder_protocol::swing::Swing;

/// A line for each kind of quantity: how far the bone's may be. Nothing where the file states none.
pub(super) fn bands(out: &mut String, style: Style, swing: &Swing) {
    let mut lines: Vec<(Group, Vec<String>)> = Vec::new();
    for measure in Measure::ALL {
        let Some(value) = measure.of(swing) else { continue };
        // Of the shift of the hips the band above is the bones'.
        let Some(sd) = value.bone_sd.filter(|sd| Some(*sd) != value.sd) else { continue };
        let half = measure.unit().after(&number(Z95 * sd, measure.decimals(), false));
        let text = format!("{} ± {half}", measure.label());
        match lines.last_mut() {
            Some((group, texts)) if *group == measure.group() => texts.push(text),
            _ => lines.push((measure.group(), vec![text])),
        }
    }
    if lines.is_empty() {
        return;
    }
    heading(
        out,
        style,
        "Of the bone",
        "what ± is above is of the strap's own motion; below the skin it is this",
    );
    for (group, texts) in lines {
        wrap(out, style, &format!("  {:<12}", group.key()), &texts.join(", "));
    }
}
