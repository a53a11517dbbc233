//! Pieces of the test in a virtual machine that `tests/vm/run.sh` puts together.

#[cfg(target_os = "linux")]
fn main() -> std::process::ExitCode {
    use peakorder_protocol::log::LogWriter;
    use peakorder_tests::vm::{check, radio, scenario};
    use std::path::Path;
    use std::process::ExitCode;

    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match words.as_slice() {
        ["script", script, config] => LogWriter::create(Path::new(script))
            .and_then(|mut log| {
                log.append(&scenario::records(&scenario::session()))?;
                log.sync()
            })
            .map_err(|e| e.to_string())
            .and_then(|()| std::fs::write(config, scenario::config()).map_err(|e| format!("{config}: {e}"))),
        ["play", script, played, trace] => {
            radio::play(Path::new(script), Path::new(played), Path::new(trace))
        }
        ["check", session, played] => {
            let verdict = check::check(Path::new(session), Path::new(played));
            print!("{}", verdict.figures);
            if verdict.faults.is_empty() { Ok(()) } else { Err(verdict.faults.join("\n")) }
        }
        _ => {
            eprintln!(
                "usage: strap_vm script SCRIPT CONFIG | play SCRIPT PLAYED TRACE | check SESSION PLAYED\n\
                 These are pieces of tests/vm/run.sh, which is what you want."
            );
            return ExitCode::from(2);
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

#[cfg(not(target_os = "linux"))]
fn main() {
    eprintln!("the test in a virtual machine runs on Linux only");
}
