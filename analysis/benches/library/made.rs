//! A library as large as is asked for, made of the recordings' swings: real files in real session folders, always the
//! same for one seed. Everybody in it is invented.

use chacha20::ChaCha8Rng;
use peakorder_protocol::Handedness;
use peakorder_protocol::files::{self, Lasting};
use peakorder_protocol::remark::{ChosenMeasure, What};
use peakorder_protocol::session::{Player, Session, SessionDir};
use peakorder_protocol::swing::Swing;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// How large.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Size {
    pub(crate) players: usize,
    pub(crate) sessions_each: usize,
    /// Sessions of one player more, `Player 0000`; 0 for none.
    pub(crate) regular: usize,
    pub(crate) swings: u32,
}

impl Size {
    pub(crate) const fn sessions(self) -> usize {
        self.players * self.sessions_each + self.regular
    }
}

/// What the swings of a session are called: the blocks of a lesson.
const BLOCKS: [&str; 3] = ["baseline", "hips first", "after"];
const GOALS: [&str; 4] = ["longer drives", "start from the ground", "less sway", "hold the finish"];
/// Varied swings that sessions draw from.
const POOL: usize = 384;
/// 2024-01-01 in seconds since 1970.
const BEGIN_S: i64 = 1_704_067_200;

/// Name of player `number`; 0 is the regular one.
pub(crate) fn name(number: usize) -> String {
    format!("Player {number:04}")
}

/// Writes the library into the new folder `into`.
pub(crate) fn make(into: &Path, size: Size, seed: u64) {
    let pool = pool(seed);
    let jobs: Vec<(usize, usize)> = (0..size.regular)
        .map(|n| (0, n))
        .chain((1..=size.players).flat_map(|p| (0..size.sessions_each).map(move |n| (p, n))))
        .collect();
    files::private_dir(&into.join("players")).expect("a folder");
    for number in 0..=size.players {
        if number > 0 || size.regular > 0 {
            let card = format!(
                "name = \"{}\"\nhandedness = \"right\"\ngoal = \"{}\"\nlimits = \"\"\nconsent = true\n",
                name(number),
                GOALS[number % GOALS.len()]
            );
            let path = into.join("players").join(format!("{}.toml", id(number)));
            files::replace(&path, card.as_bytes(), Lasting::Recomputable).expect("a card");
        }
    }
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for jobs in jobs.chunks(jobs.len().div_ceil(threads).max(1)) {
            let pool = &pool;
            scope.spawn(move || jobs.iter().for_each(|job| session(into, size, *job, pool, seed)));
        }
    });
}

fn id(number: usize) -> String {
    format!("{number:016x}")
}

fn session(into: &Path, size: Size, (player, nth): (usize, usize), pool: &Pool, seed: u64) {
    let mut dice = ChaCha8Rng::seed_from_u64(seed ^ ((player as u64) << 32) ^ nth as u64);
    // One a week, the regular player every other day, at whole minutes of the day.
    let days = if player == 0 { nth * 2 } else { nth * 7 + player % 7 };
    let start = BEGIN_S + days as i64 * 86_400 + 28_800 + (player as i64 % 600) * 60;
    let started = jiff::Timestamp::from_second(start).expect("a time");
    let folder = format!("{}-{player:04}", started.strftime("%Y%m%dT%H%M%SZ"));
    let dir = SessionDir::create(&into.join("sessions").join(&folder), false).expect("a session folder");
    let right = Handedness::Right;
    let session = Session {
        id: folder.clone(),
        started_utc: started.strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
        player: Player {
            id: Some(id(player)),
            name: name(player),
            handedness: right,
            goal: GOALS[player % GOALS.len()].into(),
            ..Player::default()
        },
        ..pool.session.clone()
    };
    let toml = session.to_toml().expect("it has a TOML form");
    let write = |path: PathBuf, bytes: &[u8]| {
        files::replace(&path, bytes, Lasting::Recomputable).expect("a file is written");
    };
    write(dir.path().join("session.toml"), toml.as_bytes());
    write(dir.log_path(), b"no recording: made for measuring\n");
    for number in 1..=size.swings {
        let block = BLOCKS[((number - 1) as usize * BLOCKS.len()) / size.swings as usize];
        let swing = Swing {
            session: folder.clone(),
            number,
            block: block.into(),
            ..pool.swings[dice.random_range(0..pool.swings.len())].clone()
        };
        write(dir.swing_path(number), swing.to_json().expect("its numbers are finite").as_bytes());
    }
    if dice.random_range(0..4) == 0 || player == 0 {
        let measures = vec![ChosenMeasure { measure: "separation_top_deg".into(), matters: None }];
        let chosen =
            measures.iter().all(|m| peakorder_analysis::measure::Measure::from_key(&m.measure).is_some());
        assert!(chosen, "the measure is one of the table");
        dir.remarks().append(1.0, What::Chosen { measures }).expect("a remark");
        if dice.random_range(0..3) == 0 {
            let name = format!("drill {}", dice.random_range(1..9));
            dir.remarks().append(2.0, What::Rename { block: BLOCKS[1].into(), name }).expect("a remark");
        }
    }
}

/// What sessions are made of.
struct Pool {
    session: Session,
    swings: Vec<Swing>,
}

fn pool(seed: u64) -> Pool {
    let recordings = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the project").join("recordings");
    let mut real = Vec::new();
    let mut session = None;
    for name in ["baseline-right", "professional"] {
        let (dir, read) = SessionDir::open(&recordings.join(name)).expect("a recording");
        session.get_or_insert(read);
        for number in dir.swing_numbers().expect("its swings") {
            real.push(dir.read_swing(number).expect("a swing"));
        }
    }
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let swings = (0..POOL)
        .map(|n| {
            let mut value = serde_json::to_value(&real[n % real.len()]).expect("a document");
            vary(&mut value, &mut dice);
            serde_json::from_value(value).expect("it stays a swing")
        })
        .collect();
    Pool { session: session.expect("a recording"), swings }
}

/// Every number that is no time, number or uncertainty moves by some percent.
fn vary(value: &mut Value, dice: &mut ChaCha8Rng) {
    match value {
        Value::Object(object) => {
            for (key, value) in object {
                if key != "t_s" && !key.contains("sd_") && !key.ends_with("sd") {
                    vary(value, dice);
                }
            }
        }
        Value::Number(number) if number.is_f64() => {
            let moved = number.as_f64().expect("a number") * (1.0 + dice.random_range(-0.05..0.05));
            *value = serde_json::json!((moved * 1e3).round() / 1e3);
        }
        _ => {}
    }
}
