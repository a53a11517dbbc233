//! The page to take home: complete, honest, self-contained, safe and readable.

mod common;

use common::turns::check;
use common::{judges_nothing, session, stored, two_blocks, write};
use peakorder_analysis::load::{Loaded, load};
use peakorder_analysis::measure::Measure;
use peakorder_analysis::report::{Choice, STYLE, html};
use peakorder_analysis::summary::summarise_measure;
use peakorder_analysis::target;
use peakorder_protocol::Role;
use peakorder_protocol::mobility::{Mobility, NotAsAsked, Posture};
use peakorder_protocol::remark::What;
use peakorder_protocol::swing::Swing;

/// The two blocks with a target from the first swing of `after` on, notes and outcomes.
fn lesson() -> (tempfile::TempDir, Loaded) {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let swings = two_blocks();
    write(keep.path(), &session(true), &swings);
    let loaded = load(&keep.path().display().to_string()).expect("a session");
    let measure = Measure::TurnAtTop(Role::Thorax);
    let baseline: Vec<&Swing> = loaded.counted("baseline");
    let summary = summarise_measure(measure, &baseline).expect("measured");
    let target = target::about(measure, &summary, 7.0, Some(2.0), "after").expect("a target");
    let from = swings[14].events.takeaway.t_s - 5.0;
    let mut mobility = Mobility::new(&loaded.session.id, loaded.session.player.handedness);
    let mut failed = check(3, Posture::Seated, [49.0, 50.0, 51.0], [40.0, 41.0, 42.0], 0.05);
    failed.ok = false;
    failed.repeat = vec![NotAsAsked::PelvisTurned { pelvis_deg: 12.0 }];
    mobility.checks = vec![
        check(1, Posture::Seated, [48.0, 50.0, 49.0], [39.0, 41.0, 40.0], 0.05),
        check(2, Posture::Standing, [72.0, 74.0, 73.0], [71.0, 75.0, 73.0], 0.4),
        failed,
    ];
    loaded.dir.write_mobility(&mobility).expect("written");
    for (t_s, what) in [
        (from, What::Target { target: Some(target) }),
        (from + 1.0, What::Note { swing: None, text: "Warm-up was short.".into() }),
        (700.0, What::Note { swing: None, text: "Practise: ten slow swings\na day".into() }),
        (700.0, What::Outcome { swing: 5, labels: vec!["flush".into()] }),
        (700.0, What::Exclude { swing: 6, excluded: true, reason: "phone & <rang>".into() }),
    ] {
        loaded.dir.remarks().append(t_s, what).expect("written");
    }
    let loaded = load(&keep.path().display().to_string()).expect("a session");
    (keep, loaded)
}

fn page() -> String {
    let (_keep, loaded) = lesson();
    html(&loaded, &Choice::default(), None).expect("a page")
}

/// Read as a person would: without markup.
fn text_of(page: &str) -> String {
    let body = page.split_once("</style>").expect("a style").1;
    let mut text = String::new();
    let mut rest = body;
    while let Some((before, after)) = rest.split_once('<') {
        text.push_str(before);
        text.push(' ');
        rest = after.split_once('>').expect("a whole tag").1;
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn everything_a_player_takes_home_is_there() {
    let text = text_of(&page());
    for wanted in [
        "Your lesson, Sample player",
        "Wednesday 25 November 2026, 10:05 , Europe/London".replace(" ,", ",").as_str(),
        "Invented scenario",
        "let the arm come later",
        "What to practise Ten slow swings a day",
        "baseline 14 11 1 without a ball, 1 not measured well enough, 1 by the coach",
        "or more (baseline + 7°)",
        "Of 11 swings:",
        "What this lesson was about Thorax turn at top 94° back",
        "More than ordinary variation.",
        "numbers, which the lesson was not about, nothing shows that chance alone would not make.",
        "Warm-up was short.",
        "left out: phone &amp; &lt;rang&gt;",
        "In 11 of 11 swings pelvis first, then thorax, then lead arm",
        "licensed practitioners",
        "How far you turned, arms crossed",
        "to the left (towards the target) to the right (away from the target)",
        // Means of the three turns; 1.96 times the uncertainty of the mean (0.7° measuring and
        // 1°/√3 of spread: 0.91°, so 1.8°).
        "Seated, thorax 49° ± 2° 40° ± 2°",
        "Seated, pelvis 2° ± 1° 2° ± 1°",
        // 9 ± 1.96 · √2 · 0.91 = 2.5.
        "Seated, thorax: 9° ± 3° further to the left.",
        "Standing, thorax: no difference between the sides can be shown (0° ±",
    ] {
        assert!(text.contains(wanted), "no '{wanted}' in\n{text}");
    }
    assert!(!text.contains("although seated"), "the check that was done as asked stands for the lesson");
    judges_nothing(&text);
}

#[test]
fn the_page_needs_nothing_and_runs_nothing() {
    let page = page();
    for never in [
        "<script",
        "http://",
        "https://",
        " style=",
        "javascript:",
        "<img",
        "<link",
        "url(",
        "@import",
        " on",
    ] {
        let found = page.match_indices(never).find(|(at, _)| {
            // " on" is looked for inside tags only: an event handler.
            never != " on" || {
                let tag = &page[page[..*at].rfind('<').unwrap_or(0)..*at];
                !tag.contains('>') && page[at + 3..].starts_with(|c: char| c.is_ascii_lowercase())
            }
        });
        assert!(found.is_none(), "{never} in the page");
    }
    assert!(!page.contains("<rang>"));
}

/// Every element is closed in order (no void elements but meta and br are used).
#[test]
fn the_markup_is_well_formed() {
    let page = page();
    let mut open: Vec<&str> = Vec::new();
    let mut ids: Vec<&str> = Vec::new();
    let mut rest = page.split_once("</style>").expect("a style").1;
    while let Some((_, after)) = rest.split_once('<') {
        let (tag, next) = after.split_once('>').expect("a whole tag");
        rest = next;
        if let Some(name) = tag.strip_prefix('/') {
            // The head was opened before the style.
            if name != "head" && name != "html" {
                assert_eq!(open.pop(), Some(name), "closing {name}");
            }
        } else if !tag.ends_with('/') && !["br", "meta"].contains(&tag) {
            open.push(tag.split_whitespace().next().expect("a name"));
        }
        if let Some(id) = tag.split_once(" id=\"").map(|(_, t)| t.split('"').next().unwrap_or("")) {
            assert!(!ids.contains(&id), "id {id} twice");
            ids.push(id);
        }
    }
    assert!(open.is_empty(), "{open:?}");
    for svg in page.split("<svg").skip(1) {
        let head = svg.split_once('>').expect("a tag").0;
        assert!(head.contains("role=\"img\"") && head.contains("aria-labelledby"), "{head}");
    }
}

/// Relative luminance and contrast after WCAG 2.1 (W3C Recommendation 2018, definitions).
fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |hex: &str| {
        let part = |i: usize| {
            let v = f64::from(u8::from_str_radix(&hex[i..i + 2], 16).expect("hex")) / 255.0;
            if v <= 0.03928 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    };
    let (x, y) = (luminance(a), luminance(b));
    (x.max(y) + 0.05) / (x.min(y) + 0.05)
}

#[test]
fn text_has_the_contrast_of_wcag_aa() {
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
    let colour = |name: &str| {
        let at = STYLE.split_once(&format!("--{name}: ")).expect("a colour").1;
        at[..7].to_owned()
    };
    for text in ["ink", "soft"] {
        for ground in ["#ffffff".to_owned(), colour("wash")] {
            let c = contrast(&colour(text), &ground);
            assert!(c >= 4.5, "{text} on {ground}: {c:.1}");
        }
    }
    // Marks and bars are outlined in ink, which is what tells them from the paper (≥ 3 : 1);
    // text is never in a segment's colour.
    let page = page();
    for segment in ["#0072B2", "#E69F00", "#CC79A7"] {
        for text in page.split("<text").skip(1) {
            assert!(!text.split_once('>').expect("a tag").0.contains(segment));
        }
    }
}

#[test]
fn one_block_none_or_the_wrong_one() {
    let (_keep, loaded) = lesson();
    let text = text_of(&html(&loaded.only("baseline"), &Choice::default(), None).expect("a page"));
    assert!(!text.contains("Before and after"), "{text}");
    let choice =
        |before: &str, after: &str| Choice { before: Some(before.into()), after: Some(after.into()) };
    let turned = text_of(&html(&loaded, &choice("after", "baseline"), None).expect("a page"));
    assert!(turned.contains("Before and after: after and baseline"));
    let e = html(&loaded, &choice("baseline", "later"), None).expect_err("no such block").to_string();
    assert!(e.contains("'later'") && e.contains("'after'"), "{e}");
    assert!(html(&loaded, &choice("after", "after"), None).is_err());
    let keep = tempfile::tempdir().expect("a temporary folder");
    write(keep.path(), &session(true), &[]);
    let empty = load(&keep.path().display().to_string()).expect("a session");
    assert!(
        text_of(&html(&empty, &Choice::default(), None).expect("a page"))
            .contains("No swings in this session")
    );
}

#[test]
fn the_page_as_it_was() {
    let page = page();
    // A server allows the style by the hash of this text.
    assert!(page.contains(&format!("<style>{STYLE}</style>")));
    // One element a line, so that a difference is read in a line.
    stored("report.html", &page.replace("><", ">\n<"));
}

#[test]
fn the_command_keeps_what_is_there() {
    let (keep, _loaded) = lesson();
    let out = keep.path().join("page.html");
    let run = |extra: &[&str]| {
        std::process::Command::new(env!("CARGO_BIN_EXE_peakorder"))
            .arg("report")
            .arg(keep.path())
            .arg("--out")
            .arg(&out)
            .args(extra)
            .output()
            .expect("the program starts")
    };
    assert!(run(&[]).status.success());
    let again = run(&[]);
    assert_eq!(again.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&again.stderr).contains("already there"));
    assert!(run(&["--force", "--before", "after", "--after", "baseline"]).status.success());
    assert!(std::fs::read_to_string(&out).expect("a page").starts_with("<!DOCTYPE html>"));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        assert_eq!(std::fs::metadata(&out).expect("there").permissions().mode() & 0o777, 0o600);
    }
}
