//! `peakorderd completions` and `peakorderd manual`, and what its man page says beyond the command line.

use anyhow::Context as _;
use peakorder_analysis::packaged::{self, CompletionsArguments, ManualArguments, Program};
use peakorder_analysis::terminal;
use std::process::ExitCode;

const PROGRAM: Program = Program {
    description: &[
        "Takes the straps' packets over Bluetooth, from virtual straps, from a recording or from CSV files; puts \
         them on disk before anything else; and writes a file for every swing into the session's folder, which \
         peakorder(1) shows and compares.",
        "As a service it is peakorderd serve: of one user (systemctl --user enable --now peakorderd) or of a \
         computer in a bay (systemctl enable --now peakorderd). Both are installed switched off.",
    ],
    environment: &[
        ("PEAKORDER_CONFIG", "The configuration file, where --config names none."),
        (
            "PEAKORDER_LOG",
            "Diagnostics on standard error: error, warn (what it is without), info, debug, trace; or by part, e.g. \
             warn,peakorder_daemon=debug.",
        ),
        ("CONFIGURATION_DIRECTORY", "Set by systemd: config.toml is looked for there."),
        (
            "STATE_DIRECTORY",
            "Set by systemd: what is written is kept there, unless the configuration names another folder.",
        ),
    ],
    files: &[
        ("~/.config/peakorder/config.toml", "Settings: adapter, how serve serves; see the example."),
        (
            "~/.config/peakorder/config.straps.toml",
            "Which strap is worn where; written by peakorderd straps and the page.",
        ),
        ("~/.config/peakorder/profiles/", "Strap profiles of one's own."),
        ("~/.local/share/peakorder/", "The library: players and sessions."),
        ("/etc/peakorder/config.toml", "The configuration of the system service."),
        ("/var/lib/peakorder/", "What the system service writes: library/ and straps.toml."),
        (
            "/usr/share/doc/peakorder/",
            "README, descriptions of every file format, licences of what is linked.",
        ),
    ],
    examples: &[
        ("peakorderd demo", "Plays an invented lesson without any strap, and shows what came of it."),
        ("peakorderd doctor", "Looks whether this computer is ready for a session."),
        ("peakorderd serve", "Serves the coach's page on this computer, http://127.0.0.1:7311/."),
    ],
    see_also: &["peakorder(1)", "bluetoothctl(1)", "systemctl(1)", "journalctl(1)"],
};

/// Runs `completions`.
pub(super) fn completions(arguments: &CompletionsArguments) -> anyhow::Result<ExitCode> {
    terminal::print(&packaged::completions::<super::Arguments>(arguments))
        .context("cannot write to standard output")?;
    Ok(ExitCode::SUCCESS)
}

/// Runs `manual`.
pub(super) fn run(arguments: &ManualArguments) -> anyhow::Result<ExitCode> {
    let text = packaged::manual::<super::Arguments>(arguments, &PROGRAM)
        .context("the man pages could not be written")?;
    terminal::print(&text).context("cannot write to standard output")?;
    Ok(ExitCode::SUCCESS)
}
