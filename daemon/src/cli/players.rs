//! `peakorderd players`: of whom the library keeps what; forgetting and exporting a player.

use super::bluetooth::ConfigFile;
use super::console;
use crate::config::Config;
use crate::serve::library::{self, Kept, KeptSession, Library, Person};
use anyhow::{Context as _, bail};
use peakorder_analysis::codes::Codes;
use peakorder_analysis::words::plural;
use peakorder_protocol::text::clean;
use serde::Serialize;
use std::fmt::Write as _;
use std::io::{self, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Arguments of `peakorderd players`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    #[command(subcommand)]
    command: Command,
    /// Folder of players and sessions; the platform's data folder otherwise.
    #[arg(long, value_name = "DIR", global = true)]
    library: Option<PathBuf>,
    #[command(flatten)]
    config: ConfigFile,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    /// List everybody of whom the library keeps something.
    List {
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Remove all that the library keeps of a player, for good: first shows what goes, and asks.
    Forget {
        /// The player's name, or id where several have the name.
        #[arg(value_name = "PLAYER")]
        player: String,
        /// Do not ask.
        #[arg(long)]
        yes: bool,
        /// Also the sessions that have the player's name and no id (recorded by run or import).
        #[arg(long)]
        also_by_name: bool,
    },
    /// Copy all that the library keeps of a player into a new folder.
    Export {
        /// The player's name, or id where several have the name.
        #[arg(value_name = "PLAYER")]
        player: String,
        /// The folder to make.
        #[arg(long, value_name = "DIR2")]
        into: PathBuf,
        /// Only the numbers of every swing, with codes in place of names.
        #[arg(long)]
        codes: bool,
        /// Key of the codes, so that a player keeps one code; made if it is not there. Keep it to yourself.
        #[arg(long, value_name = "FILE", requires = "codes")]
        code_key: Option<PathBuf>,
    },
}

pub(super) fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let folder = match arguments.library {
        Some(folder) => folder,
        None => library::default_folder(&Config::load(&arguments.config.path()?)?)?,
    };
    match arguments.command {
        Command::List { json } => list(&Library::look(&folder)?, json),
        Command::Forget { player, yes, also_by_name } => {
            // A name that is typed wrong must not make a library.
            drop(Library::look(&folder)?);
            let library = Library::open(&folder)
                .context("while a library is served, players are forgotten on the coach's page")?;
            forget(&library, &folder, &player, yes, also_by_name)
        }
        Command::Export { player, into, codes, code_key } => {
            let library = Library::look(&folder)?;
            let person = find(&library, &player)?;
            let codes = match (codes, code_key) {
                (false, _) => None,
                (true, None) => Some(Codes::fresh()?),
                (true, Some(file)) => Some(Codes::from_file(&file)?),
            };
            let done = library.export(&person.id, &into, codes.as_ref())?;
            console::print_line(&format!(
                "wrote {} into {}",
                plural(done.sessions, "session"),
                into.display()
            ));
            if done.perhaps > 0 {
                console::print_error(&format!(
                    "{} of that name without an id left out; copy the folders if they are the player's",
                    plural(done.perhaps, "session")
                ));
            }
            Ok(ExitCode::SUCCESS)
        }
    }
}

#[derive(Serialize)]
struct Listed {
    id: String,
    name: String,
    card: bool,
    consent: bool,
    consent_utc: Option<String>,
    sessions: usize,
    perhaps: usize,
    bytes: u64,
}

fn list(library: &Library, json: bool) -> anyhow::Result<ExitCode> {
    let mut rows = Vec::new();
    for (person, kept) in library.kept_of_all()? {
        rows.push(Listed {
            consent: person.card.as_ref().is_some_and(|c| c.about.consent),
            consent_utc: person.card.as_ref().and_then(|c| c.consent_utc.clone()),
            card: kept.card,
            sessions: kept.sessions.len(),
            perhaps: kept.perhaps.len(),
            bytes: kept.sessions.iter().map(|s| s.bytes).sum(),
            id: person.id,
            name: person.name,
        });
    }
    if json {
        console::print_line(&serde_json::to_string_pretty(&rows)?);
        return Ok(ExitCode::SUCCESS);
    }
    if rows.is_empty() {
        console::print_line("The library has no players.");
        return Ok(ExitCode::SUCCESS);
    }
    let mut table =
        vec![["id", "name", "sessions", "size", "agreed to be recorded"].map(str::to_owned).to_vec()];
    table.extend(rows.iter().map(|r| {
        let agreed = match (r.consent, &r.consent_utc) {
            (true, Some(at)) => at.clone(),
            (true, None) => "yes".into(),
            (false, _) => "no".into(),
        };
        vec![r.id.clone(), clean(&r.name), r.sessions.to_string(), size(r.bytes), agreed]
    }));
    console::print_line(super::bluetooth::table(&table).trim_end());
    Ok(ExitCode::SUCCESS)
}

/// The one player that is meant: by id, or by a name that one player has.
fn find(library: &Library, wanted: &str) -> anyhow::Result<Person> {
    let people = library.people()?;
    if let Some(by_id) = people.iter().find(|p| p.id == wanted) {
        return Ok(by_id.clone());
    }
    let same = |p: &&Person| p.name.trim().to_lowercase() == wanted.trim().to_lowercase();
    match people.iter().filter(same).collect::<Vec<_>>()[..] {
        [one] => Ok(one.clone()),
        [] => bail!("there is no player {}; peakorderd players list shows those there are", clean(wanted)),
        ref several => {
            let list: Vec<String> =
                several.iter().map(|p| format!("{} ({})", p.id, clean(&p.name))).collect();
            bail!("several players have that name; say which by id: {}", list.join(", "))
        }
    }
}

fn forget(
    library: &Library,
    folder: &Path,
    player: &str,
    yes: bool,
    also_by_name: bool,
) -> anyhow::Result<ExitCode> {
    let person = find(library, player)?;
    let kept = library.kept(&person.id)?;
    console::print_line(&what_goes(&kept, folder, also_by_name));
    if !yes && !agreed()? {
        console::print_line("Nothing was removed.");
        return Ok(ExitCode::FAILURE);
    }
    library
        .forget(&kept.id, also_by_name)
        .context("not everything is removed; mend the cause and give the command again")?;
    console::print_line("Forgotten.");
    Ok(ExitCode::SUCCESS)
}

fn agreed() -> anyhow::Result<bool> {
    if !io::stdin().is_terminal() {
        bail!("nobody can be asked here; add --yes to forget without being asked");
    }
    let _ = write!(io::stdout(), "Type yes to forget: ");
    let _ = io::stdout().flush();
    let mut answer = String::new();
    io::stdin().read_line(&mut answer).context("the answer cannot be read")?;
    Ok(answer.trim() == "yes")
}

fn what_goes(kept: &Kept, folder: &Path, also_by_name: bool) -> String {
    let mut text = format!("Of {} ({}) these go from {}:\n", clean(&kept.name), kept.id, folder.display());
    // Writing to a string cannot fail.
    if kept.card {
        text.push_str("  the player's card: name, goal, limits, consent\n");
    }
    let mut going: Vec<&KeptSession> = kept.sessions.iter().collect();
    if also_by_name {
        going.extend(&kept.perhaps);
    }
    sessions(&mut text, &going);
    let bytes = going.iter().map(|s| s.bytes).sum();
    let _ = writeln!(text, "Together {}, {}.", plural(going.len(), "session"), size(bytes));
    if !also_by_name && !kept.perhaps.is_empty() {
        text.push_str("These have the name and no id, perhaps they are the player's; they stay unless you add --also-by-name:\n");
        sessions(&mut text, &kept.perhaps.iter().collect::<Vec<_>>());
    }
    if !kept.unreadable.is_empty() {
        let _ = writeln!(
            text,
            "These cannot be read, so whose they are is not known; they stay: {}",
            kept.unreadable.iter().map(|u| clean(u)).collect::<Vec<_>>().join(", ")
        );
    }
    for dataset in &kept.dataset_folders {
        let _ = writeln!(
            text,
            "Rows in the dataset {} stay until you give: peakorder dataset forget {} {}",
            clean(&dataset.display().to_string()),
            clean(&dataset.display().to_string()),
            kept.id
        );
    }
    text.push_str(
        "Not known here, so they stay: sessions in other folders, exports and reports made, other copies of datasets, backups.",
    );
    text
}

fn sessions(text: &mut String, list: &[&KeptSession]) {
    for s in list {
        let _ = writeln!(
            text,
            "  {}  {}  {}, {}, {}",
            clean(&s.id),
            if s.started_utc.is_empty() { "date not known" } else { &s.started_utc },
            plural(s.swings, "swing"),
            plural(s.remarks, "remark"),
            size(s.bytes)
        );
    }
}

fn size(bytes: u64) -> String {
    match bytes {
        0..1_000 => format!("{bytes} B"),
        1_000..1_000_000 => format!("{:.1} kB", bytes as f64 * 1e-3),
        _ => format!("{:.1} MB", bytes as f64 * 1e-6),
    }
}
