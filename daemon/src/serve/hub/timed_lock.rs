//! A mutex that knows how long it was held.

use std::ops::{Deref, DerefMut};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// A mutex that keeps the longest time for which it was held.
#[derive(Debug, Default)]
pub(super) struct TimedLock<T> {
    inner: Mutex<T>,
    longest_ns: AtomicU64,
}

/// Access to the value; its drop ends the hold.
#[derive(Debug)]
pub(super) struct Held<'a, T> {
    guard: MutexGuard<'a, T>,
    longest_ns: &'a AtomicU64,
    since: Instant,
}

impl<T> TimedLock<T> {
    /// Locks. A panic of an earlier holder does not keep others out.
    pub(super) fn lock(&self) -> Held<'_, T> {
        let guard = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        Held { guard, longest_ns: &self.longest_ns, since: Instant::now() }
    }

    /// The longest hold so far.
    pub(super) fn longest_hold(&self) -> Duration {
        Duration::from_nanos(self.longest_ns.load(Ordering::Relaxed))
    }
}

impl<T> Deref for Held<'_, T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.guard
    }
}

impl<T> DerefMut for Held<'_, T> {
    fn deref_mut(&mut self) -> &mut T {
        &mut self.guard
    }
}

impl<T> Drop for Held<'_, T> {
    fn drop(&mut self) {
        let held = u64::try_from(self.since.elapsed().as_nanos()).unwrap_or(u64::MAX);
        self.longest_ns.fetch_max(held, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_hold_is_kept() {
        let lock = TimedLock::<u32>::default();
        *lock.lock() += 1;
        let held = lock.lock();
        std::thread::sleep(Duration::from_millis(20));
        drop(held);
        assert!(lock.longest_hold() >= Duration::from_millis(20));
        let longest = lock.longest_hold();
        assert_eq!(*lock.lock(), 1);
        assert_eq!(lock.longest_hold(), longest, "a shorter hold does not replace it");
    }
}
