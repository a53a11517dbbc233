//! From notifications to samples in SI units.

use super::Profile;
use super::merge::Merger;
use super::plan::{FramePlan, Plan};
use super::schema::{Checksum, Join};
use super::unpack;

/// What one call of [`Decoder::decode`] found.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Decoded {
    /// Packets completed by this call, in order.
    pub packets: Vec<PacketHead>,
    /// Their samples, in order.
    pub samples: Vec<RawSample>,
}

impl Decoded {
    fn clear(&mut self) {
        self.packets.clear();
        self.samples.clear();
    }

    /// The samples of one of the packets.
    pub fn samples_of(&self, packet: &PacketHead) -> &[RawSample] {
        &self.samples[packet.first..packet.first + packet.n]
    }
}

/// One packet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PacketHead {
    /// Index of its first sample in [`Decoded::samples`].
    pub first: usize,
    /// Number of its samples, at least 1.
    pub n: usize,
    /// Sequence number as sent.
    pub seq: Option<u32>,
    /// Width of the sequence number in bits (0 without one): it wraps at `2^seq_bits`.
    pub seq_bits: u8,
    /// Device time in ticks as sent, not unwrapped.
    pub t_raw: Option<u64>,
    /// The device time is the last sample's, not the first's.
    pub stamps_last: bool,
    /// Measured sample period, seconds.
    pub period_s: Option<f64>,
    /// When an earlier packet could first have been sent.
    pub event: Option<EventStamp>,
    /// The strap says that its clock started anew.
    pub restarted: bool,
    /// The strap says that it dropped samples before this packet.
    pub dropped_before: bool,
    /// Calls of [`Decoder::decode`] since the packet's last byte came in: 0 unless it had to
    /// wait for another characteristic's samples. Its arrival time is that earlier call's.
    pub calls_ago: u32,
}

/// When an earlier packet could first have been sent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EventStamp {
    /// How many packets earlier.
    pub back: u8,
    /// Device time from that packet's last sample to that moment, seconds.
    pub age_s: f64,
}

/// One sample, in the strap's frame after the profile's axis mapping. All values are finite.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RawSample {
    /// Angular velocity, rad/s.
    pub gyro: [f64; 3],
    /// Specific force, m/s².
    pub acc: [f64; 3],
    /// Session clock, nanoseconds, where samples carry their own time.
    pub t_ns: Option<i64>,
    /// A value is at or above 99.5 % of the sensor's range, or the strap says so of its packet
    /// and no value of it shows which sample is meant.
    pub clipped: bool,
}

/// Why bytes could not be decoded. The packet concerned is dropped; packets of the same
/// call that are whole are still handed out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// The profile has no such channel.
    #[error("channel {channel} does not exist; the profile has {channels}")]
    UnknownChannel {
        /// Channel asked for.
        channel: u8,
        /// Channels of the profile.
        channels: usize,
    },
    /// No stream of the profile has these first bytes.
    #[error("packet of {length} bytes is of no kind that the profile knows (it begins {begins:02x?})")]
    UnknownPacket {
        /// Its first bytes.
        begins: Vec<u8>,
        /// Its length.
        length: usize,
    },
    /// Too short or too long.
    #[error("packet of {found} bytes, {expected} expected")]
    Length {
        /// Length that the layout demands.
        expected: usize,
        /// Length that came.
        found: usize,
    },
    /// What remains beside the header is not a whole number of samples.
    #[error("packet of {found} bytes, expected {header} and a multiple of {sample}")]
    NotWhole {
        /// Bytes beside the samples.
        header: usize,
        /// Bytes per sample.
        sample: usize,
        /// Length that came.
        found: usize,
    },
    /// A packet without samples.
    #[error("packet without samples")]
    NoSamples,
    /// More samples than any strap sends at once.
    #[error("packet claims more than {limit} samples")]
    TooManySamples {
        /// Largest number taken.
        limit: usize,
    },
    /// A value is infinite or not a number.
    #[error("sample {sample} of the packet holds a value that is infinite or not a number")]
    NotFinite {
        /// Index in the packet.
        sample: usize,
    },
    /// A delta block is wider than any number it could change.
    #[error("delta block of {bits} bits per value, at most 32 expected")]
    DeltaWidth {
        /// Bits per value.
        bits: u32,
    },
    /// Bytes of a byte stream that belong to no frame.
    #[error("{skipped} bytes skipped to the next frame")]
    OutOfSync {
        /// How many.
        skipped: usize,
    },
    /// The rest of a packet did not come.
    #[error("the continuation of a packet is missing, {dropped} bytes dropped")]
    ContinuationMissing {
        /// Bytes that had come.
        dropped: usize,
    },
    /// A continuation without the beginning of its packet.
    #[error("continuation of {length} bytes without the beginning of its packet")]
    BeginningMissing {
        /// Its length.
        length: usize,
    },
    /// The other quantity's samples are missing.
    #[error("{samples} samples dropped: the samples of the other sensor for them are missing")]
    MergeGap {
        /// Samples dropped.
        samples: usize,
    },
}

/// Longest packet put together from fragments, bytes.
const JOINED_LIMIT: usize = 4096;

/// Decodes the notifications of one strap.
#[derive(Debug, Clone)]
pub struct Decoder {
    channels: Vec<Channel>,
    core: Core,
}

/// Bytes of one characteristic that wait for the rest of their packet.
#[derive(Debug, Clone, Default)]
struct Channel {
    /// Tail of a byte stream, or the fragments so far.
    waiting: Vec<u8>,
    /// The stream the fragments belong to.
    fragments_of: Option<usize>,
    /// The last frame began where the one before it ended.
    in_sync: bool,
}

#[derive(Debug, Clone)]
struct Core {
    plan: Plan,
    merger: Option<Merger>,
    /// One quantity's packet on its way to the merger.
    part: Decoded,
}

impl Core {
    fn deliver(&mut self, stream: usize, packet: &[u8], out: &mut Decoded) -> Result<(), DecodeError> {
        let s = &self.plan.streams[stream];
        match (&mut self.merger, s.part) {
            (Some(merger), Some(quantity)) => {
                self.part.clear();
                unpack::packet(&self.plan, s, packet, &mut self.part)?;
                merger.push(quantity, &self.part, out)
            }
            _ => unpack::packet(&self.plan, s, packet, out),
        }
    }
}

impl Decoder {
    /// A decoder for one strap of this profile.
    pub fn new(profile: &Profile) -> Self {
        let plan = profile.plan.clone();
        Self {
            channels: vec![Channel::default(); plan.channels],
            core: Core { merger: plan.merge.map(Merger::new), part: Decoded::default(), plan },
        }
    }

    /// Decodes one notification; `out` is cleared first and holds what could be decoded
    /// even when an error is returned. Of several errors the first is returned.
    pub fn decode(&mut self, channel: u8, bytes: &[u8], out: &mut Decoded) -> Result<(), DecodeError> {
        out.clear();
        let core = &mut self.core;
        let Some(state) = self.channels.get_mut(usize::from(channel)) else {
            return Err(DecodeError::UnknownChannel { channel, channels: self.channels.len() });
        };
        if let Some(merger) = &mut core.merger {
            merger.begin_call();
        }
        let of_channel = || core.plan.streams.iter().enumerate().filter(|(_, s)| s.channel == channel);
        if let Some((stream, frame)) = of_channel().find_map(|(i, s)| Some((i, s.frame.clone()?))) {
            return state.frames(core, stream, &frame, bytes, out);
        }
        let continues = |j: &Join| bytes.get(usize::from(j.continue_at)) == Some(&j.continue_eq);
        if let Some(join) = of_channel().find_map(|(_, s)| s.join.filter(continues)) {
            return state.continuation(core, join, bytes, out);
        }
        let matches = |require: &[super::schema::Require]| {
            require.iter().all(|r| bytes.get(usize::from(r.at)) == Some(&r.eq))
        };
        let found = of_channel().find(|(_, s)| matches(&s.require)).map(|(i, s)| (i, s.join.is_some()));
        let missing = state.give_up_fragments();
        let result = match found {
            None => Err(DecodeError::UnknownPacket {
                begins: bytes[..bytes.len().min(4)].to_vec(),
                length: bytes.len(),
            }),
            Some((stream, false)) => core.deliver(stream, bytes, out),
            Some((stream, true)) => {
                state.fragments_of = Some(stream);
                state.waiting.extend_from_slice(bytes);
                state.try_fragments(core, out)
            }
        };
        missing.and(result)
    }

    /// Forgets half-received packets and samples that wait for others (after a reconnect).
    pub fn reset(&mut self) {
        self.channels.fill(Channel::default());
        if let Some(merger) = &mut self.core.merger {
            merger.reset();
        }
    }
}

impl Channel {
    fn give_up_fragments(&mut self) -> Result<(), DecodeError> {
        let dropped = self.waiting.len();
        self.waiting.clear();
        match self.fragments_of.take() {
            Some(_) => Err(DecodeError::ContinuationMissing { dropped }),
            None => Ok(()),
        }
    }

    fn continuation(
        &mut self,
        core: &mut Core,
        join: Join,
        bytes: &[u8],
        out: &mut Decoded,
    ) -> Result<(), DecodeError> {
        if self.fragments_of.is_none() {
            return Err(DecodeError::BeginningMissing { length: bytes.len() });
        }
        self.waiting.extend_from_slice(bytes.get(usize::from(join.drop)..).unwrap_or(&[]));
        self.try_fragments(core, out)
    }

    /// Decodes the fragments if they make a whole packet, else keeps them.
    fn try_fragments(&mut self, core: &mut Core, out: &mut Decoded) -> Result<(), DecodeError> {
        let Some(stream) = self.fragments_of else { return Ok(()) };
        let s = &core.plan.streams[stream];
        let fewest =
            s.join.map_or(0, |j| usize::from(j.min_samples)) * s.sample_len + s.header_len + s.trailer_len;
        let result = if self.waiting.len() < fewest {
            Err(DecodeError::Length { expected: fewest, found: self.waiting.len() })
        } else {
            core.deliver(stream, &self.waiting, out)
        };
        let unfinished = match result {
            Err(DecodeError::Length { expected, found }) => found < expected,
            Err(DecodeError::NotWhole { .. } | DecodeError::NoSamples) => true,
            _ => false,
        };
        if unfinished && self.waiting.len() < JOINED_LIMIT {
            return Ok(());
        }
        self.waiting.clear();
        self.fragments_of = None;
        result
    }

    /// Cuts a byte stream into frames. Without the sync before it a frame is believed only
    /// if another (or the end of the bytes) follows it: the sync's bytes may also be data.
    fn frames(
        &mut self,
        core: &mut Core,
        stream: usize,
        frame: &FramePlan,
        bytes: &[u8],
        out: &mut Decoded,
    ) -> Result<(), DecodeError> {
        self.waiting.extend_from_slice(bytes);
        let mut at = 0;
        let mut skipped = 0;
        let mut result = Ok(());
        loop {
            let rest = &self.waiting[at..];
            let begin = (0..rest.len()).find(|&i| begins_like(&rest[i..], &frame.sync)).unwrap_or(rest.len());
            if begin > 0 {
                skipped += begin;
                at += begin;
                self.in_sync = false;
            }
            let Some((candidate, after)) = self.waiting[at..].split_at_checked(frame.len) else { break };
            let content = frame.content(candidate);
            match content {
                Some(content) if self.in_sync || begins_like(after, &frame.sync) => {
                    result = result.and(core.deliver(stream, content, out));
                    at += frame.len;
                    self.in_sync = true;
                }
                _ => {
                    at += 1;
                    skipped += 1;
                    self.in_sync = false;
                }
            }
        }
        self.waiting.drain(..at);
        if skipped > 0 { result.and(Err(DecodeError::OutOfSync { skipped })) } else { result }
    }
}

impl FramePlan {
    /// The frame without its checksum; `None` if that is wrong.
    fn content<'a>(&self, frame: &'a [u8]) -> Option<&'a [u8]> {
        let Some(kind) = self.checksum else { return Some(frame) };
        let (sent, content) = frame.split_last()?;
        let made = content.iter().fold(0u8, |sum, &b| match kind {
            Checksum::Sum8 => sum.wrapping_add(b),
            Checksum::Xor8 => sum ^ b,
        });
        (made == *sent).then_some(content)
    }
}

/// Does `bytes` agree with `sync` as far as both go?
fn begins_like(bytes: &[u8], sync: &[u8]) -> bool {
    bytes.iter().zip(sync).all(|(a, b)| a == b)
}
