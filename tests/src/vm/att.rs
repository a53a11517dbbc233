//! A strap's attribute server (Bluetooth Core Specification 5.4, Vol 3, Part F and G).

use peakorder_protocol::packet::{CONTROL_UUID, DATA_UUID, INFO_UUID, SERVICE_UUID};

/// Largest PDU that a strap takes.
pub(super) const MTU: u16 = 247;
/// PDU size before both sides have told theirs.
const DEFAULT_MTU: u16 = 23;

// Attribute types (Bluetooth assigned numbers).
const PRIMARY_SERVICE: u16 = 0x2800;
const CHARACTERISTIC: u16 = 0x2803;
const CLIENT_CONFIGURATION: u16 = 0x2902;

// Characteristic properties.
const READ: u8 = 0x02;
const WRITE: u8 = 0x08;
const NOTIFY: u8 = 0x10;

// Error codes.
const INVALID_HANDLE: u8 = 0x01;
const READ_NOT_PERMITTED: u8 = 0x02;
const WRITE_NOT_PERMITTED: u8 = 0x03;
const INVALID_PDU: u8 = 0x04;
const REQUEST_NOT_SUPPORTED: u8 = 0x06;
const INVALID_OFFSET: u8 = 0x07;
const ATTRIBUTE_NOT_FOUND: u8 = 0x0a;

/// First byte of the control characteristic that starts the stream.
const START: u8 = 0x01;

#[derive(Debug)]
struct Attribute {
    /// Little-endian, 2 or 16 bytes.
    kind: Vec<u8>,
    value: Vec<u8>,
    readable: bool,
    writable: bool,
}

/// Attributes of one strap and what the central has made of them on this link.
#[derive(Debug)]
pub(super) struct Server {
    /// The attribute with handle `n` is at `n - 1`.
    attributes: Vec<Attribute>,
    mtu: u16,
    control: u16,
    data: u16,
    subscription: u16,
    started: bool,
}

fn short(number: u16) -> Vec<u8> {
    number.to_le_bytes().to_vec()
}

/// Little-endian bytes of a UUID as it is written.
pub(super) fn long(uuid: &str) -> Vec<u8> {
    let digits: String = uuid.chars().filter(|c| *c != '-').collect();
    u128::from_str_radix(&digits, 16).expect("a constant of the protocol").to_le_bytes().to_vec()
}

/// Little-endian number at an offset; `None` past the end.
pub(super) fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

impl Server {
    /// A strap called `name` with this much in its battery.
    pub(super) fn new(name: &str, battery_percent: u8) -> Self {
        let mut server = Self {
            attributes: Vec::new(),
            mtu: DEFAULT_MTU,
            control: 0,
            data: 0,
            subscription: 0,
            started: false,
        };
        server.service(short(0x1800));
        server.characteristic(READ, short(0x2a00), name.into());
        server.service(long(SERVICE_UUID));
        server.control = server.characteristic(WRITE, long(CONTROL_UUID), Vec::new());
        server.data = server.characteristic(NOTIFY, long(DATA_UUID), Vec::new());
        server.subscription = server.add(short(CLIENT_CONFIGURATION), vec![0, 0], true, true);
        server.characteristic(READ, long(INFO_UUID), vec![1]);
        server.service(short(0x180a));
        server.characteristic(READ, short(0x2a26), b"1.2.3".to_vec());
        server.service(short(0x180f));
        server.characteristic(READ, short(0x2a19), vec![battery_percent]);
        server
    }

    fn add(&mut self, kind: Vec<u8>, value: Vec<u8>, readable: bool, writable: bool) -> u16 {
        self.attributes.push(Attribute { kind, value, readable, writable });
        self.attributes.len() as u16
    }

    fn service(&mut self, uuid: Vec<u8>) {
        self.add(short(PRIMARY_SERVICE), uuid, true, false);
    }

    /// Declaration and value; the handle of the value.
    fn characteristic(&mut self, properties: u8, uuid: Vec<u8>, value: Vec<u8>) -> u16 {
        let handle = self.attributes.len() as u16 + 2;
        let mut declaration = vec![properties];
        declaration.extend(handle.to_le_bytes());
        declaration.extend(&uuid);
        self.add(short(CHARACTERISTIC), declaration, true, false);
        self.add(uuid, value, properties & READ != 0, properties & WRITE != 0)
    }

    /// The central has subscribed and started the stream.
    pub(super) fn streams(&self) -> bool {
        self.started
            && self.attributes[usize::from(self.subscription) - 1].value.first().is_some_and(|b| b & 1 == 1)
    }

    /// As after a central's subscription and start.
    #[cfg(test)]
    pub(super) fn stream_for_test(&mut self) {
        self.started = true;
        self.attributes[usize::from(self.subscription) - 1].value = vec![1, 0];
    }

    /// The notification with these data; `None` if they do not fit.
    pub(super) fn notification(&self, data: &[u8]) -> Option<Vec<u8>> {
        let mut pdu = vec![0x1b];
        pdu.extend(self.data.to_le_bytes());
        pdu.extend(data);
        (pdu.len() <= usize::from(self.mtu)).then_some(pdu)
    }

    /// Handles in `from..=to` with their attributes.
    fn range(&self, from: u16, to: u16) -> impl Iterator<Item = (u16, &Attribute)> {
        (1..).zip(&self.attributes).filter(move |(handle, _)| (from..=to).contains(handle))
    }

    /// Last handle of the service that is declared at `handle`.
    fn end_of_service(&self, handle: u16) -> u16 {
        self.range(handle + 1, u16::MAX)
            .find(|(_, a)| a.kind == short(PRIMARY_SERVICE))
            .map_or(u16::MAX, |(next, _)| next - 1)
    }

    /// The answer to one PDU, if it wants one.
    pub(super) fn answer(&mut self, pdu: &[u8]) -> Option<Vec<u8>> {
        let opcode = *pdu.first()?;
        // Commands, confirmations and what has no meaning for a server are not answered.
        if opcode == 0x1e || opcode & 0x40 != 0 && opcode != 0x52 {
            return None;
        }
        let handle = u16_at(pdu, 1).unwrap_or(0);
        match self.request(opcode, pdu) {
            Ok(answer) => (opcode != 0x52).then_some(answer),
            Err(_) if opcode == 0x52 => None,
            Err(code) => {
                let [low, high] = handle.to_le_bytes();
                Some(vec![0x01, opcode, low, high, code])
            }
        }
    }

    fn request(&mut self, opcode: u8, pdu: &[u8]) -> Result<Vec<u8>, u8> {
        let first = || u16_at(pdu, 1).ok_or(INVALID_PDU);
        let second = || u16_at(pdu, 3).ok_or(INVALID_PDU);
        match opcode {
            // Exchange MTU.
            0x02 => {
                self.mtu = first()?.clamp(DEFAULT_MTU, MTU);
                let [low, high] = MTU.to_le_bytes();
                Ok(vec![0x03, low, high])
            }
            // Find information: handles with their types, all of one size.
            0x04 => {
                let found = self.range(first()?, second()?).map(|(handle, a)| (handle, a.kind.clone()));
                let (size, list) = self.list(found)?;
                Ok([&[0x05, if size == 4 { 1 } else { 2 }][..], &list].concat())
            }
            // Find by type value: services with a given UUID.
            0x06 => {
                let kind = pdu.get(5..7).ok_or(INVALID_PDU)?;
                let value = &pdu[7..];
                let found =
                    self.range(first()?, second()?).filter(|(_, a)| a.kind == kind && a.value == value);
                let found =
                    found.map(|(handle, _)| (handle, self.end_of_service(handle).to_le_bytes().to_vec()));
                Ok([&[0x07][..], &self.list(found)?.1].concat())
            }
            // Read by type, read by group type: values with their handles, all of one size.
            0x08 | 0x10 => {
                let kind = pdu.get(5..).ok_or(INVALID_PDU)?;
                let found = self.range(first()?, second()?).filter(|(_, a)| a.kind == kind);
                let found = found.map(|(handle, a)| {
                    let mut value = Vec::new();
                    if opcode == 0x10 {
                        value.extend(self.end_of_service(handle).to_le_bytes());
                    }
                    value.extend(&a.value);
                    (handle, value)
                });
                let (size, list) = self.list(found)?;
                Ok([&[opcode + 1, size as u8][..], &list].concat())
            }
            // Read, read blob.
            0x0a | 0x0c => {
                let attribute = self.range(first()?, first()?).next().ok_or(INVALID_HANDLE)?.1;
                if !attribute.readable {
                    return Err(READ_NOT_PERMITTED);
                }
                let from = if opcode == 0x0c { usize::from(second()?) } else { 0 };
                let value = attribute.value.get(from..).ok_or(INVALID_OFFSET)?;
                let fits = value.len().min(usize::from(self.mtu) - 1);
                Ok([&[opcode + 1][..], &value[..fits]].concat())
            }
            // Write, with and without response.
            0x12 | 0x52 => {
                let handle = first()?;
                let value = pdu.get(3..).ok_or(INVALID_PDU)?.to_vec();
                if handle == self.control {
                    self.started = value.first() == Some(&START);
                }
                let attribute = handle.checked_sub(1).and_then(|at| self.attributes.get_mut(usize::from(at)));
                let attribute = attribute.ok_or(INVALID_HANDLE)?;
                if !attribute.writable {
                    return Err(WRITE_NOT_PERMITTED);
                }
                attribute.value = value;
                Ok(vec![0x13])
            }
            _ => Err(REQUEST_NOT_SUPPORTED),
        }
    }

    /// As many entries of the first one's size as one PDU takes: the size and the bytes.
    fn list(&self, found: impl Iterator<Item = (u16, Vec<u8>)>) -> Result<(usize, Vec<u8>), u8> {
        let (mut size, mut bytes) = (0, Vec::new());
        for (handle, rest) in found {
            if size == 0 {
                size = 2 + rest.len();
            }
            if 2 + rest.len() != size || 2 + bytes.len() + size > usize::from(self.mtu) {
                break;
            }
            bytes.extend(handle.to_le_bytes());
            bytes.extend(rest);
        }
        if size == 0 { Err(ATTRIBUTE_NOT_FOUND) } else { Ok((size, bytes)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Walks the services as a central does.
    #[test]
    fn services_are_found_and_the_stream_is_started_by_subscription_and_command() {
        let mut server = Server::new("strap", 81);
        assert_eq!(server.answer(&[0x02, 5, 2]), Some(vec![0x03, 247, 0]));
        let mut services = Vec::new();
        let mut from = 1_u16;
        loop {
            let [low, high] = from.to_le_bytes();
            let answer = server.answer(&[0x10, low, high, 0xff, 0xff, 0x00, 0x28]).unwrap();
            if answer[0] == 0x01 {
                assert_eq!(answer[4], ATTRIBUTE_NOT_FOUND);
                break;
            }
            assert_eq!(answer[0], 0x11);
            for entry in answer[2..].chunks(usize::from(answer[1])) {
                services.push(entry[4..].to_vec());
                from = u16_at(entry, 2).unwrap();
            }
            if from == u16::MAX {
                break;
            }
            from += 1;
        }
        assert_eq!(services, [short(0x1800), long(SERVICE_UUID), short(0x180a), short(0x180f)]);
        let [low, high] = server.data.to_le_bytes();
        assert_eq!(server.answer(&[0x0a, low, high]), Some(vec![0x01, 0x0a, low, high, READ_NOT_PERMITTED]));
        assert!(!server.streams());
        let [low, high] = server.subscription.to_le_bytes();
        assert_eq!(server.answer(&[0x12, low, high, 1, 0]), Some(vec![0x13]));
        assert!(!server.streams());
        let [low, high] = server.control.to_le_bytes();
        assert_eq!(server.answer(&[0x12, low, high, START, 0xd0, 0]), Some(vec![0x13]));
        assert!(server.streams());
        assert!(server.notification(&[0; 244]).is_some() && server.notification(&[0; 245]).is_none());
        assert_eq!(server.answer(&[0x12, low, high, 0]), Some(vec![0x13]));
        assert!(!server.streams());
    }

    #[test]
    fn cut_off_and_unknown_requests_are_answered_with_errors() {
        let mut server = Server::new("strap", 81);
        for opcode in 0..=u8::MAX {
            for length in 0..8 {
                let mut pdu = vec![opcode];
                pdu.resize(1 + length, 0xee);
                let answer = server.answer(&pdu);
                assert!(answer.is_none_or(|a| a.len() <= 23), "{pdu:02x?}");
            }
        }
        assert_eq!(server.answer(&[]), None);
    }
}
