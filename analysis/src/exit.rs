//! How both programs end: their exit codes, for help and manual.

/// Each code with its meaning.
pub const CODES: [(&str, &str); 4] = [
    ("0", "Done."),
    (
        "1",
        "The work failed, or not all of it could be done; standard error says in one line what is wrong and what to do.",
    ),
    ("2", "The command line is not understood; nothing was begun."),
    (
        "128+N",
        "Signal N ended the program, as a shell counts it: 137 after SIGKILL. SIGINT, SIGTERM and SIGHUP end `peakorderd run` and `serve` in order, with 0.",
    ),
];

/// The codes as a section of a help text.
pub fn section() -> String {
    let lines = CODES.map(|(code, meaning)| format!("\n  {code:<6} {meaning}"));
    format!("Exit status:{}", lines.concat())
}
