//! The documentation holds together: links and anchors lead somewhere, every page of `docs/` is found and short, and the
//! commands that it shows are there.

use peakorder_tests::programs::{CommandOutput, peakorder, peakorderd, run, workspace};
use pulldown_cmark::{CodeBlockKind, Event, Options, Parser, Tag, TagEnd};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Component, Path, PathBuf};

/// Longest page of `docs/`, lines.
const LONGEST: usize = 200;

/// A page of Markdown.
#[derive(Debug, Default)]
struct Page {
    lines: usize,
    /// Targets of links and pictures, as written.
    links: Vec<String>,
    /// Names that a link can end in after `#`.
    anchors: BTreeSet<String>,
    /// Inline code, and lines of code blocks for a shell.
    code: Vec<String>,
}

/// GitHub's rule for a heading's anchor: lower case, everything but letters, digits, `_`, `-` and spaces left out, spaces to
/// hyphens; the second heading of a name gets `-1`. Source: GitHub Docs, *Basic writing and formatting syntax*, section links; which
/// characters stay is from memory of its `html-pipeline` (`/[^\p{Word}\- ]/u`).
fn anchor(heading: &str, taken: &BTreeSet<String>) -> String {
    let kept = |c: &char| c.is_alphanumeric() || matches!(c, '_' | '-' | ' ');
    let base: String =
        heading.trim().to_lowercase().chars().filter(kept).map(|c| if c == ' ' { '-' } else { c }).collect();
    let numbered = (1..).map(|n| format!("{base}-{n}"));
    std::iter::once(base.clone()).chain(numbered).find(|a| !taken.contains(a)).expect("numbers do not end")
}

fn read(text: &str) -> Page {
    let mut page = Page { lines: text.lines().count(), ..Page::default() };
    let (mut heading, mut block): (Option<String>, Option<String>) = (None, None);
    for event in Parser::new_ext(text, Options::ENABLE_TABLES | Options::ENABLE_FOOTNOTES) {
        match event {
            Event::Start(Tag::Heading { .. }) => heading = Some(String::new()),
            Event::End(TagEnd::Heading(_)) => {
                let name = anchor(&heading.take().unwrap_or_default(), &page.anchors);
                page.anchors.insert(name);
            }
            Event::Start(Tag::Link { dest_url, .. } | Tag::Image { dest_url, .. }) => {
                page.links.push(dest_url.into_string());
            }
            Event::Start(Tag::CodeBlock(CodeBlockKind::Fenced(language))) => {
                block = matches!(&*language, "sh" | "bash" | "console" | "shell").then(String::new);
            }
            Event::End(TagEnd::CodeBlock) => {
                let text = block.take().unwrap_or_default().replace("\\\n", " ");
                page.code.extend(text.lines().map(|l| l.trim_start().trim_start_matches("$ ").to_owned()));
            }
            Event::Text(text) => {
                if let Some(heading) = &mut heading {
                    heading.push_str(&text);
                }
                if let Some(block) = &mut block {
                    block.push_str(&text);
                }
            }
            Event::Code(code) => {
                if let Some(heading) = &mut heading {
                    heading.push_str(&code);
                }
                page.code.push(code.into_string());
            }
            // Pages may hold a picture or an anchor of HTML.
            Event::Html(html) | Event::InlineHtml(html) => {
                for (name, to) in [("src=\"", 0), ("href=\"", 0), ("id=\"", 1), ("name=\"", 1)] {
                    let values = html.split(name).skip(1).filter_map(|rest| rest.split('"').next());
                    for value in values.map(ToOwned::to_owned) {
                        if to == 0 {
                            page.links.push(value);
                        } else {
                            page.anchors.insert(value);
                        }
                    }
                }
            }
            _ => {}
        }
    }
    page
}

/// Every page of the project, by its path from the top.
fn pages() -> BTreeMap<PathBuf, Page> {
    fn walk(folder: &Path, out: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).expect("a folder").map(|e| e.expect("an entry")) {
            let (path, name) = (entry.path(), entry.file_name());
            let name = name.to_string_lossy();
            if entry.file_type().expect("a kind").is_dir() {
                if !name.starts_with('.') && !["target", "node_modules"].contains(&&*name) {
                    walk(&path, out);
                }
            } else if name.ends_with(".md") {
                out.push(path);
            }
        }
    }
    let (top, mut files) = (workspace(), Vec::new());
    walk(&top, &mut files);
    files
        .into_iter()
        .map(|path| {
            let page = read(&fs::read_to_string(&path).expect("UTF-8"));
            (path.strip_prefix(&top).expect("below the top").to_owned(), page)
        })
        .collect()
}

/// Where a link of `page` leads, from the top, and its anchor; `None` where it leaves the project.
fn target(page: &Path, link: &str) -> Result<Option<(PathBuf, Option<String>)>, String> {
    if link.contains("://") || link.starts_with("mailto:") {
        return Ok(None);
    }
    let (path, anchor) = link.split_once('#').map_or((link, None), |(p, a)| (p, Some(a.to_owned())));
    if path.is_empty() {
        return Ok(Some((page.to_owned(), anchor)));
    }
    let mut at: Vec<Component<'_>> = page.parent().into_iter().flat_map(Path::components).collect();
    for part in Path::new(path).components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if at.pop().is_some() => {}
            Component::Normal(_) => at.push(part),
            _ => return Err(format!("{}: {link} leads out of the project", page.display())),
        }
    }
    Ok(Some((at.iter().collect(), anchor)))
}

#[test]
fn every_link_leads_to_a_file_and_a_heading() {
    let (pages, top) = (pages(), workspace());
    assert!(pages.len() > 15, "only {} pages were found", pages.len());
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (path, page) in &pages {
        for link in &page.links {
            match target(path, link) {
                Err(why) => wrong.push(why),
                Ok(None) => {}
                Ok(Some((to, anchor))) => {
                    seen += 1;
                    if !top.join(&to).exists() {
                        wrong.push(format!("{}: {link} leads to no file", path.display()));
                    } else if let (Some(anchor), Some(there)) = (anchor, pages.get(&to))
                        && !there.anchors.contains(&anchor)
                    {
                        wrong.push(format!(
                            "{}: {link} leads to no heading; there are {:?}",
                            path.display(),
                            there.anchors
                        ));
                    }
                }
            }
        }
    }
    assert!(seen > 30, "only {seen} links were followed");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_page_of_docs_is_short_found_and_leads_back() {
    let pages = pages();
    let links_of = |path: &Path| -> Vec<PathBuf> {
        let links = pages.get(path).into_iter().flat_map(|p| &p.links);
        let targets = links.filter_map(|l| target(path, l).ok().flatten());
        // A link to a folder shows its README.md.
        targets
            .map(|(to, _)| if pages.contains_key(&to.join("README.md")) { to.join("README.md") } else { to })
            .collect()
    };
    let first = links_of(Path::new("README.md"));
    let found: BTreeSet<PathBuf> =
        first.iter().flat_map(|p| links_of(p).into_iter().chain([p.clone()])).collect();
    let mut wrong = Vec::new();
    for (path, page) in pages.iter().filter(|(p, _)| p.starts_with("docs")) {
        let name = path.display();
        if page.lines >= LONGEST {
            wrong.push(format!(
                "{name} has {} lines, and a page shall have fewer than {LONGEST}: split it",
                page.lines
            ));
        }
        if !found.contains(path) {
            wrong.push(format!("{name} is more than two links away from README.md"));
        }
        if !links_of(path).iter().any(|to| to.ends_with("README.md")) {
            wrong.push(format!("{name} does not link back to README.md or the index of its folder"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A command of the documentation: program, subcommands, options.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Shown {
    program: &'static str,
    words: Vec<String>,
    options: Vec<String>,
}

/// Reads a line of code; `None` where it is no command of ours.
fn shown(code: &str) -> Option<Shown> {
    let all: Vec<&str> = code.split_whitespace().collect();
    let (program, rest) = match all.as_slice() {
        ["peakorder", rest @ ..] => ("peakorder", rest),
        ["peakorderd", rest @ ..] | ["cargo", "run", "--release", "--", rest @ ..] => ("peakorderd", rest),
        _ => return None,
    };
    let ends = |w: &&&str| !["|", ">", "#", "&&", ";"].contains(*w);
    let rest: Vec<&str> = rest.iter().take_while(ends).copied().collect();
    let is_word = |w: &&&str| w.chars().all(|c| c.is_ascii_lowercase() || c == '-') && !w.starts_with('-');
    let words = rest.iter().take_while(is_word).map(|w| (*w).to_owned()).collect();
    let name = |w: &str| w.split(['=', ',', '…', ')', ']']).next().unwrap_or_default().to_owned();
    let options = rest
        .iter()
        .map(|w| w.trim_start_matches('['))
        .filter(|w| w.starts_with("--") && w.len() > 2)
        .map(name);
    Some(Shown { program, words, options: options.collect() })
}

/// Only in what packages are built with; the tests are built without.
const PACKAGED: [&str; 2] = ["completions", "manual"];

#[test]
fn commands_that_are_shown_are_there() {
    let mut all: BTreeMap<Shown, PathBuf> = BTreeMap::new();
    for (path, page) in pages() {
        // What was is not what is.
        if path != Path::new("CHANGELOG.md") {
            all.extend(page.code.iter().filter_map(|c| shown(c)).map(|s| (s, path.clone())));
        }
    }
    assert!(all.len() > 30, "only {} commands were found", all.len());
    let mut helps: BTreeMap<Vec<String>, CommandOutput> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (Shown { program, words, options }, path) in &all {
        if words.first().is_some_and(|w| PACKAGED.contains(&w.as_str())) {
            continue;
        }
        let mut help = |words: &[String]| -> CommandOutput {
            let key: Vec<String> = [&[(*program).to_owned()], words].concat();
            let file = if *program == "peakorder" { peakorder() } else { peakorderd() };
            let ask = || run(&file, words.iter().map(String::as_str).chain(["--help"]));
            helps.entry(key).or_insert_with(ask).clone()
        };
        let Some(first) = words.first() else { continue };
        let mut answer = help(std::slice::from_ref(first));
        if answer.code != Some(0) {
            wrong.push(format!("{}: {program} {first} is no command", path.display()));
            continue;
        }
        // The second word is a subcommand where the first has some, else a value.
        if let Some(both) = words.get(..2)
            && answer.out.contains("Commands:")
        {
            answer = help(both);
            if answer.code != Some(0) {
                wrong.push(format!("{}: {program} {} is no command", path.display(), both.join(" ")));
                continue;
            }
        }
        for option in options {
            let there = answer.out.split(|c: char| !c.is_alphanumeric() && c != '-').any(|w| w == option);
            if !there {
                wrong.push(format!("{}: {program} {} has no {option}", path.display(), words.join(" ")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_checks_see_what_they_should() {
    let page = read(
        "# A `b` c: d!\n## Same\n## Same\n[x](y.md#z) ![p](q.png)\n\n```sh\npeakorder show DIR \\\n  --json\n```\n`peakorder compare A B --about K`",
    );
    assert_eq!(page.anchors.iter().collect::<Vec<_>>(), ["a-b-c-d", "same", "same-1"]);
    assert_eq!(page.links, ["y.md#z", "q.png"]);
    assert_eq!(page.code, ["b", "peakorder show DIR    --json", "peakorder compare A B --about K"]);
    let there = |page: &str, link: &str| target(Path::new(page), link);
    assert_eq!(there("docs/a.md", "../README.md#x"), Ok(Some(("README.md".into(), Some("x".into())))));
    assert!(there("docs/a.md", "../../README.md").is_err() && there("docs/a.md", "/README.md").is_err());
    assert_eq!(there("docs/a.md", "https://www.rfc-editor.org"), Ok(None));
    let wanted = Shown { program: "peakorderd", words: vec!["serve".into()], options: vec!["--tls".into()] };
    assert_eq!(shown("peakorderd serve --tls | tee log --x"), Some(wanted));
    assert_eq!(shown("peakorders serve"), None);
}
