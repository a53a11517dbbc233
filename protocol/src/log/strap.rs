//! What happens to a strap's link or health.

use crate::role::Role;
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// Something that happened to a strap.
#[derive(Debug, Clone, PartialEq)]
pub struct StrapEvent {
    /// Session clock, nanoseconds.
    pub t_ns: u64,
    /// The strap.
    pub role: Role,
    /// What happened.
    pub what: StrapEventKind,
}

/// What happened to a strap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum StrapEventKind {
    /// The link is up and the profile's set-up has run.
    Connected {
        /// What the strap says of itself: maker, model, firmware; may be empty.
        #[serde(default)]
        information: String,
        /// Largest packet the link carries, bytes, where it is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mtu: Option<u16>,
    },
    /// The link was lost or closed.
    Disconnected {
        /// Why.
        #[serde(flatten)]
        reason: Disconnection,
    },
    /// The strap's clock or counter started anew.
    Restarted,
    /// Battery level.
    Battery {
        /// Percent.
        percent: u8,
    },
    /// Connection interval.
    Interval {
        /// Its length.
        #[serde(rename = "interval_ms", with = "milliseconds")]
        #[cfg_attr(feature = "openapi", schema(value_type = f64))]
        interval: Duration,
    },
    /// First rest since it connected: what the strap shows when it lies still.
    AtRest {
        /// Median specific force, m/s².
        acc_m_s2: f64,
        /// Median rate of rotation, rad/s.
        gyro_rad_s: f64,
        /// What does not agree with its profile.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fault: Option<RestFault>,
    },
    /// The strap cannot be used and was given up.
    Refused {
        /// What is wrong, in words.
        why: String,
    },
    /// An attempt to connect failed; there will be more.
    NotConnectedYet {
        /// What the Bluetooth service says.
        why: String,
    },
    /// Nothing is heard of the strap yet.
    NotHeard,
    /// Anything else worth keeping.
    Note {
        /// In words.
        text: String,
    },
}

/// Why a link ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "reason", rename_all = "kebab-case")]
pub enum Disconnection {
    /// It is not known.
    NotKnown,
    /// The session ended.
    SessionEnded,
    /// The link was lost.
    LinkLost,
    /// Connected, the strap sent nothing.
    SentNothing,
    /// The strap stopped sending.
    FellSilent,
    /// The computer's Bluetooth service is gone.
    ServiceGone,
    /// Something else.
    Other {
        /// In words.
        why: String,
    },
}

/// What a strap at rest shows that its profile does not allow.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "fault", rename_all = "kebab-case")]
pub enum RestFault {
    /// Not about one g: wrong unit or layout.
    Acceleration {
        /// Profile that it was read with.
        profile: String,
        /// Least that the profile allows, m/s².
        min_m_s2: f64,
        /// Most that the profile allows, m/s².
        max_m_s2: f64,
    },
    /// Rotation where there is none.
    Rotation {
        /// Profile that it was read with.
        profile: String,
        /// Most that the profile allows, rad/s.
        max_rad_s: f64,
    },
}

impl StrapEventKind {
    /// A connection of which nothing more is known.
    pub const CONNECTED: Self = Self::Connected { information: String::new(), mtu: None };

    /// The same happening in other words, percent or milliseconds?
    pub fn same_kind(&self, other: &Self) -> bool {
        std::mem::discriminant(self) == std::mem::discriminant(other)
    }

    /// A lost or closed link?
    pub const fn is_disconnected(&self) -> bool {
        matches!(self, Self::Disconnected { .. })
    }

    /// A link that is up?
    pub const fn is_connected(&self) -> bool {
        matches!(self, Self::Connected { .. })
    }
}

impl Disconnection {
    /// Those without words of their own, as version 2 of the log numbers them. Only ever appended to.
    pub(super) const NUMBERED: [Self; 6] = [
        Self::NotKnown,
        Self::SessionEnded,
        Self::LinkLost,
        Self::SentNothing,
        Self::FellSilent,
        Self::ServiceGone,
    ];
}

/// Milliseconds of a connection interval as a duration; `None` if it cannot be one.
pub fn interval_of_ms(ms: f64) -> Option<Duration> {
    Duration::try_from_secs_f64(ms / 1e3).ok().map(|_| Duration::from_nanos((ms * 1e6).round() as u64))
}

/// A connection interval in milliseconds: exact wherever the milliseconds have six decimals at most.
pub fn interval_ms(interval: Duration) -> f64 {
    interval.as_nanos() as f64 / 1e6
}

mod milliseconds {
    use super::{Duration, interval_ms, interval_of_ms};
    use serde::{Deserialize as _, Deserializer, Serializer, de::Error as _};

    pub(super) fn serialize<S: Serializer>(interval: &Duration, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_f64(interval_ms(*interval))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Duration, D::Error> {
        let ms = f64::deserialize(from)?;
        interval_of_ms(ms).ok_or_else(|| D::Error::custom("an interval is a positive number of milliseconds"))
    }
}
