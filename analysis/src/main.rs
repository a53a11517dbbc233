//! `peakorder`: what recorded sessions say.

mod commands;
mod reading;

use anyhow::{Context as _, bail};
use clap::{Parser, Subcommand};
use commands::picture;
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::codes::Codes;
use peakorder_analysis::compare::{Comparison, Question, Side, answer};
use peakorder_analysis::curves::{self, Curve, CurveChange};
use peakorder_analysis::integrity::{Health, Wanted, salvage};
use peakorder_analysis::json;
use peakorder_analysis::kept::{self, Kept, KeptError};
use peakorder_analysis::library::{self, Swings};
use peakorder_analysis::load::{Loaded, load};
use peakorder_analysis::mobility;
use peakorder_analysis::picture::{Sides, documents};
use peakorder_analysis::render::{self, Extent, Style};
use peakorder_analysis::report::{self, Choice};
use peakorder_analysis::terminal;
use peakorder_analysis::trend;
use peakorder_protocol::files::private_file;
use peakorder_protocol::text::{causes, clean, clean_lines};
use std::fs;
use std::io::{self, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Columns where the width is not known: what fits a page, or any terminal.
const PIPED_WIDTH: usize = 100;
const TERMINAL_WIDTH: usize = 80;

/// Shows and compares the kinematic sequences in recorded sessions.
#[derive(Debug, Parser)]
#[command(name = "peakorder", version = peakorder_analysis::VERSION, about, max_term_width = 100)]
#[command(after_long_help = peakorder_analysis::exit::section())]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

/// Codes in place of names.
#[derive(Debug, clap::Args)]
struct CodeArguments {
    /// Put codes in place of names, folders and ids, and leave out goal, limits, notes and all else that was typed.
    #[arg(long)]
    codes: bool,
    /// Key of the codes, so that a player keeps one code; made if it is not there. Keep it to yourself.
    #[arg(long, value_name = "FILE", requires = "codes")]
    code_key: Option<PathBuf>,
}

impl CodeArguments {
    /// `None` unless codes are asked for.
    fn open(&self) -> anyhow::Result<Option<Codes>> {
        Ok(match (self.codes, &self.code_key) {
            (false, _) => None,
            (true, None) => Some(Codes::fresh()?),
            (true, Some(file)) => Some(Codes::from_file(file)?),
        })
    }
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Show a session's swings and what each block has in common, or one swing in full.
    Show {
        /// Session folder, or FOLDER:BLOCK for one block of it.
        #[arg(value_name = "FOLDER[:BLOCK]")]
        session: String,
        /// Number of one swing, to see it in full.
        number: Option<u32>,
        /// Write a JSON document instead of text.
        #[arg(long)]
        json: bool,
        /// Draw the swing, or every block, as an SVG document: `peakorder show FOLDER 7 --svg > swing.svg`.
        #[arg(long, conflicts_with = "json")]
        svg: bool,
        #[command(flatten)]
        codes: CodeArguments,
    },
    /// Set two blocks or sessions of a player against each other: what changed by more than
    /// ordinary swing-to-swing variation.
    Compare {
        /// Before: session folder, or FOLDER:BLOCK.
        #[arg(value_name = "BEFORE[:BLOCK]")]
        before: String,
        /// After: session folder, or FOLDER:BLOCK.
        #[arg(value_name = "AFTER[:BLOCK]")]
        after: String,
        /// Session or block that also belongs to before, e.g. an earlier lesson; may be given several times.
        #[arg(long, value_name = "FOLDER[:BLOCK]")]
        also_before: Vec<String>,
        /// A check of how well the straps are put on again: a session in which they were (mark re-wear) with blocks of one label before and
        /// after it, or the wearings themselves, two or more with commas. May be given several times. Checks within the
        /// sessions compared are found without it.
        #[arg(long, value_name = "FOLDER|FOLDER[:BLOCK],…")]
        re_wear: Vec<String>,
        /// What it is about: one to five measures, by their keys in --json, meant before looking; KEY=3 names the smallest
        /// change that matters. Without it, what the coach chose in the session of after.
        #[arg(long, value_name = "KEY[=SMALLEST]", value_delimiter = ',', conflicts_with = "only")]
        about: Vec<Chosen>,
        /// The same, and no others are looked at.
        #[arg(long, value_name = "KEY[=SMALLEST]", value_delimiter = ',')]
        only: Vec<Chosen>,
        /// Print also all measures that were only looked through.
        #[arg(long)]
        all: bool,
        /// Also set speed and turn over time against each other: where along the swing they differ. With keys
        /// only those curves; choose them before looking.
        #[arg(long, value_name = "KEY", value_delimiter = ',', value_parser = curve, num_args = 0.., require_equals = true)]
        curves: Option<Vec<Curve>>,
        /// Write a JSON document instead of text.
        #[arg(long)]
        json: bool,
        /// Draw before and after as an SVG document, with --curves also those: `peakorder compare BEFORE AFTER --svg > change.svg`.
        #[arg(long, conflicts_with_all = ["json", "all"])]
        svg: bool,
        #[command(flatten)]
        codes: CodeArguments,
    },
    /// Show how far the trunk turned in a session's mobility checks, or set them against
    /// those of an earlier session.
    Mobility {
        /// Session folder; with a second one: last time's.
        #[arg(value_name = "FOLDER")]
        session: String,
        /// Session folder of now, to be set against the first.
        #[arg(value_name = "FOLDER2")]
        after: Option<String>,
        /// Write a JSON document instead of text.
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        codes: CodeArguments,
    },
    /// Write the lesson as one sheet for the player to take home (HTML, to be printed or read).
    Report {
        /// Session folder.
        #[arg(value_name = "FOLDER")]
        session: String,
        /// File to write.
        #[arg(long, value_name = "FILE.html")]
        out: PathBuf,
        /// Block that is before; without it the block baseline, or else the first.
        #[arg(long, value_name = "BLOCK")]
        before: Option<String>,
        /// Block that is after; without it the last other one with swings that count.
        #[arg(long, value_name = "BLOCK")]
        after: Option<String>,
        /// Earlier sessions of the player, or a folder that holds them: what lasted of them is shown. May be given several
        /// times.
        #[arg(long, value_name = "FOLDER")]
        earlier: Vec<PathBuf>,
        /// Also the coach's appendix: all numbers, curves, notes of swings, what the words mean.
        #[arg(long)]
        appendix: bool,
        /// Replace the file if it is there.
        #[arg(long)]
        force: bool,
        #[command(flatten)]
        codes: CodeArguments,
    },
    /// Show in which order to swing the old and the new way, and how small a change each order finds.
    Plan {
        /// Session folder, or FOLDER:BLOCK: then in this player's own numbers.
        #[arg(value_name = "FOLDER[:BLOCK]")]
        session: Option<String>,
        /// What the lesson will be about: one to five measures. Without it, what the coach chose in that session.
        #[arg(long, value_name = "KEY", value_delimiter = ',')]
        about: Vec<Chosen>,
        /// Write a JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Show what lasted from lesson to lesson: gained at the end of one, left at the start of the next, kept
    /// by practice alone.
    Kept {
        /// Session folders, or a folder that holds them.
        #[arg(value_name = "FOLDER", required = true)]
        folders: Vec<PathBuf>,
        /// The player's name; needed where there are several.
        #[arg(long, value_name = "NAME")]
        player: Option<String>,
        /// The numbers, as in compare. Without it, what the coach chose in the latest session.
        #[arg(long, value_name = "KEY", value_delimiter = ',')]
        about: Vec<Chosen>,
        /// Write a JSON document instead of text.
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        codes: CodeArguments,
    },
    /// Follow one block of a player's sessions over weeks and months.
    Trend {
        /// Session folders, or a folder that holds them.
        #[arg(value_name = "FOLDER", required = true)]
        folders: Vec<PathBuf>,
        /// The player's name; needed where there are several.
        #[arg(long, value_name = "NAME")]
        player: Option<String>,
        /// The block looked at in every session.
        #[arg(long, value_name = "BLOCK", default_value = "baseline")]
        block: String,
        /// What it is about, as in compare. Without it, what the coach chose in the latest session.
        #[arg(long, value_name = "KEY[=SMALLEST]", value_delimiter = ',')]
        about: Vec<Chosen>,
        /// Write a JSON document instead of text.
        #[arg(long)]
        json: bool,
        /// Draw one to five measures over the sessions as an SVG document: `peakorder trend FOLDER --svg > months.svg`.
        #[arg(long, conflicts_with = "json")]
        svg: bool,
        #[command(flatten)]
        codes: CodeArguments,
    },
    /// Say what of session folders is intact and what is lost: in the recording in seconds and by
    /// strap, and which files are damaged or missing. Ends with 1 if anything is.
    Verify {
        /// Session folders.
        #[arg(value_name = "FOLDER", required = true)]
        folders: Vec<PathBuf>,
        /// Write a JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Write a new session folder of all that can be read in a damaged one, which stays as it is.
    Salvage {
        /// The damaged session folder.
        #[arg(value_name = "FOLDER")]
        session: PathBuf,
        /// Folder to write; there must be nothing in it.
        #[arg(long, value_name = "FOLDER2")]
        into: PathBuf,
        /// Where session.toml cannot be read: a session of the same player with the same straps,
        /// whose session.toml stands in for it.
        #[arg(long, value_name = "SESSION")]
        like: Option<PathBuf>,
        /// Where session.toml cannot be read: when the session began, e.g. 2026-11-25T10:05:12Z.
        #[arg(long, value_name = "TIME", requires = "like")]
        started: Option<jiff::Timestamp>,
        /// Write a JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Write what is in sessions for other programs: the swings as CSV, or everything as tables, MCAP or files for import.
    Export(commands::export::ExportArguments),
    /// Keep the swings of many players and places as one open dataset of Parquet files, for any engine that reads them.
    #[cfg(feature = "open-data")]
    #[command(subcommand)]
    Dataset(commands::dataset::DatasetCommand),
    /// Say which drills changed what, over all players of a dataset.
    #[cfg(feature = "open-data")]
    Academy(commands::academy::AcademyArguments),
    /// Print what a shell needs to complete these commands.
    #[cfg(feature = "packaged")]
    Completions(peakorder_analysis::packaged::CompletionsArguments),
    /// Print the man page, or write those of all commands.
    #[cfg(feature = "packaged")]
    Manual(peakorder_analysis::packaged::ManualArguments),
}

/// What lasted of earlier sessions up to this one; `None` where none are named, or it is not said what the lessons are about.
fn lasted(session: &Loaded, earlier: &[PathBuf], codes: Option<&Codes>) -> anyhow::Result<Option<Kept>> {
    if earlier.is_empty() {
        return Ok(None);
    }
    let mut folders = earlier.to_vec();
    folders.push(session.dir.path().to_owned());
    // By the session on disk: its name in `session` may be a code.
    let (_, on_disk) = peakorder_protocol::session::SessionDir::open(session.dir.path())?;
    let mut chosen = chosen(&folders, Some(&on_disk.player.name), codes)?;
    chosen.up_to(&session.session.started_utc);
    match kept_of(&mut chosen, &Family::of_remarks(&session.remarks)) {
        Ok(kept) => Ok(Some(kept)),
        Err(e) => {
            complain(&e.to_string());
            Ok(None)
        }
    }
}

/// The sessions of a player, with how far they are read where somebody watches.
fn chosen<'a>(
    folders: &[PathBuf],
    player: Option<&str>,
    codes: Option<&'a Codes>,
) -> anyhow::Result<library::Chosen<'a>> {
    let bar = reading::Bar::hidden_at_first();
    let chosen = library::select(folders, player, &|done, of| bar.at(done, of));
    bar.end();
    let chosen = chosen?;
    for notice in &chosen.notices {
        complain(notice);
    }
    Ok(match codes {
        None => chosen,
        Some(codes) => chosen.coded(codes),
    })
}

/// What lasted of these sessions.
fn kept_of(chosen: &mut library::Chosen<'_>, family: &Family) -> Result<Kept, KeptError> {
    let taking = kept::Taking::of(family)?;
    let parts = chosen.each(Swings::Ends(None), |session| taking.part(session));
    Ok(taking.kept(&chosen.player, &chosen.left_out, parts))
}

/// What is looked at over months: as asked for, or as chosen in the latest session.
fn over_months(about: &[Chosen], sessions: &library::Chosen<'_>) -> Family {
    if about.is_empty() {
        Family::of_remarks(&sessions.last_remarks())
    } else {
        Family::Chosen(about.to_vec())
    }
}

/// What a comparison is about, as asked for or as chosen in the session.
fn family(about: &[Chosen], only: &[Chosen], session: &Loaded) -> Family {
    match (about, only) {
        ([], []) => Family::of_remarks(&session.remarks),
        ([], only) => Family::Only(only.to_vec()),
        (about, _) => Family::Chosen(about.to_vec()),
    }
}

/// Checks with the straps put on anew: those within one session, or wearings named with commas between them.
fn wearings(text: &str) -> anyhow::Result<Vec<Vec<Loaded>>> {
    let parts: Vec<&str> = text.split(',').map(str::trim).filter(|p| !p.is_empty()).collect();
    if let [one] = parts.as_slice() {
        let found = loaded(one, None)?.worn_anew();
        if found.is_empty() {
            bail!(
                "--re-wear {text}: no block of one label in it was swung before and after the straps were put on anew (mark re-wear); \
                 or name two wearings, e.g. --re-wear FOLDER:first,FOLDER:second"
            );
        }
        return Ok(found);
    }
    Ok(vec![parts.into_iter().map(|p| loaded(p, None)).collect::<anyhow::Result<_>>()?])
}

/// The checks within a session of which perhaps one block only was asked for.
fn within(session: &Loaded) -> anyhow::Result<Vec<Vec<Loaded>>> {
    Ok(match &session.block {
        None => session.worn_anew(),
        Some(_) => load(&session.dir.path().display().to_string())?.worn_anew(),
    })
}

fn curve(key: &str) -> anyhow::Result<Curve> {
    Curve::from_key(key)
        .with_context(|| format!("no such curve; there are {}", Curve::ALL.map(Curve::key).join(", ")))
}

fn main() -> ExitCode {
    match run(&Arguments::parse().command) {
        Ok(code) => code,
        Err(e) => {
            complain(&causes(e.as_ref()));
            ExitCode::FAILURE
        }
    }
}

fn run(command: &Command) -> anyhow::Result<ExitCode> {
    let style = style();
    let mut code = ExitCode::SUCCESS;
    let text = match command {
        Command::Show { session, number: None, json, svg, codes } => {
            let loaded = loaded(session, codes.open()?.as_ref())?;
            if *svg {
                picture::of_blocks(&loaded)?
            } else if *json {
                document(&json::Show::from(&loaded))?
            } else {
                render::session(&loaded, style)
            }
        }
        Command::Show { session, number: Some(number), json, svg, codes } => {
            // Another swing's damage does not matter here.
            let mut loaded = load(session)?;
            if let Some(codes) = codes.open()? {
                codes.hide(&mut loaded);
            }
            let swing = loaded.swing(*number)?;
            if *svg {
                documents::swing(&loaded.session, swing, &loaded.remarks)
            } else if *json {
                document(&json::ShowSwing::of(&loaded, swing))?
            } else {
                let curves = loaded.curves(*number);
                render::one_swing(&loaded.session, swing, &loaded.remarks, curves.as_ref(), style)
            }
        }
        Command::Compare {
            before,
            after,
            also_before,
            re_wear,
            about,
            only,
            all,
            curves,
            json,
            svg,
            codes,
        } => {
            let (mut before, mut after) = (loaded(before, None)?, loaded(after, None)?);
            // A drill between the blocks is drawn too.
            let mut whole = svg.then(|| load(&after.dir.path().display().to_string())).transpose()?;
            let mut also: Vec<Loaded> =
                also_before.iter().map(|s| loaded(s, None)).collect::<anyhow::Result<_>>()?;
            let mut worn_anew: Vec<Vec<Loaded>> = Vec::new();
            for text in re_wear {
                worn_anew.extend(wearings(text)?);
            }
            for session in [&before, &after].into_iter().chain(&also) {
                worn_anew.extend(within(session)?);
            }
            let family = family(about, only, &after);
            if let Some(codes) = codes.open()? {
                codes.hide_both(&mut before, &mut after);
                for session in also.iter_mut().chain(&mut whole) {
                    codes.hide(session);
                }
            }
            let comparison = answer(Question {
                before: &before,
                also_before: &also,
                after: &after,
                worn_anew: &worn_anew,
                family: &family,
            })?;
            if comparison.rows.is_empty() && !only.is_empty() {
                bail!("none of the measures asked for was measured on both sides");
            }
            let curves = curves.as_ref().map(|c| curves_of(&before, &after, &comparison, c)).transpose()?;
            if let Some(whole) = &whole {
                let sides = Sides { before: &before, also_before: &also, after: &after, whole };
                picture::of_comparison(&comparison, sides, curves.as_ref())?
            } else if *json {
                document(&json::Compare::with(&comparison, curves.as_ref(), None))?
            } else {
                let extent = if *all { Extent::Whole } else { Extent::Short };
                render::comparison_with_curves(&comparison, curves.as_ref(), extent, style)
            }
        }
        Command::Mobility { session, after: None, json, codes } => {
            let mut checks = mobility::load(session)?;
            if let Some(codes) = codes.open()? {
                codes.hide_checks(&mut checks);
            }
            if *json {
                document(&json::ShowMobility::from(&checks))?
            } else {
                render::mobility(&checks, style)
            }
        }
        Command::Mobility { session, after: Some(after), json, codes } => {
            let (mut before, mut after) = (mobility::load(session)?, mobility::load(after)?);
            if let Some(codes) = codes.open()? {
                codes.hide_both_checks(&mut before, &mut after);
            }
            let comparison = mobility::compare(before, after);
            if *json {
                document(&json::CompareMobility::from(&comparison))?
            } else {
                render::mobility_comparison(&comparison, style)
            }
        }
        Command::Plan { session, about, json } => {
            let block = session.as_ref().map(|s| loaded(s, None)).transpose()?;
            let chosen = match (about.as_slice(), &block) {
                ([], Some(block)) => family(&[], &[], block),
                (about, _) => Family::Chosen(about.to_vec()),
            };
            let measures = if matches!(chosen, Family::All) { Vec::new() } else { chosen.judged() };
            let count = measures.len().max(1);
            if *json {
                document(&json::Plan::of(count))?
            } else {
                render::plan(&measures, count, block.as_ref(), style)
            }
        }
        Command::Kept { folders, player, about, json, codes } => {
            let codes = codes.open()?;
            let mut chosen = chosen(folders, player.as_deref(), codes.as_ref())?;
            let family = over_months(about, &chosen);
            let kept = kept_of(&mut chosen, &family)?;
            if *json { document(&json::Kept::from(&kept))? } else { render::kept(&kept, style) }
        }
        Command::Report { session, out, before, after, earlier, appendix, force, codes } => {
            let codes = codes.open()?;
            let loaded = loaded(session, codes.as_ref())?;
            let mut choice = Choice { before: before.clone(), after: after.clone(), appendix: *appendix };
            if let Some(codes) = &codes {
                choice = codes.choice(&choice);
            }
            let kept = lasted(&loaded, earlier, codes.as_ref())?;
            let page = report::html(&loaded, &choice, kept.as_ref()).with_context(|| session.clone())?;
            keep(out, &page, *force)?;
            format!("wrote {}\n", clean(&out.display().to_string()))
        }
        Command::Trend { folders, player, block, about, json, svg, codes } => {
            let codes = codes.open()?;
            let mut chosen = chosen(folders, player.as_deref(), codes.as_ref())?;
            let family = over_months(about, &chosen);
            let label = codes.as_ref().map_or_else(|| block.clone(), |c| c.block(block));
            let taking = trend::Taking::of(&label);
            let parts = chosen.each(Swings::Block(block), |session| taking.part(session));
            let trend = taking.follow(&chosen.player, &chosen.left_out, parts, &family);
            if trend.sessions.is_empty() {
                bail!(
                    "no swing of block '{block}' counts in any session of {}; name another with --block",
                    trend.player
                );
            }
            if *svg {
                picture::of_trend(&trend)?
            } else if *json {
                document(&json::Follow::from(&trend))?
            } else {
                render::trend(&trend, style)
            }
        }
        Command::Verify { folders, json } => {
            let mut looked = Vec::new();
            for folder in folders {
                match Health::of(folder) {
                    Ok(health) => looked.push(health),
                    Err(e) => {
                        complain(&e.to_string());
                        code = ExitCode::FAILURE;
                    }
                }
            }
            if !looked.iter().all(Health::is_whole) {
                code = ExitCode::FAILURE;
            }
            if *json {
                document(&json::Verify::of(&looked))?
            } else {
                looked.iter().map(render::health).collect()
            }
        }
        Command::Salvage { session, into, like, started, json } => {
            let wanted = Wanted { from: session, into, like: like.as_deref(), started: *started };
            let done = salvage(&wanted)?;
            if *json { document(&json::Salvage::from(&done))? } else { render::salvaged(&done) }
        }
        Command::Export(arguments) => commands::export::run(arguments)?,
        #[cfg(feature = "open-data")]
        Command::Academy(arguments) => commands::academy::run(arguments, style)?,
        #[cfg(feature = "open-data")]
        Command::Dataset(command) => {
            let (text, ended) = commands::dataset::run(command)?;
            code = ended;
            text
        }
        #[cfg(feature = "packaged")]
        Command::Completions(arguments) => peakorder_analysis::packaged::completions::<Arguments>(arguments),
        #[cfg(feature = "packaged")]
        Command::Manual(arguments) => commands::manual::run::<Arguments>(arguments)?,
    };
    terminal::print(&text).context("cannot write to standard output")?;
    Ok(code)
}

/// The curves of the swings that the comparison rests on.
fn curves_of(
    before: &Loaded,
    after: &Loaded,
    comparison: &Comparison,
    wanted: &[Curve],
) -> anyhow::Result<CurveChange> {
    let wanted = if wanted.is_empty() { &Curve::ALL[..] } else { wanted };
    let side = |loaded: &Loaded, side: &Side| curves::load(loaded, &side.summary.used, wanted);
    let same_session = comparison.before.session == comparison.after.session;
    Ok(curves::compare(&side(before, &comparison.before), &side(after, &comparison.after), same_session)?)
}

/// Writes a file of personal data: a new one is its owner's only, and none goes over another by
/// mistake.
fn keep(path: &Path, text: &str, force: bool) -> anyhow::Result<()> {
    let mut options = fs::OpenOptions::new();
    options.write(true);
    if force {
        options.create(true).truncate(true)
    } else {
        options.create_new(true)
    };
    let mut file = match private_file(path, &mut options) {
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {
            bail!("{} is already there; name another file, or add --force to replace it", path.display())
        }
        result => result.with_context(|| path.display().to_string())?,
    };
    file.write_all(text.as_bytes()).with_context(|| path.display().to_string())
}

/// Loads, and says on stderr which swing files had to be left out; then puts codes in place of names.
fn loaded(spec: &str, codes: Option<&Codes>) -> anyhow::Result<Loaded> {
    let mut loaded = load(spec)?;
    for problem in &loaded.problems {
        complain(&format!("left out: {}", problem.text));
    }
    for notice in &loaded.notices {
        complain(notice);
    }
    if let Some(codes) = codes {
        codes.hide(&mut loaded);
    }
    Ok(loaded)
}

/// One line on stderr; where nobody can read it there is nothing left to do.
fn complain(text: &str) {
    let _ = writeln!(io::stderr(), "peakorder: {}", clean_lines(text));
}

fn document(value: &impl serde::Serialize) -> anyhow::Result<String> {
    let mut text = serde_json::to_string_pretty(value).context("cannot write the JSON document")?;
    text.push('\n');
    Ok(text)
}

/// As wide as the terminal, with colour only where it is watched and wanted.
fn style() -> Style {
    let watched = io::stdout().is_terminal();
    let fallback = if watched { TERMINAL_WIDTH } else { PIPED_WIDTH };
    Style::new(terminal::width().unwrap_or(fallback), terminal::colours(watched))
}
