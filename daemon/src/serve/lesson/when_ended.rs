//! A program of the owner's that runs after every lesson: to add the session to a dataset, or to send it elsewhere.

use crate::service::ENVIRONMENT;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Characters of what the program said that are told.
const TOLD: usize = 300;

/// The program, if one is wanted.
#[derive(Debug, Clone, Default)]
pub struct WhenEnded(Option<PathBuf>);

impl WhenEnded {
    /// Runs `program` with the session's folder as its one argument.
    pub const fn run(program: Option<PathBuf>) -> Self {
        Self(program)
    }

    /// Starts it for a session and waits for it on a thread of its own. Lessons do not wait; what goes wrong is logged, and the session
    /// is none the worse for it.
    pub(super) fn start(&self, session: &Path) {
        let Some(program) = self.0.clone() else { return };
        let session = session.to_owned();
        let done = std::thread::Builder::new().name("when-ended".into()).spawn(move || {
            // Without this program's terminal: it must not take the coach's keys.
            let mut command = Command::new(&program);
            for variable in ENVIRONMENT {
                command.env_remove(variable);
            }
            let output = command
                .arg(&session)
                .stdin(Stdio::null())
                .stdout(Stdio::null())
                .stderr(Stdio::piped())
                .output();
            let (program, session) = (program.display(), session.display());
            match output {
                Ok(output) if output.status.success() => {
                    tracing::info!(%program, %session, "The program for ended lessons is done.");
                }
                Ok(output) => {
                    let said = String::from_utf8_lossy(&output.stderr);
                    let said: String = said.trim().chars().take(TOLD).collect();
                    tracing::warn!(%program, %session, status = %output.status, %said,
                        "The program for ended lessons failed; give it the session again.");
                }
                Err(error) => {
                    tracing::warn!(%program, %session, %error, "The program for ended lessons cannot be started.");
                }
            }
        });
        if let Err(error) = done {
            tracing::warn!(%error, "The program for ended lessons cannot be waited for.");
        }
    }
}
