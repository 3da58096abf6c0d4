//! Seeded randomness.

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// A stream of random numbers, the same on every machine.
#[derive(Clone, Debug)]
pub(super) struct Random(Pcg64Mcg);

impl Random {
    pub fn new(seed: u64, stream: u64) -> Random {
        Random(Pcg64Mcg::seed_from_u64(
            seed.wrapping_mul(0xd6e8_feb8_6659_fd93) ^ stream.wrapping_mul(0xa076_1d64_78bd_642f),
        ))
    }

    /// Uniform in `0.0..1.0`.
    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform in `low..high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform below `n`; 0 if `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n.saturating_sub(1))
    }
}
