//! Avahi over D-Bus: one entry group with one service.
//!
//! The interface is that of `org.freedesktop.Avahi.Server.xml` and `…EntryGroup.xml`, which Avahi installs; the numbers of the
//! states are those of `avahi-common/defs.h`. Avahi is never started by this: it is only spoken to while it runs.

use super::Announced;
use crate::serve::access::host::AnnouncedHost;
use dbus::Path;
use dbus::blocking::LocalConnection;
use dbus::message::MatchRule;
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Duration;

const AVAHI: &str = "org.freedesktop.Avahi";
const SERVER: &str = "org.freedesktop.Avahi.Server";
const GROUP: &str = "org.freedesktop.Avahi.EntryGroup";
/// What Avahi says of a name that this computer has given away already.
const COLLISION_ERROR: &str = "org.freedesktop.Avahi.CollisionError";
/// Every interface, and both internet protocols.
const ANY: i32 = -1;

/// `AVAHI_SERVER_RUNNING`.
const SERVER_RUNNING: i32 = 2;
/// `AVAHI_ENTRY_GROUP_ESTABLISHED`, `…_COLLISION`, `…_FAILURE`.
const ESTABLISHED: i32 = 2;
const COLLISION: i32 = 3;
const FAILURE: i32 = 4;

/// Avahi answers at once, or not at all.
const ANSWER: Duration = Duration::from_secs(5);
/// How soon the end of the program is noticed.
const LOOK: Duration = Duration::from_millis(200);
/// A bus that is gone is looked for this often.
const AGAIN: Duration = Duration::from_secs(10);
/// Other names that are tried where one is taken.
const NAMES: usize = 20;
/// Longest name of a service, bytes (RFC 6763, section 4.1.1).
const NAME_BYTES: usize = 63;

/// What the bus tells.
enum News {
    /// Avahi is there now, or gone.
    Avahi(bool),
    Server(i32),
    Group(Path<'static>, i32),
}

/// Announces `what` until `stop` is dropped.
pub(super) fn announce(what: Announced, host: &AnnouncedHost, stop: &Receiver<()>) {
    loop {
        match on_bus(what, host, stop) {
            Ok(()) => return,
            Err(why) => tracing::debug!(%why, "No system bus to announce the page on."),
        }
        host.set(None);
        if ended(stop, AGAIN) {
            return;
        }
    }
}

fn ended(stop: &Receiver<()>, wait: Duration) -> bool {
    !matches!(stop.recv_timeout(wait), Err(RecvTimeoutError::Timeout))
}

/// Done when the program ends; an error means that the bus is gone.
fn on_bus(what: Announced, host: &AnnouncedHost, stop: &Receiver<()>) -> Result<(), dbus::Error> {
    let bus = LocalConnection::new_system()?;
    let news = Rc::new(RefCell::new(VecDeque::new()));
    let tell = |what| news.borrow_mut().push_back(what);

    let told = Rc::clone(&news);
    let owners = MatchRule::new_signal("org.freedesktop.DBus", "NameOwnerChanged");
    bus.add_match(owners, move |(name, _, new): (String, String, String), _, _| {
        if name == AVAHI {
            told.borrow_mut().push_back(News::Avahi(!new.is_empty()));
        }
        true
    })?;
    let told = Rc::clone(&news);
    bus.add_match(MatchRule::new_signal(SERVER, "StateChanged"), move |(state, _): (i32, String), _, _| {
        told.borrow_mut().push_back(News::Server(state));
        true
    })?;
    let told = Rc::clone(&news);
    bus.add_match(
        MatchRule::new_signal(GROUP, "StateChanged"),
        move |(state, _): (i32, String), _, message| {
            if let Some(path) = message.path() {
                told.borrow_mut().push_back(News::Group(path.into_static(), state));
            }
            true
        },
    )?;
    let there = bus.with_proxy("org.freedesktop.DBus", "/org/freedesktop/DBus", ANSWER);
    let (there,): (bool,) = there.method_call("org.freedesktop.DBus", "NameHasOwner", (AVAHI,))?;
    if there {
        tell(News::Avahi(true));
    }

    let mut service = Service { bus: &bus, what, host, group: None, name: None, tried: 0 };
    loop {
        loop {
            // Not while it is handled: handling waits for answers, and then more comes.
            let Some(next) = news.borrow_mut().pop_front() else { break };
            if let Err(why) = service.hear(next) {
                tracing::warn!(%why, "Avahi does not announce the page.");
            }
        }
        if ended(stop, Duration::ZERO) {
            service.withdraw();
            return Ok(());
        }
        bus.process(LOOK)?;
    }
}

/// The page, as Avahi has it.
struct Service<'a> {
    bus: &'a LocalConnection,
    what: Announced,
    host: &'a AnnouncedHost,
    group: Option<Path<'static>>,
    /// A name in place of the usual one, which is taken.
    name: Option<String>,
    tried: usize,
}

impl Service<'_> {
    fn hear(&mut self, news: News) -> Result<(), dbus::Error> {
        match news {
            News::Avahi(true) => {
                self.name = None;
                self.tried = 0;
                let (state,): (i32,) = self.server("GetState", ())?;
                if state == SERVER_RUNNING { self.register() } else { Ok(()) }
            }
            // Its groups went with it.
            News::Avahi(false) => {
                self.group = None;
                self.host.set(None);
                Ok(())
            }
            // The computer has its name in the network, perhaps another than before.
            News::Server(SERVER_RUNNING) => self.register(),
            News::Server(_) => {
                self.withdraw();
                Ok(())
            }
            News::Group(path, state) if Some(&path) == self.group.as_ref() => self.group_is(state),
            News::Group(..) => Ok(()),
        }
    }

    fn group_is(&mut self, state: i32) -> Result<(), dbus::Error> {
        match state {
            ESTABLISHED => {
                let (host,): (String,) = self.server("GetHostNameFqdn", ())?;
                tracing::info!(host, port = self.what.port, "The page is announced in the network.");
                self.host.set(Some(host));
                Ok(())
            }
            COLLISION => {
                self.rename()?;
                self.register()
            }
            FAILURE => {
                self.withdraw();
                tracing::warn!("Avahi has given up announcing the page.");
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// Announces the page anew, under the first name that nobody has.
    fn register(&mut self) -> Result<(), dbus::Error> {
        loop {
            self.withdraw();
            let name = if let Some(name) = &self.name {
                name.clone()
            } else {
                let (host,): (String,) = self.server("GetHostName", ())?;
                self.name.insert(name_on(&host)).clone()
            };
            let (path,): (Path<'static>,) = self.server("EntryGroupNew", ())?;
            self.group = Some(path.clone());
            let kind = if self.what.encrypted { "_https._tcp" } else { "_http._tcp" };
            let text = vec![b"path=/".to_vec()];
            // Domain and host are the usual ones.
            let service = (ANY, ANY, 0_u32, name.as_str(), kind, "", "", self.what.port, text);
            let group = self.bus.with_proxy(AVAHI, path, ANSWER);
            let added = group
                .method_call::<(), _, _, _>(GROUP, "AddService", service)
                .and_then(|()| group.method_call::<(), _, _, _>(GROUP, "Commit", ()));
            match added {
                Err(why) if why.name() == Some(COLLISION_ERROR) => self.rename()?,
                other => return other,
            }
        }
    }

    /// Takes another name than the one that is taken.
    fn rename(&mut self) -> Result<(), dbus::Error> {
        self.tried += 1;
        if self.tried > NAMES {
            return Err(dbus::Error::new_failed("every name that was tried is taken"));
        }
        let taken = self.name.clone().unwrap_or_default();
        let (other,): (String,) = self.server("GetAlternativeServiceName", (taken,))?;
        self.name = Some(other);
        Ok(())
    }

    fn withdraw(&mut self) {
        self.host.set(None);
        if let Some(path) = self.group.take() {
            let freed: Result<(), _> =
                self.bus.with_proxy(AVAHI, path, ANSWER).method_call(GROUP, "Free", ());
            if let Err(why) = freed {
                tracing::debug!(%why, "An announcement could not be withdrawn.");
            }
        }
    }

    fn server<A, R>(&self, method: &str, arguments: A) -> Result<R, dbus::Error>
    where
        A: dbus::arg::AppendAll,
        R: dbus::arg::ReadAll,
    {
        self.bus.with_proxy(AVAHI, "/", ANSWER).method_call(SERVER, method, arguments)
    }
}

fn name_on(host: &str) -> String {
    let mut name = format!("peakorder on {host}");
    name.truncate(name.floor_char_boundary(NAME_BYTES));
    name
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_name_is_cut_between_characters() {
        assert_eq!(name_on("bay-2"), "peakorder on bay-2");
        let long = name_on(&"ä".repeat(60));
        assert_eq!((long.len(), long.ends_with('ä')), (63, true));
    }
}
