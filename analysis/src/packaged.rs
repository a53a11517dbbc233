//! Man pages and shell completions of both programs, written by the programs themselves (feature `packaged`).
//!
//! Pages follow `man-pages(7)`: one for the program, one for each of its commands, with the sections that
//! a command line cannot know of (exit status, environment, files) from one place for both programs.

use clap::{Command, CommandFactory};
use clap_complete::Shell;
use clap_mangen::Man;
use clap_mangen::roff::{Inline, Roff, bold, roman};
use std::io;
use std::path::{Path, PathBuf};

/// Environment variables that both programs read.
const SHARED_ENVIRONMENT: [(&str, &str); 2] = [
    ("NO_COLOR", "Set and not empty: no colours."),
    ("COLUMNS", "Width of the output in characters, where it should not be the terminal's own."),
];

/// What must be said wherever a player is told to move.
const CAUTION: &str =
    "Warm up before you swing, stop on pain. peakorder measures; it gives no medical advice.";

/// Program-specific parts of its pages.
#[derive(Debug, Clone, Copy)]
pub struct Program {
    /// What its page says beyond the list of commands.
    pub description: &'static [&'static str],
    /// Environment variables and their meaning, beside those that both programs read.
    pub environment: &'static [(&'static str, &'static str)],
    /// Files and what they hold.
    pub files: &'static [(&'static str, &'static str)],
    /// Commands a reader may try first, and what they do.
    pub examples: &'static [(&'static str, &'static str)],
    /// Pages of other programs, with their sections in brackets.
    pub see_also: &'static [&'static str],
}

/// Arguments of the command `completions`.
#[derive(Debug, clap::Args)]
pub struct CompletionsArguments {
    /// The shell to complete commands in.
    #[arg(value_name = "SHELL")]
    shell: Shell,
}

/// Arguments of the command `manual`.
#[derive(Debug, clap::Args)]
pub struct ManualArguments {
    /// Folder to write all pages to, one file each; without it the program's own page is printed.
    #[arg(long, value_name = "DIR")]
    into: Option<PathBuf>,
}

/// The completions of `C`'s commands as text.
pub fn completions<C: CommandFactory>(arguments: &CompletionsArguments) -> String {
    let mut command = C::command();
    let name = command.get_name().to_owned();
    let mut out = Vec::new();
    clap_complete::generate(arguments.shell, &mut command, name, &mut out);
    String::from_utf8_lossy(&out).into_owned()
}

/// Writes the pages of `C`'s commands; what is to be printed is returned.
///
/// Their date is that of `SOURCE_DATE_EPOCH`, so that a release's files can be made again, or today's.
pub fn manual<C: CommandFactory>(arguments: &ManualArguments, program: &Program) -> io::Result<String> {
    let mut command = C::command().disable_help_subcommand(true);
    command.build();
    let date = date();
    let Some(folder) = &arguments.into else {
        return Ok(page(&command, &command, program, &date)?.1);
    };
    std::fs::create_dir_all(folder)?;
    write_pages(folder, &command, &command, program, &date)?;
    Ok(String::new())
}

fn date() -> String {
    let epoch = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|s| s.parse().ok());
    let day = epoch.and_then(|s| jiff::Timestamp::from_second(s).ok()).unwrap_or_else(jiff::Timestamp::now);
    day.strftime("%Y-%m-%d").to_string()
}

fn write_pages(
    folder: &Path,
    top: &Command,
    command: &Command,
    program: &Program,
    date: &str,
) -> io::Result<()> {
    for inner in command.get_subcommands().filter(|c| !c.is_hide_set()) {
        write_pages(folder, top, inner, program, date)?;
    }
    let (file, text) = page(top, command, program, date)?;
    std::fs::write(folder.join(file), text)
}

/// One page: its file's name and its text.
fn page(top: &Command, command: &Command, program: &Program, date: &str) -> io::Result<(String, String)> {
    let name = top.get_name();
    let whole = command.get_name() == name;
    let version = top.get_version().unwrap_or_default();
    let man = Man::new(command.clone())
        .title(command.get_display_name().unwrap_or(name).to_uppercase())
        .date(date)
        .source(format!("peakorder {version}"))
        .manual("peakorder manual");
    let mut out = Vec::new();
    man.render_title(&mut out)?;
    man.render_name_section(&mut out)?;
    man.render_synopsis_section(&mut out)?;
    man.render_description_section(&mut out)?;
    let mut roff = Roff::new();
    if whole {
        for paragraph in program.description {
            roff.control("PP", []);
            roff.text([roman(*paragraph)]);
        }
    }
    roff.to_writer(&mut out)?;
    if command.get_arguments().any(|a| !a.is_hide_set()) {
        man.render_options_section(&mut out)?;
    }
    if command.get_subcommands().any(|c| !c.is_hide_set()) {
        man.render_subcommands_section(&mut out)?;
    }
    let mut roff = Roff::new();
    listed(&mut roff, "EXIT STATUS", &crate::exit::CODES);
    if whole {
        let environment: Vec<_> = program.environment.iter().chain(&SHARED_ENVIRONMENT).copied().collect();
        listed(&mut roff, "ENVIRONMENT", &environment);
        listed(&mut roff, "FILES", program.files);
        listed(&mut roff, "EXAMPLES", program.examples);
    }
    roff.control("SH", ["CAUTION"]);
    roff.text([roman(CAUTION)]);
    roff.control("SH", ["SEE ALSO"]);
    let own = if whole { None } else { Some(format!("{name}(1)")) };
    let others: Vec<String> = own.into_iter().chain(program.see_also.iter().map(|&s| s.to_owned())).collect();
    roff.text(references(&others));
    roff.to_writer(&mut out)?;
    Ok((man.get_filename(), String::from_utf8_lossy(&out).into_owned()))
}

/// A section of terms and what they mean.
fn listed(roff: &mut Roff, heading: &str, rows: &[(&str, &str)]) {
    if rows.is_empty() {
        return;
    }
    roff.control("SH", [heading]);
    for (term, meaning) in rows {
        roff.control("TP", []);
        roff.text([bold(*term)]);
        roff.text([roman(*meaning)]);
    }
}

/// `name(1), other(8)` with the names in bold.
fn references(pages: &[String]) -> Vec<Inline> {
    let mut line = Vec::new();
    for (n, page) in pages.iter().enumerate() {
        if n > 0 {
            line.push(roman(", "));
        }
        let (name, section) = page.split_at(page.find('(').unwrap_or(page.len()));
        line.push(bold(name));
        line.push(roman(section));
    }
    line
}
