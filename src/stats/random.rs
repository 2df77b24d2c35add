//! Random streams keyed by content, so that results do not depend on threads or order.
//!
//! **Construction.** A task (a patient, a bootstrap draw, a permutation) gets its own ChaCha8 generator (Bernstein
//! 2008), whose 256-bit key is a digest of the run's seed and the task's own name. The digest chains ChaCha8 itself:
//! state 0 holds the seed in its first 8 bytes, little-endian; for each 32-byte block of the name (the last one filled
//! with zeros), and for one more block holding the name's length in bytes, state := the first 32 bytes of
//! ChaCha8(key = state xor block). Nothing here resists an attacker; two different names share a stream with
//! probability about 2^-256.
//!
//! **Domain.** Any seed, any bytes, also none. The same on every platform.
//!
//! **Reference.** An independent ChaCha8 written in Python, folder `keyed_streams`.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// The random stream of the task named `key` in the run with seed `seed`.
///
/// Make a key of several parts unambiguous before handing it in, for instance with a zero byte between them.
#[must_use]
pub fn stream(seed: u64, key: &[u8]) -> ChaCha8Rng {
    Key::new(seed, key).stream(0)
}

/// A task's digest, for tasks that need many streams: the name is digested once.
#[derive(Clone, Copy)]
pub struct Key([u8; 32]);

impl Key {
    /// The digest of the task named `key` in the run with seed `seed`.
    #[must_use]
    pub fn new(seed: u64, key: &[u8]) -> Self {
        let mut state = [0_u8; 32];
        state[..8].copy_from_slice(&seed.to_le_bytes());
        for block in key.chunks(32) {
            absorb(&mut state, block);
        }
        absorb(&mut state, &(key.len() as u64).to_le_bytes());
        Self(state)
    }

    /// One of the task's 2^64 streams, ChaCha8's own stream number: 0 is [`stream`].
    #[must_use]
    pub fn stream(self, number: u64) -> ChaCha8Rng {
        let mut generator = ChaCha8Rng::from_seed(self.0);
        generator.set_stream(number);
        generator
    }
}

/// A number uniform on the open interval (0, 1): the middle of one of 2^52 equal cells, never 0 and never 1.
pub fn uniform(stream: &mut ChaCha8Rng) -> f64 {
    ((stream.next_u64() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
}

/// A standard normal number, by inversion of [`uniform`]: one draw of the stream each, so that draws can be counted.
pub fn standard_normal(stream: &mut ChaCha8Rng) -> f64 {
    let u = uniform(stream);
    let tail = u.min(1.0 - u);
    let z = std::f64::consts::SQRT_2 * statrs::function::erf::erfc_inv(2.0 * tail);
    if u < 0.5 { -z } else { z }
}

/// state := first 32 bytes of ChaCha8(key = state xor block); a short block counts as filled with zeros.
fn absorb(state: &mut [u8; 32], block: &[u8]) {
    for (s, b) in state.iter_mut().zip(block) {
        *s ^= b;
    }
    let mut generator = ChaCha8Rng::from_seed(*state);
    generator.fill_bytes(state);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seed_and_name_decide_the_stream_and_nothing_else_does() {
        let first = |seed, key: &[u8]| stream(seed, key).next_u64();
        assert_eq!(first(1, b"patient 7"), first(1, b"patient 7"));
        let mut seen: Vec<u64> =
            vec![first(0, b""), first(1, b""), first(0, b"\0"), first(0, &[0; 32]), first(0, &[0; 33])];
        seen.extend((0..1000_u32).map(|i| first(0, &i.to_le_bytes())));
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), 1005);
    }

    #[test]
    fn the_streams_of_one_task_differ_and_the_first_is_its_own() {
        let key = Key::new(1, b"patient 7");
        assert_eq!(key.stream(0).next_u64(), stream(1, b"patient 7").next_u64());
        let mut seen: Vec<u64> = (0..1000).map(|number| key.stream(number).next_u64()).collect();
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), 1000);
    }

    #[test]
    fn uniform_numbers_stay_inside_and_fill_the_interval() {
        let mut s = stream(3, b"uniform");
        let draws: Vec<f64> = (0..20_000).map(|_| uniform(&mut s)).collect();
        assert!(draws.iter().all(|u| *u > 0.0 && *u < 1.0));
        let mean = crate::sum::mean(&draws).unwrap();
        assert!((mean - 0.5).abs() < 4.0 / (12.0 * 20_000.0_f64).sqrt());
    }

    #[test]
    fn normal_numbers_have_mean_zero_and_variance_one() {
        let mut s = stream(3, b"normal");
        let draws: Vec<f64> = (0..20_000).map(|_| standard_normal(&mut s)).collect();
        assert!(crate::sum::mean(&draws).unwrap().abs() < 4.0 / 20_000.0_f64.sqrt());
        assert!((crate::sum::sample_variance(&draws).unwrap() - 1.0).abs() < 4.0 * (2.0 / 20_000.0_f64).sqrt());
    }
}
