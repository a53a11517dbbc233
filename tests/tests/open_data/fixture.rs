//! Sessions of invented players, recorded and computed as the daemon does.

use peakorder_daemon::engine::{Engine, Recording};
use peakorder_protocol::log::Record;
use peakorder_protocol::remark::What;
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_protocol::{Handedness, Role};
use peakorder_virtual_straps::{
    DrillOptions, Outage, PlayerParams, Population, PracticeOptions, Script, Session, StrapOptions,
    virtual_session,
};
use std::path::{Path, PathBuf};

/// Words that somebody typed; none of them may be found where names are hidden.
pub(crate) const TYPED: [&str; 5] =
    ["Zaphira Quill", "back hurts", "kept the elbow", "sounded hollow", "Zaphira's way"];

/// A recorded session.
pub(crate) struct Recorded {
    pub(crate) dir: SessionDir,
    pub(crate) truth: Session,
}

/// Records `records` as a session of that script, and computes it.
pub(crate) fn record(path: &Path, script: &Script, player: Player, records: &[Record]) -> SessionDir {
    let id = path.file_name().unwrap().to_string_lossy();
    let session = virtual_session(script, &id, player, "2026-03-04T15:06:07Z");
    let dir = SessionDir::create(path, false).unwrap();
    let mut engine = Engine::new(dir, session, Recording::Unpaced).unwrap();
    for batch in records.chunks(256) {
        engine.push(batch);
    }
    engine.finish().unwrap().0
}

fn player(handedness: Handedness) -> Player {
    Player { name: TYPED[0].into(), handedness, limits: TYPED[1].into(), ..Player::default() }
}

/// Four swings with a drill between them; the pelvis strap is lost for a moment, and the coach has said something.
pub(crate) fn lesson(folder: &Path, handedness: Handedness) -> Recorded {
    let seed = 40 + u64::from(handedness == Handedness::Left);
    let mut params = PlayerParams::drawn_from(Population::Amateur, seed);
    params.handedness = handedness;
    let drill = DrillOptions { repetitions: 3, ..DrillOptions::default() };
    let options = PracticeOptions { drill: Some(drill), ..PracticeOptions::default() };
    let outages = vec![(Role::Pelvis, Outage { start_s: 21.0, duration_s: 1.2, clock_restarts: false })];
    let straps = StrapOptions { outages, ..StrapOptions::default() };
    let script = Script::practice(seed, params, 4, &options).with_straps(straps);
    let truth = script.clone().session();
    let records: Vec<Record> = truth.records().collect();
    let dir = record(&folder.join(handedness.key()), &script, player(handedness), &records);
    let say = |what| drop(dir.remarks().append(100.0, what).unwrap());
    say(What::Note { swing: Some(1), text: TYPED[2].into() });
    say(What::Outcome { swing: 1, labels: vec!["thin".into(), TYPED[3].into()] });
    say(What::Rename { block: "after".into(), name: TYPED[4].into() });
    say(What::Exclude { swing: 2, excluded: true, reason: TYPED[2].into() });
    Recorded { dir, truth }
}

/// Two swings without a calibration, at 104 Hz.
pub(crate) fn uncalibrated(folder: &Path) -> SessionDir {
    let params = PlayerParams::drawn_from(Population::Amateur, 45);
    let options = PracticeOptions { calibration: false, ..PracticeOptions::default() };
    let straps = StrapOptions { rate_hz: 104.0, ..StrapOptions::default() };
    let script = Script::practice(45, params, 2, &options).with_straps(straps);
    let records: Vec<Record> = script.clone().session().records().collect();
    record(&folder.join("uncalibrated"), &script, player(Handedness::Right), &records)
}

/// Paths as the export takes them.
pub(crate) fn paths(sessions: &[&SessionDir]) -> Vec<PathBuf> {
    sessions.iter().map(|s| s.path().to_owned()).collect()
}
