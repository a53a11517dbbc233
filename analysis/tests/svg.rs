//! Pictures to keep (`--svg`): whole documents by an XML parser from outside, marks where the numbers say, words for what is not
//! there, nothing from elsewhere, no names with codes.

mod common;

use common::{judges_nothing, session, two_blocks, write};
use peakorder_protocol::Role;
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::swing::{Outcome, Reason, Swing, SwingKind, Withheld, Withholding};
use roxmltree::{Document, Node};
use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output};

const SVG: &str = "http://www.w3.org/2000/svg";

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_peakorder")).args(args).output().expect("the program starts")
}

fn svg(args: &[&str]) -> String {
    let done = run(&[args, &["--svg"]].concat());
    assert!(done.status.success(), "{args:?}: {}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).expect("UTF-8")
}

/// Fails with that code and these words.
fn fails(args: &[&str], code: i32, wanted: &[&str]) {
    let done = run(args);
    let said = String::from_utf8_lossy(&done.stderr);
    assert_eq!(done.status.code(), Some(code), "{said}");
    assert!(done.stdout.is_empty(), "{args:?} wrote something");
    for w in wanted {
        assert!(said.contains(w), "no '{w}' in {said}");
    }
}

/// A session with the swings changed by `change`.
fn changed(change: impl Fn(&mut Vec<Swing>)) -> (tempfile::TempDir, String) {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let path = keep.path().join("lesson");
    let mut swings = two_blocks();
    change(&mut swings);
    write(&path, &session(true), &swings);
    let path = path.display().to_string();
    (keep, path)
}

fn text_of(node: Node<'_, '_>) -> String {
    node.descendants().filter(Node::is_text).filter_map(|n| n.text()).collect()
}

/// All words of the picture, as they are drawn.
fn words(document: &Document<'_>) -> String {
    let texts = document.descendants().filter(|n| n.has_tag_name((SVG, "text")));
    let all: Vec<String> = texts.map(text_of).collect();
    all.join(" ").replace('\u{a0}', " ")
}

/// How far a node is moved by the groups around it.
fn moved(node: Node<'_, '_>) -> (f64, f64) {
    let mut by = (0.0, 0.0);
    for group in node.ancestors().filter_map(|n| n.attribute("transform")) {
        let inside = group.strip_prefix("translate(").and_then(|t| t.strip_suffix(')')).expect("only moved");
        let (x, y) = inside.split_once(' ').expect("two numbers");
        by.0 += x.parse::<f64>().expect("a number");
        by.1 += y.parse::<f64>().expect("a number");
    }
    by
}

fn number(node: Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).and_then(|v| v.parse().ok()).unwrap_or_else(|| panic!("{name} of {node:?}"))
}

/// What every document must be.
fn stands_alone(text: &str) -> String {
    let document = Document::parse(text).expect("well-formed XML");
    let root = document.root_element();
    assert!(root.has_tag_name((SVG, "svg")), "{root:?}");
    assert_eq!(root.attribute("version"), Some("1.1"));
    let (width, height) = (number(root, "width"), number(root, "height"));
    assert_eq!(root.attribute("viewBox"), Some(format!("0 0 {width} {height}").as_str()));
    let mut first = root.children().filter(Node::is_element);
    for (name, least) in [("title", 5), ("desc", 80)] {
        let node = first.next().expect("an element");
        assert!(node.has_tag_name((SVG, name)) && text_of(node).len() > least, "{node:?}");
    }
    let style = first.next().map(text_of).expect("a style");
    let paper = first.next().expect("a background");
    assert_eq!((paper.tag_name().name(), paper.attribute("class")), ("rect", Some("s-paper")));
    assert_eq!((paper.attribute("width"), paper.attribute("height")), (Some("100%"), Some("100%")));
    for never in ["var(", "@import", "url(", "http", "expression"] {
        assert!(!style.contains(never), "{never} in the style");
    }
    let mut ids = BTreeSet::new();
    for node in document.descendants().filter(Node::is_element) {
        assert_eq!(node.tag_name().namespace(), Some(SVG), "{node:?}");
        let plain =
            ["svg", "g", "title", "desc", "style", "text", "tspan", "path", "rect", "circle", "ellipse"];
        assert!(plain.contains(&node.tag_name().name()), "{node:?}");
        for a in node.attributes() {
            assert!(!a.name().starts_with("on") && a.name() != "href" && a.name() != "style", "{a:?}");
            assert!(!a.value().contains("NaN") && !a.value().contains("inf"), "{a:?}");
            for class in a.value().split(' ').filter(|_| a.name() == "class") {
                let has_a_look = style.contains(&format!(".{class}")) || ["picture"].contains(&class);
                assert!(has_a_look || ["pelvis", "thorax", "lead_arm"].contains(&class), "{class}");
            }
        }
        if let Some(id) = node.attribute("id") {
            assert!(ids.insert(id.to_owned()), "two things are called {id}");
        }
        // Words begin and end on the paper.
        if node.has_tag_name((SVG, "text")) {
            let (dx, dy) = moved(node);
            let (x, y) = (number(node, "x") + dx, number(node, "y") + dy);
            assert!((0.0..=width).contains(&x) && (0.0..=height).contains(&y), "{x} {y} {}", text_of(node));
        }
    }
    let said = words(&document);
    judges_nothing(&said);
    assert!(said.contains("gives no medical advice") && said.contains("Stop on pain"), "{said}");
    said
}

fn folder(path: &Path, session: &peakorder_protocol::session::Session, swings: &[Swing]) -> String {
    write(path, session, swings);
    path.display().to_string()
}

#[test]
fn every_picture_stands_alone_and_says_that_it_is_invented() {
    let (keep, path) = changed(|_| ());
    let mut later = session(true);
    later.id = "later".into();
    later.started_utc = "2026-12-25T10:05:12Z".into();
    let other = folder(&keep.path().join("later"), &later, &two_blocks());
    let (before, after) = (format!("{path}:baseline"), format!("{path}:after"));
    let all = [
        svg(&["show", &path, "3"]),
        svg(&["show", &path]),
        svg(&["show", &before]),
        svg(&["compare", &before, &after]),
        svg(&["compare", &before, &after, "--about", "pelvis_turn_top_deg,tempo_ratio,thorax_turn_top_deg"]),
        svg(&["compare", &before, &after, "--curves"]),
        svg(&["trend", &path, &other]),
        svg(&["trend", &path, &other, "--about", "pelvis_turn_top_deg"]),
    ];
    for text in &all {
        let said = stands_alone(text);
        assert!(said.contains("Invented scenario"), "{said}");
        let document = Document::parse(text).expect("XML");
        let desc = document.root_element().children().find(|n| n.has_tag_name((SVG, "desc"))).map(text_of);
        assert!(desc.expect("there").starts_with("Invented scenario"), "the description says it first");
    }
    let mut real = session(false);
    real.invented = false;
    let real = folder(&keep.path().join("real"), &real, &two_blocks());
    assert!(!stands_alone(&svg(&["show", &real])).contains("Invented"));
}

/// The marks of a swing read back with the picture's own axis.
#[test]
fn marks_stand_where_the_file_has_the_peaks() {
    let (_keep, path) = changed(|_| ());
    let dir = SessionDir::open(Path::new(&path)).expect("a session").0;
    let text = svg(&["show", &path, "2"]);
    let document = Document::parse(&text).expect("XML");
    let strip = document
        .descendants()
        .find(|n| n.attribute("aria-labelledby").is_some_and(|v| v.contains("strip-t")))
        .expect("the strip");
    let tick = |words: &str| {
        let all = || strip.descendants().filter(|n| n.has_tag_name((SVG, "text")));
        number(all().find(|n| text_of(*n) == words).expect("a tick"), "x")
    };
    let (impact, at_80) = (tick("impact"), tick("80 ms"));
    let ms = |x: f64| (impact - x) / (impact - at_80) * 80.0;
    let swing = dir.read_swing(2).expect("a swing");
    let mark = |role: Role, shape: &str| {
        strip
            .descendants()
            .filter(|n| {
                n.has_tag_name((SVG, shape))
                    && n.attribute("class") == Some(&format!("p-mark {}", role.key()))
            })
            .nth(1)
            .expect("a name's mark and a peak's")
    };
    let square = mark(Role::Thorax, "rect");
    let diamond = mark(Role::LeadArm, "path").attribute("d").expect("a path").to_owned();
    let diamond_x: f64 = diamond[1..].split(' ').next().and_then(|x| x.parse().ok()).expect("M x y");
    for (role, x) in [
        (Role::Pelvis, number(mark(Role::Pelvis, "circle"), "cx")),
        (Role::Thorax, number(square, "x") + number(square, "width") / 2.0),
        (Role::LeadArm, diamond_x),
    ] {
        let peak = swing.peak(role).expect("a peak");
        // A tenth of a pixel is a fortieth of a millisecond; both ticks are rounded too.
        assert!((ms(x) - peak.before_impact_ms).abs() < 0.15, "{role}: {} {}", ms(x), peak.before_impact_ms);
        let beam = strip
            .descendants()
            .find(|n| n.attribute("class") == Some(&format!("p-beam {}", role.key())))
            .expect("a width");
        let wide = ms(number(beam, "x")) - ms(number(beam, "x") + number(beam, "width"));
        assert!((wide - 2.0 * 1.96 * peak.sd_ms).abs() < 0.3, "{role}: {wide} {}", peak.sd_ms);
    }
    let style =
        document.descendants().find(|n| n.has_tag_name((SVG, "style"))).map(text_of).expect("a style");
    // Okabe M, Ito K 2008, Color Universal Design.
    for (class, colour) in [("pelvis", "#0072B2"), ("thorax", "#E69F00"), ("lead_arm", "#CC79A7")] {
        assert!(
            style.contains(&format!(".p-mark.{class}, .picture .p-beam.{class} {{ fill: {colour}; }}")),
            "{style}"
        );
    }
}

#[test]
fn what_is_not_there_is_said() {
    let (_keep, path) = changed(|swings| {
        let s = &mut swings[0];
        s.segments.get_mut(&Role::Pelvis).expect("there").turn_deg = None;
        s.quality.withheld =
            vec![Withheld { what: Withholding::Angles(Role::Pelvis), why: Reason::NotCalibrated }];
        let peak = |s: &mut Swing, role, outcome| {
            if let Some(p) = s.segments.get_mut(&role).and_then(|s| s.peak.as_mut()) {
                p.outcome = outcome;
            }
            s.sequence.gaps.retain(|g| g.from != role && g.to != role);
        };
        peak(&mut swings[1], Role::Pelvis, Outcome::Held);
        peak(&mut swings[2], Role::Thorax, Outcome::Rising);
        swings[3].segments.remove(&Role::LeadArm);
        swings[3].sequence.gaps.retain(|g| g.to != Role::LeadArm && g.from != Role::LeadArm);
        swings[4].kind = SwingKind::Rehearsal;
        swings[5].quality.usable = false;
    });
    for (swing, wanted) in [
        ("1", &["withheld", "Pelvis angles withheld: the strap is not calibrated"][..]),
        ("2", &["held to impact"]),
        ("3", &["still rising"]),
        ("4", &["no strap"]),
        ("5", &["Rehearsal (left out of the statistics)", "no strike: estimated"]),
        ("6", &["not usable"]),
    ] {
        let text = svg(&["show", &path, swing]);
        let said = stands_alone(&text);
        for w in wanted {
            assert!(said.contains(w), "swing {swing}: no '{w}' in {said}");
        }
    }
}

/// Mean curves are drawn to one scale each, with the words and as many bars as the numbers have.
#[test]
fn curves_are_drawn_as_the_numbers_have_them() {
    let (_keep, path) = changed(|_| ());
    let (before, after) = (format!("{path}:baseline"), format!("{path}:after"));
    let numbers = run(&["compare", &before, &after, "--curves", "--json"]);
    let numbers: serde_json::Value = serde_json::from_slice(&numbers.stdout).expect("JSON");
    let pairs = numbers["curves"]["curves"].as_array().expect("curves");
    let text = svg(&["compare", &before, &after, "--curves"]);
    let said = stands_alone(&text);
    let document = Document::parse(&text).expect("XML");
    let panels: Vec<_> = document.descendants().filter(|n| n.attribute("class") == Some("s-curve")).collect();
    // These swings have curves of speed alone.
    assert_eq!((panels.len(), pairs.len()), (3, 3));
    for pair in pairs {
        let kind = pair["kind"].as_str().expect("a kind");
        let name = format!("{} {kind}", pair["segment"].as_str().expect("a segment").replace('_', " "));
        let panel = panels
            .iter()
            .find(|p| {
                p.children().any(|c| c.has_tag_name((SVG, "title")) && text_of(c).to_lowercase() == name)
            })
            .unwrap_or_else(|| panic!("no {name}"));
        // Some word of the sentences may begin a line.
        for word in pair["plain"]
            .as_array()
            .expect("sentences")
            .iter()
            .filter_map(|s| s.as_str())
            .flat_map(str::split_whitespace)
        {
            assert!(said.contains(word), "{name}: no {word:?} in the picture");
        }
        let bars = panel
            .descendants()
            .filter(|n| n.has_tag_name((SVG, "rect")) && n.attribute("stroke-width") == Some("1.2"));
        assert_eq!(bars.count(), pair["stretches"].as_array().expect("stretches").len(), "{name}");
        for (side, width) in [("before", "1.2"), ("after", "4")] {
            let drawn = panel
                .descendants()
                .find(|n| n.has_tag_name((SVG, "path")) && n.attribute("stroke-width") == Some(width))
                .and_then(|n| n.attribute("d"))
                .expect("a line");
            let heights: Vec<f64> =
                drawn.split(['M', 'L']).filter_map(|p| p.split_once(' ')?.1.parse().ok()).collect();
            // Every other point is drawn, and the last.
            let means: Vec<f64> = pair[side]["mean"]
                .as_array()
                .expect("a mean")
                .iter()
                .filter_map(serde_json::Value::as_f64)
                .collect();
            let last = means.len() - 1;
            let means: Vec<f64> =
                means.iter().enumerate().filter(|(i, _)| i % 2 == 0 || *i == last).map(|(_, m)| *m).collect();
            assert_eq!(heights.len(), means.len(), "{name}");
            let by = |a: &usize, b: &usize| means[*a].total_cmp(&means[*b]);
            let (low, high) = ((0..means.len()).min_by(by).unwrap(), (0..means.len()).max_by(by).unwrap());
            let scale = (heights[high] - heights[low]) / (means[high] - means[low]);
            assert!(scale < 0.0 && heights[low] - heights[high] > 20.0, "{name}: {scale}");
            for (mean, height) in means.iter().zip(&heights) {
                // Coordinates are written to a tenth.
                assert!(
                    (heights[low] + scale * (mean - means[low]) - height).abs() < 0.2,
                    "{name}: {mean} at {height}"
                );
            }
        }
    }
}

#[test]
fn nobody_is_named_with_codes() {
    let keep = tempfile::tempdir().expect("a temporary folder");
    let mut of = session(true);
    of.player.name = "Zacharias <&> Quux".into();
    of.player.goal = "secret goal".into();
    let mut swings = two_blocks();
    for s in swings.iter_mut().filter(|s| s.block != "baseline") {
        s.block = "Quux drill".into();
    }
    let path = folder(&keep.path().join("lesson"), &of, &swings);
    of.id = "later".into();
    of.started_utc = "2026-12-25T10:05:12Z".into();
    let other = folder(&keep.path().join("Quux later"), &of, &swings);
    let (before, after) = (format!("{path}:baseline"), format!("{path}:Quux drill"));
    for args in [
        &["show", path.as_str(), "3"][..],
        &["show", &path],
        &["compare", &before, &after, "--curves"],
        &["trend", &path, &other],
    ] {
        let open = stands_alone(&svg(args));
        assert!(open.contains("Zacharias <&> Quux"), "{open}");
        let coded = svg(&[args, &["--codes"]].concat());
        assert!(stands_alone(&coded).contains("player-"));
        assert!(!coded.contains("Quux") && !coded.contains("secret"), "{coded}");
    }
}

#[test]
fn what_cannot_be_drawn_is_said_with_what_to_do() {
    let (keep, path) = changed(|_| ());
    fails(&["trend", &path, "--svg"], 1, &["one session only", "show FOLDER:BLOCK --svg"]);
    fails(&["show", &path, "--svg", "--json"], 2, &["cannot be used with"]);
    fails(&["compare", &path, &path, "--svg", "--all"], 2, &["cannot be used with"]);
    fails(&["show", &path, "99", "--svg"], 1, &["99"]);
    let empty = folder(&keep.path().join("empty"), &session(true), &[]);
    fails(&["show", &empty, "--svg"], 1, &["no swings"]);
}
