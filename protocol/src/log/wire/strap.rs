//! Strap events as they are stored, in both versions (tables: `docs/formats/log.md`).

use crate::log::{Disconnection, RestFault, StrapEventKind, interval_of_ms};
use bincode::{BorrowDecode, Encode};
use std::time::Duration;

/// A strap event of some version.
pub(super) trait StoredStrap {
    /// As the program knows it; `None` for a number that the version does not have.
    fn to_kind(&self) -> Option<StrapEventKind>;
}

#[derive(Debug, PartialEq, Encode, BorrowDecode)]
pub(super) struct StrapV1<'a> {
    pub(super) kind: u8,
    pub(super) detail: &'a str,
}

impl StoredStrap for StrapV1<'_> {
    fn to_kind(&self) -> Option<StrapEventKind> {
        let text = self.detail.to_owned();
        Some(match self.kind {
            0 => StrapEventKind::Connected { information: text, mtu: None },
            1 if text.is_empty() => StrapEventKind::Disconnected { reason: Disconnection::NotKnown },
            1 => StrapEventKind::Disconnected { reason: Disconnection::Other { why: text } },
            2 => StrapEventKind::Restarted,
            3 => match self.detail.trim().parse() {
                Ok(percent) => StrapEventKind::Battery { percent },
                Err(_) => StrapEventKind::Note { text: format!("battery {text} %") },
            },
            4 => {
                let ms = self.detail.trim_end_matches("ms").trim().parse::<f64>();
                match ms.ok().and_then(interval_of_ms) {
                    Some(interval) => StrapEventKind::Interval { interval },
                    None => StrapEventKind::Note { text: format!("connection interval {text} ms") },
                }
            }
            5 => StrapEventKind::Note { text },
            _ => return None,
        })
    }
}

#[derive(Debug, PartialEq, Encode, BorrowDecode)]
pub(super) enum StrapV2<'a> {
    Connected { information: &'a str, mtu: u16 },
    Disconnected { reason: u8 },
    DisconnectedOther { why: &'a str },
    Restarted,
    Battery { percent: u8 },
    Interval { ns: u64 },
    AtRest { acc: f64, gyro: f64 },
    WrongAcceleration { acc: f64, gyro: f64, profile: &'a str, min: f64, max: f64 },
    WrongRotation { acc: f64, gyro: f64, profile: &'a str, max: f64 },
    Refused { why: &'a str },
    NotConnectedYet { why: &'a str },
    NotHeard,
    Note { text: &'a str },
}

impl StrapV2<'_> {
    /// Encoded size, bytes.
    pub(super) fn len(&self) -> usize {
        const TEXT: usize = 8;
        4 + match self {
            Self::Connected { information, .. } => TEXT + information.len() + 2,
            Self::Disconnected { .. } | Self::Battery { .. } => 1,
            Self::Restarted | Self::NotHeard => 0,
            Self::Interval { .. } => 8,
            Self::AtRest { .. } => 16,
            Self::WrongAcceleration { profile, .. } => 32 + TEXT + profile.len(),
            Self::WrongRotation { profile, .. } => 24 + TEXT + profile.len(),
            Self::DisconnectedOther { why: text }
            | Self::Refused { why: text }
            | Self::NotConnectedYet { why: text }
            | Self::Note { text } => TEXT + text.len(),
        }
    }
}

impl<'a> From<&'a StrapEventKind> for StrapV2<'a> {
    fn from(kind: &'a StrapEventKind) -> Self {
        match kind {
            StrapEventKind::Connected { information, mtu } => {
                Self::Connected { information, mtu: mtu.unwrap_or(0) }
            }
            StrapEventKind::Disconnected { reason: Disconnection::Other { why } } => {
                Self::DisconnectedOther { why }
            }
            StrapEventKind::Disconnected { reason } => {
                Self::Disconnected { reason: super::index_in(&Disconnection::NUMBERED, reason) }
            }
            StrapEventKind::Restarted => Self::Restarted,
            StrapEventKind::Battery { percent } => Self::Battery { percent: *percent },
            StrapEventKind::Interval { interval } => {
                Self::Interval { ns: u64::try_from(interval.as_nanos()).unwrap_or(u64::MAX) }
            }
            StrapEventKind::AtRest { acc_m_s2, gyro_rad_s, fault } => {
                let (acc, gyro) = (*acc_m_s2, *gyro_rad_s);
                match fault {
                    None => Self::AtRest { acc, gyro },
                    Some(RestFault::Acceleration { profile, min_m_s2, max_m_s2 }) => {
                        Self::WrongAcceleration { acc, gyro, profile, min: *min_m_s2, max: *max_m_s2 }
                    }
                    Some(RestFault::Rotation { profile, max_rad_s }) => {
                        Self::WrongRotation { acc, gyro, profile, max: *max_rad_s }
                    }
                }
            }
            StrapEventKind::Refused { why } => Self::Refused { why },
            StrapEventKind::NotConnectedYet { why } => Self::NotConnectedYet { why },
            StrapEventKind::NotHeard => Self::NotHeard,
            StrapEventKind::Note { text } => Self::Note { text },
        }
    }
}

impl StoredStrap for StrapV2<'_> {
    fn to_kind(&self) -> Option<StrapEventKind> {
        let rest = |acc_m_s2, gyro_rad_s, fault| StrapEventKind::AtRest { acc_m_s2, gyro_rad_s, fault };
        Some(match *self {
            Self::Connected { information, mtu } => StrapEventKind::Connected {
                information: information.to_owned(),
                mtu: (mtu != 0).then_some(mtu),
            },
            Self::Disconnected { reason } => StrapEventKind::Disconnected {
                reason: Disconnection::NUMBERED.get(usize::from(reason))?.clone(),
            },
            Self::DisconnectedOther { why } => {
                StrapEventKind::Disconnected { reason: Disconnection::Other { why: why.to_owned() } }
            }
            Self::Restarted => StrapEventKind::Restarted,
            Self::Battery { percent } => StrapEventKind::Battery { percent },
            Self::Interval { ns } => StrapEventKind::Interval { interval: Duration::from_nanos(ns) },
            Self::AtRest { acc, gyro } => rest(acc, gyro, None),
            Self::WrongAcceleration { acc, gyro, profile, min, max } => {
                let profile = profile.to_owned();
                rest(acc, gyro, Some(RestFault::Acceleration { profile, min_m_s2: min, max_m_s2: max }))
            }
            Self::WrongRotation { acc, gyro, profile, max } => {
                rest(acc, gyro, Some(RestFault::Rotation { profile: profile.to_owned(), max_rad_s: max }))
            }
            Self::Refused { why } => StrapEventKind::Refused { why: why.to_owned() },
            Self::NotConnectedYet { why } => StrapEventKind::NotConnectedYet { why: why.to_owned() },
            Self::NotHeard => StrapEventKind::NotHeard,
            Self::Note { text } => StrapEventKind::Note { text: text.to_owned() },
        })
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Each kind, with data that no default would give.
    pub(in crate::log::wire) fn every_kind() -> Vec<StrapEventKind> {
        let text = || "Übung".to_owned();
        let rest = |fault| StrapEventKind::AtRest { acc_m_s2: 9.8, gyro_rad_s: 0.01, fault };
        let mut all = vec![
            StrapEventKind::CONNECTED,
            StrapEventKind::Connected { information: text(), mtu: Some(247) },
            StrapEventKind::Restarted,
            StrapEventKind::Battery { percent: 87 },
            StrapEventKind::Interval { interval: Duration::from_micros(11_250) },
            rest(None),
            rest(Some(RestFault::Acceleration { profile: text(), min_m_s2: 9.0, max_m_s2: 10.6 })),
            rest(Some(RestFault::Rotation { profile: text(), max_rad_s: 0.1 })),
            StrapEventKind::Refused { why: text() },
            StrapEventKind::NotConnectedYet { why: text() },
            StrapEventKind::NotHeard,
            StrapEventKind::Note { text: text() },
            StrapEventKind::Disconnected { reason: Disconnection::Other { why: text() } },
        ];
        all.extend(Disconnection::NUMBERED.map(|reason| StrapEventKind::Disconnected { reason }));
        all
    }

    #[test]
    fn version_1_says_in_text_what_is_a_number_now() {
        let read = |kind, detail| StrapV1 { kind, detail }.to_kind().expect("a kind");
        assert_eq!(read(3, "87"), StrapEventKind::Battery { percent: 87 });
        assert_eq!(read(4, "11.25"), StrapEventKind::Interval { interval: Duration::from_micros(11_250) });
        assert_eq!(read(4, "15 ms"), StrapEventKind::Interval { interval: Duration::from_millis(15) });
        assert_eq!(
            read(0, "firmware 1.2.3"),
            StrapEventKind::Connected { information: "firmware 1.2.3".into(), mtu: None }
        );
        let why = "the link was lost".to_owned();
        assert_eq!(
            read(1, &why),
            StrapEventKind::Disconnected { reason: Disconnection::Other { why: why.clone() } }
        );
        // What is no number is kept as it was written.
        for (kind, detail, text) in [
            (3, "low", "battery low %"),
            (4, "-5", "connection interval -5 ms"),
            (4, "NaN", "connection interval NaN ms"),
        ] {
            assert_eq!(read(kind, detail), StrapEventKind::Note { text: text.into() });
        }
    }

    #[test]
    fn json_holds_a_stable_kind_with_its_data_beside_it() {
        for kind in every_kind() {
            let json = serde_json::to_string(&kind).expect("writes");
            assert_eq!(serde_json::from_str::<StrapEventKind>(&json).expect("reads"), kind, "{json}");
        }
        let json =
            serde_json::to_string(&StrapEventKind::Interval { interval: Duration::from_micros(11_250) });
        assert_eq!(json.expect("writes"), r#"{"kind":"interval","interval_ms":11.25}"#);
    }
}
