//! What comes of a session: swing files, the session file, live events.

mod told;

pub use told::{Told, text_of};

use peakorder_motion::pipeline::Output;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::mobility::{Mobility, MobilityCheck};
use peakorder_protocol::session::{CalibrationNote, Session, SessionDir, SessionError};
use peakorder_protocol::swing::Swing;
use tokio::sync::broadcast;

/// Writes what the pipeline puts out into a session folder and tells watchers.
pub struct Outputs {
    dir: SessionDir,
    session: Session,
    mobility: Mobility,
    watchers: broadcast::Sender<LiveEvent>,
    swings: u32,
}

/// A watcher further behind than this loses the oldest events; the daemon never waits.
const WATCHER_BACKLOG: usize = 256;

impl Outputs {
    /// For the session in `dir`, whose `session.toml` is written at once.
    pub fn new(dir: SessionDir, mut session: Session) -> Result<Self, SessionError> {
        session.calibration.clear();
        session.computed_by = super::output::program();
        dir.write_session(&session)?;
        dir.remove_mobility()?;
        let mobility = Mobility::new(&session.id, session.player.handedness);
        let (watchers, _) = broadcast::channel(WATCHER_BACKLOG);
        Ok(Self { dir, session, mobility, watchers, swings: 0 })
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
    pub fn write(&mut self, output: &Output) -> Result<(), SessionError> {
        match output {
            Output::Swing(swing, curves) => {
                match self.dir.write_swing(swing, &curves.to_bytes()) {
                    // A number that came out wrong must not end the recording.
                    Err(error @ SessionError::NotFinite { .. }) => {
                        tracing::error!(%error, "A swing was left out.");
                        return Ok(());
                    }
                    written => written?,
                }
                self.swings = swing.number;
            }
            Output::Calibration { t_s, step, role, verdict } => {
                self.session.calibration.push(CalibrationNote {
                    t_s: *t_s,
                    step: step.key().into(),
                    role: *role,
                    ok: verdict.ok,
                    text: verdict.text.clone(),
                    sd_deg: verdict.sd_deg,
                });
                self.dir.write_session(&self.session)?;
            }
            Output::Mobility(check) => {
                self.mobility.checks.push(MobilityCheck::clone(check));
                self.dir.write_mobility(&self.mobility)?;
            }
            Output::Block { .. } | Output::Strap(_) => {}
            Output::BadPacket { role, error, .. } => {
                tracing::warn!(%role, %error, "A packet could not be decoded.");
            }
            Output::NotASwing { t_s, why } => {
                tracing::debug!(t_s, %why, "A fast movement was not a swing.");
            }
        }
        if let Some(event) = event_of(output) {
            self.tell(event);
        }
        Ok(())
    }

    /// The session has ended at session time `t_s`.
    pub fn finish(self, t_s: f64) -> Result<SessionDir, SessionError> {
        self.dir.write_session(&self.session)?;
        self.tell(LiveEvent::SessionEnded { t_s, swings: self.swings });
        Ok(self.dir)
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
        Output::Calibration { t_s, step, role, verdict } => LiveEvent::Calibration {
            t_s: *t_s,
            step: step.key().into(),
            role: *role,
            ok: verdict.ok,
            text: verdict.text.clone(),
        },
        Output::Block { t_s, label } => LiveEvent::Block { t_s: *t_s, label: label.clone() },
        Output::Strap(event) => {
            LiveEvent::Strap { t_s: event.t_ns as f64 * 1e-9, role: event.role, what: event.what.clone() }
        }
        Output::Mobility(check) => LiveEvent::Mobility { check: check.clone() },
        Output::BadPacket { .. } | Output::NotASwing { .. } => return None,
    })
}

/// Name and version, as written into session files.
pub fn program() -> String {
    concat!("peakorderd ", env!("CARGO_PKG_VERSION")).into()
}
