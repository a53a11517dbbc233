//! Power cuts at random moments, in modelled time.

use super::durable_log::{DurableLog, Item, SyncTicket};
use super::model::{Disk, RunningSync, arrival, read};
use super::{RETRY_EVERY, SYNC_EVERY};
use chacha20::ChaCha8Rng;
use peakorder_protocol::log::{LogWriter, Record};
use rand::{RngExt as _, SeedableRng as _};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// One batch of records comes every 10 ms.
const STEP: Duration = Duration::from_millis(10);

/// A recording onto a modelled disk, step by step.
struct Recording {
    disk: Disk,
    log: DurableLog<Disk>,
    start: Instant,
    sync_takes: Duration,
    syncs: Vec<(Instant, SyncTicket, RunningSync)>,
}

impl Recording {
    fn new(sync_takes: Duration) -> Self {
        let disk = Disk::with_room(usize::MAX);
        let mut log = LogWriter::new(disk.clone()).unwrap();
        log.sync().unwrap();
        Self { disk, log: DurableLog::new(log), start: Instant::now(), sync_takes, syncs: Vec::new() }
    }

    /// Record `i` comes; what is due by then is done.
    fn step(&mut self, i: u64) {
        let now = self.start + STEP * i as u32;
        let (ended, running) =
            std::mem::take(&mut self.syncs).into_iter().partition(|(ends, ..)| *ends <= now);
        self.syncs = running;
        let ended: Vec<(Instant, SyncTicket, RunningSync)> = ended;
        for (_, ticket, sync) in ended {
            let result = self.disk.end_sync(&sync);
            self.log.end_sync(&ticket, result, now);
        }
        self.log.append(Item::Records(Arc::new(vec![arrival(i)])), now);
        self.log.retry(now);
        if let Some(ticket) = self.log.begin_sync(now) {
            self.syncs.push((now + self.sync_takes, ticket, self.disk.begin_sync()));
        }
    }
}

/// How many records are there without a hole, from the first on. What is read behind a hole (a later
/// sector that happened to be written) must be true as well.
fn intact(records: &[Record]) -> u64 {
    let number = |record: &Record| record.t_ns() / 10_000_000;
    assert!(records.is_sorted_by_key(number));
    assert!(records.iter().all(|r| *r == arrival(number(r))));
    records.iter().zip(0..).take_while(|(r, i)| number(r) == *i).count() as u64
}

/// 10 000 power cuts: what is lost is never older than the time between two syncs and the time that
/// one takes, on a quick disk and on one that takes two seconds.
#[test]
fn a_power_cut_loses_no_more_than_the_time_between_syncs_and_that_of_one() {
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let mut cuts = 0;
    for session in 0..500 {
        let sync_takes = Duration::from_millis([5, 30, 300, 2000][session % 4]);
        let mut recording = Recording::new(sync_takes);
        let bound = SYNC_EVERY + sync_takes + STEP;
        if session % 4 < 2 {
            assert!(bound <= Duration::from_millis(250), "a disk of ordinary speed");
        }
        let mut chances = [0; 20].map(|_| random.random_range(0..600_u64));
        chances.sort_unstable();
        let mut chances = chances.into_iter().peekable();
        for i in 0..600 {
            recording.step(i);
            while chances.next_if_eq(&i).is_some() {
                let left = recording.disk.after_power_cut(|| random.random_bool(0.7));
                let kept = intact(&read(left).0);
                let lost = STEP * (i + 1 - kept) as u32;
                assert!(lost <= bound, "{lost:?} lost, a sync takes {sync_takes:?}");
                cuts += 1;
            }
        }
    }
    assert_eq!(cuts, 10_000);
}

/// A failed sync may have thrown away what the system had taken. It is written again: once the disk
/// takes records, a power cut finds no hole.
#[test]
fn what_a_failed_sync_lost_is_written_again() {
    let mut random = ChaCha8Rng::seed_from_u64(12);
    for _ in 0..200 {
        let mut recording = Recording::new(Duration::from_millis(random.random_range(1..600)));
        let fails = random.random_range(0..300_u64);
        let works = fails + random.random_range(1..200);
        for i in 0..700 {
            if i == fails || i == works {
                recording.disk.change(|d| d.sync_fails = i == fails);
            }
            recording.step(i);
            if random.random_bool(0.02) {
                intact(&read(recording.disk.after_power_cut(|| random.random_bool(0.7))).0);
            }
        }
        let lost = STEP * (700 - intact(&read(recording.disk.after_power_cut(|| false)).0)) as u32;
        assert!(lost <= SYNC_EVERY + recording.sync_takes + RETRY_EVERY + STEP * 2, "{lost:?} lost");
    }
}
