//! Documents for programs. Names, units and meaning of these keys stay; keys may be added.
//!
//! Common: an absent number is `null`; `problems` lists swing files that could not be read
//! (`number`, `text`); a measure's `key` ends in its unit.
//!
//! - `peakorder.show/1`: `session` (`id`, `started_utc`, `player`, `handedness`,
//!   `invented`), `block` asked for or `null`, `swings` (`number`, `block`, `kind`,
//!   `usable`, `excluded` by the coach, `ball` (`struck`, `without`, `unknown`: by straps and coach together),
//!   `counts` in the block's summary, `order` as lists of tied segments, `rising_at_impact`, `order_text`,
//!   `reversal_order`, `measures`: key → `value`, `measuring_sd`, `bone_sd`, `definition`; `withheld`; `unlike`
//!   the other counted swings of its block, furthest first, empty for most: `key`, `value`, `others_mean`, `others_sd`,
//!   `words`),
//!   `remarks` (`swings`: number → `labels`, `note`, `struck` if said, `excluded`, `reason`; `balls` and
//!   `without_ball`: labels of blocks of which that is said; `notes`, `target`, `targets`, `last`), `blocks` (`label`, `used`, `rehearsals`, `unsure`, `struck` and left out because the block is `without_ball`, `unusable`, `excluded`, `orders` and `reversal_orders`
//!   with `count`, `of`, `share`, `share_ci95`; `measures` with `n`, `mean`, `ci95_half`,
//!   `sd`, `measuring_sd`, `bone_sd`, `definition`, `other_definition`; `advice` or `null`), `repetitions` of drills
//!   (`number`, `block`, `values`: key → `value`, `measuring_sd`; turns back are positive; `withheld`), `drills` (`label`, `n`, `values`: key → `n`,
//!   `mean`, `sd` between repetitions).
//! - `peakorder.show-swing/1`: `session` as above, `swing` (the whole `peakorder.swing/1`
//!   object), `said` of it by the coach or `null`, `order_text`, `curves` (`true` when the curves file can be read) and
//!   `curves_problem`.
//! - `peakorder.compare/1`: `before`, `also_before`, `after` (`name`, `title`, `session`, `summary` as a
//!   block above), `design` (`runs` of `side` and `swings` in the order made, `returns`) or `null` between wearings, `measures`: first
//!   those that get a verdict (`chosen`), then the others (`key`, `before`, `after`; `difference` as far as it is no drift and
//!   no likeness of neighbouring swings; `means_apart`; `ci95` of the difference with both parts of its uncertainty, and `ci95_half`, half its width;
//!   `df`, `t`, `p` unadjusted; `p_holm` over those that get a verdict, `p_false_discovery` over the others;
//!   `measuring_sd`; `worn_anew_sd` and `wearing_factor` between wearings; `spread` between swings, `matters`: the smallest change that matters, and
//!   whether the coach named it (`matters_named`); `dependence` (`correlation`, `correlation_ci95`, `drift`, `drift_sd`); `more`: what it would take
//!   to find a `change` 8 times in 10 (`by`: `swings`, `enough`, `return`, `lessons`, `too-small`; `swings_a_block`, `words`); `verdict`), `not_compared` (`key`, `why`),
//!   `family`: how many get a verdict, `notes`; `order`:
//!   `verdict` (`differ`, `cannot-tell-dependence`, `no-difference-shown`, `cannot-judge`) by `p` of the order table and
//!   `p_dependent`, with drift and dependence allowed for, or `null`; `method` (`exact-tables`,
//!   `drawn-tables`, `exact-runs`, `drawn-runs`: what p counts over), `exploratory`, `rows` (`order_text`, `before`,
//!   `after` in swings), `pairs` (`first`, `second`, `before` and `after` with `first`, `tied`, `second`, `untold` in
//!   swings, `p`, `p_holm` over the pairs, `p_dependent`, `verdict`), `words`, `presumes`. Each side has `unlike` as a swing of
//!   `peakorder.show/1`, with `number`. `curves` is `null` unless asked for (`--curves`): `time_s` of every point
//!   relative to impact on the mean swing of both sides, `takeaway_index`, `top_index`, `impact_index`; `before`, `after`
//!   (numbers of the swings); `threshold` of |t| for p < 0.05 over all points of all curves, `deals` that p counts over,
//!   `all_deals`, `dealt` (`swings`, `runs`), `least_p`; `curves` (`segment`, `kind` `speed` or `turn`, `unit`, `before` and
//!   `after` with `mean` and `ci95_half` of the mean by point, `t`, `p`, `fwhm_points` and `threshold_random_field` of the
//!   curve alone or `null`, `stretches` where |t| exceeds the threshold: `from_index`, `to_index`, `from_s`, `to_s`,
//!   `largest_index`, `difference`, `ci95_half`, `p`, `p_dependent` or `null`, `verdict` (`differ`,
//!   `cannot-tell-dependence`, `cannot-tell-straps-worn-anew`); `words`); `left_out` (`what`, `why`), `method`, `notes`.
//! - `peakorder.show-mobility/1`: `session` as above, `mobility` (the whole
//!   `peakorder.mobility/1` object).
//! - `peakorder.compare-mobility/1`: `before`, `after` (`name`, `session` as above),
//!   `postures` (`posture`, `before_check`, `after_check`, `yardstick`, `changed_means`, `measures`
//!   with `key`, `before`, `before_sd`, `after`, `after_sd`, `difference`, `sem`, `mdc95`,
//!   `verdict`), `not_compared` (`posture`, `why`), `notes`.
//! - `peakorder.trend/1`: `player`, `block`, `sessions` (`name`, `id`, `started_utc`, `day`
//!   after the first, `invented`, `summary` as a block above), `measures` (`key`, `points`:
//!   one a session, as a measure of a block above or `null`; `slope_per_30_days` of the line
//!   through the session means with `ci95_half`, `df` and `p`, all `null` for fewer than four
//!   sessions; `points_ci95_half` with what a wearing shares; `chosen`, `p_holm`, `p_false_discovery`, `verdict`, `words`), `notes`.
//! - `peakorder.kept/1`: `player`, `lessons` (`id`, `started_utc`, `day` after the first, labels of `start` and `end`, `practice`),
//!   `measures` (`key`, `stages`: `lesson` by its place, `start` and `end` with `mean`, `ci95_half` and `n`; `gained` in that lesson, `left` of the lesson before
//!   and `since_end` of it, each `difference` and `ci95` or `null`; `practised`: sessions of practice since; `words`), `left_out`.
//! - `peakorder.plan/1`: `measures` meant, `orders` (`key`, `blocks`: sizes, old and new way in turn; `swings`, `words`,
//!   `found_spreads`: the change found 8 times in 10, in standard deviations from swing to swing).
//! - `peakorder.verify/1`: `sessions` (`folder`, `whole`, `recording` or `null` with `recording_problem`:
//!   `seconds`, `frames`, `straps`: role → `notifications`, `missing_s`; `holes` with `kind` (`damage`,
//!   `gap`, `known-gap`, `torn-end`, `header`), `offset` and `bytes` in the log, `from_s`, `to_s` or
//!   `null` at its end, `missing_s` by role, `text`; `session_problem`, `troubles`, `swings` and `curves`
//!   that can be read, `files` (`file`, `missing`, `text`), `remarks_problems`).
//! - `peakorder.salvage/1`: `into`, `records` written, `assumed` in words, `from` as a session above.
//!
//! The structs below are the documents; `tests/golden/documents.txt` holds their shape.
//!
//! Verdicts: `changed`, `no-change-that-matters`, `cannot-tell`, `perhaps` (only looked through), `too-few-swings`.

mod blocks;
mod compare;
mod curves;
mod integrity;
mod kept;
mod mobility;
mod plan;
mod shared;
mod show;
mod trend;

pub use compare::{COMPARE, Compare};
pub use integrity::{SALVAGE, Salvage, VERIFY, Verify};
pub use kept::{KEPT, Kept};
pub use mobility::{COMPARE_MOBILITY, CompareMobility, SHOW_MOBILITY, ShowMobility};
pub use plan::{PLAN, Plan};
pub use show::{SHOW, SHOW_SWING, Show, ShowSwing};
pub use trend::{Follow, TREND};
