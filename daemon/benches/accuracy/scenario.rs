//! Which players, straps and links are played.

use crate::explain;
use crate::one_clock;
use crate::recorded::RecordedBody;
use crate::tally::Tally;
use peakorder_motion::pipeline::{Output, Pipeline};
use peakorder_protocol::session::Player;
use peakorder_protocol::{Handedness, Role};
use peakorder_virtual_straps::virtual_session;
use peakorder_virtual_straps::{
    Group, LinkModel, PlayerParams, Population, PracticeOptions, Ringing, Script, Sliding, StrapOptions,
};

/// Who is playing.
#[derive(Debug, Clone)]
enum Who {
    /// Professionals and amateurs in turn, of one pulse a segment.
    Drawn,
    /// Players of these groups in turn, who move like people.
    PeopleOf(&'static [Group]),
    /// A body that was recorded.
    Recorded(RecordedBody),
    /// Nobody swings for so long, s.
    NotSwinging(f64),
}

/// One kind of session, played several times with different seeds.
pub(crate) struct Scenario {
    /// Short name.
    pub(crate) name: String,
    /// What is played.
    pub(crate) what: String,
    /// Sessions, each with its own player.
    pub(crate) sessions: usize,
    /// Part of the figures held against the targets.
    pub(crate) counts: bool,
    swings: u32,
    seed: u64,
    options: PracticeOptions,
    straps: StrapOptions,
    who: Who,
    /// Players who move like people, or a real one: tabulated together.
    pub(crate) people: bool,
    /// Sliding skin, in sizes of 4.5 deg at a full turn; the growth of errors is tabulated.
    pub(crate) sliding_size: Option<f64>,
    /// Samples straight from the sensors on one clock, as CSV import sees them.
    one_clock: bool,
}

impl Scenario {
    /// Plays session `i` and compares with its truth.
    pub(crate) fn play(&self, i: u64) -> Tally {
        let seed = self.seed * 10_000 + i;
        let practice = |mut player: PlayerParams| {
            if i % 5 == 4 {
                player.handedness = Handedness::Left;
            }
            Script::practice(seed, player, self.swings, &self.options)
        };
        let script = match &self.who {
            Who::Drawn => {
                let professional = i.is_multiple_of(2);
                let population = if professional { Population::Professional } else { Population::Amateur };
                practice(PlayerParams::drawn_from(population, seed))
            }
            Who::PeopleOf(groups) => {
                practice(PlayerParams::like_people(groups[i as usize % groups.len()], seed))
            }
            Who::Recorded(body) => body.script(seed, i % 5 == 4),
            Who::NotSwinging(seconds) => Script::not_swings(seed, *seconds),
        };
        let script = script.with_straps(self.straps.clone());
        let player = Player { handedness: script.player().handedness, ..Player::default() };
        let mut meta = virtual_session(&script, "accuracy", player, "2026-01-01T00:00:00Z");
        if self.one_clock {
            one_clock::set_profile(&mut meta);
        }
        let mut pipeline = Pipeline::new(&meta).expect("the virtual session is valid");
        let session = script.session();
        let mut outputs = Vec::new();
        if self.one_clock {
            for record in one_clock::records(&session) {
                pipeline.push(&record, &mut outputs);
            }
        } else {
            for record in session.records() {
                pipeline.push(&record, &mut outputs);
            }
        }
        pipeline.finish(&mut outputs);
        if std::env::var_os("ACCURACY_VERBOSE").is_some() {
            for role in &self.straps.roles {
                let truth = nalgebra::UnitQuaternion::from_matrix(&session.mounting_rotation(*role));
                match pipeline.mounting(*role) {
                    Some(a) => {
                        let off = a.to_segment * truth.inverse();
                        let up = off * nalgebra::Vector3::y();
                        eprintln!(
                            "seed {seed}: {role} alignment off by {:.1} deg, long axis by {:.1} deg",
                            off.angle().to_degrees(),
                            up.angle(&nalgebra::Vector3::y()).to_degrees()
                        );
                    }
                    None => eprintln!("seed {seed}: {role} not aligned"),
                }
            }
        }
        let swings: Vec<_> = outputs
            .iter()
            .filter_map(|o| if let Output::Swing(s, _) = o { Some(s.as_ref()) } else { None })
            .collect();
        let mut tally = Tally::default();
        tally.compare(
            &session.truth(),
            &swings,
            session.duration_s(),
            self.straps.roles.len(),
            self.one_clock,
        );
        if std::env::var_os("ACCURACY_VERBOSE").is_some() {
            for o in &outputs {
                match o {
                    Output::NotASwing { t_s, why } => eprintln!("seed {seed}: {t_s:.2} s: {why}"),
                    Output::Calibration(judged) if !judged.passed() => {
                        eprintln!("seed {seed}: {judged:?}");
                    }
                    _ => {}
                }
            }
            explain::explain(seed, &session.truth(), &swings);
        }
        tally
    }
}

/// All scenarios; `quick` plays a tenth.
pub(crate) fn all(quick: bool) -> Vec<Scenario> {
    let sessions = |n: usize| if quick { (n / 5).max(4) } else { n };
    let base = |name: &str, what: &str, seed: u64, n: usize| Scenario {
        name: name.into(),
        what: what.into(),
        sessions: sessions(n),
        counts: true,
        swings: 25,
        seed,
        options: PracticeOptions::default(),
        straps: StrapOptions::default(),
        who: Who::Drawn,
        people: false,
        sliding_size: None,
        one_clock: false,
    };
    let straps = StrapOptions::default;
    let mut scenarios = vec![
        base(
            "full swings, 208 Hz",
            "Professionals and amateurs, every fifth left-handed, straps up to 40 deg askew, upside down or on the other side, good link.",
            1,
            40,
        ),
        Scenario {
            one_clock: true,
            ..base(
                "full swings on one clock, 208 Hz",
                "As the first, but without a link: what CSV import sees. Clocks play no part.",
                11,
                20,
            )
        },
        Scenario {
            one_clock: true,
            straps: StrapOptions { rate_hz: 104.0, ..straps() },
            ..base("full swings on one clock, 104 Hz", "As before, at half the rate.", 12, 10)
        },
        Scenario {
            options: PracticeOptions::varied(),
            ..base(
                "varied swings, 208 Hz",
                "Full, half, slow, one-handed and rehearsal swings, with walking, bending and standing about between.",
                2,
                20,
            )
        },
        Scenario {
            straps: StrapOptions { rate_hz: 104.0, samples_per_packet: 2, ..straps() },
            ..base("full swings, 104 Hz", "As the first, at half the rate.", 3, 10)
        },
        Scenario {
            straps: StrapOptions { rate_hz: 416.0, samples_per_packet: 8, ..straps() },
            ..base("full swings, 416 Hz", "As the first, at twice the rate.", 4, 10)
        },
        Scenario {
            straps: StrapOptions { link: LinkModel::harsh(), ..straps() },
            ..base("harsh link, 208 Hz", "15 % failed events, 2 % lost packets, long jitter.", 5, 10)
        },
        Scenario {
            straps: StrapOptions { roles: vec![Role::Pelvis, Role::Thorax], ..straps() },
            ..base("two straps, 208 Hz", "Without the arm strap.", 6, 10)
        },
        Scenario {
            options: PracticeOptions { address_sway_dps: Some(4.0), ..PracticeOptions::default() },
            ..base("restless address, 208 Hz", "Players who sway by 4 deg/s at address.", 7, 10)
        },
        Scenario {
            counts: false,
            straps: StrapOptions { rate_hz: 52.0, samples_per_packet: 1, ..straps() },
            ..base("full swings, 52 Hz (not counted)", "The slowest straps supported.", 8, 6)
        },
        Scenario {
            counts: false,
            straps: StrapOptions {
                ringing: Some(Ringing { hz: 10.0, damping: 0.15, coupling: 0.3 }),
                ..straps()
            },
            ..base(
                "ringing straps, 208 Hz (not counted)",
                "Straps on soft tissue that rings at 10 Hz.",
                9,
                10,
            )
        },
        Scenario {
            who: Who::NotSwinging(if quick { 360.0 } else { 900.0 }),
            ..base(
                "an hour without swings",
                "Walking, bending, waggles, seated and standing turns, practice movements that are not swings.",
                10,
                if quick { 20 } else { 4 },
            )
        },
    ];
    // The same players and seeds in every size: what differs is the skin.
    scenarios.extend([0.0, 0.5, 1.0, 2.0].map(|size| Scenario {
        counts: false,
        sliding_size: Some(size),
        straps: StrapOptions {
            sliding: (size > 0.0).then_some(Sliding {
                at_full_turn_deg: 4.5 * size,
                wearing_sd_deg: 0.0,
                lag_s: 0.08,
            }),
            ..straps()
        },
        ..base(
            &format!("sliding skin, size {size} (not counted)"),
            &format!("Skin that stays {} deg behind at a full turn, with a lag of 80 ms.", 4.5 * size),
            13,
            10,
        )
    }));
    let people = [
        (
            &[Group::Measured][..],
            "people as one golfer was measured, 208 Hz (not counted)",
            "Invented players in the ranges of ten real swings: tops of several humps, slow downswings, a thorax that \
             keeps its speed, an arm that rolls before takeaway, an address that drifts.",
        ),
        (
            &[Group::Amateur],
            "people, amateurs, 208 Hz (not counted)",
            "The same manner with the published speeds and times of amateurs.",
        ),
        (
            &[Group::Older],
            "people, older and stiffer, 208 Hz (not counted)",
            "The same manner, smaller turns, slower: published means of men of 62 years where there are any.",
        ),
    ];
    scenarios.extend((14..).zip(people).map(|(seed, (groups, name, what))| Scenario {
        counts: false,
        people: true,
        who: Who::PeopleOf(groups),
        ..base(name, what, seed, 15)
    }));
    scenarios.push(Scenario {
        counts: false,
        people: true,
        one_clock: true,
        who: Who::PeopleOf(&[Group::Measured, Group::Amateur, Group::Older]),
        ..base(
            "people on one clock, 208 Hz (not counted)",
            "The three groups in turn, without a link.",
            18,
            15,
        )
    });
    if let Some(body) = RecordedBody::from_environment() {
        scenarios.push(Scenario {
            counts: false,
            people: true,
            one_clock: true,
            who: Who::Recorded(body.clone()),
            ..base("a recorded body on one clock, 208 Hz (not counted)", "As below, without a link.", 19, 20)
        });
        scenarios.push(Scenario {
            counts: false,
            people: true,
            who: Who::Recorded(body),
            ..base(
                "a recorded body, 208 Hz (not counted)",
                "The optical trajectories of five real swings of one golfer drive straps, sensors, clocks and link, with \
                 invented calibration movements and rests between; every fifth session mirrored. The same five swings in every \
                 session: what is theirs is counted again and again.",
                17,
                20,
            )
        });
    }
    scenarios
}
