//! What comes of a session: swing files, the session file, live events.

mod told;

pub use told::{Told, text_of};

use peakorder_motion::pipeline::Output;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::mobility::{Mobility, MobilityCheck};
use peakorder_protocol::session::{Session, SessionDir, SessionError};
use peakorder_protocol::swing::Swing;
use peakorder_protocol::trouble::{Trouble, TroubleNote};
use tokio::sync::broadcast;

/// Writes what the pipeline puts out into a session folder and tells watchers. A file that
/// cannot be written is tried again with the next one; a replay makes what is missing then.
pub struct Outputs {
    dir: SessionDir,
    session: Session,
    mobility: Mobility,
    watchers: broadcast::Sender<LiveEvent>,
    /// The highest number of a swing or repetition.
    numbered: u32,
    repetitions: u32,
    unwritten: Vec<ComputedFile>,
    /// The watchers know that files cannot be written.
    told_unwritten: bool,
}

/// A file that is computed from the recording.
enum ComputedFile {
    Session,
    Mobility,
    Swing { number: u32, json: String, curves: Vec<u8> },
    Repetition { number: u32, json: String },
}

impl ComputedFile {
    /// There is one of each number; of the others there is one.
    const fn is_numbered(&self) -> bool {
        matches!(self, Self::Swing { .. } | Self::Repetition { .. })
    }
}

/// A watcher further behind than this loses the oldest events; the daemon never waits.
const WATCHER_BACKLOG: usize = 256;
/// Swing files that wait for the disk; a hundred kilobytes each.
const UNWRITTEN: usize = 200;

impl Outputs {
    /// For the session in `dir`, whose `session.toml` is written at once.
    pub fn new(dir: SessionDir, mut session: Session) -> Result<Self, SessionError> {
        session.calibration.clear();
        session.computed_by = super::output::program();
        dir.write_session(&session)?;
        dir.remove_mobility()?;
        let mobility = Mobility::new(&session.id, session.player.handedness);
        let (watchers, _) = broadcast::channel(WATCHER_BACKLOG);
        Ok(Self {
            dir,
            session,
            mobility,
            watchers,
            numbered: 0,
            repetitions: 0,
            unwritten: Vec::new(),
            told_unwritten: false,
        })
    }

    /// A new watcher: sees what happens from now on.
    pub fn watch(&self) -> broadcast::Receiver<LiveEvent> {
        self.watchers.subscribe()
    }

    /// The session as it stands.
    pub fn session(&self) -> &Session {
        &self.session
    }

    /// The folder.
    pub fn dir(&self) -> &SessionDir {
        &self.dir
    }

    /// Writes one output: files first, then watchers.
    pub fn write(&mut self, output: &Output, t_s: f64) {
        match output {
            Output::Swing(swing, curves) => {
                self.numbered = swing.number;
                let (number, curves) = (swing.number, curves.to_bytes());
                match swing.to_json() {
                    Ok(json) => self.write_file(ComputedFile::Swing { number, json, curves }, t_s),
                    // No file can hold it, so it is not tried again, and watchers could not read it.
                    Err(error) => {
                        tracing::error!(%error, number, "A swing was left out.");
                        return;
                    }
                }
            }
            Output::Repetition(repetition) => {
                self.numbered = repetition.number;
                self.repetitions += 1;
                let number = repetition.number;
                match repetition.to_json() {
                    Ok(json) => self.write_file(ComputedFile::Repetition { number, json }, t_s),
                    Err(error) => {
                        tracing::error!(%error, number, "A repetition was left out.");
                        return;
                    }
                }
            }
            Output::Calibration(judged) => {
                self.session.calibration.push(judged.clone());
                self.write_file(ComputedFile::Session, t_s);
            }
            Output::Mobility(check) => {
                self.mobility.checks.push(MobilityCheck::clone(check));
                self.write_file(ComputedFile::Mobility, t_s);
            }
            Output::Block { .. } | Output::Wearing { .. } | Output::Strap(_) => {}
            Output::BadPacket { role, error, .. } => {
                tracing::warn!(%role, %error, "A packet could not be decoded.");
            }
            Output::NotARepetition { t_s, why } => {
                tracing::debug!(t_s, %why, "A turn in a drill was no repetition.");
            }
            Output::NotASwing { t_s, why } => {
                tracing::debug!(t_s, %why, "A fast movement was not a swing.");
            }
        }
        if let Some(event) = event_of(output) {
            self.tell(event);
        }
    }

    /// Notes a trouble in the session file and tells the watchers.
    pub fn trouble(&mut self, t_s: f64, what: Trouble) {
        tracing::debug!(trouble = ?what, "The session has a trouble.");
        self.session.troubles.push(TroubleNote { t_ms: (t_s * 1e3) as u64, what: what.clone() });
        self.tell(LiveEvent::Trouble { t_s, what });
        if let Err(error) = self.dir.write_session(&self.session) {
            tracing::warn!(%error, "The session file could not be written.");
            self.keep(ComputedFile::Session);
        }
    }

    /// Writes a file, after those that still wait. Watchers are told of the first that fails.
    fn write_file(&mut self, file: ComputedFile, t_s: f64) {
        self.keep(file);
        if let Err(error) = self.write_waiting()
            && !self.told_unwritten
        {
            self.told_unwritten = true;
            tracing::warn!(%error, "A file of the session could not be written.");
            // Watchers are told the name in the session's folder: the whole path names this computer's user.
            let folder = self.dir.path();
            let (file, why) = match &error {
                SessionError::Io { path, source } => {
                    let file = path.strip_prefix(folder).unwrap_or(path);
                    (file.display().to_string(), source.to_string())
                }
                other => {
                    let whole = format!("{}{}", folder.display(), std::path::MAIN_SEPARATOR);
                    ("the session".into(), other.to_string().replace(&whole, ""))
                }
            };
            self.trouble(t_s, Trouble::FileNotWritten { file, why });
        }
    }

    fn keep(&mut self, file: ComputedFile) {
        if !file.is_numbered() {
            // Only the newest content counts.
            self.unwritten.retain(|f| std::mem::discriminant(f) != std::mem::discriminant(&file));
        }
        if self.unwritten.len() < UNWRITTEN {
            self.unwritten.push(file);
        }
    }

    fn write_waiting(&mut self) -> Result<(), SessionError> {
        while let Some(file) = self.unwritten.first() {
            let written = match file {
                ComputedFile::Session => self.dir.write_session(&self.session),
                ComputedFile::Mobility => self.dir.write_mobility(&self.mobility),
                ComputedFile::Swing { number, json, curves } => self.dir.write_swing(*number, json, curves),
                ComputedFile::Repetition { number, json } => self.dir.write_repetition(*number, json),
            };
            // What cannot be put into a file at all must not keep the others waiting.
            if !matches!(written, Err(SessionError::Io { .. })) {
                self.unwritten.remove(0);
            }
            written?;
        }
        self.told_unwritten = false;
        Ok(())
    }

    /// The session has ended at session time `t_s`. Returns its folder and the number of
    /// computed files that are not there.
    pub fn finish(mut self, t_s: f64) -> (SessionDir, u32) {
        self.write_file(ComputedFile::Session, t_s);
        let others = self.unwritten.iter().filter(|f| !f.is_numbered()).count();
        let missing = (1..=self.numbered).filter(|n| !self.dir.swing_path(*n).exists()).count();
        self.tell(LiveEvent::SessionEnded { t_s, swings: self.numbered - self.repetitions });
        (self.dir, (others + missing) as u32)
    }

    fn tell(&self, event: LiveEvent) {
        // No watcher is no error.
        let _ = self.watchers.send(event);
    }
}

/// What watchers are told of an output.
pub fn event_of(output: &Output) -> Option<LiveEvent> {
    Some(match output {
        Output::Swing(swing, _) => LiveEvent::Swing { swing: Box::new(Swing::clone(swing)) },
        Output::Calibration(judged) => LiveEvent::Calibration { judged: judged.clone() },
        Output::Block { t_s, label, drill } => {
            LiveEvent::Block { t_s: *t_s, label: label.clone(), drill: *drill }
        }
        Output::Repetition(repetition) => LiveEvent::Repetition { repetition: repetition.clone() },
        Output::Wearing { t_s, wearing } => LiveEvent::Wearing { t_s: *t_s, wearing: *wearing },
        Output::Strap(event) => {
            LiveEvent::Strap { t_s: event.t_ns as f64 * 1e-9, role: event.role, what: event.what.clone() }
        }
        Output::Mobility(check) => LiveEvent::Mobility { check: check.clone() },
        Output::BadPacket { .. } | Output::NotARepetition { .. } | Output::NotASwing { .. } => return None,
    })
}

/// Name and version, as written into session files.
pub fn program() -> String {
    concat!("peakorderd ", env!("CARGO_PKG_VERSION")).into()
}
