//! Unwrapping of device counters against host time.
//!
//! Adding up forward differences fails when a gap is longer than the wrap; the
//! host's own elapsed time says how many wraps went by, so the nearest count to that
//! prediction is taken instead.

/// Turns a wrapping counter into one that does not.
#[derive(Debug, Clone)]
pub struct Unwrapper {
    bits: u32,
    last: Option<i64>,
}

impl Unwrapper {
    /// For a counter of `bits` bits (64 = never wraps).
    pub fn new(bits: u32) -> Self {
        Self { bits: bits.clamp(1, 64), last: None }
    }

    /// The counter's width, where it is only known from the packets.
    pub fn set_bits(&mut self, bits: u32) {
        self.bits = bits.clamp(1, 64);
    }

    /// Takes the raw counter; `elapsed_ticks` is the host's idea of how many ticks went by
    /// since the last call. Returns counts since the first call (may be negative for
    /// packets out of order).
    pub fn push(&mut self, raw: u64, elapsed_ticks: f64) -> i64 {
        let raw = raw as i64;
        let value = match self.last {
            None => raw,
            Some(_) if self.bits >= 63 => raw,
            Some(last) => {
                let modulus = 1_i64 << self.bits;
                let predicted = last.saturating_add(elapsed_ticks.clamp(-9e17, 9e17) as i64);
                let behind = (raw - predicted).rem_euclid(modulus);
                let step = if behind > modulus / 2 { behind - modulus } else { behind };
                predicted.saturating_add(step)
            }
        };
        self.last = Some(value);
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gap_of_many_wraps_is_unwrapped_by_host_time() {
        // u16 milliseconds wrap every 65.5 s; 200 s go by without a packet.
        let mut u = Unwrapper::new(16);
        assert_eq!(u.push(65_000, 0.0), 65_000);
        let true_ticks = 65_000 + 200_037;
        // The host's elapsed time is off by 40 ms of jitter.
        assert_eq!(u.push(true_ticks % 65_536, 200_077.0), true_ticks as i64);
    }

    #[test]
    fn an_8_bit_packet_counter_survives_loss_and_reordering() {
        let mut u = Unwrapper::new(8);
        let mut expect = 0_i64;
        u.push(0, 0.0);
        for step in [1_i64, 1, 30, 1, -1, 2, 600, 1] {
            expect += step;
            assert_eq!(u.push(expect.rem_euclid(256) as u64, step as f64 + 3.0), expect);
        }
    }

    #[test]
    fn sixty_four_bits_pass_through() {
        let mut u = Unwrapper::new(64);
        assert_eq!(u.push(72_623_859_790_382_856, 0.0), 72_623_859_790_382_856);
        assert_eq!(u.push(72_623_859_790_383_856, 1e9), 72_623_859_790_383_856);
    }
}
