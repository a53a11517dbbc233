//! What is said of a swing beside its target: whoever follows the words comes to the target, in every measure, with
//! more and with less, on both sides and for both hands.

use peakorder_analysis::load::load;
use peakorder_analysis::measure::{Definition, Measure, Unit};
use peakorder_analysis::stats::Sample;
use peakorder_analysis::summary::MeasureSummary;
use peakorder_analysis::target::{AnswerKind, about, answer, fixed};
use peakorder_analysis::words::said;
use peakorder_protocol::remark::{Bound, Target};
use peakorder_protocol::swing::Swing;
use peakorder_protocol::{Handedness, Role};
use proptest::prelude::*;
use std::path::Path;

/// The number at the beginning of `words`, and the rest without its unit.
fn number(words: &str) -> (f64, &str) {
    let end = words.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(words.len());
    let size = words[..end].parse().unwrap_or_else(|_| panic!("no number in {words:?}"));
    let mut rest = words[end..].trim_start_matches('°').trim();
    for unit in
        ["degrees per second", "degrees", "milliseconds", "centimetres", "per cent", "°/s", "ms", "cm", "%"]
    {
        rest = rest.strip_prefix(unit).unwrap_or(rest).trim();
    }
    (size, rest)
}

/// What value `words` tell, in the measure's own sign. A direction that is not named is the usual one.
fn told(measure: Measure, words: &str) -> f64 {
    let (size, way) = number(words);
    let negative = match way {
        "back" | "before" | "after impact" | "towards the target" | "to the trail side" | "straighter" => {
            true
        }
        "to the lead side" => matches!(measure, Measure::TiltAtTop(_)),
        "through" | "after" | "before impact" | "across" | "more bent" => false,
        way if way.starts_with("the other way") => measure == Measure::SeparationStretch,
        "" => matches!(measure, Measure::SeparationAtTop | Measure::SeparationLargest),
        way => panic!("{way:?} is no direction of {measure:?}"),
    };
    // Of a tilt the trail side is positive, of a shift the lead side.
    let negative = negative != (way == "to the trail side" && matches!(measure, Measure::TiltAtTop(_)));
    if negative { -size } else { size }
}

/// Where a player ends who does what `correction` says.
fn followed(measure: Measure, value: f64, correction: &str) -> f64 {
    let (by, what) = number(correction);
    assert!(by > 0.0, "{correction:?} says nothing");
    let at_own_side = |size: f64| if value == 0.0 { size } else { size.copysign(value) };
    match what {
        "short" => at_own_side(value.abs() + by),
        "too much" => at_own_side(value.abs() - by),
        // Before impact, earlier is more.
        "too early" if matches!(measure, Measure::PeakBeforeImpact(_)) => value - by,
        "too late" if matches!(measure, Measure::PeakBeforeImpact(_)) => value + by,
        "too early" | "too short" => value + by,
        "too late" | "too long" => value - by,
        what => {
            let wanted =
                what.strip_prefix("short of ").unwrap_or_else(|| panic!("{what:?} is no correction"));
            let wanted = told(measure, wanted);
            assert!(((wanted - value).abs() - by).abs() < 1e-9, "{what:?} is not {by} from {value}");
            wanted
        }
    }
}

fn meets(target: &Target, value: f64) -> bool {
    // What was printed was rounded, and sums of decimals are not exact.
    match target.bound {
        Bound::AtLeast => value >= target.value - 1e-9,
        Bound::AtMost => value <= target.value + 1e-9,
    }
}

fn holds(measure: Measure, target: &Target, value: f64) {
    let said = said::answer(measure, target.value, target.bound, value);
    let shown = told(measure, &said.value);
    let context = format!("{}, {value} → {said:?}", target.words);
    for text in [&target.words, &said.value, &said.spoken] {
        assert!(!text.contains("away") && !text.contains("NaN"), "{context}");
    }
    assert!(!said.value.contains(['-', '−']) && !said.spoken.contains(['-', '−']), "{context}");
    assert_eq!(told(measure, &said.spoken), shown, "{context}");
    let met = match target.bound {
        Bound::AtLeast => value >= target.value,
        Bound::AtMost => value <= target.value,
    };
    // A reader who sees value and target comes to the same answer.
    assert_eq!(meets(target, shown) || (shown - target.value).abs() < 1e-12, met, "{context}");
    assert_eq!(said.correction.is_none(), met, "{context}");
    if let Some(correction) = &said.correction {
        assert!((shown - target.value).abs() > 1e-12, "{context}: they look the same");
        let end = followed(measure, shown, correction);
        assert!(meets(target, end), "{context}: leads to {end}");
        assert!((end - target.value).abs() < 1e-9, "{context}: leads to {end}");
    }
}

fn baseline(measure: Measure, mean: f64) -> MeasureSummary {
    MeasureSummary {
        measure,
        sample: Sample::of(&[mean]).expect("a value"),
        level: None,
        places: vec![1],
        values: vec![mean],
        measuring_sd: None,
        bone_sd: None,
        shared: None,
        definition: Definition::Angle,
        other_definition: 0,
    }
}

/// What swings have, and beyond: of one digit, and of many.
fn values(measure: Measure) -> BoxedStrategy<f64> {
    let size = match measure.unit() {
        Unit::Ratio => 4.0,
        Unit::Centimetres => 20.0,
        Unit::Degrees | Unit::Percent => 120.0,
        Unit::Milliseconds | Unit::DegreesPerSecond => 1200.0,
    };
    let low = if has_sides(measure) { -size } else { 0.0 };
    let step = said::step(measure);
    prop_oneof![
        low..size,
        (low..size).prop_map(move |v: f64| (v / step).round() * step),
        (low..size).prop_map(move |v: f64| (v / step).round() * step + 0.004 * step),
        // Round zero a side comes and goes.
        (-1.0..1.0).prop_map(move |v: f64| if low < 0.0 { v * step } else { v.abs() * step }),
    ]
    .boxed()
}

/// Whether values on either side of zero occur.
fn has_sides(measure: Measure) -> bool {
    measure.signed() || matches!(measure, Measure::PeakBeforeImpact(_))
}

fn measures() -> impl Strategy<Value = Measure> {
    proptest::sample::select(Measure::ALL.into_iter().filter(|m| !m.means_only()).collect::<Vec<_>>())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn who_follows_the_words_comes_to_a_number_that_was_set(
        (measure, wanted, value) in measures().prop_flat_map(|m| (Just(m), values(m), values(m))),
        least in any::<bool>(),
    ) {
        let target = fixed(measure, wanted, least, None, None, "").expect("a target");
        prop_assume!(value == target.value || (value - target.value).abs() > 1e-7);
        holds(measure, &target, value);
    }

    #[test]
    fn who_follows_the_words_comes_to_a_change_of_the_baseline(
        (measure, mean, value) in measures().prop_flat_map(|m| (Just(m), values(m), values(m))),
        steps in -20..=20_i32,
        near in any::<bool>(),
    ) {
        let change = f64::from(steps) * said::step(measure);
        let target = about(measure, &baseline(measure, mean), change, None, "drill").expect("a target");
        // Close to the target as well, where rounding hides the difference.
        let value = if near { target.value + 0.01 * (value - mean) * said::step(measure) } else { value };
        // No measurement comes so close without being there.
        prop_assume!(value == target.value || (value - target.value).abs() > 1e-7);
        prop_assume!(has_sides(measure) || value >= 0.0);
        holds(measure, &target, value);
    }
}

/// Each measure of each recorded swing of either hand against targets around it, through the swing's file.
#[test]
fn recorded_swings_of_both_hands_are_told_rightly() {
    let mut told = 0;
    for (folder, hand) in [("baseline-right", Handedness::Right), ("baseline-left", Handedness::Left)] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../recordings").join(folder);
        let loaded = load(folder.to_str().expect("UTF-8")).expect("a recording");
        assert_eq!(loaded.session.player.handedness, hand);
        for (swing, measure) in loaded.swings.iter().flat_map(|s| Measure::ALL.map(|m| (s, m))) {
            let Some(now) = measure.of(swing) else { continue };
            for (by, least) in
                [(-3.2, true), (-3.2, false), (3.2, true), (3.2, false), (0.1, true), (0.1, false)]
            {
                let target = fixed(measure, now.value + by * said::step(measure), least, None, None, "")
                    .expect("a target");
                holds(measure, &target, now.value);
                let answer = answer(&target, swing);
                let said = said::answer(measure, target.value, target.bound, now.value);
                assert_eq!((answer.value_words, answer.correction), (Some(said.value), said.correction));
                assert!(answer.spoken.starts_with(&said.spoken), "{}", answer.spoken);
                told += usize::from(answer.answer != AnswerKind::Met);
            }
        }
    }
    assert!(told > 500, "{told} answers with a correction");
}

fn spoken(measure: Measure, wanted: f64, least: bool, value: f64) -> String {
    let target = fixed(measure, wanted, least, None, None, "").expect("a target");
    let said = said::answer(measure, target.value, target.bound, value);
    format!("{}: {}, {}", target.words, said.spoken, said.correction.unwrap_or_else(|| "met".into()))
}

#[test]
fn the_words_of_each_kind() {
    use Role::{LeadArm, Pelvis, Thorax};
    for (measure, wanted, least, value, words) in [
        (
            Measure::TurnAtTop(Pelvis),
            25.0,
            false,
            -26.0,
            "pelvis turn at top: 25° back or less: 26 degrees back, 1 too much",
        ),
        (
            Measure::TurnAtTop(Pelvis),
            40.0,
            true,
            -39.0,
            "pelvis turn at top: 40° back or more: 39 degrees back, 1 short",
        ),
        (
            Measure::TurnAtTop(Thorax),
            90.0,
            true,
            -89.7,
            "thorax turn at top: 90° back or more: 89.7 degrees back, 0.3 short",
        ),
        (
            Measure::TurnAtTop(Pelvis),
            40.0,
            true,
            2.0,
            "pelvis turn at top: 40° back or more: 2 degrees through, 42 short of 40 degrees back",
        ),
        (
            Measure::TurnAtImpact(Pelvis),
            40.0,
            true,
            36.0,
            "pelvis turn at impact: 40° through or more: 36 degrees through, 4 short",
        ),
        (
            Measure::TurnAtImpact(Pelvis),
            10.0,
            true,
            -3.0,
            "pelvis turn at impact: 10° through or more: 3 degrees back, 13 short of 10 degrees through",
        ),
        (
            Measure::TurnAtImpact(Thorax),
            -5.0,
            false,
            -9.0,
            "thorax turn at impact: 5° back or less: 9 degrees back, 4 too much",
        ),
        (Measure::SeparationAtTop, 45.0, true, -41.0, "separation at top: 45° or more: 41 degrees, 4 short"),
        (
            Measure::SeparationAtTop,
            45.0,
            false,
            -47.0,
            "separation at top: 45° or less: 47 degrees, 2 too much",
        ),
        (
            Measure::Gap(Pelvis, Thorax),
            12.0,
            true,
            7.0,
            "pelvis → thorax gap: 12 ms after or later: 7 milliseconds after, 5 too early",
        ),
        (
            Measure::Gap(Thorax, LeadArm),
            -6.0,
            true,
            -9.0,
            "thorax → arm gap: 6 ms before or later: 9 milliseconds before, 3 too early",
        ),
        (
            Measure::PeakBeforeImpact(Pelvis),
            80.0,
            true,
            70.0,
            "pelvis peak to impact: 80 ms before impact or earlier: 70 milliseconds before impact, 10 too late",
        ),
        (
            Measure::Backswing,
            800.0,
            true,
            740.0,
            "backswing: 800 ms or longer: 740 milliseconds, 60 too short",
        ),
        (
            Measure::TiltAtTop(Pelvis),
            6.0,
            false,
            8.0,
            "pelvis tilt at top: 6° to the trail side or less: 8 degrees to the trail side, 2 too much",
        ),
        (Measure::TempoRatio, 3.0, true, 2.85, "backswing / downswing: 3.00 or more: 2.85, 0.15 short"),
    ] {
        assert_eq!(spoken(measure, wanted, least, value), words);
    }
}

#[test]
fn changes_and_their_intervals_are_told_by_size_and_across_zero_by_direction() {
    use Role::{Pelvis, Thorax};
    let (top, impact) = (Measure::TurnAtTop(Pelvis), Measure::TurnAtImpact(Thorax));
    let told = |m, from, by| said::change_to(m, from, by, 1).unwrap_or_else(|| "none".into());
    assert_eq!(told(top, -35.0, -8.1), "8.1° more");
    assert_eq!(told(top, -35.0, 8.1), "8.1° less");
    assert_eq!(told(impact, -3.0, 8.0), "8.0° further through");
    assert_eq!(told(impact, 0.01, -8.0), "8.0° further back");
    assert_eq!(told(Measure::Gap(Pelvis, Thorax), 4.0, -9.0), "9.0 ms earlier");
    assert_eq!(told(top, -35.0, 0.04), "none");
    // Halves go up, whichever side.
    assert_eq!(
        (said::value(top, -30.5), said::value(impact, 31.5)),
        ("31° back".into(), "32° through".into())
    );
    assert_eq!(said::range_to(top, -35.0, (-11.2, -5.0), 1), "5.0° to 11.2° more");
    assert_eq!(said::range_to(top, -35.0, (-9.0, 7.0), 1), "7.0° less to 9.0° more");
    assert_eq!(said::range_to(impact, 3.0, (-9.0, -2.0), 1), "2.0° to 9.0° further back");
    assert_eq!(
        said::between(Measure::Gap(Pelvis, Thorax), 4.0, (-9.0, 2.0)),
        "between 9 ms earlier and 2 ms later"
    );
}

/// What the page and the terminal watcher show of a swing's turn.
#[test]
fn a_swings_file_is_answered_in_the_same_words() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../recordings/baseline-right");
    let swing: Swing = load(folder.to_str().expect("UTF-8")).expect("a recording").swings.remove(0);
    let measure = Measure::TurnAtTop(Role::Pelvis);
    let now = measure.of(&swing).expect("measured").value;
    let target = fixed(measure, (now.abs() - 1.0).round(), false, None, Some(3.0), "").expect("a target");
    let answer = answer(&target, &swing);
    assert_eq!(answer.answer, AnswerKind::Nearly);
    assert!(
        answer.spoken.contains("degrees back, nearly, ") && answer.spoken.ends_with(" too much"),
        "{}",
        answer.spoken
    );
}
