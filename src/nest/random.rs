//! Seeded randomness of one lane.

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// A stream of random numbers, the same on every machine.
#[derive(Clone, Debug)]
pub(super) struct Random(Pcg64Mcg);

impl Random {
    /// The stream of a lane under a seed.
    pub fn new(seed: u64, lane: u64) -> Random {
        Random(Pcg64Mcg::seed_from_u64(
            seed.wrapping_mul(0x9e37_79b9_7f4a_7c15)
                .wrapping_add(lane.wrapping_mul(0xd1b5_4a32_d192_ed03))
                .wrapping_add(1),
        ))
    }

    /// Uniform in `0.0..1.0`.
    #[inline]
    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 * (1.0 / (1_u64 << 53) as f64)
    }

    /// Uniform in `low..high`.
    #[inline]
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform below `n`; 0 if `n` is 0.
    #[inline]
    pub fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.0.next_u64()) * n as u128) >> 64) as usize
    }

    /// Puts a slice in random order.
    pub fn shuffle<T>(&mut self, slice: &mut [T]) {
        for i in (1..slice.len()).rev() {
            slice.swap(i, self.below(i + 1));
        }
    }
}
