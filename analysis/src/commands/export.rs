//! `peakorder export`.

use crate::{CodeArguments, keep, loaded};
use peakorder_analysis::export;
use peakorder_protocol::text::clean;
use std::path::PathBuf;

/// Arguments of `peakorder export`.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("where").args(["out", "into"]))]
#[command(group = clap::ArgGroup::new("coded").args(["codes", "into"]).multiple(true))]
pub(crate) struct ExportArguments {
    /// Session folder, or FOLDER:BLOCK for one block of it. With --into session folders, or folders that hold them.
    #[arg(value_name = "FOLDER[:BLOCK]", required = true)]
    sessions: Vec<String>,
    /// File to write the swings to as CSV, one row a swing, the unit in each column's name; without it and --into,
    /// standard output.
    #[arg(long, value_name = "FILE.csv")]
    out: Option<PathBuf>,
    /// Replace the file if it is there.
    #[arg(long, requires = "out")]
    force: bool,
    /// Folder to make: everything in the sessions as tables, with a description of every column in datapackage.json. Names are
    /// replaced by codes, and what was typed is left out.
    #[arg(long, value_name = "FOLDER")]
    into: Option<PathBuf>,
    #[cfg(feature = "open-data")]
    #[command(flatten)]
    folder: folder::FolderArguments,
    /// With --out: put codes in place of names, folders and ids, and leave out goal, limits, notes and all else that was typed.
    #[arg(long, conflicts_with = "into")]
    codes: bool,
    /// Key of the codes, so that a player keeps one code; made if it is not there. Keep it to yourself.
    #[arg(long, value_name = "FILE", requires = "coded")]
    code_key: Option<PathBuf>,
}

pub(crate) fn run(arguments: &ExportArguments) -> anyhow::Result<String> {
    #[cfg(feature = "open-data")]
    if let Some(into) = &arguments.into {
        return folder::run(arguments, into);
    }
    #[cfg(not(feature = "open-data"))]
    if arguments.into.is_some() {
        anyhow::bail!(
            "this peakorder was built without tables of open data; build it with its default features"
        );
    }
    let [session] = arguments.sessions.as_slice() else {
        anyhow::bail!("one CSV is of one session; for several, --into FOLDER makes tables");
    };
    let codes = CodeArguments { codes: arguments.codes, code_key: arguments.code_key.clone() };
    let table = export::csv(&loaded(session, codes.open()?.as_ref())?)?;
    match &arguments.out {
        None => Ok(table),
        Some(out) => {
            keep(out, &table, arguments.force)?;
            Ok(format!("wrote {}\n", clean(&out.display().to_string())))
        }
    }
}

#[cfg(feature = "open-data")]
mod folder {
    use crate::complain;
    use peakorder_analysis::codes::Codes;
    use peakorder_analysis::export::{Kind, Wanted, What, export};
    use peakorder_protocol::text::clean;
    use peakorder_tables::Format;
    use std::fmt::Write as _;
    use std::path::{Path, PathBuf};

    #[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
    enum Files {
        /// Tables as text.
        Csv,
        /// Tables as Apache Parquet.
        Parquet,
        /// The recordings, one file a session.
        Mcap,
    }

    #[derive(Debug, clap::Args)]
    pub(super) struct FolderArguments {
        /// Files in that folder: tables as CSV or Parquet, or the recordings as MCAP.
        #[arg(
            long,
            value_name = "FORMAT",
            value_enum,
            requires = "into",
            default_value = "csv",
            hide_possible_values = true
        )]
        format: Files,
        /// Only these tables: sessions, swings, blocks, repetitions, remarks, measures, curves, curves_normalised,
        /// samples_segment, samples_strap, orientations, gaps, marks, calibration, mountings.
        #[arg(
            long,
            value_name = "TABLE",
            value_delimiter = ',',
            requires = "into",
            conflicts_with = "for_import"
        )]
        only: Vec<What>,
        /// Instead of tables what peakorderd import takes: a CSV of samples for each strap, and the marks. Of one session.
        #[arg(long, requires = "into", conflicts_with = "format")]
        for_import: bool,
        /// Keep names, and what was typed, in that folder.
        #[arg(long, requires = "into")]
        names: bool,
    }

    pub(crate) fn run(arguments: &super::ExportArguments, into: &Path) -> anyhow::Result<String> {
        let asked = &arguments.folder;
        let codes = match &arguments.code_key {
            Some(file) => Codes::from_file(file)?,
            None => Codes::fresh()?,
        };
        let kind = match (asked.for_import, asked.format) {
            (true, _) => Kind::ForImport,
            (false, Files::Csv) => Kind::Tables(Format::Csv),
            (false, Files::Parquet) => Kind::Tables(Format::Parquet),
            (false, Files::Mcap) => Kind::Mcap,
        };
        if kind == Kind::Mcap && !asked.only.is_empty() {
            anyhow::bail!("--only chooses tables, and an MCAP file has none; leave one of them out");
        }
        let sessions: Vec<PathBuf> = arguments.sessions.iter().map(PathBuf::from).collect();
        let wanted =
            Wanted { sessions: &sessions, into, kind, only: &asked.only, codes: &codes, names: asked.names };
        let done = export(&wanted)?;
        for notice in &done.notices {
            complain(notice);
        }
        let mut text = format!("wrote {}\n", clean(&into.display().to_string()));
        for (name, rows) in &done.files {
            // Writing to a string cannot fail.
            let _ = writeln!(text, "  {name}: {rows} rows");
        }
        if let Some(line) = done.import {
            let _ = writeln!(text, "to import: {}", clean(&line));
        }
        Ok(text)
    }
}
