//! Durations of backswing and downswing.

use super::{When, round, stated};
use crate::sequence::reversal::Reversal;
use peakorder_protocol::swing::Tempo;

/// Takeaway to top, top to impact, and their ratio.
pub(super) fn tempo(when: &When<'_>) -> Tempo {
    let Reversal { t_s: top_s, sd_s: top_sd_s } = when.top;
    let back_s = top_s - when.phases.takeaway.at_s;
    let down_s = when.impact.t_s - top_s;
    let takeaway_sd_s = when.phases.takeaway.sd_s;
    // Two straps' clocks lie between the top and the other end of each.
    let impact_sd_s = when.impact.sd_s.hypot(when.clock_sd_s);
    let ratio = back_s / down_s;
    // The top enters both durations with opposite sign, so its share adds up.
    let shares = [takeaway_sd_s, top_sd_s * (1.0 + ratio), impact_sd_s * ratio];
    let ratio_sd = shares.iter().map(|s| s * s).sum::<f64>().sqrt() / down_s;
    Tempo {
        backswing_s: round(back_s, 4),
        downswing_s: round(down_s, 4),
        ratio: round(ratio, 3),
        backswing_sd_s: stated(takeaway_sd_s.hypot(top_sd_s).hypot(when.clock_sd_s), 4),
        downswing_sd_s: stated(top_sd_s.hypot(impact_sd_s), 4),
        ratio_sd: stated(ratio_sd, 3),
        backswing_bone_sd_s: None,
        downswing_bone_sd_s: None,
        ratio_bone_sd: None,
        downswing_from: when.top_of,
    }
}
