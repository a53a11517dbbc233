//! What is suspicious about a logger's files is said by `import`, a line each; where nothing could be
//! measured for such a reason, that is a failure and nothing is written.

use peakorder_protocol::Role;
use peakorder_protocol::session::SessionDir;
use peakorder_tests::csv::{self, Sample, Variant};
use peakorder_tests::files::contents;
use peakorder_tests::programs::{CommandOutput, analysis, daemon};
use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script, SensorModel, Session};
use std::fs;
use std::path::PathBuf;
use std::sync::OnceLock;

fn session() -> &'static Session {
    static SESSION: OnceLock<Session> = OnceLock::new();
    SESSION.get_or_init(|| {
        let player = PlayerParams::drawn_from(Population::Professional, 31);
        Script::practice(31, player, 2, &PracticeOptions::default()).session()
    })
}

fn samples(role: Role) -> Vec<Sample> {
    session().ideal_samples(role, 208.0, SensorModel::consumer()).map(Into::into).collect()
}

struct Bench {
    folder: tempfile::TempDir,
    marks: bool,
    more: Vec<String>,
}

impl Bench {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap(), marks: true, more: Vec::new() }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Imports the invented session's samples of these straps, each as `edit` changes it.
    fn import(&self, roles: &[Role], edit: impl Fn(Role, Vec<Sample>) -> Vec<Sample>) -> CommandOutput {
        self.import_texts(roles, |role| csv::table(edit(role, samples(role)), Variant::Si))
    }

    fn import_texts(&self, roles: &[Role], text: impl Fn(Role) -> String) -> CommandOutput {
        let mut arguments = vec!["import".to_owned(), "--out".into(), self.path("s").display().to_string()];
        for &role in roles {
            let name = role.key().replace('_', "-");
            let path = self.path(&format!("{name}.csv"));
            fs::write(&path, text(role)).unwrap();
            arguments.extend([format!("--{name}"), path.display().to_string()]);
        }
        if self.marks {
            let marks = session().marks();
            let marks = marks.iter().map(|m| (m.t_ns as f64 * 1e-9, m.kind.as_str(), m.detail.as_str()));
            fs::write(self.path("marks.csv"), csv::marks(marks)).unwrap();
            arguments.extend(["--marks".into(), self.path("marks.csv").display().to_string()]);
        }
        arguments.extend(self.more.iter().cloned());
        daemon(arguments)
    }
}

/// Lines that warn.
fn warnings(said: &CommandOutput) -> Vec<&str> {
    said.err.lines().filter_map(|l| l.strip_prefix("peakorderd: warning: ")).collect()
}

/// It warns of this, in one line with all parts; and nothing was measured, so it failed and left nothing.
fn nothing_measured(bench: &Bench, said: &CommandOutput, parts: &[&str]) {
    warned(said, parts);
    assert_eq!(said.code, Some(1), "{}{}", said.out, said.err);
    assert_eq!(said.out, "");
    assert!(said.err.lines().last().unwrap().contains("nothing could be measured"), "{}", said.err);
    assert!(!bench.path("s").exists() && !bench.path("s.importing").exists(), "something was left behind");
}

fn warned(said: &CommandOutput, parts: &[&str]) {
    let all = |line: &&str| parts.iter().all(|part| line.contains(part));
    assert!(warnings(said).iter().any(all), "no line with {parts:?} in:\n{}", said.err);
}

fn scaled(samples: Vec<Sample>, gyro: f64, accel: f64) -> Vec<Sample> {
    let times = |v: [f64; 3], k: f64| v.map(|x| x * k);
    let scale = |s: Sample| Sample {
        gyro_rad_s: times(s.gyro_rad_s, gyro),
        accel_m_s2: times(s.accel_m_s2, accel),
        ..s
    };
    samples.into_iter().map(scale).collect()
}

#[test]
fn a_good_recording_has_no_warning_and_its_calibration_is_said() {
    let bench = Bench::new();
    let said = bench.import(&Role::ALL, |_, s| s).done();
    assert_eq!(warnings(&said), Vec::<&str>::new());
    assert_eq!(said.out.lines().count(), 1);
    // Each strap stands still; two bow, one is raised.
    for (step, straps) in [("still", 3), ("bow", 2), ("arm raise", 1)] {
        let lines = said.err.lines().filter(|l| l.starts_with(&format!("peakorderd: {step}: "))).count();
        assert_eq!(lines, straps, "{step} in:\n{}", said.err);
    }
    let replayed = daemon(["replay", bench.path("s").to_str().unwrap()]).done();
    assert_eq!(replayed.out.lines().filter(|l| l.starts_with("bow: ")).count(), 2, "{}", replayed.out);
    // Without marks there is none, and that is said.
    let bench = Bench { marks: false, ..Bench::new() };
    warned(&bench.import(&Role::ALL, |_, s| s).done(), &["no guided movement", "--marks"]);
}

/// Units that the column's name does not say, of every strap.
#[test]
fn a_wrong_unit_is_named_by_what_the_values_look_like() {
    let deg = 180.0 / std::f64::consts::PI;
    let cases: [(f64, f64, &[&str]); 4] = [
        (1.0 / deg, 1.0, &["pelvis", "rad_s, not _dps"]),
        (deg, 1.0, &["pelvis", "dps, not _rad_s"]),
        (1.0, csv::G, &["pelvis", "m_s2, not _g"]),
        (1.0, 1.0 / csv::G, &["pelvis", "g, not _m_s2"]),
    ];
    for (gyro, accel, parts) in cases {
        let bench = Bench::new();
        let said = bench.import(&Role::ALL, |_, s| scaled(s, gyro, accel));
        let swings = said.out.split(": ").last().unwrap_or_default().trim();
        eprintln!("gyroscope × {gyro:.3}, accelerometer × {accel:.3}: exit {:?}, {swings}", said.code);
        warned(&said, parts);
        for role in ["thorax", "lead arm"] {
            warned(&said, &[&[role], &parts[1..]].concat());
        }
    }
}

#[test]
fn times_in_another_unit_and_too_few_samples_are_told_apart() {
    for (per_second, unit) in [(1e3, "milliseconds"), (1e6, "microseconds"), (1e9, "nanoseconds")] {
        let bench = Bench::new();
        let said = bench.import(&[Role::Pelvis, Role::Thorax], |_, s| {
            s.into_iter().map(|s| Sample { t_s: s.t_s * per_second, ..s }).collect()
        });
        nothing_measured(&bench, &said, &["thorax", unit, "divide the times"]);
    }
    let bench = Bench::new();
    let said = bench.import(&[Role::Pelvis, Role::Thorax], |_, s| s.into_iter().step_by(21).collect());
    warned(&said.done(), &["thorax", "9.9 samples a second", "100 or more"]);
}

#[test]
fn zeros_one_strap_and_one_file_for_two_straps_are_reasons() {
    let bench = Bench::new();
    nothing_measured(
        &bench,
        &bench.import(&[Role::Pelvis, Role::Thorax], |_, s| scaled(s, 0.0, 0.0)),
        &["thorax", "zeros", "gyroscope"],
    );
    nothing_measured(
        &bench,
        &bench.import(&[Role::Pelvis, Role::Thorax], |_, s| scaled(s, 0.0, 1.0)),
        &["thorax", "zeros", "gyroscope"],
    );
    let said = bench.import(&[Role::Pelvis], |_, s| s);
    nothing_measured(&bench, &said, &["without the thorax strap"]);
    let same = csv::table(samples(Role::Thorax), Variant::Si);
    let said = bench.import_texts(&[Role::Pelvis, Role::Thorax], |_| same.clone());
    warned(&said, &["pelvis", "thorax", "same samples"]);
}

#[test]
fn a_gap_a_wild_value_and_two_units_are_warned_of_and_the_rest_is_measured() {
    let bench = Bench::new();
    // An hour is missing after the swings.
    let said = bench.import(&[Role::Pelvis, Role::Thorax], |_, s| {
        let end = s.last().unwrap().t_s;
        let late = s[..400].iter().map(|x| Sample { t_s: x.t_s + end + 3600.0, ..*x }).collect::<Vec<_>>();
        [s, late].concat()
    });
    warned(&said.done(), &["pelvis", "1 gap", "3600"]);

    let bench = Bench::new();
    let said = bench.import(&[Role::Pelvis, Role::Thorax], |role, mut s| {
        if role == Role::Thorax {
            s[99].accel_m_s2[1] = 1e30;
        }
        s
    });
    warned(&said.done(), &["thorax", "1 of", "accelerometer", "line 101", "e29 g"]);

    let bench = Bench::new();
    let said = bench.import_texts(&[Role::Pelvis, Role::Thorax], |role| {
        let text = csv::table(samples(role), Variant::Si);
        let first = text.lines().next().unwrap().to_owned() + ",gyro_x_dps";
        let rest: Vec<String> = text.lines().skip(1).map(|l| format!("{l},1.0")).collect();
        format!("{first}\n{}\n", rest.join("\n"))
    });
    warned(&said.done(), &["thorax", "gyro_x_rad_s and gyro_x_dps", "gyro_x_rad_s is used"]);
}

/// A player who made no swing is measured: there are none.
#[test]
fn no_swing_is_no_failure() {
    let bench = Bench { marks: false, ..Bench::new() };
    let said = bench.import(&[Role::Pelvis, Role::Thorax], |_, s| s[..2000].to_vec()).done();
    assert!(said.out.contains("0 swings") && warnings(&said).is_empty(), "{}{}", said.out, said.err);
}

/// A forced import of files that show nothing does not replace a session that shows something.
#[test]
fn a_good_session_is_not_replaced_by_one_without_measurements() {
    let bench = Bench { more: vec!["--force".into()], ..Bench::new() };
    let _ = bench.import(&[Role::Pelvis, Role::Thorax], |_, s| s).done();
    let before = contents(&bench.path("s"));
    let said = bench.import(&[Role::Pelvis, Role::Thorax], |_, s| scaled(s, 0.0, 1.0));
    assert_eq!(said.code, Some(1));
    assert_eq!(contents(&bench.path("s")), before);
}

/// Two lessons whose folders have the same name are two; the same files are one, wherever they are put.
#[test]
fn a_sessions_id_is_of_its_content_and_its_date_can_be_said() {
    let id = |bench: &Bench| SessionDir::open(&bench.path("s")).unwrap().1;
    let roles = [Role::Pelvis, Role::Thorax];
    let started = |typed: &str| vec!["--started".to_owned(), typed.into()];
    let first = Bench { more: started("2026-11-25T10:05:12+01:00"), ..Bench::new() };
    let _ = first.import(&roles, |_, s| s).done();
    let again = Bench { more: started("2026-11-25T09:05:12Z"), ..Bench::new() };
    let _ = again.import(&roles, |_, s| s).done();
    let mut other = Bench { more: started("2026-11-26T10:05:12Z"), ..Bench::new() };
    other.more.extend(["--zone".into(), "Europe/Berlin".into()]);
    // One swing less: another lesson.
    let _ = other.import(&roles, |_, s| s[..s.len() - 10].to_vec()).done();
    let [first_is, again_is, other_is] = [id(&first), id(&again), id(&other)];
    assert_eq!(first_is.id, again_is.id);
    assert_ne!(first_is.id, other_is.id);
    // RFC 3339: 10:05:12 at one hour east of UTC is 09:05:12.
    assert_eq!(first_is.started_utc, "2026-11-25T09:05:12Z");
    assert_eq!((first_is.zone.as_str(), again_is.zone.as_str()), ("+01", "UTC"));
    assert_eq!(other_is.zone, "Europe/Berlin");
    let page = first.path("page.html");
    let arguments =
        ["report", first.path("s").to_str().unwrap(), "--out", page.to_str().unwrap(), "--appendix"]
            .map(String::from);
    let _ = analysis(arguments).done();
    assert!(
        fs::read_to_string(page).unwrap().contains("25 November 2026, 10:05"),
        "in the session's own time"
    );
    let said = analysis(["compare", first.path("s").to_str().unwrap(), other.path("s").to_str().unwrap()]);
    assert!(!said.out.contains("itself") && said.code == Some(0), "{}{}", said.out, said.err);

    // Times that count from 1970 say it themselves; 2026-11-25T00:00:00Z is 1795564800 s (date -u).
    let unix = Bench { marks: false, ..Bench::new() };
    let _ = unix
        .import(&roles, |_, s| {
            let from = s[0].t_s;
            s.into_iter().map(|s| Sample { t_s: s.t_s - from + 1_795_564_800.0, ..s }).collect()
        })
        .done();
    assert!(id(&unix).started_utc.starts_with("2026-11-25T00:00:00"), "{}", id(&unix).started_utc);

    for wrong in
        [["--started", "yesterday"], ["--started", "2026-11-25T10:05:12"], ["--zone", "Nowhere/City"]]
    {
        let bench = Bench { more: wrong.map(String::from).into(), ..Bench::new() };
        let said = bench.import(&roles, |_, s| s[..100].to_vec()).refused();
        assert!(said.contains(wrong[1]), "{said}");
    }
}
