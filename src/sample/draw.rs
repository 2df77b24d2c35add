//! Random draws that give the same numbers on every platform.
//!
//! Each stream is keyed by what it is for (seed, site, patient, purpose), so that one more patient at
//! one site changes nobody else. Only additions, multiplications and comparisons of IEEE doubles are
//! used: no `exp`, `ln` or `sin` of a system library, whose last digit may differ.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// A keyed stream of random numbers.
pub struct Draw(ChaCha8Rng);

impl Draw {
    /// The stream of a seed and the parts of a name; other parts give an unrelated stream.
    pub fn keyed(seed: u64, parts: &[&str]) -> Self {
        let mut key = [0_u8; 32];
        for (lane, bytes) in (0_u64..).zip(key.chunks_exact_mut(8)) {
            bytes.copy_from_slice(&hash(seed, lane, parts).to_le_bytes());
        }
        Self(ChaCha8Rng::from_seed(key))
    }

    /// A number in `[0, 1)`, in steps of 2^-53.
    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A number in `[low, high)`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number from `low` to `high`, both included.
    pub fn whole(&mut self, low: i64, high: i64) -> i64 {
        low + (self.unit() * (high - low + 1) as f64) as i64
    }

    /// `true` with probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// Near enough a standard normal number: twelve uniform numbers less six (mean 0, variance 1,
    /// within -6..6). Exact in the mean and variance, light in the tails, and portable.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }

    /// A normal number of the given mean and standard deviation, held within `low..=high`.
    pub fn normal_within(&mut self, mean: f64, sd: f64, low: f64, high: f64) -> f64 {
        (mean + sd * self.normal()).clamp(low, high)
    }

    /// A position in `weights`, each taken as often as its weight says; 0 when all are 0.
    pub fn weighted(&mut self, weights: impl Iterator<Item = f64> + Clone) -> usize {
        let mut left = self.unit() * weights.clone().sum::<f64>();
        for (i, weight) in weights.enumerate() {
            if left < weight {
                return i;
            }
            left -= weight;
        }
        0
    }

    /// One of `first` and `rest`, each equally often.
    pub fn one_of<T: Copy>(&mut self, first: T, rest: &[T]) -> T {
        let last = i64::try_from(rest.len()).unwrap_or(0);
        match self.whole(0, last) {
            0 => first,
            i => usize::try_from(i - 1).ok().and_then(|i| rest.get(i)).copied().unwrap_or(first),
        }
    }

    /// Twelve hexadecimal digits, for a patient's opaque key.
    pub fn hex_key(&mut self) -> String {
        format!("{:012x}", self.0.next_u64() >> 16)
    }
}

/// 64 bits of FNV-1a over seed, lane and parts, with a last mixing step (SplitMix64's) so that near
/// names give far keys.
fn hash(seed: u64, lane: u64, parts: &[&str]) -> u64 {
    let mut h = 0xcbf2_9ce4_8422_2325_u64;
    let mut eat = |bytes: &[u8]| {
        for byte in bytes {
            h = (h ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    };
    eat(&seed.to_le_bytes());
    eat(&lane.to_le_bytes());
    for part in parts {
        eat(part.as_bytes());
        eat(&[0xff]);
    }
    let z = (h ^ (h >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// `2^-x`: what is left of a quantity after `x` half-times. `x` from -60 to 1000.
///
/// The whole half-times are exact halvings, the rest is the series of `exp(-f ln 2)`; the error is
/// below 1e-15 and, unlike `f64::exp2`, the same everywhere.
pub fn left_after_half_times(x: f64) -> f64 {
    let whole = x.floor();
    let z = -(x - whole) * std::f64::consts::LN_2;
    let mut sum = 1.0;
    for n in (1..=20).rev() {
        sum = 1.0 + sum * z / f64::from(n);
    }
    let step = if whole < 0.0 { 2.0 } else { 0.5 };
    for _ in 0..whole.abs().min(1000.0) as u32 {
        sum *= step;
    }
    sum
}

/// Rounds half away from zero to a whole number within `low..=high`.
pub fn whole_within(value: f64, low: u8, high: u8) -> u8 {
    value.round().clamp(f64::from(low), f64::from(high)) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_key_gives_one_stream_and_another_key_another() {
        let take = |parts: &[&str]| {
            let mut draw = Draw::keyed(7, parts);
            (0..4).map(|_| draw.unit()).collect::<Vec<_>>()
        };
        assert_eq!(take(&["a", "bc"]), take(&["a", "bc"]));
        assert_ne!(take(&["a", "bc"]), take(&["ab", "c"]), "the cut between parts counts");
    }

    #[test]
    fn the_near_normal_numbers_have_mean_0_and_variance_1() {
        let mut draw = Draw::keyed(1, &["normal"]);
        let n = 20_000;
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..n {
            let z = draw.normal();
            sum += z;
            squares += z * z;
        }
        assert!((sum / f64::from(n)).abs() < 0.03); // four standard errors
        assert!((squares / f64::from(n) - 1.0).abs() < 0.04);
    }

    #[test]
    fn the_half_time_function_agrees_with_the_library_one() {
        for i in -40..400 {
            let x = f64::from(i) / 7.0;
            let (own, library) = (left_after_half_times(x), (-x).exp2());
            assert!((own / library - 1.0).abs() < 1e-14, "{x}: {own} {library}");
        }
    }

    #[test]
    fn weights_are_kept() {
        let mut draw = Draw::keyed(3, &["weights"]);
        let mut counts = [0_u32; 3];
        for _ in 0..10_000 {
            counts[draw.weighted([1.0, 0.0, 3.0].into_iter())] += 1;
        }
        assert_eq!(counts[1], 0);
        assert!((2300..2700).contains(&counts[0]), "{counts:?}");
    }
}
