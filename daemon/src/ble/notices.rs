//! What a live session notices of its straps: a restart, and whether a strap fits its profile.
//!
//! An observer of the pipeline's streams. What it notices becomes strap events in the log, so
//! that a replay tells the same without noticing anything itself.

use super::rest_check::FirstRest;
use peakorder_motion::pipeline::Pipeline;
use peakorder_protocol::Role;
use peakorder_protocol::log::{Record, StrapEvent, StrapEventKind};
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::Session;
use std::collections::BTreeMap;

/// Watches the straps of one session.
pub struct StrapNotices(BTreeMap<Role, FirstRest>);

impl StrapNotices {
    /// For the straps of `session`.
    pub fn new(session: &Session) -> Self {
        let first_rest = |toml: &str| Profile::from_toml(toml).ok().map(FirstRest::new);
        Self(session.straps.iter().filter_map(|(r, s)| Some((*r, first_rest(&s.profile_toml)?))).collect())
    }

    /// Looks at what `pipeline` made of `record`, which it has just taken.
    pub fn look(&mut self, record: &Record, pipeline: &Pipeline, noticed: &mut Vec<Record>) {
        match record {
            Record::Strap(event) if matches!(event.what, StrapEventKind::Connected { .. }) => {
                if let Some(rest) = self.0.get_mut(&event.role) {
                    rest.connected();
                }
            }
            Record::Arrival(arrival) => {
                let role = arrival.role;
                let (Some(received), Some(rest)) = (pipeline.received(role), self.0.get_mut(&role)) else {
                    return;
                };
                let mut say =
                    |what| noticed.push(Record::Strap(StrapEvent { t_ns: arrival.t_ns, role, what }));
                if received.restarted() {
                    say(StrapEventKind::Restarted);
                }
                if let Some((f, fault)) = rest.look(received.samples) {
                    say(StrapEventKind::AtRest { acc_m_s2: f.acc_m_s2, gyro_rad_s: f.gyro_rad_s, fault });
                }
            }
            Record::Strap(_) | Record::Mark(_) => {}
        }
    }
}
