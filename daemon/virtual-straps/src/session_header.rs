//! Session files of sessions with virtual straps.

use peakorder_protocol::profile::Profile;
use peakorder_protocol::session::{FORMAT, Player, Session, SourceKind, Strap};

/// Virtual straps are part of the daemon, and record under its name.
const PROGRAM: &str = concat!("peakorderd ", env!("CARGO_PKG_VERSION"));
/// Profile of the packets that virtual straps send.
const REFERENCE_PROFILE: &str = "ref-strap-v1";

/// The session that the virtual straps of `script` record.
pub fn virtual_session(script: &crate::Script, id: &str, player: Player, started_utc: &str) -> Session {
    let profile = Profile::builtin(REFERENCE_PROFILE).unwrap_or_default();
    let options = script.straps();
    Session {
        format: FORMAT.into(),
        id: id.into(),
        started_utc: started_utc.into(),
        zone: "UTC".into(),
        recorded_by: PROGRAM.into(),
        computed_by: PROGRAM.into(),
        source: SourceKind::Virtual,
        invented: true,
        player,
        straps: options
            .roles
            .iter()
            .map(|role| {
                let strap = Strap {
                    name: format!("virtual {role} strap"),
                    profile: REFERENCE_PROFILE.into(),
                    profile_toml: profile.into(),
                    latency_ms: 0.0,
                    latency_sd_ms: None,
                    interval_ms: None,
                };
                (*role, strap)
            })
            .collect(),
        settings: toml::Table::new(),
        calibration: Vec::new(),
        troubles: Vec::new(),
    }
}
