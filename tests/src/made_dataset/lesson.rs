//! What happens in a lesson: drawn, not measured.

use super::works_on;
use chacha20::ChaCha8Rng;
use peakorder_analysis::data::measures;
use peakorder_analysis::measure::{Definition, Group, Measure};
use peakorder_protocol::Role::{LeadArm, Pelvis, Thorax};
use peakorder_protocol::swing::{SpeedKind, Withholding};
use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_distr::{Distribution as _, StandardNormal};

/// Labels of the drills.
pub(super) const DRILLS: [&str; 4] = ["step in", "wall turn", "pump", "feet together"];
/// Swings of baseline and after, of a drill, and of practice.
const FULL: usize = 10;
const DRILL: usize = 6;
const PRACTICE: usize = 14;
const ORDERS: [&str; 4] =
    ["pelvis → thorax → arm", "thorax → pelvis → arm", "pelvis ≈ thorax → arm", "pelvis → arm → thorax"];
/// Strap models with the share of swings whose trunk angles, and whose arm, they leave withheld.
const STRAPS: [(&str, f64, f64); 3] =
    [("ref_strap_v1", 0.01, 0.03), ("wit_ble", 0.08, 0.12), ("thingy52", 0.03, 0.05)];
/// How far a player's days lie apart and the players themselves, in the spread from swing to swing.
const BETWEEN_DAYS: f64 = 0.5;
const BETWEEN_PLAYERS: f64 = 2.0;
/// A drill's effect that is still there at the next session.
const KEPT: f64 = 0.5;

/// A player, as the seed has it.
pub(super) struct Person {
    number: u64,
    pub(super) id: String,
    pub(super) strap: &'static str,
    withheld: (f64, f64),
    /// Of straps put on without calibration, the share of swings.
    uncalibrated: f64,
    /// Where each measure lies.
    means: Vec<f64>,
}

impl Person {
    pub(super) fn new(seed: u64, number: u64) -> Self {
        let mut rng = generator(seed, number, u32::MAX);
        let (strap, turn, arm) = STRAPS[(number % 3) as usize];
        Self {
            number,
            id: format!("player-{number:06}"),
            strap,
            withheld: (turn, arm),
            uncalibrated: if number.is_multiple_of(5) { 0.3 } else { 0.0 },
            means: measures().map(|m| usual(m) + normal(&mut rng) * BETWEEN_PLAYERS * spread(m)).collect(),
        }
    }
}

/// Where a measure lies for nobody in particular.
fn usual(measure: Measure) -> f64 {
    match measure.group() {
        Group::Timing => 40.0,
        Group::Speed => 600.0,
        Group::Tempo if measure.key().ends_with("ratio") => 3.0,
        Group::Tempo => 700.0,
        _ => 45.0,
    }
}

/// A measure's standard deviation from swing to swing.
pub(super) fn spread(measure: Measure) -> f64 {
    match measure.group() {
        Group::Timing => 6.0,
        Group::Speed => 18.0,
        Group::Tempo if measure.key().ends_with("ratio") => 0.15,
        Group::Tempo => 25.0,
        _ => 2.0,
    }
}

/// How a measure is defined: by calibrated straps, and by others.
pub(super) fn definitions(measure: Measure) -> [Definition; 2] {
    match measure.group() {
        Group::Timing => [
            Definition::Gap(SpeedKind::Axial, SpeedKind::Axial),
            Definition::Gap(SpeedKind::Resultant, SpeedKind::Resultant),
        ],
        Group::Speed => [Definition::Speed(SpeedKind::Axial), Definition::Speed(SpeedKind::Resultant)],
        Group::Tempo => [Definition::Tempo(LeadArm), Definition::Tempo(Thorax)],
        Group::Separation => [Definition::SeparationAtTop(LeadArm), Definition::SeparationAtTop(Thorax)],
        Group::Shift => [Definition::HipShiftAtTop(LeadArm), Definition::HipShiftAtTop(Thorax)],
        _ => [Definition::AngleAtTop(LeadArm), Definition::AngleAtTop(Thorax)],
    }
}

/// A block of a lesson.
pub(super) struct Block {
    pub(super) label: &'static str,
    pub(super) phase: &'static str,
}

/// A swing.
pub(super) struct Made {
    /// Place in the lesson's blocks.
    pub(super) block: usize,
    pub(super) kind: &'static str,
    pub(super) usable: bool,
    pub(super) calibrated: bool,
    pub(super) order: &'static str,
    pub(super) withheld: Vec<String>,
    pub(super) lost_samples: u32,
    /// By measure; none where withheld.
    pub(super) values: Vec<Option<f64>>,
}

impl Made {
    pub(super) fn counted(&self) -> bool {
        self.kind == "strike" && self.usable
    }
}

/// A session.
pub(super) struct Lesson {
    pub(super) id: String,
    pub(super) bay: Option<&'static str>,
    /// Days since 1970.
    pub(super) day: i32,
    /// Microseconds since 1970.
    pub(super) started_us: i64,
    pub(super) drills: Option<String>,
    pub(super) blocks: Vec<Block>,
    pub(super) swings: Vec<Made>,
}

impl Lesson {
    /// That visit of a player in that month.
    pub(super) fn of(person: &Person, seed: u64, month: u32, visit: u32) -> Self {
        let place = month * super::SESSIONS_A_MONTH + visit;
        let mut rng = generator(seed, person.number, place);
        let first = jiff::civil::date(2024 + (month / 12) as i16, 1 + (month % 12) as i8, 1);
        let days = (first - jiff::civil::date(1970, 1, 1)).get_days();
        let day = days + (visit * 14) as i32 + (person.number % 14) as i32;
        let second = 9 * 3600 + (person.number % 36_000) as i64;
        let chosen = drills(person, place);
        let blocks: Vec<Block> = match &chosen {
            None => vec![Block { label: "baseline", phase: "baseline" }],
            Some([one, two]) => vec![
                Block { label: "baseline", phase: "baseline" },
                Block { label: one, phase: "drill" },
                Block { label: two, phase: "drill" },
                Block { label: "after", phase: "after" },
            ],
        };
        let before = place.checked_sub(1).and_then(|last| drills(person, last));
        let means: Vec<f64> = measures()
            .zip(&person.means)
            .enumerate()
            .map(|(at, (m, mean))| {
                let day = normal(&mut rng) * BETWEEN_DAYS;
                let kept = KEPT * effect(before.as_ref(), at);
                mean + spread(m) * (day + kept)
            })
            .collect();
        let swings = blocks
            .iter()
            .enumerate()
            .flat_map(|(at, block)| {
                let swings = match block.phase {
                    "drill" => DRILL,
                    _ if chosen.is_none() => PRACTICE,
                    _ => FULL,
                };
                std::iter::repeat_n((at, block.phase), swings)
            })
            .map(|(at, phase)| {
                let gained = if phase == "after" { chosen.as_ref() } else { None };
                swing(person, &means, gained, at, &mut rng)
            })
            .collect();
        Self {
            id: format!("{}-{place:03}", person.id),
            bay: match person.number % 7 {
                0 => None,
                n if n % 2 == 0 => Some("bay-1"),
                _ => Some("bay-2"),
            },
            day,
            started_us: (i64::from(day) * 86_400 + second) * 1_000_000,
            drills: chosen.map(|drills| drills.join(" + ")),
            blocks,
            swings,
        }
    }
}

/// Every third session.
const fn is_practice(place: u32) -> bool {
    place % 3 == 2
}

/// Swings of a player's first so many sessions.
pub(super) fn swings_in(sessions: u32) -> u64 {
    (0..sessions).map(|place| if is_practice(place) { PRACTICE } else { 2 * FULL + 2 * DRILL } as u64).sum()
}

/// The two drills of a lesson; practice has none.
fn drills(person: &Person, place: u32) -> Option<[&'static str; 2]> {
    let first = (person.number as usize + place as usize) % DRILLS.len();
    (!is_practice(place)).then(|| [DRILLS[first], DRILLS[(first + 1) % DRILLS.len()]])
}

fn effect(drills: Option<&[&'static str; 2]>, measure: usize) -> f64 {
    let hit = drills.is_some_and(|all| all.iter().any(|drill| works_on(drill, measure)));
    if hit { super::EFFECT } else { 0.0 }
}

fn swing(
    person: &Person,
    means: &[f64],
    gained: Option<&[&'static str; 2]>,
    block: usize,
    rng: &mut ChaCha8Rng,
) -> Made {
    let kind = match rng.random::<f64>() {
        x if x < 0.94 => "strike",
        x if x < 0.98 => "rehearsal",
        _ => "unsure",
    };
    let usable = rng.random::<f64>() < 0.97;
    let calibrated = rng.random::<f64>() >= person.uncalibrated;
    let (turn, arm) = (rng.random::<f64>() < person.withheld.0, rng.random::<f64>() < person.withheld.1);
    let mut withheld = Vec::new();
    if !usable {
        withheld.push(Withholding::Sequence.key());
    }
    if turn {
        withheld.push(Withholding::Angles(Pelvis).key());
    }
    if arm {
        withheld.push(Withholding::ArmAgainstThorax.key());
    }
    let values = measures()
        .zip(means)
        .enumerate()
        .map(|(at, (m, mean))| {
            let value = mean + spread(m) * (effect(gained, at) + normal(rng));
            let gone = match m.group() {
                Group::Timing => !usable,
                Group::Turn | Group::Separation | Group::Posture => turn,
                Group::Arm => arm,
                _ => false,
            };
            (!gone).then_some(value)
        })
        .collect();
    Made {
        block,
        kind,
        usable,
        calibrated,
        order: ORDERS[(rng.random::<f64>().powi(2) * 4.0) as usize],
        withheld,
        lost_samples: if rng.random::<f64>() < 0.1 { rng.random_range(1..9) } else { 0 },
        values,
    }
}

fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn generator(seed: u64, player: u64, place: u32) -> ChaCha8Rng {
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    bytes[8..16].copy_from_slice(&player.to_le_bytes());
    bytes[16..20].copy_from_slice(&place.to_le_bytes());
    ChaCha8Rng::from_seed(bytes)
}
