//! What happens in the virtual machine: a short invented lesson, one strap lost in a downswing.

use peakorder_protocol::Role;
use peakorder_protocol::log::{Disconnection, Mark, MarkKind, Record, StrapEvent, StrapEventKind};
use peakorder_virtual_straps::{
    LinkModel, PlayerParams, Population, PracticeOptions, Script, Session, StrapOptions,
};

/// Seed of everything that is drawn.
const SEED: u64 = 39;
/// Swings of the lesson.
pub const SWINGS: u32 = 6;
/// The strap that goes out of range …
pub const LOST: Role = Role::Thorax;
/// … in the downswing of this swing (counted from 1) …
pub const LOST_IN_SWING: usize = 3;
/// … this long before impact …
const BEFORE_IMPACT_S: f64 = 0.1;
/// … and is back in range after this long.
const AWAY_S: f64 = 4.0;
/// Battery levels of the straps.
pub const BATTERY_PERCENT: [u8; 3] = [81, 82, 83];

/// Address of a strap, as it is written: a random static one, its two top bits set.
pub fn address(role: Role) -> String {
    format!("C0:AA:01:00:00:{:02X}", role.index() + 1)
}

/// The daemon's configuration.
pub fn config() -> String {
    let strap =
        |r: Role| format!("[straps.{}]\nid = \"{}\"\nprofile = \"ref-strap-v1\"\n", r.key(), address(r));
    Role::ALL.map(strap).concat()
}

/// The lesson with its truth. Its link is next to none: an arrival is a packet that has just
/// become ready in the strap. Connection events, and the stamps that name them, are the
/// simulated controller's.
pub fn session() -> Session {
    let player = PlayerParams::drawn_from(Population::Amateur, SEED);
    let options = PracticeOptions {
        waggles: false,
        pause_s: (0.8, 1.2),
        still_s: (0.9, 1.1),
        block: "in the machine".into(),
        ..PracticeOptions::default()
    };
    let link = LinkModel {
        interval_s: 1e-4,
        fail: 0.0,
        bursts_per_min: 0.0,
        drop: 0.0,
        base_s: 0.0,
        jitter_s: 0.0,
        tail_share: 0.0,
        event_stamps: false,
        ..LinkModel::normal()
    };
    let straps = StrapOptions { link, ..StrapOptions::default() };
    Script::practice(SEED, player, SWINGS, &options).with_straps(straps).session()
}

/// From when to when the lost strap is out of range, session seconds.
pub fn out_of_range_s(session: &Session) -> (f64, f64) {
    let from = session.truth()[LOST_IN_SWING - 1].impact_s - BEFORE_IMPACT_S;
    (from, from + AWAY_S)
}

/// What the radio plays: packets as they become ready, marks as they are typed, and when a
/// strap goes out of range and comes back, in order of time.
pub fn records(session: &Session) -> Vec<Record> {
    let (from, to) = out_of_range_s(session);
    let event = |t_s: f64, what| Record::Strap(StrapEvent { t_ns: (t_s * 1e9) as u64, role: LOST, what });
    let mut all: Vec<Record> = session.records().filter(|r| !matches!(r, Record::Strap(_))).collect();
    all.push(event(from, StrapEventKind::Disconnected { reason: Disconnection::NotKnown }));
    all.push(event(to, StrapEventKind::CONNECTED));
    let end_ns = (session.duration_s() * 1e9) as u64;
    all.push(Record::Mark(Mark { t_ns: end_ns, kind: MarkKind::Note, detail: "the end".into() }));
    all.sort_by_key(Record::t_ns);
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_virtual_straps::SwingTruth;

    /// Peaks of the scenario are at least so long before impact.
    const CLEAR_MS: f64 = 12.0;

    #[test]
    fn the_scenario_is_the_same_every_time_and_leaves_swings_on_both_sides_of_the_loss() {
        let session = session();
        assert!(records(&session) == records(&super::session()));
        let truth = session.truth();
        assert_eq!(truth.len(), SWINGS as usize);
        let (from, to) = out_of_range_s(&session);
        assert!(truth[LOST_IN_SWING - 2].finish_s < from && to < truth[SWINGS as usize - 3].takeaway_s);
        // Every peak is clearly one: none is in dispute with the impact.
        let clear = |t: &SwingTruth| t.segments.values().all(|s| s.peak_before_ms > CLEAR_MS);
        assert!(truth.iter().all(|t| t.strike && t.order.len() == 3 && clear(t)));
    }
}
