//! How a value, a difference and a swing's answer to a target are said: the one place for it.
//!
//! - A value is a size with a direction word of the trade: 44° back, 12° through, never a sign. Where the usual side goes
//!   without saying, as of separation, only the other one is named.
//! - A difference is more or less of it; across zero it is a direction.
//! - What misses a target is short of it, or too much: by size where a side has a name, so that "1 too much" never
//!   asks for more. Of times it is too early or late, of durations too short or long.
//! - What is printed agrees with the answer: where rounding hides by how much a value misses its target, both get more
//!   digits.
//!
//! The page writes values by the same rule (`measureWords` in `format.js`); `tests/tests/page/said.rs` holds both
//! against each other.

use crate::measure::{Measure, More};
use peakorder_protocol::remark::Bound;

/// Digits that a target's value may have beyond those that are spoken.
const FINER: usize = 3;

/// Which way "more" goes in the measure's own sign: −1 where larger sizes are negative. Where
/// both sides occur, the direction is that of the player's own `mean`.
pub fn sense(measure: Measure, mean: f64) -> f64 {
    match measure.row().more {
        More::Larger => 1.0,
        More::Negative => -1.0,
        More::OwnSide => 1.0_f64.copysign(mean),
    }
}

/// The finest step that is spoken, in the measure's unit.
pub fn step(measure: Measure) -> f64 {
    10_f64.powi(-(spoken(measure) as i32))
}

fn spoken(measure: Measure) -> usize {
    measure.unit().spoken_decimals()
}

/// A size to so many digits after the point; halves go up, as people and browsers have it.
fn digits(size: f64, decimals: usize) -> String {
    format!("{:.decimals$}", size.abs() * (1.0 + 4.0 * f64::EPSILON))
}

/// As a reader has it who sees so many digits.
fn rounded(value: f64, decimals: usize) -> f64 {
    digits(value, decimals).parse().unwrap_or(value).copysign(value)
}

/// A size with its unit: `8°`, `12 ms`, `1.35`.
pub fn amount(measure: Measure, size: f64) -> String {
    amount_to(measure, size, spoken(measure))
}

/// The same to so many digits after the point.
pub fn amount_to(measure: Measure, size: f64, decimals: usize) -> String {
    measure.unit().after(&digits(size, decimals))
}

/// A value with its direction in words: `44° back`, `12 ms after`.
pub fn value(measure: Measure, value: f64) -> String {
    value_to(measure, value, spoken(measure))
}

/// The same to so many digits after the point.
pub fn value_to(measure: Measure, value: f64, decimals: usize) -> String {
    format!("{} {}", amount_to(measure, value, decimals), way_to(measure, value, decimals))
        .trim_end()
        .to_owned()
}

/// The direction of a value in words; empty where there is none to tell, as for a speed.
pub fn way(measure: Measure, value: f64) -> &'static str {
    way_to(measure, value, spoken(measure))
}

fn way_to(measure: Measure, value: f64, decimals: usize) -> &'static str {
    let [negative, positive] = measure.row().ways;
    match side(value, decimals) {
        -1 => negative,
        1 => positive,
        _ => "",
    }
}

/// −1 or 1; 0 of what rounds to nothing, which has no direction.
fn side(value: f64, decimals: usize) -> i8 {
    let value = rounded(value, decimals);
    i8::from(value > 0.0) - i8::from(value < 0.0)
}

/// The measure and its value as the subject of a sentence: `Pelvis turn at top 44° back`,
/// `Thorax peak 12 ms after pelvis peak`.
pub fn subject(measure: Measure, at: f64) -> String {
    super::capital(&measure.said(&amount(measure, at), way(measure, at)))
}

/// How a value differs from another: `9° more than`, `7 ms later than`, `8° further through than`, `the same as`; the
/// sentence goes on with what it differs from. Both are rounded first, so that what a reader
/// subtracts is what stands there.
pub fn difference(measure: Measure, value: f64, from: f64) -> String {
    let decimals = spoken(measure);
    let (value, from) = (rounded(value, decimals), rounded(from, decimals));
    match change(measure, from, value - from) {
        None => "the same as".into(),
        Some(change) => format!("{change} than"),
    }
}

/// A change of a measure from `from`: `9° more`, `7 ms later`, `8° further through`; `None` if it rounds to nothing.
pub fn change(measure: Measure, from: f64, change: f64) -> Option<String> {
    change_to(measure, from, change, spoken(measure))
}

/// The same to so many digits after the point.
pub fn change_to(measure: Measure, from: f64, change: f64, decimals: usize) -> Option<String> {
    if side(change, decimals) == 0 {
        return None;
    }
    let word = change_words(measure, from, &[change], decimals)[usize::from(change > 0.0)];
    Some(format!("{} {word}", amount_to(measure, change, decimals)))
}

/// An interval of a change from the mean `from`: `between 5° and 13° more`, `between 7° less and 9° more`.
pub fn between(measure: Measure, from: f64, (low, high): (f64, f64)) -> String {
    let (first, second) = ends(measure, from, (low, high), spoken(measure));
    format!("between {first} and {second}")
}

/// The same to so many digits after the point: `5.0° to 13.2° more`.
pub fn range_to(measure: Measure, from: f64, interval: (f64, f64), decimals: usize) -> String {
    let (first, second) = ends(measure, from, interval, decimals);
    format!("{first} to {second}")
}

/// Both ends, the one nearer to no change or the lesser first; a word that they share is said once.
fn ends(measure: Measure, from: f64, (low, high): (f64, f64), decimals: usize) -> (String, String) {
    let words = change_words(measure, from, &[low, high], decimals);
    let said = |v: f64| format!("{} {}", amount_to(measure, v, decimals), words[usize::from(v > 0.0)]);
    if (low < 0.0) == (high < 0.0) || low == 0.0 || high == 0.0 {
        let (near, far) = if low.abs() <= high.abs() { (low, high) } else { (high, low) };
        return (amount_to(measure, near, decimals), said(far));
    }
    // "Less" is said before "more", whichever sign that has.
    let falls = words[1] == measure.row().compared[1];
    if falls { (said(high), said(low)) } else { (said(low), said(high)) }
}

/// What a change towards the negative and one towards the positive is called. More or less by size, as long as no end
/// passes zero to a side with another name.
fn change_words(measure: Measure, from: f64, changes: &[f64], decimals: usize) -> [&'static str; 2] {
    let row = measure.row();
    let [more, less] = row.compared;
    if row.more == More::Larger {
        return [less, more];
    }
    let now = side(from, decimals);
    let passes = |change: &f64| now * side(from + change, decimals) < 0;
    if now == 0 || changes.iter().any(passes) {
        return row.moved;
    }
    if now < 0 { [more, less] } else { [less, more] }
}

/// How many digits a target's value has: those that are spoken, or as many more as it was given with.
pub fn digits_of_target(measure: Measure, value: f64) -> usize {
    let least = spoken(measure);
    (least..least + FINER).find(|d| (rounded(value, *d) - value).abs() < 1e-9).unwrap_or(least + FINER)
}

/// A target's value to whole steps: with no more digits than the change it was made of, so that what is printed is the
/// target and not nearly it.
pub fn target_value(measure: Measure, value: f64, change: f64) -> f64 {
    rounded(value, digits_of_target(measure, change))
}

/// What counts as met: `43° back or more`, `12 ms after or later`.
pub fn bound(measure: Measure, bound: Bound, target: f64) -> String {
    let decimals = digits_of_target(measure, target);
    let row = measure.row();
    let [more, less] = row.compared;
    let up = bound == Bound::AtLeast;
    let or = if row.more == More::Larger {
        if up { more } else { less }
    } else {
        match side(target, decimals) {
            // From nothing it goes to a side.
            0 => row.moved[usize::from(up)],
            at => {
                if (at > 0) == up {
                    more
                } else {
                    less
                }
            }
        }
    };
    format!("{} or {or}", value_to(measure, target, decimals))
}

/// A swing's value beside its target, as said and shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SaidAnswer {
    /// `44° back`.
    pub value: String,
    /// `44 degrees back`.
    pub spoken: String,
    /// What is wrong with it, `1 short` or `3 too much`; `None` where the target is met.
    pub correction: Option<String>,
}

/// Puts a value into words beside its target.
pub fn answer(measure: Measure, target: f64, bound: Bound, value: f64) -> SaidAnswer {
    let met = |value: f64, target: f64| match bound {
        Bound::AtLeast => value >= target,
        Bound::AtMost => value <= target,
    };
    let least = digits_of_target(measure, target);
    let agrees = |d: usize| met(rounded(value, d), rounded(target, d)) == met(value, target);
    // Values that are hit exactly need no end of digits.
    let decimals = (least..least + 12).find(|d| agrees(*d)).unwrap_or(least);
    let size = digits(value, decimals);
    let said = [size.as_str(), measure.unit().spoken(), way_to(measure, value, decimals)];
    SaidAnswer {
        value: value_to(measure, value, decimals),
        spoken: joined(&said),
        correction: (!met(value, target)).then(|| correction(measure, target, value, decimals)),
    }
}

/// A value to be said aloud: `44 degrees back`.
pub fn spoken_value(measure: Measure, value: f64) -> String {
    let decimals = spoken(measure);
    let size = digits(value, decimals);
    joined(&[&size, measure.unit().spoken(), way_to(measure, value, decimals)])
}

fn joined(words: &[&str]) -> String {
    words.iter().copied().filter(|w| !w.is_empty()).collect::<Vec<_>>().join(" ")
}

/// By how much `value` misses `target`, and which way.
fn correction(measure: Measure, target: f64, value: f64, decimals: usize) -> String {
    let row = measure.row();
    let [short, too_much] = row.missed;
    // What a listener subtracts is what stands there.
    let by = (rounded(value, decimals) - rounded(target, decimals)).abs();
    let by = digits(by, decimals);
    if row.more == More::Larger {
        return format!("{by} {}", if value < target { short } else { too_much });
    }
    match (side(value, decimals), side(target, decimals)) {
        (_, 0) => format!("{by} {too_much}"),
        (now, wanted) if now == wanted => {
            format!("{by} {}", if value.abs() < target.abs() { short } else { too_much })
        }
        // From the other side more of it would be wrong: what is wanted is named.
        _ => {
            let size = digits(target, decimals);
            let wanted = joined(&[&size, measure.unit().spoken(), way_to(measure, target, decimals)]);
            format!("{by} {short} of {wanted}")
        }
    }
}
