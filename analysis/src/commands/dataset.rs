//! `peakorder dataset`: many players' sessions as one open dataset.

use crate::complain;
use anyhow::{Context as _, bail};
use clap::{Args, Subcommand};
use peakorder_analysis::codes::Codes;
use peakorder_analysis::data::SCHEMA;
use peakorder_analysis::dataset::{AddError, Added, Compacted, Dataset, Finding, Forgotten, Report, Wanted};
use peakorder_analysis::known_datasets::{DATASETS_FILE, is_library, note_dataset};
use peakorder_analysis::library::sessions_in;
use peakorder_analysis::load::load;
use peakorder_analysis::words::plural;
use peakorder_protocol::text::clean;
use serde::Serialize;
use std::fmt::Write as _;
use std::io::{self, IsTerminal as _, Write as _};
use std::path::PathBuf;
use std::process::ExitCode;

/// What to do with a dataset.
#[derive(Debug, Subcommand)]
pub(crate) enum DatasetCommand {
    /// Add sessions to a dataset, which is made if it is not there. One that is in it is replaced if it has changed.
    Add(AddArguments),
    /// Make one file of each month's many, and remove what forgotten players have left.
    Compact(Of),
    /// Remove every row of a player for good, and refuse the player's sessions from now on.
    Forget {
        #[command(flatten)]
        of: Of,
        /// Id of the player, as in the column `player_id`.
        #[arg(value_name = "PLAYER_ID")]
        player: String,
        /// Do not ask.
        #[arg(long)]
        yes: bool,
    },
    /// Read every file and say what is amiss. Ends with 1 if anything gives wrong answers.
    Check(Of),
}

/// Which dataset.
#[derive(Debug, Args)]
pub(crate) struct Of {
    /// Folder of the dataset.
    #[arg(value_name = "DATASET")]
    dataset: PathBuf,
    /// Write a JSON document instead of text.
    #[arg(long)]
    json: bool,
}

/// What to add.
#[derive(Debug, Args)]
pub(crate) struct AddArguments {
    #[command(flatten)]
    of: Of,
    /// Session folders, or folders that hold them, as a library.
    #[arg(value_name = "FOLDER", required = true)]
    folders: Vec<PathBuf>,
    /// Name of the place where they were recorded: the column bay.
    #[arg(long, value_name = "NAME", default_value = "")]
    bay: String,
    /// Key of the codes that stand for players who have a name but no id; made if it is not there. Keep it to yourself.
    #[arg(long, value_name = "FILE")]
    code_key: Option<PathBuf>,
    /// Add also sessions of which swing files cannot be read, without those.
    #[arg(long)]
    partly: bool,
}

#[derive(Debug, Default, Serialize)]
struct Sum {
    schema: &'static str,
    added: usize,
    replaced: usize,
    unchanged: usize,
    left_out: Vec<String>,
}

#[derive(Serialize)]
struct Checked<'a> {
    schema: &'static str,
    #[serde(flatten)]
    report: &'a Report,
}

/// Does it; the text to print, and how to end.
pub(crate) fn run(command: &DatasetCommand) -> anyhow::Result<(String, ExitCode)> {
    match command {
        DatasetCommand::Add(arguments) => add(arguments),
        DatasetCommand::Compact(of) => {
            let done = Dataset::open(&of.dataset)?.compact()?;
            Ok((if of.json { compacted_json(&done)? } else { compacted(&done) }, ExitCode::SUCCESS))
        }
        DatasetCommand::Forget { of, player, yes } => forget(of, player, *yes),
        DatasetCommand::Check(of) => {
            let report = Dataset::open(&of.dataset)?.check()?;
            let damaged = report.findings.iter().any(Finding::is_damage);
            let text = if of.json {
                crate::document(&Checked { schema: "peakorder.dataset-check/1", report: &report })?
            } else {
                checked(&report)
            };
            Ok((text, if damaged { ExitCode::FAILURE } else { ExitCode::SUCCESS }))
        }
    }
}

fn add(arguments: &AddArguments) -> anyhow::Result<(String, ExitCode)> {
    let mut paths = Vec::new();
    for folder in &arguments.folders {
        paths.extend(sessions_in(folder)?);
    }
    paths.sort();
    paths.dedup();
    if paths.is_empty() {
        bail!("no session in the folders named; name session folders, or a folder that holds them");
    }
    let codes = arguments.code_key.as_deref().map(Codes::from_file).transpose()?;
    let dataset = Dataset::open_or_make(&arguments.of.dataset)?;
    for library in arguments.folders.iter().filter(|f| is_library(f)) {
        // Before its sessions go in, so that none is there of which the library does not know.
        note_dataset(library, dataset.folder())
            .with_context(|| library.join(DATASETS_FILE).display().to_string())?;
    }
    let mut adding = dataset.adding(Wanted { bay: &arguments.bay, codes: codes.as_ref() })?;
    let mut sum = Sum { schema: "peakorder.dataset-add/1", ..Sum::default() };
    let terminal = io::stderr().is_terminal();
    for (at, path) in paths.iter().enumerate() {
        if terminal && paths.len() > 20 {
            let _ = write!(io::stderr(), "\r{} of {} sessions", at + 1, paths.len());
        }
        let added = load(&path.display().to_string()).map_err(|e| e.to_string()).and_then(|loaded| {
            match loaded.problems.first() {
                Some(problem) if !arguments.partly => {
                    let what = problem.text.clone();
                    Err(AddError::Damaged { session: loaded.name(), what }.to_string())
                }
                _ => match adding.add(&loaded) {
                    Ok(added) => Ok(added),
                    // The dataset's trouble would be every session's.
                    Err(e) => Err(e.to_string()),
                },
            }
        });
        match added {
            Ok(Added::New) => sum.added += 1,
            Ok(Added::Replaced) => sum.replaced += 1,
            Ok(Added::Unchanged) => sum.unchanged += 1,
            Err(why) => sum.left_out.push(why),
        }
    }
    if terminal && paths.len() > 20 {
        let _ = writeln!(io::stderr());
    }
    for why in &sum.left_out {
        complain(&format!("left out: {why}"));
    }
    let code = if sum.left_out.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    let text = if arguments.of.json {
        crate::document(&sum)?
    } else {
        format!(
            "{}: {} added, {} replaced, {} unchanged, {} left out\n",
            clean(&arguments.of.dataset.display().to_string()),
            plural(sum.added, "session"),
            sum.replaced,
            sum.unchanged,
            sum.left_out.len()
        )
    };
    Ok((text, code))
}

fn forget(of: &Of, player: &str, yes: bool) -> anyhow::Result<(String, ExitCode)> {
    let dataset = Dataset::open(&of.dataset)?;
    let known = dataset.players()?.iter().any(|p| p == player);
    if !yes {
        let found = if known { "has rows there" } else { "has no rows there" };
        if !io::stdin().is_terminal() {
            bail!(
                "{player} {found}; nothing was removed: add --yes to forget the player without being asked"
            );
        }
        write!(
            io::stderr(),
            "{player} {found}. Remove them for good, and refuse the player's sessions from now on? [y/N] "
        )?;
        let mut answer = String::new();
        io::stdin().read_line(&mut answer).context("no answer")?;
        if !answer.trim().eq_ignore_ascii_case("y") {
            bail!("nothing was removed");
        }
    }
    let gone = dataset.forget(player)?;
    Ok((if of.json { crate::document(&forgotten_json(&gone))? } else { forgotten(&gone) }, ExitCode::SUCCESS))
}

#[derive(Serialize)]
struct ForgottenDocument<'a> {
    schema: &'static str,
    player: &'a str,
    sessions: usize,
    rows: usize,
    files: usize,
    not_reached: &'static [&'static str],
}

/// Where a dataset's player can still be.
const NOT_REACHED: [&str; 4] = [
    "the session folders, wherever they lie (peakorderd players forget)",
    "copies of this dataset: the bays' own, and the place that they are sent to",
    "backups, and what was exported or printed",
    "what a disk keeps of removed files",
];

fn forgotten_json(gone: &Forgotten) -> ForgottenDocument<'_> {
    ForgottenDocument {
        schema: "peakorder.dataset-forget/1",
        player: &gone.player,
        sessions: gone.sessions,
        rows: gone.rows,
        files: gone.files,
        not_reached: &NOT_REACHED,
    }
}

fn forgotten(gone: &Forgotten) -> String {
    let mut text = format!(
        "{}: {} and {} removed from {}. The player's sessions are refused here from now on.\nNot reached:\n",
        clean(&gone.player),
        plural(gone.sessions, "session"),
        plural(gone.rows, "row"),
        plural(gone.files, "file")
    );
    for place in NOT_REACHED {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "  {place}");
    }
    text
}

fn compacted_json(done: &[Compacted]) -> anyhow::Result<String> {
    let months: Vec<serde_json::Value> = done
        .iter()
        .map(|c| {
            serde_json::json!({ "month": c.month, "files_before": c.before, "files_after": c.after,
                "sessions_twice": c.doubled, "rows_of_forgotten": c.forgotten })
        })
        .collect();
    crate::document(&serde_json::json!({ "schema": "peakorder.dataset-compact/1", "months": months }))
}

fn compacted(done: &[Compacted]) -> String {
    if done.is_empty() {
        return "nothing to compact: the dataset has no sessions\n".into();
    }
    let mut text = String::new();
    for c in done {
        let _ = write!(text, "{}: {} before, {} after", c.month, plural(c.before, "file"), c.after);
        if c.doubled > 0 {
            let _ = write!(text, "; {} stood there twice", plural(c.doubled, "session"));
        }
        if c.forgotten > 0 {
            let _ = write!(text, "; {} of forgotten players removed", plural(c.forgotten, "row"));
        }
        text.push('\n');
    }
    text
}

fn checked(report: &Report) -> String {
    let mut text = format!(
        "{SCHEMA}: {}, {}, {} ({} count), {} of {:.1} MB\n",
        plural(report.players, "player"),
        plural(report.sessions, "session"),
        plural(report.swings, "swing"),
        report.counted,
        plural(report.files, "file"),
        report.bytes as f64 / 1e6
    );
    for finding in &report.findings {
        let _ = writeln!(text, "{}", clean(&said(finding)));
    }
    if report.findings.is_empty() {
        text.push_str("nothing amiss\n");
    }
    text
}

fn said(finding: &Finding) -> String {
    match finding {
        Finding::File { why, .. } => {
            format!("damaged: {why}; move it out of the dataset, and add its sessions again")
        }
        Finding::Stray { path } => {
            format!("stray: {}: no file of a dataset; move it elsewhere", path.display())
        }
        Finding::HalfWritten { path } => {
            format!(
                "half-written: {}: passed over by readers; remove it if nothing writes now",
                path.display()
            )
        }
        Finding::Doubled { session, table } => format!(
            "twice: session {session} stands in several files of {table}; run peakorder dataset compact"
        ),
        Finding::InPart { session } => {
            format!("in part: session {session} was not added to the end; add it again")
        }
        Finding::Forgotten { path } => format!(
            "forgotten: {}: rows of a player who was forgotten came back; run peakorder dataset compact",
            path.display()
        ),
        Finding::ManyFiles { month, files } => {
            format!("slow: {month} has {files} files in a table; run peakorder dataset compact")
        }
        Finding::NothingCounted { month } => format!("note: no swing of {month} counts"),
    }
}
