//! Drills of virtual players through the whole pipeline, against what really happened.

use crate::pipeline::{Output, Pipeline};
use peakorder_protocol::Role;
use peakorder_protocol::repetition::Repetition;
use peakorder_protocol::session::Player;
use peakorder_virtual_straps::{
    DrillOptions, DrillStyle, PlayerParams, Population, RepetitionTruth, Script, StrapOptions,
    virtual_session,
};

struct Seen {
    repetitions: Vec<Repetition>,
    swings: usize,
    rejected: Vec<(f64, String)>,
}

fn play(script: &Script) -> (Vec<RepetitionTruth>, Seen) {
    let session = script.clone().session();
    let player = Player { handedness: script.player().handedness, ..Player::default() };
    let meta = virtual_session(script, "drill", player, "2026-01-01T00:00:00Z");
    let mut pipeline = Pipeline::new(&meta).expect("a valid session");
    let mut out = Vec::new();
    for record in session.records() {
        pipeline.push(&record, &mut out);
    }
    pipeline.finish(&mut out);
    let mut seen = Seen { repetitions: Vec::new(), swings: 0, rejected: Vec::new() };
    for output in out {
        match output {
            Output::Repetition(repetition) => seen.repetitions.push(*repetition),
            Output::Swing(..) => seen.swings += 1,
            Output::NotARepetition { t_s, why } => seen.rejected.push((t_s, why.to_string())),
            _ => {}
        }
    }
    (session.repetitions(), seen)
}

/// The repetition that is `truth`'s.
fn of<'a>(truth: &RepetitionTruth, seen: &'a Seen) -> Option<&'a Repetition> {
    seen.repetitions
        .iter()
        .find(|r| r.events.takeaway.t_s < truth.top_s && truth.top_s < r.events.finish.t_s + 0.2)
}

#[derive(Default)]
struct Tally {
    made: usize,
    found: usize,
    invented: usize,
    through_wrong: usize,
    /// Error and stated standard uncertainty, by what.
    errors: std::collections::BTreeMap<&'static str, Vec<(f64, f64)>>,
}

impl Tally {
    fn add(&mut self, truths: &[RepetitionTruth], seen: &Seen) {
        self.made += truths.len();
        let mut matched = 0;
        for truth in truths {
            let Some(found) = of(truth, seen) else { continue };
            matched += 1;
            assert_eq!(found.block, truth.block);
            self.through_wrong +=
                usize::from(found.events.through.is_some() != (truth.style == DrillStyle::Through));
            for (role, real) in &truth.segments {
                let segment = &found.segments[role];
                let (turn, lateral) =
                    (segment.turn_deg.expect("calibrated"), segment.lateral_tilt_deg.expect("calibrated"));
                let mut error = |what, measured: f64, real: f64, sd: f64| {
                    self.errors.entry(what).or_default().push((measured - real, sd));
                };
                let pelvis = *role == Role::Pelvis;
                error(
                    if pelvis { "pelvis turn back" } else { "thorax turn back" },
                    turn.top,
                    real.turn_top,
                    turn.sd,
                );
                error(
                    if pelvis { "pelvis tilt" } else { "thorax tilt" },
                    lateral.top,
                    real.lateral_top,
                    lateral.sd,
                );
                if let Some((through, sd)) = turn.through.zip(turn.through_sd) {
                    error(
                        if pelvis { "pelvis through" } else { "thorax through" },
                        through,
                        real.turn_through,
                        sd,
                    );
                }
            }
            let mut time = |what, measured: &peakorder_protocol::swing::Instant, real: f64| {
                self.errors.entry(what).or_default().push((measured.t_s - real, measured.sd_ms * 1e-3));
            };
            time("top", &found.events.top, truth.top_s);
            time("takeaway", &found.events.takeaway, truth.takeaway_s);
        }
        self.found += matched;
        self.invented += seen.repetitions.len() - matched;
    }

    fn rms(&self, what: &str) -> f64 {
        let errors = &self.errors[what];
        (errors.iter().map(|(e, _)| e * e).sum::<f64>() / errors.len() as f64).sqrt()
    }

    fn print(&self, name: &str) {
        println!(
            "{name}: {} made, {} found, {} invented, {} called through or home wrongly",
            self.made, self.found, self.invented, self.through_wrong
        );
        for (what, errors) in &self.errors {
            let n = errors.len() as f64;
            let mean = errors.iter().map(|e| e.0).sum::<f64>() / n;
            let covered = errors.iter().filter(|(e, sd)| e.abs() <= 1.96 * sd).count() as f64 / n;
            println!(
                "  {what}: bias {mean:.3}, RMS {:.3}, 95 % band holds {:.1} %, n {n}",
                self.rms(what),
                100.0 * covered
            );
        }
    }
}

fn styles() -> [(&'static str, DrillOptions); 5] {
    let slow = DrillOptions::default();
    [
        ("slow, some held", slow),
        ("brisk", DrillOptions { pace_s: (0.45, 0.8), held: 0.0, pause_s: (0.4, 1.2), ..slow }),
        (
            "very slow, held",
            DrillOptions { pace_s: (3.0, 5.0), held: 1.0, hold_s: (1.0, 4.0), repetitions: 6, ..slow },
        ),
        ("without a pause", DrillOptions { pace_s: (0.8, 1.6), held: 0.0, without_pause: true, ..slow }),
        ("upright, home", DrillOptions { bent: false, through: 0.0, ..slow }),
    ]
}

#[test]
fn every_repetition_is_found_and_measured() {
    let mut all = Tally::default();
    for (name, options) in styles() {
        let mut tally = Tally::default();
        for seed in 1..=5 {
            let population = if seed % 2 == 0 { Population::Amateur } else { Population::Professional };
            let player = PlayerParams::drawn_from(population, seed);
            let mut script = Script::drills(seed, player, &[options, options]);
            if seed % 3 == 0 {
                script = script.with_straps(StrapOptions {
                    roles: vec![Role::Pelvis, Role::Thorax],
                    ..StrapOptions::default()
                });
            }
            let (truths, seen) = play(&script);
            assert_eq!(seen.swings, 0, "a drill has no swings");
            for truth in truths.iter().filter(|t| of(t, &seen).is_none()) {
                println!(
                    "{name} {seed}: missed at {:.1} s; {:?}",
                    truth.top_s,
                    seen.rejected.iter().filter(|(t, _)| (t - truth.top_s).abs() < 6.0).collect::<Vec<_>>()
                );
            }
            tally.add(&truths, &seen);
            all.add(&truths, &seen);
        }
        tally.print(name);
    }
    all.print("all");
    assert!(all.found as f64 >= 0.985 * all.made as f64);
    assert!(all.invented as f64 <= 0.01 * all.made as f64);
    for what in ["pelvis turn back", "thorax turn back", "pelvis through", "thorax through"] {
        assert!(all.rms(what) <= 1.5, "{what}");
    }
}

#[test]
fn an_hour_of_other_movement_in_a_drill_is_no_repetition() {
    let mut invented = 0;
    for seed in 1..=6 {
        let (_, seen) = play(&Script::no_repetitions(seed, 600.0));
        for r in &seen.repetitions {
            println!(
                "{seed}: {:.1} s, {:?}",
                r.events.top.t_s,
                r.segments.values().map(|s| s.turn_deg.map(|t| t.top)).collect::<Vec<_>>()
            );
        }
        invented += seen.repetitions.len();
    }
    println!("{invented} in an hour");
    assert!(invented <= 3);
}
