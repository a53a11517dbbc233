//! Whole reports against stored ones. `UPDATE_EXPECT=1 cargo test` writes them anew; read
//! the difference before keeping it.

mod common;

use common::{session, stored, two_blocks, write};
use peakorder_analysis::chosen::Family;
use peakorder_analysis::compare::compare;
use peakorder_analysis::load::load;
use peakorder_analysis::render::{self, Extent, Style};
use peakorder_protocol::remark::Remarks;
use std::path::{Path, PathBuf};

fn check(name: &str, got: &str, folder: &Path) {
    // The folder's own name differs from run to run.
    let got = got.replace(&folder.display().to_string(), "SESSION");
    stored(name, &got);
}

/// The folder's name stands in the text, so it must be short for lines to break alike.
fn folder() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::Builder::new().prefix("p").rand_bytes(4).tempdir_in("/tmp").expect("/tmp");
    let path = dir.path().to_owned();
    write(&path, &session(true), &two_blocks());
    (dir, path)
}

fn spec(path: &Path, block: &str) -> String {
    format!("{}{block}", path.display())
}

#[test]
fn session_at_100_columns() {
    let (_keep, path) = folder();
    let loaded = load(&spec(&path, "")).expect("a good session");
    check("show-100.txt", &render::session(&loaded, Style::new(100, false)), &path);
}

#[test]
fn session_at_80_columns() {
    let (_keep, path) = folder();
    let loaded = load(&spec(&path, ":baseline")).expect("a good session");
    check("show-80.txt", &render::session(&loaded, Style::new(80, false)), &path);
}

#[test]
fn swing_at_100_columns() {
    let (_keep, path) = folder();
    let loaded = load(&spec(&path, "")).expect("a good session");
    let swing = loaded.swing(5).expect("swing 5");
    let curves = loaded.curves(5).expect("curves");
    let text =
        render::one_swing(&loaded.session, swing, &Remarks::default(), Ok(&curves), Style::new(100, false));
    check("swing-100.txt", &text, &path);
}

#[test]
fn comparison_at_100_columns() {
    let (_keep, path) = folder();
    let before = load(&spec(&path, ":baseline")).expect("a good block");
    let after = load(&spec(&path, ":after")).expect("a good block");
    let comparison = compare(&before, &after, &Family::All).expect("swings on both sides");
    let text = render::comparison(&comparison, Extent::Whole, Style::new(100, false));
    check("compare-100.txt", &text, &path);
}

#[test]
fn no_line_is_wider_than_asked_for() {
    let (_keep, path) = folder();
    let all = load(&spec(&path, "")).expect("a good session");
    let sides = [":baseline", ":after"].map(|b| load(&spec(&path, b)).expect("a good block"));
    let comparison = compare(&sides[0], &sides[1], &Family::All).expect("swings");
    let swing = all.swing(5).expect("swing 5");
    let curves = all.curves(5).expect("curves");
    for width in [60, 72, 80, 100, 120] {
        let style = Style::new(width, false);
        let texts = [
            render::session(&all, style),
            render::one_swing(&all.session, swing, &Remarks::default(), Ok(&curves), style),
            render::comparison(&comparison, Extent::Whole, style),
        ];
        for line in texts.iter().flat_map(|t| t.lines()) {
            assert!(line.chars().count() <= width, "wider than {width}: {line}");
        }
    }
}

/// Colour adds nothing but colour: taken out, the text is the plain one.
#[test]
fn meaning_does_not_rest_on_colour() {
    let (_keep, path) = folder();
    let all = load(&spec(&path, "")).expect("a good session");
    let swing = all.swing(5).expect("swing 5");
    let curves = all.curves(5).expect("curves");
    let draw = |colour| {
        let style = Style::new(100, colour);
        render::session(&all, style)
            + &render::one_swing(&all.session, swing, &Remarks::default(), Ok(&curves), style)
    };
    let coloured = draw(true);
    // Pelvis of the Okabe–Ito palette, #0072B2 (Okabe M, Ito K 2008).
    assert!(coloured.contains("\x1b[38;2;0;114;178m●\x1b[0m"));
    let mut plain = String::new();
    let mut rest = coloured.as_str();
    while let Some((text, after)) = rest.split_once('\x1b') {
        plain.push_str(text);
        rest = after.split_once('m').expect("a whole sequence").1;
    }
    plain.push_str(rest);
    assert_eq!(plain, draw(false));
}
