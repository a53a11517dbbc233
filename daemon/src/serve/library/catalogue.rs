//! What is known of the library's sessions, kept fresh while requests come.
//!
//! The folders are the truth (`peakorder_analysis::library::index`). Every request may begin a look at all of them; it waits
//! for it as long as nobody notices, and answers with what is known. Rows that are in an answer are looked at
//! closely in any case. At the first look, which may have to read everything, rows are known as they are read.

use peakorder_analysis::library::Row;
use peakorder_analysis::library::index::{self, Rows};
use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// A look that takes no longer is waited for, and made at every request.
const QUICK: Duration = Duration::from_millis(25);
/// Others are made no more often than this.
const REST: Duration = Duration::from_secs(2);
/// So long the first answer waits for the first look. A library of few sessions is waited for to the end.
const FIRST: Duration = Duration::from_millis(250);
/// While sessions change the index is written no more often than this; what is not written is read again next time.
const BETWEEN_WRITES: Duration = Duration::from_secs(30);

/// How far the sessions are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// Sessions read.
    pub read: usize,
    /// Of so many.
    pub of: usize,
}

/// Rows of all sessions.
pub(super) struct Catalogue {
    place: PathBuf,
    state: Mutex<State>,
    ended: Condvar,
}

#[derive(Default)]
struct State {
    rows: Rows,
    /// Rows of sessions by start, latest first; made when it is asked for.
    sorted: Option<Arc<Vec<Arc<Row>>>>,
    /// The index was read.
    opened: bool,
    /// Looks that began and ended so far.
    begun: u64,
    over: u64,
    /// The first look has no rows to begin with.
    from_nothing: bool,
    /// How far the one that runs is.
    reading: Option<Reading>,
    last: Option<(Instant, Duration)>,
    /// Folders that this program changed since.
    touched: BTreeSet<String>,
    written: Option<Instant>,
    unwritten: bool,
}

impl State {
    fn take(&mut self, row: Arc<Row>) {
        self.rows.insert(row.name.clone(), row);
        (self.sorted, self.unwritten) = (None, true);
    }
}

impl Catalogue {
    /// Of the sessions in `place`. Nothing is read yet.
    pub(super) fn of(place: &Path) -> Arc<Self> {
        Arc::new(Self { place: place.to_owned(), state: Mutex::default(), ended: Condvar::new() })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins the first look.
    pub(super) fn begin(self: &Arc<Self>) {
        let mut state = self.state();
        if state.begun == 0 {
            self.begin_look(&mut state);
        }
    }

    fn begin_look(self: &Arc<Self>, state: &mut State) {
        state.begun += 1;
        state.reading = Some(Reading { read: 0, of: 0 });
        let this = Arc::clone(self);
        let look = std::thread::Builder::new().name("sessions".into()).spawn(move || this.look());
        if let Err(why) = look {
            tracing::warn!(%why, "The sessions could not be looked at.");
            state.over = state.begun;
            state.reading = None;
        }
    }

    fn look(&self) {
        let begun = Instant::now();
        let opened = self.state().opened;
        if !opened {
            let (rows, trouble) = index::open(&self.place);
            if let Some(trouble) = trouble {
                tracing::warn!("{trouble}");
            }
            let mut state = self.state();
            (state.rows, state.opened, state.sorted) = (rows, true, None);
        }
        let known = self.state().rows.clone();
        let is_first = known.is_empty();
        self.state().from_nothing = is_first;
        let progress = |read, of| self.state().reading = Some(Reading { read, of });
        let told = |row: &Arc<Row>| {
            // A first look takes long; what is read is known at once.
            if is_first {
                let mut state = self.state();
                state.rows.insert(row.name.clone(), Arc::clone(row));
                state.sorted = None;
            }
        };
        let changes = index::look(&self.place, &known, &progress, &told);
        let mut state = self.state();
        match changes {
            Ok(changes) if !changes.is_empty() => {
                changes.apply(&mut state.rows);
                (state.sorted, state.unwritten) = (None, true);
            }
            Ok(_) => {}
            Err(why) => tracing::warn!("{}: {why}; the list of sessions may be old", self.place.display()),
        }
        state.over = state.begun;
        (state.reading, state.from_nothing) = (None, false);
        state.last = Some((Instant::now(), begun.elapsed()));
        let due = state.written.is_none_or(|at| at.elapsed() > BETWEEN_WRITES);
        let rows = (state.unwritten && due).then(|| {
            (state.unwritten, state.written) = (false, Some(Instant::now()));
            state.rows.clone()
        });
        drop(state);
        self.ended.notify_all();
        if let Some(rows) = rows
            && let Err(trouble) = index::keep(&self.place, &rows)
        {
            tracing::warn!("{trouble}");
        }
    }

    /// Lets the rows be fresh, as far as that is quick. How far they are read, if not all are.
    fn freshen(self: &Arc<Self>) -> Option<Reading> {
        let mut state = self.state();
        let touched = if state.opened { std::mem::take(&mut state.touched) } else { BTreeSet::new() };
        drop(state);
        for name in touched {
            let row = Arc::new(Row::read(&self.place, &name));
            self.state().take(row);
        }
        let mut state = self.state();
        let first = state.over == 0;
        let begun = Instant::now();
        loop {
            let running = state.over < state.begun;
            if !running && begun_since(&state, begun) {
                return None;
            }
            let few = state.reading.is_none_or(|r| r.of < index::MANY) && state.rows.len() < index::MANY;
            let due = few || state.last.is_none_or(|(ended, took)| took < QUICK || ended.elapsed() > REST);
            if !running && !due {
                return None;
            }
            if !running {
                self.begin_look(&mut state);
            }
            let patience = if first { FIRST } else { QUICK };
            let left = patience.saturating_sub(begun.elapsed());
            if left.is_zero() && !few {
                return state.reading.filter(|_| state.from_nothing);
            }
            let wait = left.max(Duration::from_millis(5));
            state = self.ended.wait_timeout(state, wait).unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    /// Sessions by start, latest first, and how far they are read if not all are.
    pub(super) fn sessions(self: &Arc<Self>) -> (Arc<Vec<Arc<Row>>>, Option<Reading>) {
        let reading = self.freshen();
        (self.sorted(), reading)
    }

    /// The same, without a look.
    pub(super) fn sorted(&self) -> Arc<Vec<Arc<Row>>> {
        let mut state = self.state();
        if let Some(sorted) = &state.sorted {
            return Arc::clone(sorted);
        }
        let mut rows: Vec<Arc<Row>> = state.rows.values().filter(|r| r.head().is_some()).cloned().collect();
        let key = |row: &Row| row.head().map(|h| (h.started_utc.clone(), row.name.clone()));
        rows.sort_by_cached_key(|row| std::cmp::Reverse(key(row)));
        let rows = Arc::new(rows);
        state.sorted = Some(Arc::clone(&rows));
        rows
    }

    /// Every folder as it is now: waits for a look that begins after this call.
    pub(super) fn all_now(self: &Arc<Self>) -> Vec<Arc<Row>> {
        let mut state = self.state();
        let wanted = state.begun + 1;
        loop {
            if state.over >= wanted {
                return state.rows.values().cloned().collect();
            }
            if state.over == state.begun {
                self.begin_look(&mut state);
            }
            state = self.ended.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Waits until all are read for the first time.
    pub(super) fn whole(self: &Arc<Self>) -> Arc<Vec<Arc<Row>>> {
        self.begin();
        let mut state = self.state();
        while state.over == 0 {
            state = self.ended.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        drop(state);
        self.sessions().0
    }

    /// The row of that folder, if one is known.
    pub(super) fn row(&self, name: &str) -> Option<Arc<Row>> {
        self.state().rows.get(name).cloned()
    }

    /// Looks closely at these rows; true if one holds something else now.
    pub(super) fn changed(&self, rows: &[Arc<Row>]) -> bool {
        let changes = index::look_closely(&self.place, rows);
        if changes.is_empty() {
            return false;
        }
        let mut state = self.state();
        let news = !changes.gone.is_empty()
            || changes
                .read
                .iter()
                .any(|r| state.rows.get(&r.name).is_none_or(|known| known.holds != r.holds));
        changes.apply(&mut state.rows);
        (state.sorted, state.unwritten) = (None, true);
        news
    }

    /// This program wrote into the folder `name`, or made it: the next answer has it.
    pub(super) fn touched(&self, name: &str) {
        self.state().touched.insert(name.to_owned());
    }

    /// Leaves nothing of these folders, here and on the disk.
    pub(super) fn forget<'a>(&self, names: impl Iterator<Item = &'a str>) -> io::Result<()> {
        let mut state = self.state();
        for name in names {
            state.rows.remove(name);
            state.touched.remove(name);
        }
        state.sorted = None;
        let rows = state.rows.clone();
        drop(state);
        index::forget(&self.place, &rows)
    }
}

/// Whether a look that began after `since` has ended.
fn begun_since(state: &State, since: Instant) -> bool {
    state.last.is_some_and(|(ended, took)| ended.checked_sub(took).is_some_and(|begun| begun >= since))
}
