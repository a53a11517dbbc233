//! Whether the signal of all straps is good enough for a lesson. Used by the command and by the page.

use super::radio::Radio;
use super::signal::{Finding, SignalMeter, SignalReport, Weight};
use super::straps::{IncomingKind, SessionClock, StrapTarget, Straps};
use crate::config::Config;
use peakorder_motion::clock::time::SessionTime;
use peakorder_protocol::Role;
use peakorder_protocol::log::StrapEventKind;
use serde::Serialize;
use std::collections::BTreeMap;
use std::time::Duration;
use tokio::time::Instant;

/// Connecting all straps may take this long.
const CONNECTING: Duration = Duration::from_secs(40);

/// All straps, measured.
#[derive(Debug, Clone, Serialize)]
pub struct SignalCheck {
    /// Each of them.
    pub straps: BTreeMap<Role, SignalReport>,
    /// What concerns several straps.
    pub together: Vec<Finding>,
    /// No problem was found.
    pub ready: bool,
}

/// What happens meanwhile.
#[derive(Debug, Clone, PartialEq)]
pub enum Progress {
    /// All straps stream; seconds that are measured so far.
    Measuring(f64),
    /// What the link of the strap worn there says.
    Strap(Role, StrapEventKind),
}

/// Measures for `seconds` once all straps stream, or until `stop`; they must lie still.
pub async fn check(
    radio: &Radio,
    assigned: &[(Role, StrapTarget)],
    config: &Config,
    seconds: f64,
    stop: impl Future<Output = ()>,
    mut say: impl FnMut(Progress),
) -> SignalCheck {
    let aligned = config.alignments();
    let mut meters: Vec<SignalMeter> = assigned
        .iter()
        .map(|(role, w)| SignalMeter::new(&w.profile, aligned.get(role).map(|a| a.sd_ms * 1e-3)))
        .collect();
    let mut refused: Vec<Option<String>> = vec![None; assigned.len()];
    let mut streaming = vec![false; assigned.len()];
    let clock = SessionClock::start();
    let mut straps = Straps::start(radio, assigned.iter().map(|(_, w)| w.clone()).collect(), clock);
    tokio::pin!(stop);
    let mut end = Instant::now() + CONNECTING;
    let mut measuring = false;
    let mut items = Vec::new();
    loop {
        if !measuring && streaming.iter().zip(&refused).all(|(s, r)| *s || r.is_some()) {
            measuring = true;
            end = Instant::now() + Duration::from_secs_f64(seconds);
        }
        tokio::select! {
            () = tokio::time::sleep_until(end) => break,
            () = &mut stop => break,
            more = straps.receive(&mut items) => if !more { break },
        }
        if measuring {
            let left = end.saturating_duration_since(Instant::now()).as_secs_f64();
            say(Progress::Measuring(seconds - left));
        }
        for item in items.drain(..) {
            meters[item.strap].push(&item);
            match item.kind {
                IncomingKind::Packet { .. } => streaming[item.strap] = true,
                IncomingKind::Event(_) => {}
                IncomingKind::Status(what) => say(Progress::Strap(assigned[item.strap].0, what)),
                IncomingKind::GivenUp(text) => refused[item.strap] = Some(text),
            }
        }
    }
    let now = SessionTime::from_ns(clock.now_ns());
    straps.close().await;
    let reports = assigned.iter().enumerate().map(|(i, (role, _))| {
        let mut strap = meters[i].report(now);
        if let Some(why) = refused[i].take() {
            strap.findings =
                vec![Finding { weight: Weight::Problem, text: format!("cannot be used: {why}") }];
        }
        (*role, strap)
    });
    let straps: BTreeMap<Role, SignalReport> = reports.collect();
    let together = together(assigned, &meters);
    let problem = |f: &Finding| f.weight == Weight::Problem;
    let ready = !straps.values().flat_map(|s| &s.findings).chain(&together).any(problem);
    SignalCheck { straps, together, ready }
}

/// What pairs of straps do not know of each other.
fn together(assigned: &[(Role, StrapTarget)], meters: &[SignalMeter]) -> Vec<Finding> {
    let limits = |i: usize| meters[i].stream().clock().limits();
    let mut all = Vec::new();
    for i in 0..meters.len() {
        for j in i + 1..meters.len() {
            let u95_ms = limits(i).constant_u95_s(limits(j)) * 1e3;
            if u95_ms > 1.5 {
                all.push(Finding {
                    weight: Weight::Note,
                    text: format!(
                        "{} and {} are unlike straps that were never aligned: their times may differ by ± {u95_ms:.0} ms; \
                         run: peakorderd align",
                        assigned[i].0, assigned[j].0
                    ),
                });
            }
        }
    }
    all
}
