//! What the fault injector does at which byte: rates, faults, their counts, and the random draw. Every draw depends
//! only on the seed, the kind of fault and the byte's index, so chunk boundaries, time and the other rates change
//! nothing. Holds no link.

use std::time::Duration;

/// How often each fault is injected. All zero by default: nothing is changed.
///
/// Rates are per million bytes received; 1 000 000 and more means at every byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FaultRates {
    /// A run of bytes is lost silently, as on a noisy line.
    pub drop_per_million: u32,
    /// A run of bytes that has just arrived arrives once more.
    pub double_per_million: u32,
    /// One bit of the byte is flipped.
    pub flip_per_million: u32,
    /// A run of bytes that no device sent precedes the byte.
    pub insert_per_million: u32,
    /// The chunk ends after the byte.
    pub split_per_million: u32,
    /// The end of a received chunk is held back and joined with what follows. Drawn at the last byte of each chunk.
    pub join_per_million: u32,
    /// Nothing is passed on for a while; the wrapped link's own queue fills.
    pub pause_per_million: u32,
    /// The link is reported as lost and reopened, and a run of bytes is missing.
    pub cut_per_million: u32,
    /// The longest run that is dropped, doubled, inserted or missing after a cut, bytes; 0 counts as 1.
    pub run_bytes_max: u8,
    /// The longest pause.
    pub pause_max: Duration,
}

impl Default for FaultRates {
    /// No fault; runs up to 8 bytes, pauses up to 1 s.
    fn default() -> Self {
        Self {
            drop_per_million: 0,
            double_per_million: 0,
            flip_per_million: 0,
            insert_per_million: 0,
            split_per_million: 0,
            join_per_million: 0,
            pause_per_million: 0,
            cut_per_million: 0,
            run_bytes_max: 8,
            pause_max: Duration::from_secs(1),
        }
    }
}

/// One fault that was injected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Injected {
    /// The index of the received byte at which it happened, from 0, counted since the link was made.
    pub at_byte: u64,
    /// What was done.
    pub fault: Fault,
}

/// What was done to the stream.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Fault {
    /// This byte and the next are not passed on, this many in all, unless a gap comes first.
    Dropped {
        /// How many.
        bytes: u8,
    },
    /// The device's last bytes as passed on, up to this one, were passed on once more; inserted bytes do not count.
    Doubled {
        /// How many.
        bytes: u8,
    },
    /// A bit of this byte was flipped.
    Flipped {
        /// Which, 0 the lowest.
        bit: u8,
    },
    /// Bytes were put before this one.
    Inserted {
        /// Which.
        bytes: Vec<u8>,
    },
    /// The chunk was ended after this byte.
    Split,
    /// The end of the chunk, up to this byte, was kept for the next.
    Joined,
    /// This byte and all after it were kept back.
    Paused {
        /// For how long.
        pause: Duration,
    },
    /// The link was reported as lost and reopened before this byte; it and the next are missing, this many in all,
    /// unless a gap comes first.
    Cut {
        /// How many.
        bytes: u8,
    },
}

/// How many faults of each kind were injected.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct FaultCounts {
    /// Runs dropped.
    pub dropped: u64,
    /// Runs doubled.
    pub doubled: u64,
    /// Bits flipped.
    pub flipped: u64,
    /// Runs inserted.
    pub inserted: u64,
    /// Chunks split.
    pub split: u64,
    /// Chunks joined.
    pub joined: u64,
    /// Pauses.
    pub paused: u64,
    /// Cuts.
    pub cut: u64,
}

impl FaultCounts {
    /// All kinds together.
    #[must_use]
    pub fn total(&self) -> u64 {
        let Self { dropped, doubled, flipped, inserted, split, joined, paused, cut } = *self;
        dropped + doubled + flipped + inserted + split + joined + paused + cut
    }

    pub(crate) fn count(&mut self, fault: &Fault) {
        let kind = match fault {
            Fault::Dropped { .. } => &mut self.dropped,
            Fault::Doubled { .. } => &mut self.doubled,
            Fault::Flipped { .. } => &mut self.flipped,
            Fault::Inserted { .. } => &mut self.inserted,
            Fault::Split => &mut self.split,
            Fault::Joined => &mut self.joined,
            Fault::Paused { .. } => &mut self.paused,
            Fault::Cut { .. } => &mut self.cut,
        };
        *kind += 1;
    }
}

/// The step of SplitMix64: 2^64 divided by the golden ratio, made odd.
const STEP: u64 = 0x9e37_79b9_7f4a_7c15;

/// The `n`-th number, from 0, of SplitMix64 started with `seed`. G. L. Steele, D. Lea, C. H. Flood, "Fast splittable
/// pseudorandom number generators", OOPSLA 2014; constants of the variant in common use.
pub(crate) fn splitmix64(seed: u64, n: u64) -> u64 {
    let z = seed.wrapping_add(STEP.wrapping_mul(n.wrapping_add(1)));
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// The faults of one link.
#[derive(Debug, Clone)]
pub(crate) struct Plan {
    rates: FaultRates,
    seed: u64,
}

impl Plan {
    /// `name` tells two devices of one seed apart.
    pub(crate) fn new(seed: u64, name: &str, rates: FaultRates) -> Self {
        let seed = name.bytes().fold(seed, |seed, byte| splitmix64(seed, u64::from(byte)));
        Self { rates, seed }
    }

    /// A draw for fault kind `kind` at byte `at`: `None`, or a number for how long and which.
    fn draw(&self, kind: u64, per_million: u32, at: u64) -> Option<u64> {
        if per_million == 0 {
            return None;
        }
        let number = splitmix64(splitmix64(self.seed, kind), at);
        let millionths = ((number >> 32) * 1_000_000) >> 32;
        (millionths < u64::from(per_million)).then(|| splitmix64(number, 0))
    }

    /// 1 to `run_bytes_max`.
    fn run(&self, number: u64) -> u8 {
        let longest = u64::from(self.rates.run_bytes_max.max(1));
        u8::try_from(1 + number % longest).unwrap_or(1)
    }

    pub(crate) fn dropped(&self, at: u64) -> Option<u8> {
        self.draw(0, self.rates.drop_per_million, at).map(|number| self.run(number))
    }

    /// At most `there` bytes have been passed on.
    pub(crate) fn doubled(&self, at: u64, there: usize) -> Option<u8> {
        let run = self.draw(1, self.rates.double_per_million, at).map(|number| self.run(number))?;
        Some(u8::try_from(there).map_or(run, |there| run.min(there)))
    }

    pub(crate) fn flipped(&self, at: u64) -> Option<u8> {
        let number = self.draw(2, self.rates.flip_per_million, at)?;
        u8::try_from(number % 8).ok()
    }

    pub(crate) fn inserted(&self, at: u64) -> Option<Vec<u8>> {
        let number = self.draw(3, self.rates.insert_per_million, at)?;
        let byte = |n: u8| splitmix64(number, u64::from(n)).to_le_bytes()[0];
        Some((1..=self.run(number)).map(byte).collect())
    }

    pub(crate) fn split(&self, at: u64) -> bool {
        self.draw(4, self.rates.split_per_million, at).is_some()
    }

    pub(crate) fn joined(&self, at: u64) -> bool {
        self.draw(5, self.rates.join_per_million, at).is_some()
    }

    pub(crate) fn paused(&self, at: u64) -> Option<Duration> {
        let number = self.draw(6, self.rates.pause_per_million, at)?;
        // In 256 steps, none of them nothing.
        let share = u32::from(number.to_le_bytes()[0]) + 1;
        Some(self.rates.pause_max / 256 * share)
    }

    pub(crate) fn cut(&self, at: u64) -> Option<u8> {
        self.draw(7, self.rates.cut_per_million, at).map(|number| self.run(number))
    }

    /// The most bytes that a doubling may need.
    pub(crate) fn run_bytes_max(&self) -> usize {
        usize::from(self.rates.run_bytes_max.max(1))
    }
}
