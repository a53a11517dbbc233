//! Who keeps a connection when there are too many.
//!
//! A connection is trusted from the first request on that a device with access sent over it. Untrusted
//! ones, above all those that never send a whole request, give way: the oldest of the address that has
//! most of them. So strangers cannot keep the coach out.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::Notify;

/// Connections at once.
const CONNECTIONS: usize = 128;
/// Those that are not trusted; the others are kept free for devices with access.
const UNTRUSTED: usize = 96;
/// Connections of one address: a browser opens up to six for a page.
const PER_ADDRESS: usize = 32;

/// Whether a connection is trusted. The access check of its requests tells.
#[derive(Debug, Clone, Default)]
pub(super) struct Trust(Arc<AtomicBool>);

impl Trust {
    /// A device with access has sent a request.
    pub(super) fn earn(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    fn earned(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

#[derive(Debug)]
struct Held {
    from: IpAddr,
    trust: Trust,
    leave: Arc<Notify>,
}

#[derive(Debug, Default)]
struct Table {
    /// By age: a larger number came later.
    held: HashMap<u64, Held>,
    next: u64,
}

/// The connections that are open.
#[derive(Debug, Default)]
pub(super) struct Slots(Mutex<Table>);

/// An open connection. It leaves its slot when this is dropped.
#[derive(Debug)]
pub(super) struct Slot {
    slots: Arc<Slots>,
    number: u64,
    pub(super) trust: Trust,
    leave: Arc<Notify>,
}

impl Slots {
    fn lock(&self) -> MutexGuard<'_, Table> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A slot for a new connection. Another may have to leave for it; `None` if none can.
    pub(super) fn enter(self: &Arc<Self>, from: IpAddr) -> Option<Slot> {
        let mut table = self.lock();
        let of_address = table.held.values().filter(|h| h.from == from).count();
        let untrusted = table.held.values().filter(|h| !h.trust.earned()).count();
        if of_address >= PER_ADDRESS {
            table.push_out(Some(from))?;
        } else if untrusted >= UNTRUSTED || table.held.len() >= CONNECTIONS {
            table.push_out(None)?;
        }
        let number = table.next;
        table.next += 1;
        let (trust, leave) = (Trust::default(), Arc::new(Notify::new()));
        table.held.insert(number, Held { from, trust: trust.clone(), leave: Arc::clone(&leave) });
        Some(Slot { slots: Arc::clone(self), number, trust, leave })
    }
}

impl Table {
    /// Tells the oldest untrusted connection to leave: of `address`, or of the one that has most.
    fn push_out(&mut self, address: Option<IpAddr>) -> Option<()> {
        let mut untrusted: HashMap<IpAddr, (usize, u64)> = HashMap::new();
        for (number, held) in self.held.iter().filter(|(_, h)| !h.trust.earned()) {
            let (count, oldest) = untrusted.entry(held.from).or_insert((0, *number));
            *count += 1;
            *oldest = (*oldest).min(*number);
        }
        let (_, oldest) = match address {
            Some(address) => untrusted.get(&address).copied()?,
            // Of two that have as many, the one that came first.
            None => untrusted.into_values().max_by_key(|(count, oldest)| (*count, u64::MAX - oldest))?,
        };
        self.held.remove(&oldest)?.leave.notify_one();
        Some(())
    }
}

impl Slot {
    /// Done when the connection has to leave.
    pub(super) async fn pushed_out(&self) {
        self.leave.notified().await;
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        self.slots.lock().held.remove(&self.number);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures::FutureExt as _;

    fn address(i: u8) -> IpAddr {
        IpAddr::from([192, 168, 0, i])
    }

    fn left(slot: &Slot) -> bool {
        slot.pushed_out().now_or_never().is_some()
    }

    #[test]
    fn half_open_connections_of_four_addresses_keep_nobody_out() {
        let slots = Arc::new(Slots::default());
        let strangers: Vec<Slot> =
            (0..160).map(|i| slots.enter(address(1 + i % 4)).expect("another leaves for it")).collect();
        let coach = slots.enter(address(9)).expect("there is room for the coach");
        assert!(!left(&coach));
        assert_eq!(strangers.iter().filter(|s| !left(s)).count(), UNTRUSTED - 1);
        // The strangers try again and again: the coach has sent a request meanwhile.
        coach.trust.earn();
        let _again: Vec<Slot> = (0..500).filter_map(|i| slots.enter(address(1 + (i % 4) as u8))).collect();
        assert!(!left(&coach));
    }

    #[test]
    fn a_new_connection_of_a_quiet_address_stays_while_a_stranger_opens_many() {
        let slots = Arc::new(Slots::default());
        let _strangers: Vec<Slot> = (0..96).filter_map(|i| slots.enter(address(1 + i % 3))).collect();
        let coach = slots.enter(address(9)).expect("room");
        let _more: Vec<Slot> = (0..1000).filter_map(|i| slots.enter(address(1 + (i % 3) as u8))).collect();
        assert!(!left(&coach), "those who hold most give way");
    }

    #[test]
    fn trusted_connections_are_never_pushed_out_and_one_address_has_its_limit() {
        let slots = Arc::new(Slots::default());
        let trusted: Vec<Slot> = (0..32)
            .map(|_| {
                let slot = slots.enter(address(1)).expect("room");
                slot.trust.earn();
                slot
            })
            .collect();
        assert!(slots.enter(address(1)).is_none(), "one address has its limit");
        assert!(slots.enter(address(2)).is_some());
        assert!(trusted.iter().all(|s| !left(s)));
        drop(trusted);
        assert!(slots.enter(address(1)).is_some(), "who leaves makes room");
    }
}
