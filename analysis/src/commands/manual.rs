//! What the man page of `peakorder` says beyond its command line.

use anyhow::Context as _;
use clap::CommandFactory;
use peakorder_analysis::packaged::{ManualArguments, Program, manual};

const PROGRAM: Program = Program {
    description: &[
        "Reads the session folders that peakorderd(1) writes, and no others. A session, or one block of it, is \
         named by its folder: FOLDER or FOLDER:BLOCK. Nothing in a session folder is changed.",
        "No number is judged good or bad: the only yardstick is the player's own ordinary variation from swing to \
         swing.",
    ],
    environment: &[],
    files: &[
        ("FOLDER/session.toml", "Who, when, with what straps; blocks and troubles."),
        ("FOLDER/swings/NNNN.json", "One swing or repetition: what was measured, with uncertainties."),
        ("FOLDER/remarks.jsonl", "What the coach said of swings afterwards."),
        ("/usr/share/doc/peakorder/docs/formats/", "Every file, described for other programs."),
    ],
    examples: &[
        ("peakorder show FOLDER", "Shows a session's swings and what each block has in common."),
        (
            "peakorder compare FOLDER:baseline FOLDER:after",
            "Says what changed by more than ordinary variation from swing to swing.",
        ),
        ("peakorder report FOLDER --out lesson.html", "Writes the sheet that the player takes home."),
    ],
    see_also: &["peakorderd(1)"],
};

/// Runs `manual`; what is to be printed is returned.
pub(crate) fn run<C: CommandFactory>(arguments: &ManualArguments) -> anyhow::Result<String> {
    manual::<C>(arguments, &PROGRAM).context("the man pages could not be written")
}
