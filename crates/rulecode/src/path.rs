//! The path of an evaluation: which outcomes its comparisons and steps had, mixed into one number.

/// The path so far.
#[derive(Clone, Copy)]
pub(crate) struct Path([u32; 2]);

impl Path {
    pub(crate) const START: Self = Self(START);

    /// Mixes the outcome of a comparison, or of a step function, into the path (FNV-1a, and a second lane with
    /// another multiplier). A rule is deterministic, so the sequence of outcomes identifies its path.
    pub(crate) const fn record(&mut self, outcome: u32) {
        let [a, b] = self.0;
        self.0 = [mixed(a, outcome, PRIMES[0]), mixed(b, outcome, PRIMES[1])];
    }

    /// The outcome of a step function: a number that jumps.
    pub(crate) const fn record_step(&mut self, result: f64) {
        self.record(step(result));
    }

    pub(crate) const fn number(self) -> u64 {
        let [a, b] = self.0;
        number(a, b)
    }
}

/// Where the two halves of a path begin.
pub(crate) const START: [u32; 2] = [0x811C_9DC5, 0x9E37_79B9];
/// What they are multiplied by.
pub(crate) const PRIMES: [u32; 2] = [0x0100_0193, 0x85EB_CA6B];

/// The outcome of a step function.
#[allow(clippy::cast_possible_truncation, reason = "both halves go in")]
pub(crate) const fn step(result: f64) -> u32 {
    let bits = result.to_bits();
    (bits ^ (bits >> 32)) as u32
}

/// The number of a path with these halves.
pub(crate) const fn number(a: u32, b: u32) -> u64 {
    ((a as u64) << 32) | b as u64
}

/// One half of a path after an outcome.
pub(crate) const fn mixed(lane: u32, outcome: u32, prime: u32) -> u32 {
    let mixed = (lane ^ outcome.wrapping_add(1)).wrapping_mul(prime);
    mixed ^ (mixed >> 15)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;

    #[test]
    fn the_path_tells_orders_and_lengths_apart() {
        let path = |outcomes: &[u32]| {
            let mut path = Path::START;
            outcomes.iter().for_each(|outcome| path.record(*outcome));
            path.number()
        };
        let mut seen: Vec<u64> = (0..12_u32)
            .flat_map(|bits| (0..=bits).map(move |n| (n, bits)))
            .map(|(n, bits)| path(&(0..bits).map(|i| n >> i & 1).collect::<Vec<_>>()))
            .collect();
        seen.sort_unstable();
        let total = seen.len();
        seen.dedup();
        assert_eq!(seen.len(), total);
    }
}
