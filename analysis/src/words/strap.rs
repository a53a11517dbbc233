//! What happens to a strap, in words.

use peakorder_protocol::log::{Disconnection, RestFault, StrapEventKind, interval_ms};
use peakorder_protocol::profile::STANDARD_GRAVITY;

/// One strap event, after `… strap: `.
pub fn event(what: &StrapEventKind) -> String {
    match what {
        StrapEventKind::Connected { information, mtu } => {
            let mtu = mtu.map(|bytes| format!("MTU {bytes}"));
            let about: Vec<&str> = [information.as_str(), mtu.as_deref().unwrap_or("")]
                .into_iter()
                .filter(|a| !a.is_empty())
                .collect();
            if about.is_empty() { "connected".into() } else { format!("connected ({})", about.join(", ")) }
        }
        StrapEventKind::Disconnected { reason: Disconnection::NotKnown } => "disconnected".into(),
        StrapEventKind::Disconnected { reason } => format!("disconnected ({})", disconnection(reason)),
        StrapEventKind::Restarted => "it restarted: its clock begins anew".into(),
        StrapEventKind::Battery { percent } => format!("battery {percent} %"),
        StrapEventKind::Interval { interval } => {
            format!("connection interval {} ms", interval_ms(*interval))
        }
        StrapEventKind::AtRest { acc_m_s2, gyro_rad_s, fault: None } => format!(
            "at rest it shows {:.2} g and {:.1} °/s, as it should",
            acc_m_s2 / STANDARD_GRAVITY,
            gyro_rad_s.to_degrees()
        ),
        StrapEventKind::AtRest { acc_m_s2, gyro_rad_s, fault: Some(fault) } => {
            rest_fault(*acc_m_s2, *gyro_rad_s, fault)
        }
        StrapEventKind::Refused { why } => format!("refused: {why}"),
        StrapEventKind::NotConnectedYet { why } => format!("no connection yet: {why}"),
        StrapEventKind::NotHeard => {
            "not heard; is it switched on, charged, near, and not connected to a phone?".into()
        }
        StrapEventKind::Note { text } => text.clone(),
    }
}

/// Why a link ended.
fn disconnection(reason: &Disconnection) -> &str {
    match reason {
        Disconnection::NotKnown => "not known why",
        Disconnection::SessionEnded => "session ended",
        Disconnection::LinkLost => "the link was lost",
        Disconnection::SentNothing => "it sends nothing",
        Disconnection::FellSilent => "it fell silent",
        Disconnection::ServiceGone => "the Bluetooth service is gone",
        Disconnection::Other { why } => why,
    }
}

/// What a strap at rest shows and its profile does not allow, and what to do.
pub fn rest_fault(acc_m_s2: f64, gyro_rad_s: f64, fault: &RestFault) -> String {
    match fault {
        RestFault::Acceleration { profile, min_m_s2, max_m_s2 } => format!(
            "it lies still but shows {:.2} g instead of about 1 g ({:.2} to {:.2}): profile '{profile}' does not \
             fit this strap (wrong unit or layout); correct the profile and try it with: peakorderd profile check",
            acc_m_s2 / STANDARD_GRAVITY,
            min_m_s2 / STANDARD_GRAVITY,
            max_m_s2 / STANDARD_GRAVITY
        ),
        RestFault::Rotation { profile, max_rad_s } => format!(
            "it lies still but shows a rotation of {:.1} °/s (at most {:.1}): profile '{profile}' does not fit \
             this strap, or its gyroscope is faulty; switch it off and on while it lies still",
            gyro_rad_s.to_degrees(),
            max_rad_s.to_degrees()
        ),
    }
}

/// A gyroscope whose bias is not known well yet; it takes `left_s` longer as a rule, none where that has passed.
pub fn gyro_settling(left_s: f64) -> String {
    // To five seconds: more would pretend to know.
    let left_s = 5.0 * (left_s / 5.0).ceil();
    if left_s > 0.0 {
        format!("gyroscope settling, up to {left_s:.0} s more: angles are less certain until then")
    } else {
        "gyroscope still settling: stand still, then bend forward and come up; angles are less certain until then".into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::assert_distinct;
    use std::time::Duration;

    #[test]
    fn every_event_has_its_own_plain_words() {
        let rest = |fault| StrapEventKind::AtRest { acc_m_s2: 2.45, gyro_rad_s: 0.125, fault };
        let mut all: Vec<String> = [
            StrapEventKind::CONNECTED,
            StrapEventKind::Connected { information: "firmware 1.2.3".into(), mtu: Some(247) },
            StrapEventKind::Restarted,
            StrapEventKind::Battery { percent: 87 },
            StrapEventKind::Interval { interval: Duration::from_micros(11_250) },
            StrapEventKind::Interval { interval: Duration::from_millis(15) },
            rest(None),
            rest(Some(RestFault::Acceleration { profile: "own".into(), min_m_s2: 8.8, max_m_s2: 10.8 })),
            rest(Some(RestFault::Rotation { profile: "own".into(), max_rad_s: 0.05 })),
            StrapEventKind::Refused { why: "no such service".into() },
            StrapEventKind::NotConnectedYet { why: "busy".into() },
            StrapEventKind::NotHeard,
            StrapEventKind::Note { text: "lies in the sun".into() },
        ]
        .iter()
        .map(event)
        .collect();
        all.extend(
            [
                Disconnection::NotKnown,
                Disconnection::SessionEnded,
                Disconnection::LinkLost,
                Disconnection::SentNothing,
                Disconnection::FellSilent,
                Disconnection::ServiceGone,
                Disconnection::Other { why: "0x08".into() },
            ]
            .map(|reason| event(&StrapEventKind::Disconnected { reason })),
        );
        all.extend([0.0, 12.0].map(gyro_settling));
        assert_distinct(&all);
        let at = |i: usize| all[i].as_str();
        assert_eq!(at(1), "connected (firmware 1.2.3, MTU 247)");
        assert_eq!((at(4), at(5)), ("connection interval 11.25 ms", "connection interval 15 ms"));
        assert!(
            at(7).contains("0.25 g") && at(7).ends_with("try it with: peakorderd profile check"),
            "{}",
            at(7)
        );
        assert!(
            at(8).contains("7.2 °/s (at most 2.9)") && at(8).contains("switch it off and on"),
            "{}",
            at(8)
        );
        assert!(at(15).contains("(the link was lost)"), "{}", at(15));
    }
}
