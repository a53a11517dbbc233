//! `peakorderd`: straps in, swings out.

use std::process::ExitCode;

fn main() -> ExitCode {
    peakorder_daemon::cli::main()
}
