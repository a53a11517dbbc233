//! What passes between host and controller, as a file that `btmon -r` and Wireshark read
//! (`BTSnoop`, datalink 1002: the packets as on a serial line).

use std::fs::File;
use std::io::{self, BufWriter, Write as _};
use std::path::Path;

/// Midnight of 1970-01-01 in the format's microseconds since the year 0.
const EPOCH_US: u64 = 0x00dc_ddb3_0f2f_8000;

/// A trace being written.
#[derive(Debug)]
pub(super) struct Trace(BufWriter<File>);

impl Trace {
    /// A new file at `path`.
    pub(super) fn create(path: &Path) -> io::Result<Self> {
        let mut file = BufWriter::new(File::create(path)?);
        file.write_all(b"btsnoop\0")?;
        file.write_all(&1_u32.to_be_bytes())?;
        file.write_all(&1002_u32.to_be_bytes())?;
        Ok(Self(file))
    }

    /// One packet, `received` by the host or sent by it, at `t_s` of the radio.
    pub(super) fn packet(&mut self, t_s: f64, received: bool, packet: &[u8]) -> io::Result<()> {
        let length = packet.len() as u32;
        // Bit 0: to the host. Bit 1: a command or an event.
        let data = packet.first() == Some(&0x02);
        let flags = u32::from(received) | u32::from(!data) << 1;
        for number in [length, length, flags, 0] {
            self.0.write_all(&number.to_be_bytes())?;
        }
        self.0.write_all(&(EPOCH_US + (t_s * 1e6) as u64).to_be_bytes())?;
        self.0.write_all(packet)
    }

    /// Makes what was written readable by others.
    pub(super) fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}
