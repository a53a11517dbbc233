//! The same sessions without a link: samples on the session clock, in the import's packets.

use peakorder_protocol::log::{Arrival, Record};
use peakorder_protocol::packet::common_clock::{self, Sample};
use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::Session;
use peakorder_virtual_straps::Session as VirtualSession;

/// Samples a packet.
const BLOCK: usize = 16;

/// Makes the session's straps send on one clock.
pub(crate) fn set_profile(session: &mut Session) {
    for strap in session.straps.values_mut() {
        strap.profile = common_clock::PROFILE_ID.into();
        strap.profile_toml = Profile::builtin(common_clock::PROFILE_ID).expect("it is built in").into();
    }
}

/// Records of `session` in order of time.
pub(crate) fn records(session: &VirtualSession) -> Vec<Record> {
    let straps = session.straps();
    let mut records: Vec<Record> = session.marks().iter().cloned().map(Record::Mark).collect();
    for role in &straps.roles {
        let mut block = Vec::with_capacity(BLOCK);
        for s in session.ideal_samples(*role, straps.rate_hz, straps.sensor) {
            block.push(Sample {
                t_ns: (s.t_s * 1e9).round() as i64,
                gyro_rad_s: s.gyro_rad_s.map(|v| v as f32),
                acc_m_s2: s.accel_m_s2.map(|v| v as f32),
            });
            if block.len() == BLOCK {
                let t_ns = block[BLOCK - 1].t_ns as u64;
                records.push(Record::Arrival(Arrival {
                    t_ns,
                    role: *role,
                    channel: 0,
                    bytes: common_clock::encode(&block),
                }));
                block.clear();
            }
        }
    }
    records.sort_by_key(Record::t_ns);
    records
}
