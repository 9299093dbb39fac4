//! How the stated risk is shared out over all the looks a settler will ever take. No readings here.
//!
//! A look is a window (start, length) of the readings since contact. Its share is fixed in advance by start and length
//! alone, and the shares add up to at most 1, so by the union bound the chance that any look ever misses is at most the
//! stated risk (alpha spending).

/// Window lengths that are looked at, and the weight of each. Weights add up to 1.
pub(super) const LENGTHS: [(usize, f64); 22] = [
    (2, 0.02),
    (3, 0.03),
    (4, 0.04),
    (5, 0.06),
    (6, 0.12),
    (7, 0.12),
    (8, 0.11),
    (10, 0.1),
    (12, 0.08),
    (14, 0.06),
    (16, 0.05),
    (20, 0.05),
    (24, 0.04),
    (28, 0.03),
    (32, 0.03),
    (40, 0.02),
    (48, 0.01),
    (56, 0.01),
    (64, 0.005),
    (80, 0.005),
    (96, 0.005),
    (128, 0.005),
];

/// The longest window.
pub(super) const WINDOW_MAX: usize = 128;

/// Starts 0 to 7 are all used, later ones grow by a quarter each.
const STARTS: usize = 40;

/// The starts and the share of each; shares add up to 1.
#[derive(Clone, Copy, Debug)]
pub(super) struct Starts {
    at: [usize; STARTS],
}

impl Starts {
    pub(super) fn new() -> Self {
        let mut at = [0; STARTS];
        let mut previous = 0;
        for (i, slot) in at.iter_mut().enumerate() {
            *slot = if i < 8 { i } else { previous + (previous / 4).max(1) };
            previous = *slot;
        }
        Self { at }
    }

    /// The share of the risk that a window from this start may spend; None if it is not looked at.
    pub(super) fn share(&self, start: usize) -> Option<f64> {
        let i = self.at.binary_search(&start).ok()?;
        #[allow(clippy::cast_precision_loss)]
        let raw = 1.0 / (i as f64 + 3.0);
        Some(raw / SHARES_TOTAL)
    }

    /// The last start; a contact that outlives it begins anew.
    pub(super) fn last(&self) -> usize {
        self.at.last().copied().unwrap_or(0)
    }
}

/// Sum of 1 / (i + 3) for i in 0..40, rounded up.
const SHARES_TOTAL: f64 = 2.8268;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shares_of_all_looks_add_up_to_no_more_than_the_risk() {
        let starts = Starts::new();
        let by_start: f64 = starts.at.iter().filter_map(|&at| starts.share(at)).sum();
        let by_length: f64 = LENGTHS.iter().map(|length| length.1).sum();
        assert!(by_start <= 1.0 && by_start > 0.999, "{by_start}");
        assert!(by_length <= 1.0 + 1e-12 && by_length > 0.999, "{by_length}");
        assert!(starts.at.windows(2).all(|pair| pair[0] < pair[1]), "{:?}", starts.at);
        assert!(LENGTHS.windows(2).all(|pair| pair[0].0 < pair[1].0));
    }
}
