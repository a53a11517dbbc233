//! A stand-in for the system's Avahi on a private message bus.
//!
//! After `org.freedesktop.Avahi.Server.xml` and `org.freedesktop.Avahi.EntryGroup.xml`, which Avahi installs, and the states of
//! `avahi-common/defs.h`. Names are taken where a test says so; otherwise a group is established as soon as it is committed.
#![allow(
    clippy::unused_self,
    clippy::unnecessary_wraps,
    clippy::used_underscore_binding,
    reason = "the interfaces prescribe the methods' shapes, and zbus's macro uses every argument"
)]
#![allow(missing_docs, reason = "zbus's macro makes a method without documentation of a signal")]

use crate::bluez::{Bus, runtime};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::runtime::Runtime;
use zbus::message::Header;
use zbus::object_server::SignalEmitter;
use zbus::zvariant::{ObjectPath, OwnedObjectPath};
use zbus::{Connection, DBusError, interface};

const NAME: &str = "org.freedesktop.Avahi";
const RUNNING: i32 = 2;
const ESTABLISHED: i32 = 2;
const COLLISION: i32 = 3;

/// A service as it was added.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Added {
    /// Interface and protocol; -1 for all.
    pub on: (i32, i32),
    /// Its name.
    pub name: String,
    /// Its type.
    pub kind: String,
    /// Domain and host; empty for the usual ones.
    pub at: (String, String),
    /// Its port.
    pub port: u16,
    /// Its text record.
    pub text: Vec<String>,
    /// It was committed.
    pub committed: bool,
}

#[derive(Debug, Default)]
struct State {
    /// Names that this computer has given away: adding one fails.
    taken_here: Vec<String>,
    /// Names that another computer has: found out after the commit.
    taken_elsewhere: Vec<String>,
    groups: BTreeMap<u32, Option<Added>>,
    made: u32,
}

type Shared = Arc<Mutex<State>>;

fn lock(state: &Shared) -> MutexGuard<'_, State> {
    state.lock().unwrap_or_else(PoisonError::into_inner)
}

#[derive(DBusError, Debug)]
#[zbus(prefix = "org.freedesktop.Avahi")]
enum AvahiError {
    #[zbus(error)]
    ZBus(zbus::Error),
    CollisionError(String),
}

struct Server(Shared);

#[interface(name = "org.freedesktop.Avahi.Server")]
impl Server {
    fn get_state(&self) -> i32 {
        RUNNING
    }

    fn get_host_name(&self) -> String {
        "invented-bay".into()
    }

    fn get_host_name_fqdn(&self) -> String {
        "invented-bay.local".into()
    }

    /// As `avahi_alternative_service_name` does it.
    fn get_alternative_service_name(&self, name: &str) -> String {
        match name.rsplit_once(" #").and_then(|(first, n)| Some((first, n.parse::<u32>().ok()?))) {
            Some((first, n)) => format!("{first} #{}", n + 1),
            None => format!("{name} #2"),
        }
    }

    async fn entry_group_new(
        &self,
        #[zbus(connection)] bus: &Connection,
        #[zbus(header)] asked: Header<'_>,
    ) -> Result<OwnedObjectPath, AvahiError> {
        let number = {
            let mut state = lock(&self.0);
            state.made += 1;
            let number = state.made;
            state.groups.insert(number, None);
            number
        };
        let path = ObjectPath::try_from(format!("/Client1/EntryGroup{number}")).map_err(zbus::Error::from)?;
        let owner = asked.sender().map(ToString::to_string).unwrap_or_default();
        bus.object_server().at(&path, Group { state: Arc::clone(&self.0), number, owner }).await?;
        Ok(path.into())
    }
}

struct Group {
    state: Shared,
    number: u32,
    owner: String,
}

#[interface(name = "org.freedesktop.Avahi.EntryGroup")]
impl Group {
    #[expect(clippy::too_many_arguments, reason = "the interface has so many")]
    fn add_service(
        &self,
        interface: i32,
        protocol: i32,
        _flags: u32,
        name: String,
        r#type: String,
        domain: String,
        host: String,
        port: u16,
        txt: Vec<Vec<u8>>,
    ) -> Result<(), AvahiError> {
        let mut state = lock(&self.state);
        if state.taken_here.contains(&name) {
            return Err(AvahiError::CollisionError("Local name collision".into()));
        }
        let text = txt.into_iter().map(|t| String::from_utf8_lossy(&t).into_owned()).collect();
        let added = Added {
            on: (interface, protocol),
            name,
            kind: r#type,
            at: (domain, host),
            port,
            text,
            committed: false,
        };
        state.groups.insert(self.number, Some(added));
        Ok(())
    }

    async fn commit(&self, #[zbus(signal_emitter)] emitter: SignalEmitter<'_>) -> Result<(), AvahiError> {
        let taken = {
            let mut state = lock(&self.state);
            let elsewhere = state.taken_elsewhere.clone();
            let added = state.groups.get_mut(&self.number).and_then(Option::as_mut);
            added.is_some_and(|added| {
                added.committed = true;
                elsewhere.contains(&added.name)
            })
        };
        // Avahi tells the group's owner alone.
        let to_owner = emitter.set_destination(self.owner.as_str().try_into().map_err(zbus::Error::from)?);
        let (state, why) = if taken { (COLLISION, "Local name collision") } else { (ESTABLISHED, "") };
        Ok(Self::state_changed(&to_owner, state, why).await?)
    }

    fn free(&self) {
        lock(&self.state).groups.remove(&self.number);
    }

    #[zbus(signal)]
    async fn state_changed(emitter: &SignalEmitter<'_>, state: i32, error: &str) -> zbus::Result<()>;
}

/// A running Avahi, or the bus that waits for one.
pub struct FakeAvahi {
    runtime: Runtime,
    running: Option<Connection>,
    state: Shared,
    bus: Bus,
}

impl FakeAvahi {
    /// A bus with Avahi on it. `None` without `dbus-daemon`.
    ///
    /// # Panics
    /// Where it does not start.
    pub fn start() -> Option<Self> {
        let bus = Bus::start()?;
        let runtime = runtime();
        let mut avahi = Self { runtime, running: None, state: Shared::default(), bus };
        avahi.restart();
        Some(avahi)
    }

    /// Ends it, with all that was announced, and starts it anew.
    ///
    /// # Panics
    /// Where it does not start.
    pub fn restart(&mut self) {
        self.stop();
        let (address, state) = (self.bus.address(), Arc::clone(&self.state));
        let started = async move {
            let bus = zbus::connection::Builder::address(&*address)?.build().await?;
            bus.object_server().at("/", Server(state)).await?;
            bus.request_name(NAME).await?;
            Ok::<_, zbus::Error>(bus)
        };
        self.running = Some(self.runtime.block_on(started).expect("the stand-in starts"));
    }

    /// Ends it, with all that was announced.
    pub fn stop(&mut self) {
        if let Some(bus) = self.running.take() {
            // It may be gone already.
            let _ = self.runtime.block_on(bus.close());
        }
        lock(&self.state).groups.clear();
    }

    /// Another service of this computer has the name.
    pub fn taken_here(&self, name: &str) {
        lock(&self.state).taken_here.push(name.into());
    }

    /// Another computer has the name.
    pub fn taken_elsewhere(&self, name: &str) {
        lock(&self.state).taken_elsewhere.push(name.into());
    }

    /// What is announced now, and can be.
    pub fn announced(&self) -> Vec<Added> {
        let state = lock(&self.state);
        let known = state.groups.values().flatten();
        known.filter(|a| a.committed && !state.taken_elsewhere.contains(&a.name)).cloned().collect()
    }

    /// Groups that were made so far.
    pub fn groups_made(&self) -> u32 {
        lock(&self.state).made
    }

    /// The bus.
    pub fn bus(&self) -> &Bus {
        &self.bus
    }
}
