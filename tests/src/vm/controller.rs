//! The host controller interface as far as an LE central needs it (Bluetooth Core
//! Specification 5.4, Vol 4, Part E): commands in, events and data out. An LE-only controller
//! of version 5.0 without any optional feature.

use super::att::u16_at;

/// First byte of a packet on `/dev/vhci`.
const COMMAND: u8 = 0x01;
const DATA: u8 = 0x02;
const EVENT: u8 = 0x04;
const VENDOR: u8 = 0xff;

/// Bytes of data, and packets of it, that the host may hand over at once. A strap's largest
/// PDU and its L2CAP header fit, so the host never has to split one.
const BUFFER: (u16, u8) = (251, 16);

// Status and reasons.
const OK: u8 = 0x00;
const UNKNOWN_COMMAND: u8 = 0x01;
const UNKNOWN_CONNECTION: u8 = 0x02;
/// The peer is out of range.
pub(super) const TIMEOUT: u8 = 0x08;
/// This host ended the link.
pub(super) const LOCAL_HOST: u8 = 0x16;

// L2CAP channels.
pub(super) const ATTRIBUTES: u16 = 0x0004;
pub(super) const SIGNALS: u16 = 0x0005;
pub(super) const SECURITY: u16 = 0x0006;

/// What the host wants of the radio.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Wish {
    /// Listen (and ask advertisers for more, if active), or not.
    Scan {
        on: bool,
    },
    ActiveScan {
        active: bool,
    },
    /// Connect one peer, or the first of the accept list that is heard.
    Connect {
        peer: Option<[u8; 6]>,
        interval: u16,
        timeout: u16,
    },
    CancelConnect,
    AcceptListClear,
    AcceptListAdd([u8; 6]),
    AcceptListRemove([u8; 6]),
    Update {
        handle: u16,
        interval: u16,
        timeout: u16,
    },
    Disconnect {
        handle: u16,
    },
    Data {
        handle: u16,
        channel: u16,
        bytes: Vec<u8>,
    },
}

/// Packets to the host.
pub(super) type Packets = Vec<Vec<u8>>;

fn event(code: u8, parameters: &[u8]) -> Vec<u8> {
    [&[EVENT, code, parameters.len() as u8][..], parameters].concat()
}

fn le_event(code: u8, parameters: &[u8]) -> Vec<u8> {
    event(0x3e, &[&[code][..], parameters].concat())
}

fn complete(opcode: u16, answer: &[u8]) -> Vec<u8> {
    event(0x0e, &[&[1][..], &opcode.to_le_bytes(), answer].concat())
}

fn status(opcode: u16, status: u8) -> Vec<u8> {
    event(0x0f, &[&[status, 1][..], &opcode.to_le_bytes()].concat())
}

/// The packet that makes the kernel create the adapter.
pub(super) fn create() -> Vec<u8> {
    vec![VENDOR, 0]
}

/// A link is up; intervals in 1.25 ms, time-outs in 10 ms.
pub(super) fn connected(handle: u16, peer: [u8; 6], interval: u16, timeout: u16) -> Vec<u8> {
    connection_complete(OK, handle, peer, interval, timeout)
}

/// The attempt was called off.
pub(super) fn not_connected() -> Vec<u8> {
    connection_complete(UNKNOWN_CONNECTION, 0, [0; 6], 0, 0)
}

fn connection_complete(status: u8, handle: u16, peer: [u8; 6], interval: u16, timeout: u16) -> Vec<u8> {
    let mut p = vec![status];
    p.extend(handle.to_le_bytes());
    // The host is the central; the peer's address is a random one.
    p.extend([0, 1]);
    p.extend(peer);
    p.extend(interval.to_le_bytes());
    p.extend([0, 0]);
    p.extend(timeout.to_le_bytes());
    p.push(0);
    le_event(0x01, &p)
}

/// A link is down.
pub(super) fn disconnected(handle: u16, reason: u8) -> Vec<u8> {
    let [low, high] = handle.to_le_bytes();
    event(0x05, &[OK, low, high, reason])
}

/// New parameters of a link hold.
pub(super) fn updated(handle: u16, interval: u16, timeout: u16) -> Vec<u8> {
    let mut p = vec![OK];
    for number in [handle, interval, 0, timeout] {
        p.extend(number.to_le_bytes());
    }
    le_event(0x03, &p)
}

/// An advertisement was heard, or with `answer` the answer to a scan request.
pub(super) fn heard(peer: [u8; 6], answer: bool, data: &[u8], rssi_dbm: i8) -> Vec<u8> {
    let mut p = vec![1, if answer { 0x04 } else { 0x00 }, 1];
    p.extend(peer);
    p.push(data.len() as u8);
    p.extend(data);
    p.push(rssi_dbm as u8);
    le_event(0x02, &p)
}

/// Data from a peer.
pub(super) fn data(handle: u16, channel: u16, bytes: &[u8]) -> Vec<u8> {
    let length = bytes.len() as u16;
    let mut p = vec![DATA];
    // First fragment; there is no second.
    p.extend((handle | 0x2000).to_le_bytes());
    p.extend((length + 4).to_le_bytes());
    p.extend(length.to_le_bytes());
    p.extend(channel.to_le_bytes());
    p.extend(bytes);
    p
}

fn peer(p: &[u8], at: usize) -> Option<[u8; 6]> {
    p.get(at..at + 6)?.try_into().ok()
}

/// Takes one packet of the host: what it is answered at once, and what it wants. What is cut
/// off or not known comes back as an error.
pub(super) fn take(packet: &[u8]) -> Result<(Packets, Option<Wish>), String> {
    let odd = || format!("the host sent {packet:02x?}");
    match packet.first() {
        Some(&COMMAND) => {
            let opcode = u16_at(packet, 1).ok_or_else(odd)?;
            let parameters = packet.get(4..).ok_or_else(odd)?;
            command(opcode, parameters).ok_or_else(odd)
        }
        Some(&DATA) => {
            let handle = u16_at(packet, 1).ok_or_else(odd)? & 0x0fff;
            let channel = u16_at(packet, 7).ok_or_else(odd)?;
            let bytes = packet.get(9..).ok_or_else(odd)?.to_vec();
            let [low, high] = handle.to_le_bytes();
            // One packet has been sent; the host may hand over another.
            let done = event(0x13, &[1, low, high, 1, 0]);
            Ok((vec![done], Some(Wish::Data { handle, channel, bytes })))
        }
        // The kernel says which adapter it made.
        Some(&VENDOR) => Ok((Vec::new(), None)),
        _ => Err(odd()),
    }
}

fn command(opcode: u16, p: &[u8]) -> Option<(Packets, Option<Wish>)> {
    let done = |wish| Some((vec![complete(opcode, &[OK])], wish));
    let says = |answer: &[u8]| Some((vec![complete(opcode, answer)], None));
    let later = |event: Option<Vec<u8>>, wish| {
        Some((std::iter::once(status(opcode, OK)).chain(event).collect::<Packets>(), wish))
    };
    match opcode {
        // Reset; event masks; local name, class, LE support; own address; advertising.
        0x0c03 | 0x0c01 | 0x0c63 | 0x2001 | 0x0c13 | 0x0c24 | 0x0c6d | 0x2005 | 0x2006 | 0x2008..=0x200a => {
            done(None)
        }
        // Version 5.0.
        0x1001 => says(&[OK, 9, 0, 0, 9, 0xff, 0xff, 0, 0]),
        // None of the optional commands.
        0x1002 => says(&[0; 65]),
        // LE, and not classic Bluetooth.
        0x1003 => says(&[OK, 0, 0, 0, 0, 0x60, 0, 0, 0]),
        0x1005 => {
            let [low, high] = BUFFER.0.to_le_bytes();
            says(&[OK, low, high, 0, BUFFER.1, 0, 0, 0])
        }
        0x1009 => says(&[OK, 0, 0, 0, 1, 0xaa, 0]),
        0x2002 => {
            let [low, high] = BUFFER.0.to_le_bytes();
            says(&[OK, low, high, BUFFER.1])
        }
        // No LE features, no states worth mentioning.
        0x2003 | 0x201c => says(&[0; 9]),
        0x200b => done(Some(Wish::ActiveScan { active: *p.first()? == 1 })),
        0x200c => done(Some(Wish::Scan { on: *p.first()? == 1 })),
        0x200d => {
            let from_list = *p.get(4)? == 1;
            let peer = if from_list { None } else { Some(peer(p, 6)?) };
            let wish = Wish::Connect { peer, interval: u16_at(p, 15)?, timeout: u16_at(p, 19)? };
            later(None, Some(wish))
        }
        0x200e => done(Some(Wish::CancelConnect)),
        0x200f => says(&[OK, 16]),
        0x2010 => done(Some(Wish::AcceptListClear)),
        0x2011 => done(Some(Wish::AcceptListAdd(peer(p, 1)?))),
        0x2012 => done(Some(Wish::AcceptListRemove(peer(p, 1)?))),
        0x2013 => {
            let wish =
                Wish::Update { handle: u16_at(p, 0)?, interval: u16_at(p, 4)?, timeout: u16_at(p, 8)? };
            later(None, Some(wish))
        }
        // The peer's features: none.
        0x2016 => later(Some(le_event(0x04, &[&[OK][..], p.get(..2)?, &[0; 8]].concat())), None),
        // Transmit power 0 dBm; no room for resolvable addresses.
        0x2007 | 0x202a => says(&[OK, 0]),
        // The peer's version: 5.0.
        0x041d => later(Some(event(0x0c, &[&[OK][..], p.get(..2)?, &[9, 0xff, 0xff, 0, 0]].concat())), None),
        0x0406 => later(None, Some(Wish::Disconnect { handle: u16_at(p, 0)? })),
        _ => says(&[UNKNOWN_COMMAND]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Create Connection as in the specification's 7.8.12: 30–50 ms, time-out 420 ms.
    #[test]
    fn a_connection_command_is_read_field_by_field() {
        let mut packet = vec![COMMAND, 0x0d, 0x20, 25, 0x60, 0, 0x60, 0, 0, 1];
        packet.extend([1, 2, 3, 4, 5, 6]);
        packet.extend([0, 24, 0, 40, 0, 0, 0, 42, 0, 0, 0, 0, 0]);
        let (answers, wish) = take(&packet).unwrap();
        assert_eq!(answers, [vec![EVENT, 0x0f, 4, OK, 1, 0x0d, 0x20]]);
        let expected = Wish::Connect { peer: Some([1, 2, 3, 4, 5, 6]), interval: 40, timeout: 42 };
        assert_eq!(wish, Some(expected));
    }

    #[test]
    fn what_is_cut_off_is_an_error_and_what_is_unknown_is_answered() {
        assert!(take(&[]).is_err() && take(&[COMMAND, 0x0d]).is_err() && take(&[DATA, 0, 0, 1]).is_err());
        assert!(take(&[COMMAND, 0x0d, 0x20, 2, 0, 0]).is_err());
        let (answers, wish) = take(&[COMMAND, 0xee, 0xfc, 0]).unwrap();
        assert_eq!((answers, wish), (vec![vec![EVENT, 0x0e, 4, 1, 0xee, 0xfc, UNKNOWN_COMMAND]], None));
    }
}
