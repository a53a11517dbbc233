//! Messages to the service manager by the protocol of `sd_notify(3)`. Without one, and where there is none, nothing happens.

use std::io;
use std::time::{Duration, Instant};

/// How often a daemon looks whether it is alive, at least.
const LOOK: Duration = Duration::from_secs(1);
/// And at most, whatever is asked.
const LOOK_AT_MOST: Duration = Duration::from_millis(50);

/// The service manager that started this program, if one did.
pub struct ServiceManager {
    tell: Box<dyn FnMut(Message<'_>) -> io::Result<()> + Send>,
    /// It ends this program unless it hears from it within this time.
    watchdog: Option<Duration>,
    heard: Option<Instant>,
    status: String,
    /// A message could not be sent, which was logged.
    deaf: bool,
}

#[derive(Debug, Clone, Copy)]
enum Message<'a> {
    Ready,
    Status(&'a str),
    Alive,
    Stopping,
}

impl ServiceManager {
    /// The one that the environment names.
    pub fn of_environment() -> Self {
        Self { tell: Box::new(send), watchdog: watchdog(), heard: None, status: String::new(), deaf: false }
    }

    /// One that asks for signs of life within `watchdog`; `tell` gets what it is sent.
    #[cfg(all(test, unix))]
    pub(crate) fn telling(watchdog: Duration, mut tell: impl FnMut(&str) + Send + 'static) -> Self {
        let tell = Box::new(move |message: Message<'_>| {
            tell(&message.state().to_string());
            Ok(())
        });
        Self { tell, watchdog: Some(watchdog), heard: None, status: String::new(), deaf: false }
    }

    /// The program does its work from now on.
    pub fn ready(&mut self) {
        self.send(Message::Ready);
    }

    /// What the program does, on one line. Everybody on this computer can read it.
    pub fn status(&mut self, status: String) {
        if status != self.status {
            self.send(Message::Status(&status));
            self.status = status;
        }
    }

    /// The program is about to end.
    pub fn stopping() {
        if let Err(error) = send(Message::Stopping) {
            tracing::debug!(%error, "The service manager was not told of the end.");
        }
    }

    /// How often [`Self::alive`] is to be called.
    pub fn look_every(&self) -> Duration {
        self.watchdog.map_or(LOOK, |interval| (interval / 4).clamp(LOOK_AT_MOST, LOOK))
    }

    /// To be called where it has just been seen that the program does its work, and only there. Tells the service manager at
    /// half the interval that it asks for.
    pub fn alive(&mut self) {
        let Some(interval) = self.watchdog else { return };
        let next_look = Instant::now() + self.look_every();
        if self.heard.is_none_or(|at| next_look.duration_since(at) > interval / 2) {
            self.send(Message::Alive);
            self.heard = Some(Instant::now());
        }
    }

    fn send(&mut self, message: Message<'_>) {
        if let Err(error) = (self.tell)(message)
            && !std::mem::replace(&mut self.deaf, true)
        {
            tracing::warn!(%error, "The service manager does not listen at NOTIFY_SOCKET.");
        }
    }
}

#[cfg(unix)]
fn watchdog() -> Option<Duration> {
    sd_notify::watchdog_enabled().filter(|interval| !interval.is_zero())
}

#[cfg(unix)]
impl<'a> Message<'a> {
    fn state(self) -> sd_notify::NotifyState<'a> {
        use sd_notify::NotifyState;
        match self {
            Self::Ready => NotifyState::Ready,
            Self::Status(status) => NotifyState::Status(status),
            Self::Alive => NotifyState::Watchdog,
            Self::Stopping => NotifyState::Stopping,
        }
    }
}

#[cfg(unix)]
fn send(message: Message<'_>) -> io::Result<()> {
    sd_notify::notify(&[message.state()])
}

#[cfg(not(unix))]
fn watchdog() -> Option<Duration> {
    None
}

#[cfg(not(unix))]
fn send(_: Message<'_>) -> io::Result<()> {
    Ok(())
}
