//! What is due by the clock.

use super::hub::Hub;
use crate::service::ServiceManager;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;
use tokio::time::MissedTickBehavior;

/// Publishes what is due by the clock, and tells the service manager that the daemon lives. It is told nothing while the
/// state's lock cannot be had, no task of the runtime gets its turn, or the running lesson's records are no longer taken: then
/// only a restart helps, and the lesson can be continued. Whatever else is slow or fails (a disk, the computation, a
/// watcher) leaves the recording as it is, and a restart would only make it worse.
pub(super) async fn tick(hub: Arc<Hub>, mut manager: ServiceManager, stopping: oneshot::Receiver<()>) {
    let every = |period| {
        let mut interval = tokio::time::interval(period);
        interval.set_missed_tick_behavior(MissedTickBehavior::Delay);
        interval
    };
    let mut seconds = every(Duration::from_secs(1));
    let mut looks = every(manager.look_every());
    let mut stopping = std::pin::pin!(stopping);
    let (mut even, mut asked_to_stop, mut went_on) = (false, false, true);
    loop {
        tokio::select! {
            _ = seconds.tick() => {
                hub.publish_straps();
                if even {
                    hub.publish_heartbeat();
                }
                even = !even;
            }
            _ = looks.tick() => {
                let health = hub.health(Instant::now());
                if health.goes_on {
                    manager.alive();
                } else if went_on {
                    tracing::error!("The lesson's records are no longer taken; a service manager may restart this program.");
                }
                went_on = health.goes_on;
                manager.status(if asked_to_stop { format!("Stopping. {}", health.doing) } else { health.doing });
            }
            _ = &mut stopping, if !asked_to_stop => asked_to_stop = true,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::hub::lesson_state::LessonState;
    use super::super::hub::{LessonClock, RunningLesson};
    use super::*;
    use crate::engine::Pulse;
    use peakorder_protocol::session::Player;
    use peakorder_virtual_straps::{Script, virtual_session};
    use std::sync::Mutex;

    fn hub_with_lesson(pulse: Arc<Pulse>) -> Hub {
        let session = virtual_session(&Script::lesson(1), "s", Player::default(), "2026-01-01T00:00:00Z");
        let hub = Hub::new("boot".into(), true);
        let state = LessonState::new("s", session, None, "baseline");
        hub.begin(RunningLesson::new(state, LessonClock::LatestRecord).with_pulse(pulse));
        hub
    }

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn the_service_manager_hears_nothing_while_the_state_cannot_be_had() {
        let hub = Arc::new(hub_with_lesson(Arc::default()));
        let heard = Arc::new(Mutex::new(0));
        let counts = Arc::clone(&heard);
        let manager = ServiceManager::telling(Duration::from_millis(400), move |message| {
            *counts.lock().unwrap() += u32::from(message == "WATCHDOG=1");
        });
        let (_stop, stopping) = oneshot::channel();
        let ticking = tokio::spawn(tick(Arc::clone(&hub), manager, stopping));
        let count = || *heard.lock().unwrap();
        let within_seconds = async |least: u32| {
            let begun = Instant::now();
            while count() < least {
                assert!(begun.elapsed() < Duration::from_secs(20), "{} of {least}", count());
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        };
        within_seconds(3).await;

        let held = Arc::clone(&hub);
        let (tell, locked) = std::sync::mpsc::channel();
        let holder = std::thread::spawn(move || {
            held.with_lesson(|_| {
                let _ = tell.send(());
                std::thread::sleep(Duration::from_millis(1500));
            });
        });
        locked.recv().unwrap();
        // What was seen before the lock was taken may still be on its way. The runtime's own timer may be what waits for the lock.
        std::thread::sleep(Duration::from_millis(200));
        let before = count();
        std::thread::sleep(Duration::from_secs(1));
        assert_eq!(count(), before, "nobody can say that the daemon lives");
        holder.join().unwrap();
        within_seconds(before + 3).await;
        ticking.abort();
    }

    #[test]
    fn a_lesson_whose_records_are_no_longer_taken_is_no_sign_of_life() {
        let hub = hub_with_lesson(Arc::default());
        let later = |s| Instant::now() + Duration::from_secs(s);
        assert!(hub.health(later(5)).goes_on);
        let health = hub.health(later(30));
        assert!(!health.goes_on);
        assert_eq!(health.doing, "Lesson of 0 swings running, 0 of 3 straps connected.");
        assert!(Hub::new("boot".into(), true).health(later(30)).goes_on, "without a lesson there are none");
    }
}
