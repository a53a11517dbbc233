//! A library of many sessions: answers from its index are those of the folders, whatever happens to either.

#[path = "../../analysis/benches/library/made.rs"]
mod made;

use made::Size;
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::kept::{self, kept};
use peakorder_analysis::library::{self, FORGOTTEN, INDEX_FILE, Swings};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::trend::{self, trend};
use peakorder_protocol::remark::What;
use peakorder_protocol::session::SessionDir;
use peakorder_tests::programs::{analysis, daemon};
use peakorder_tests::test_server::TestServer;
use proptest::prelude::*;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

const SMALL: Size = Size { players: 2, sessions_each: 3, regular: 1, swings: 6 };

/// A library with an index, although it is small.
fn indexed(home: &Path) -> PathBuf {
    let library = home.join("library");
    made::make(&library, SMALL, 1);
    let sessions = library.join("sessions");
    settle(&sessions, 0);
    // One that says nothing is left aside and made anew.
    fs::write(sessions.join(INDEX_FILE), "").expect("a file");
    let _ = library::find(std::slice::from_ref(&library), Some(&made::name(1))).expect("sessions");
    assert!(fs::metadata(sessions.join(INDEX_FILE)).expect("an index").len() > 1000);
    library
}

/// Gives what was written lately a time of the past, each step its own, as if hours had gone by.
fn settle(folder: &Path, step: u64) {
    let then = SystemTime::UNIX_EPOCH + Duration::from_secs(1_700_000_000 + step * 10);
    let young = SystemTime::now() - Duration::from_mins(10);
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            settle(&path, step);
        }
        if fs::metadata(&path).and_then(|m| m.modified()).is_ok_and(|at| at > young) {
            fs::File::open(&path).and_then(|f| f.set_modified(then)).expect("its time is set");
        }
    }
}

fn folders(sessions: &Path) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = fs::read_dir(sessions)
        .expect("a folder")
        .map(|e| e.expect("an entry").path())
        .filter(|p| p.join("session.toml").exists() && !p.to_string_lossy().contains(FORGOTTEN))
        .collect();
    found.sort();
    found
}

/// Something that happens to a library.
#[derive(Debug, Clone)]
enum Event {
    Copy(usize),
    Remove(usize),
    Forget(usize),
    OtherPlayer(usize, usize),
    RenameBlock(usize, usize),
    LeaveOut(usize, u32),
    CutInPlace(usize, u32),
    CutSessionFile(usize),
    RemoveSwing(usize, u32),
    OtherBlock(usize, u32),
    RemoveSwings(usize),
}

fn event() -> impl Strategy<Value = Event> {
    let (s, n) = (0..9_usize, 1..=SMALL.swings);
    prop_oneof![
        s.clone().prop_map(Event::Copy),
        s.clone().prop_map(Event::Remove),
        s.clone().prop_map(Event::Forget),
        (s.clone(), 0..3_usize).prop_map(|(s, p)| Event::OtherPlayer(s, p)),
        (s.clone(), 0..3_usize).prop_map(|(s, b)| Event::RenameBlock(s, b)),
        (s.clone(), n.clone()).prop_map(|(s, n)| Event::LeaveOut(s, n)),
        (s.clone(), n.clone()).prop_map(|(s, n)| Event::CutInPlace(s, n)),
        s.clone().prop_map(Event::CutSessionFile),
        (s.clone(), n.clone()).prop_map(|(s, n)| Event::RemoveSwing(s, n)),
        (s.clone(), n).prop_map(|(s, n)| Event::OtherBlock(s, n)),
        s.prop_map(Event::RemoveSwings),
    ]
}

impl Event {
    fn happen(&self, sessions: &Path, step: u64) {
        let all = folders(sessions);
        let at = |n: &usize| all.get(n % all.len().max(1)).cloned();
        let remark = |folder: &Path, what: What| {
            let _ = SessionDir::at(folder).remarks().append(1.0 + step as f64, what);
        };
        match self {
            Self::Copy(n) => {
                if let Some(from) = at(n) {
                    copy(&from, &sessions.join(format!("copy-{step}")));
                }
            }
            Self::Remove(n) => drop(at(n).map(fs::remove_dir_all)),
            Self::Forget(n) => {
                drop(at(n).map(|f| fs::rename(f, sessions.join(format!("{FORGOTTEN}{step}")))));
            }
            Self::OtherPlayer(n, player) => {
                let Some((dir, mut session)) = at(n).and_then(|f| SessionDir::open(&f).ok()) else { return };
                session.player.id = (*player > 0).then(|| format!("{player:016x}"));
                session.player.name = made::name(*player);
                dir.write_session(&session).expect("it is written");
            }
            Self::RenameBlock(n, block) => {
                let Some(folder) = at(n) else { return };
                let block = ["baseline", "hips first", "after"][*block].to_owned();
                remark(&folder, What::Rename { block, name: format!("other {step}") });
            }
            Self::LeaveOut(n, swing) => {
                let Some(folder) = at(n) else { return };
                remark(&folder, What::Exclude { swing: *swing, excluded: true, reason: String::new() });
            }
            Self::CutInPlace(n, swing) => {
                let Some(path) = at(n).map(|f| SessionDir::at(&f).swing_path(*swing)) else { return };
                if let Ok(file) = fs::OpenOptions::new().write(true).open(path) {
                    file.set_len(500).expect("it is cut");
                }
            }
            Self::CutSessionFile(n) => {
                let Some(folder) = at(n) else { return };
                let file = fs::OpenOptions::new().write(true).open(folder.join("session.toml"));
                file.and_then(|f| f.set_len(40)).expect("it is cut");
            }
            Self::RemoveSwing(n, swing) => {
                drop(at(n).map(|f| fs::remove_file(SessionDir::at(&f).swing_path(*swing))));
            }
            Self::OtherBlock(n, swing) => {
                let Some(dir) = at(n).map(|f| SessionDir::at(&f)) else { return };
                let Ok(mut read) = dir.read_swing(*swing) else { return };
                read.block = "baseline".into();
                dir.write_swing(*swing, &read.to_json().expect("finite"), b"").expect("it is written");
            }
            Self::RemoveSwings(n) => drop(at(n).map(|f| fs::remove_dir_all(f.join("swings")))),
        }
    }
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder") {
        let path = entry.expect("an entry").path();
        let target = to.join(path.file_name().expect("a name"));
        if path.is_dir() {
            copy(&path, &target);
        } else {
            fs::copy(&path, &target).expect("copied");
        }
    }
}

/// All that is said of a player over months, or why nothing is: first as the folders say it, one by one, then from the index.
fn both_ways(sessions: &Path, player: Option<&str>) -> [String; 2] {
    let family =
        Family::Chosen(vec![Chosen::of(Measure::from_key("separation_top_deg").expect("a measure"))]);
    let plain = match library::find(&folders(sessions), player) {
        Err(e) => e.to_string(),
        Ok(found) => {
            let told = (trend(&found, "baseline", &family), kept(&found, &family));
            format!("{} {:?} {:#?} {told:#?}", found.player, numbers(&found), found.left_out)
        }
    };
    let place = [sessions.to_owned()];
    let indexed = match library::select(&place, player, &|_, _| {}) {
        Err(e) => e.to_string(),
        Ok(mut chosen) => {
            assert!(chosen.notices.is_empty(), "{:?}", chosen.notices);
            let following = trend::Taking::of("baseline");
            let parts = chosen.each(Swings::Block("baseline"), |s| following.part(s));
            let trend = following.follow(&chosen.player, &chosen.left_out, parts, &family);
            let lasting = kept::Taking::of(&family).expect("measures");
            let parts = chosen.each(Swings::Ends(None), |s| lasting.part(s));
            let kept = lasting.kept(&chosen.player, &chosen.left_out, parts);
            let found = chosen.load_all();
            let told = (trend, Ok::<_, kept::KeptError>(kept));
            format!("{} {:?} {:#?} {told:#?}", found.player, numbers(&found), found.left_out)
        }
    };
    [plain, indexed]
}

type Numbers = Vec<(String, Vec<u32>, Vec<String>, usize)>;

fn numbers(found: &library::Found) -> Numbers {
    let of = |s: &peakorder_analysis::load::Loaded| {
        (s.name(), s.swings.iter().map(|s| s.number).collect(), s.blocks.clone(), s.problems.len())
    };
    found.sessions.iter().map(of).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    #[test]
    fn the_index_says_what_the_folders_say(events in proptest::collection::vec(event(), 1..9)) {
        let home = tempfile::tempdir().expect("a folder");
        let sessions = indexed(home.path()).join("sessions");
        for (step, event) in (1..).zip(&events) {
            event.happen(&sessions, step);
            settle(&sessions, step);
            for player in [None, Some(made::name(1)), Some(made::name(0))] {
                let [plain, indexed] = both_ways(&sessions, player.as_deref());
                // A folder without sessions is named otherwise than no folders at all.
                if !folders(&sessions).is_empty() {
                    prop_assert_eq!(plain, indexed, "after {:?}", event);
                }
            }
        }
    }
}

fn trend_of(library: &Path) -> peakorder_tests::programs::CommandOutput {
    let folder = library.to_str().expect("UTF-8");
    analysis(["trend", folder, "--player", &made::name(1)]).done()
}

#[test]
fn an_index_that_cannot_be_used_is_said_in_one_line_and_changes_no_answer() {
    let home = tempfile::tempdir().expect("a folder");
    let library = indexed(home.path());
    let (path, lock) = (library.join("sessions").join(INDEX_FILE), format!("{INDEX_FILE}.lock"));
    let lock = library.join("sessions").join(lock);
    let good = trend_of(&library);
    assert_eq!(good.err, "");
    let whole = fs::read(&path).expect("the index");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        assert_eq!(fs::metadata(&path).expect("it is there").permissions().mode() & 0o777, 0o600);
    }
    let text = String::from_utf8(whole.clone()).expect("UTF-8");
    let mut flipped = whole.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 1;
    for (what, bytes) in [
        ("damaged", flipped),
        ("damaged", whole[..whole.len() - 9].to_vec()),
        ("damaged", Vec::new()),
        ("damaged", b"{}\n".to_vec()),
        ("damaged", [whole.as_slice(), b"{}\n"].concat()),
        ("another version", text.replacen("peakorder.index/1", "peakorder.index/999", 1).into_bytes()),
    ] {
        fs::write(&path, bytes).expect("written");
        let out = trend_of(&library);
        assert_eq!(out.out, good.out);
        assert!(out.err.contains(what) && out.err.trim_end().lines().count() == 1, "{what}: {}", out.err);
        assert!(fs::read(&path).expect("it is made anew").len() >= whole.len() - 9);
        assert_eq!(trend_of(&library).err, "", "it is whole again");
    }
    // Another program holds the lock, and something changed.
    fs::remove_dir_all(&folders(&library.join("sessions"))[6]).expect("removed");
    let held = fs::File::options().write(true).open(&lock).expect("the lock");
    held.lock().expect("it is free");
    let out = trend_of(&library);
    assert!(out.err.contains("another program is writing it") && out.err.lines().count() == 1, "{}", out.err);
    drop(held);
    assert_eq!(trend_of(&library).err, "");
    // Nothing can be written there.
    fs::remove_file(&lock).expect("removed");
    fs::create_dir(&lock).expect("in its place");
    fs::write(&path, "").expect("written");
    for _ in 0..2 {
        let out = trend_of(&library);
        assert!(out.err.contains("not kept") && out.err.lines().count() == 2, "{}", out.err);
    }
}

#[test]
fn another_players_name_is_answered_from_the_index_as_before() {
    let home = tempfile::tempdir().expect("a folder");
    let library = indexed(home.path());
    let folder = library.to_str().expect("UTF-8");
    let several = analysis(["trend", folder]).failed();
    assert_eq!(
        several,
        "peakorder: these are sessions of 'Player 0000', 'Player 0001', 'Player 0002'; say which with --player"
    );
    let nobody = analysis(["kept", folder, "--player", "Nobody", "--about", "tempo_ratio"]).failed();
    assert!(nobody.contains("no session of 'Nobody'; there are those of 'Player 0000'"), "{nobody}");
    // Codes: nothing of the player or the folder is told.
    let coded = analysis(["trend", folder, "--player", "Player 0001", "--codes"]).done();
    assert!(!coded.out.contains("Player 0001") && !coded.out.contains("library"), "{}", coded.out);
}

fn list(server: &TestServer, query: &str) -> (Vec<String>, u64, Option<String>) {
    let answer = server.get(&format!("/api/v1/sessions{query}"));
    let rows = answer.expect(200);
    let ids = rows.as_array().expect("a list").iter().map(|r| r["id"].as_str().expect("an id").to_owned());
    let total = answer.header("peakorder-total").expect("a total").parse().expect("a number");
    let next = answer.header("link").map(|l| {
        l.strip_prefix("</api/v1/sessions")
            .and_then(|l| l.strip_suffix(">; rel=\"next\""))
            .expect("a link")
            .to_owned()
    });
    (ids.collect(), total, next)
}

#[test]
fn the_list_comes_in_parts_and_finds() {
    let home = tempfile::tempdir().expect("a folder");
    let library = indexed(home.path());
    let server = TestServer::virtual_lessons(&library, "max");
    let (all, total, next) = list(&server, "");
    assert_eq!((all.len(), total, next), (SMALL.sessions(), 7, None));
    let mut latest_first = all.clone();
    latest_first.sort_by(|a, b| b.cmp(a));
    assert_eq!(all, latest_first, "the folders are named by their start");
    let mut parts = Vec::new();
    let mut next = Some("?limit=3".to_owned());
    while let Some(query) = next {
        let (ids, total, more) = list(&server, &query);
        assert!(total == 7 && ids.len() <= 3);
        parts.extend(ids);
        next = more;
    }
    assert_eq!(parts, all);
    let of = |number: usize| {
        all.iter().filter(|id| id.ends_with(&format!("{number:04}"))).cloned().collect::<Vec<_>>()
    };
    for query in [
        "?player=Player%200001",
        "?player=0000000000000001",
        "?player=player%200001",
        "?search=0001%20ground",
    ] {
        assert_eq!(list(&server, query).0, of(1), "{query}");
    }
    assert_eq!(list(&server, "?goal=ground").0, of(1));
    assert_eq!(list(&server, "?search=ground&goal=sway").1, 0);
    assert_eq!(list(&server, "?block=AFTER&limit=1").1, 7);
    assert_eq!(list(&server, "?block=afte").1, 0);
    let day = &all[0][..8];
    let date = format!("{}-{}-{}", &day[..4], &day[4..6], &day[6..]);
    let (last, total, _) = list(&server, &format!("?from={date}&to={date}"));
    assert!(last.contains(&all[0]) && total < 7);
    assert_eq!(list(&server, &format!("?search={date}")).0, last);
    for (query, why) in [
        ("?limit=0", "limit: 1 to 1000"),
        ("?limit=1001", "limit: 1 to 1000"),
        ("?from=yesterday", "from: not a day"),
        ("?to=2026-02-30", "to: not a day"),
        ("?before=nowhere", "before: not a place"),
    ] {
        let said = server.get(&format!("/api/v1/sessions{query}")).refused(422);
        assert!(said.contains(why), "{query}: {said}");
    }
    assert_eq!(list(&server, "?before=2000-01-01T00%3A00%3A00Z%2Fx").0, Vec::<String>::new());
}

#[test]
fn what_changes_on_the_disk_is_in_the_next_list() {
    let home = tempfile::tempdir().expect("a folder");
    let library = indexed(home.path());
    let server = TestServer::virtual_lessons(&library, "max");
    let sessions = library.join("sessions");
    let (all, ..) = list(&server, "");
    let row = |id: &str| -> Value {
        let rows = server.get("/api/v1/sessions").expect(200);
        rows.as_array().expect("a list").iter().find(|r| r["id"] == id).cloned().unwrap_or(Value::Null)
    };
    // One swing file is cut where it lies: the folder does not show it.
    let cut = SessionDir::at(&sessions.join(&all[0])).swing_path(2);
    fs::OpenOptions::new().write(true).open(cut).and_then(|f| f.set_len(300)).expect("it is cut");
    let told = row(&all[0]);
    assert_eq!(told["swings"], 5);
    let problem = told["problems"][0].as_str().expect("a problem").to_owned();
    assert!(problem.starts_with(&format!("sessions/{}/swings/0002.json", all[0])), "{problem}");
    // A block is renamed through the API and found by its new label at once.
    let renamed = server.post(
        &format!("/api/v1/sessions/{}/remarks", all[1]),
        &serde_json::json!({ "what": "rename", "block": "after", "name": "slow motion" }),
    );
    renamed.expect(201);
    assert_eq!(list(&server, "?block=slow%20motion").0, [all[1].clone()]);
    // Copied in, removed, damaged.
    copy(&sessions.join(&all[2]), &sessions.join("copied in"));
    fs::remove_dir_all(sessions.join(&all[3])).expect("removed");
    fs::write(sessions.join(&all[4]).join("session.toml"), "no").expect("damaged");
    let (now, total, _) = list(&server, "");
    assert_eq!(total, 6);
    assert!(
        now.contains(&"copied in".to_owned()) && !now.contains(&all[3]) && !now.contains(&all[4]),
        "{now:?}"
    );
}

/// Whether any file of the library has one of these texts in it.
fn anywhere(folder: &Path, texts: &[&str]) -> Option<String> {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            if let Some(found) = anywhere(&path, texts) {
                return Some(found);
            }
            continue;
        }
        let bytes = fs::read(&path).expect("a file");
        for text in texts {
            if bytes.windows(text.len()).any(|w| w == text.as_bytes()) {
                return Some(format!("'{text}' in {}", path.display()));
            }
        }
    }
    None
}

#[test]
fn forgetting_a_player_reaches_the_index() {
    let home = tempfile::tempdir().expect("a folder");
    let library = indexed(home.path());
    let index = library.join("sessions").join(INDEX_FILE);
    let known = |text: &str| String::from_utf8_lossy(&fs::read(&index).expect("the index")).contains(text);
    let of_two = ["Player 0002", "0000000000000002", "less sway"];
    assert!(of_two.iter().all(|t| known(t)) && known("Player 0001"));
    // A writing that was broken off.
    fs::copy(&index, index.with_file_name(format!("{INDEX_FILE}.part"))).expect("copied");
    let server = TestServer::virtual_lessons(&library, "max");
    assert_eq!(list(&server, "").1, 7);
    let name = serde_json::json!({ "name": "Player 0002" });
    let forgotten = server.send("DELETE", "/api/v1/players/0000000000000002", &name);
    assert_eq!(forgotten.expect(200)["sessions"].as_array().map(Vec::len), Some(3));
    assert_eq!(anywhere(&library, &of_two), None);
    assert_eq!(list(&server, "").1, 4);
    drop(server);
    assert!(known("Player 0001"), "the others are still known");
    let folder = library.to_str().expect("UTF-8");
    let said = daemon(["players", "forget", "Player 0001", "--yes", "--library", folder]).done();
    assert!(said.out.contains("Forgotten."), "{}", said.out);
    assert_eq!(anywhere(&library, &["Player 0001", "0000000000000001", "start from the ground"]), None);
    assert!(known("Player 0000"));
}
