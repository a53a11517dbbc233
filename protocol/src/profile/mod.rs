//! Strap profiles: what a strap sends, written down as TOML, and the one decoder for all.
//!
//! A profile is data, so that a strap nobody here has seen needs no new program. Its keys
//! are described in `protocol/profiles/README.md`; the built-in profiles lie beside it.

mod check;
mod check_stream;
mod decoder;
mod merge;
mod plan;
mod schema;
mod types;
mod unpack;

pub use check::STANDARD_GRAVITY;
pub use decoder::{DecodeError, Decoded, Decoder, EventStamp, PacketHead, RawSample};
pub use types::{
    ClockInfo, ClockKind, Keepalive, LinkSettings, Match, Op, OpKind, PacedBy, RestCheck, SampleIs,
    SeqCounts, Stamps,
};

/// Ids and texts of the built-in profiles.
const BUILTIN: [(&str, &str); 6] = [
    ("ref-strap-v1", include_str!("../../profiles/ref_strap_v1.toml")),
    ("movesense-gsp-imu6", include_str!("../../profiles/movesense_imu6.toml")),
    ("openearable-v2", include_str!("../../profiles/openearable2.toml")),
    ("wit-ble-0x61", include_str!("../../profiles/wit_ble.toml")),
    ("thingy52", include_str!("../../profiles/thingy52.toml")),
    ("common-clock-v1", include_str!("../../profiles/common_clock_v1.toml")),
];

/// Why a profile was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ProfileError {
    /// Not TOML, an unknown key, a missing key or a wrong type; the text names line and key.
    #[error("strap profile: {0}")]
    Syntax(String),
    /// A schema version this program does not know.
    #[error("strap profile: schema version {0}, this program reads version 1; update peakorder")]
    Version(i64),
    /// The content contradicts itself.
    #[error("strap profile: {place}: {problem}")]
    Check {
        /// Table and key concerned.
        place: String,
        /// What is wrong and what to write instead.
        problem: String,
    },
}

/// A checked strap profile.
#[derive(Debug, Clone)]
pub struct Profile {
    id: String,
    name: String,
    matching: Option<Match>,
    link: LinkSettings,
    setup: Vec<Op>,
    teardown: Vec<Op>,
    keepalive: Option<Keepalive>,
    channels: Vec<String>,
    clock: ClockInfo,
    rest_check: RestCheck,
    notices: Vec<String>,
    plan: plan::Plan,
}

impl Profile {
    /// Reads and checks a profile. An unknown key is an error that names key and line.
    pub fn from_toml(text: &str) -> Result<Self, ProfileError> {
        check::profile(text)
    }

    /// Text of the built-in profile `id`.
    pub fn builtin(id: &str) -> Option<&'static str> {
        BUILTIN.iter().find(|(known, _)| *known == id).map(|(_, text)| *text)
    }

    /// Ids of the built-in profiles, in the order in which they are tried at a scan.
    pub fn builtin_ids() -> impl Iterator<Item = &'static str> {
        BUILTIN.iter().map(|(id, _)| *id)
    }

    /// The built-in profiles, in the order in which they are tried at a scan.
    pub fn all_builtin() -> Vec<Self> {
        BUILTIN
            .iter()
            .map(|(_, text)| Self::from_toml(text).expect("a test reads every built-in profile"))
            .collect()
    }

    /// Id, in small letters, digits and hyphens.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Name for the screen.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How to recognise the strap; `None` for profiles that no strap on the air has.
    pub fn matching(&self) -> Option<&Match> {
        self.matching.as_ref()
    }

    /// What the link must be like.
    pub fn link(&self) -> &LinkSettings {
        &self.link
    }

    /// Run in order after every connect, before subscribing to the channels.
    pub fn setup(&self) -> &[Op] {
        &self.setup
    }

    /// Run in order before disconnecting.
    pub fn teardown(&self) -> &[Op] {
        &self.teardown
    }

    /// What to write again and again, for straps that stop when idle.
    pub fn keepalive(&self) -> Option<&Keepalive> {
        self.keepalive.as_ref()
    }

    /// Characteristics to subscribe to (128-bit UUIDs in lower case), in order of first
    /// appearance; the index is [`Arrival::channel`](crate::log::Arrival::channel).
    pub fn channels(&self) -> &[String] {
        &self.channels
    }

    /// What times and samples are worth.
    pub fn clock(&self) -> &ClockInfo {
        &self.clock
    }

    /// What the strap must show at rest.
    pub fn rest_check(&self) -> &RestCheck {
        &self.rest_check
    }

    /// Things the user should know, in plain words (short wrap, no counter, not tried on hardware).
    pub fn notices(&self) -> &[String] {
        &self.notices
    }
}
