//! What must hold of every decoder (`fuzz/src/lib.rs`, shared with the fuzz targets) holds of
//! the seeds, of random harm to them, and of random bytes.
//!
//! Fuzzing looks further than this, with a nightly compiler: see DEVELOPERS.md. Whatever it
//! finds becomes a seed, and so a test here.

#[path = "../fuzz/src/lib.rs"]
#[allow(unreachable_pub, reason = "the fuzz targets call these from outside")]
mod holds;

use proptest::prelude::*;
use proptest::sample::Index;
use std::fs;
use std::path::Path;

/// Seeds of a target, in order of name.
fn seeds(target: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/seeds").join(target);
    let mut files: Vec<_> = fs::read_dir(&folder)
        .unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
        .map(|entry| entry.expect("a readable folder").path())
        .collect();
    files.sort();
    assert!(!files.is_empty(), "{target} has no seeds");
    files.iter().map(|f| fs::read(f).expect("a readable file")).collect()
}

/// A change to a file.
#[derive(Debug, Clone)]
enum Harm {
    Cut(Index),
    Set(Index, u8),
    Remove(Index, Index),
    Insert(Index, Vec<u8>),
    Repeat(Index, Index),
}

fn harm() -> impl Strategy<Value = Harm> {
    prop_oneof![
        any::<Index>().prop_map(Harm::Cut),
        (any::<Index>(), any::<u8>()).prop_map(|(i, v)| Harm::Set(i, v)),
        // Digits, signs and brackets harm text more than any byte does.
        (any::<Index>(), prop::sample::select(b"09-.e\"[]{},:=\n #x".as_slice()))
            .prop_map(|(i, v)| Harm::Set(i, v)),
        (any::<Index>(), any::<Index>()).prop_map(|(a, b)| Harm::Remove(a, b)),
        (any::<Index>(), prop::collection::vec(any::<u8>(), 1..8)).prop_map(|(i, v)| Harm::Insert(i, v)),
        (any::<Index>(), any::<Index>()).prop_map(|(a, b)| Harm::Repeat(a, b)),
    ]
}

fn harmed(mut bytes: Vec<u8>, harms: &[Harm]) -> Vec<u8> {
    for harm in harms {
        if bytes.is_empty() {
            break;
        }
        let at = |i: &Index| i.index(bytes.len());
        let range = |a: &Index, b: &Index| at(a).min(at(b))..at(a).max(at(b));
        match harm {
            Harm::Cut(i) => {
                let n = at(i);
                bytes.truncate(n);
            }
            Harm::Set(i, v) => {
                let i = at(i);
                bytes[i] = *v;
            }
            Harm::Remove(a, b) => {
                let range = range(a, b);
                bytes.drain(range);
            }
            Harm::Insert(i, v) => {
                let i = at(i);
                bytes.splice(i..i, v.iter().copied());
            }
            Harm::Repeat(a, b) => {
                let again = bytes[range(a, b)].to_vec();
                bytes.extend(again);
            }
        }
    }
    bytes
}

macro_rules! decoders {
    ($($target:ident),* $(,)?) => { $(
        mod $target {
            use super::*;

            #[test]
            fn seeds_hold() {
                for seed in seeds(stringify!($target)) {
                    holds::$target(&seed);
                }
            }

            proptest! {
                #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

                #[test]
                fn harmed_seeds_hold(which in any::<Index>(), harms in prop::collection::vec(harm(), 1..6)) {
                    let seeds = seeds(stringify!($target));
                    holds::$target(&harmed(seeds[which.index(seeds.len())].clone(), &harms));
                }

                #[test]
                fn random_bytes_hold(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
                    holds::$target(&bytes);
                }
            }
        }
    )* };
}

decoders!(
    profile_decoder,
    reference_packet,
    common_clock_packet,
    log_reader,
    curves_reader,
    session_toml,
    swing_json,
    mobility_json,
    profile_toml,
    import_csv,
    import_marks,
    config_toml,
    pipeline,
);

/// A seed that is refused at once would test nothing.
#[test]
fn text_seeds_can_be_read() {
    use peakorder_daemon::config::Config;
    use peakorder_daemon::source::import::{SampleFile, marks_from};
    use peakorder_protocol::curves::Curves;
    use peakorder_protocol::mobility::Mobility;
    use peakorder_protocol::profile::Profile;
    use peakorder_protocol::session::Session;
    use peakorder_protocol::swing::Swing;
    let texts = |target: &str| -> Vec<String> {
        seeds(target).into_iter().map(|s| String::from_utf8(s).expect("text")).collect()
    };
    for text in texts("session_toml") {
        Session::from_toml(&text, Path::new("session.toml")).unwrap();
    }
    for text in texts("swing_json") {
        Swing::from_json(&text).unwrap();
    }
    for text in texts("mobility_json") {
        Mobility::from_json(&text).unwrap();
    }
    for text in texts("profile_toml") {
        Profile::from_toml(&text).unwrap();
    }
    for text in texts("config_toml") {
        Config::from_toml(&text).unwrap();
    }
    for text in texts("import_marks") {
        marks_from(Path::new("marks.csv"), text.as_bytes()).unwrap();
    }
    for text in texts("import_csv") {
        let samples = text.split('\0').next().expect("a first part").to_owned();
        let input = Box::new(std::io::Cursor::new(samples.into_bytes()));
        SampleFile::read_from(peakorder_protocol::Role::Pelvis, Path::new("p.csv"), input).unwrap();
    }
    assert!(seeds("curves_reader").iter().any(|s| Curves::from_bytes(s).is_ok()));
}
