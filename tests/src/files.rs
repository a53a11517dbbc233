//! Reading and comparing session folders.

use peakorder_protocol::log::{LogReader, Record};
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::Swing;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Name and bytes of every file in `DIR/swings`, and of `mobility.json`: everything that is
/// computed from the recording.
pub fn computed(session: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = contents(&session.join("swings"));
    if let Ok(bytes) = fs::read(session.join("mobility.json")) {
        files.insert("mobility.json".into(), bytes);
    }
    files
}

/// Name and bytes of every file below `folder`.
pub fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap_or_else(|e| panic!("{}: {e}", next.display())) {
            let path = entry.expect("a folder's entries can be read").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("it lies below").to_string_lossy().into_owned();
                let bytes = fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
                files.insert(name, bytes);
            }
        }
    }
    files
}

/// Asserts equal names and bytes; a difference is shown where it begins, not as a dump.
pub fn assert_same(a: &BTreeMap<String, Vec<u8>>, b: &BTreeMap<String, Vec<u8>>) {
    let names = |m: &BTreeMap<String, Vec<u8>>| m.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(a), names(b), "the folders hold different files");
    for (name, left) in a {
        let right = &b[name];
        if left != right {
            let at = left.iter().zip(right).position(|(x, y)| x != y).unwrap_or(left.len().min(right.len()));
            let around = |bytes: &[u8]| {
                let part = &bytes[at.saturating_sub(60).min(bytes.len())..(at + 40).min(bytes.len())];
                String::from_utf8_lossy(part).into_owned()
            };
            panic!("{name} differs from byte {at}:\n{}\n— and —\n{}", around(left), around(right));
        }
    }
}

/// All swings of a session folder.
pub fn swings(session: &Path) -> Vec<Swing> {
    let (dir, _) = SessionDir::open(session).unwrap_or_else(|e| panic!("{e}"));
    dir.read_swings().unwrap_or_else(|e| panic!("{e}"))
}

/// All records of a log that can be read, and how many findings there were.
pub fn records(log: &Path) -> (Vec<Record>, Vec<peakorder_protocol::log::Finding>) {
    let mut reader = LogReader::open(log).unwrap_or_else(|e| panic!("{}: {e}", log.display()));
    let (mut all, mut batch) = (Vec::new(), Vec::new());
    while reader.next_batch(&mut batch).unwrap_or_else(|e| panic!("{}: {e}", log.display())) {
        all.append(&mut batch);
    }
    (all, reader.findings().to_vec())
}
