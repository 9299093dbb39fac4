//! How the stated risk is shared out over all the looks a settler will ever take. No readings here.
//!
//! A look is a window (start, length, part) of the readings since contact. Its share is fixed in advance by these
//! alone, and the shares add up to at most 1, so by the union bound the chance that any look ever misses is at most the
//! stated risk (alpha spending).

/// Which readings of a window are used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// All.
    Whole,
    /// The first and the last: less smoothing, and so less of a fast approach left in the late block.
    Ends,
}

/// What is looked at: window length, part, and the weight of each. Weights add up to 1.
pub(super) const LENGTHS: [(usize, Part, f64); 25] = [
    (2, Part::Whole, 0.04),
    (3, Part::Whole, 0.04),
    (3, Part::Ends, 0.02),
    (4, Part::Whole, 0.07),
    (4, Part::Ends, 0.01),
    (5, Part::Whole, 0.1),
    (5, Part::Ends, 0.01),
    (6, Part::Whole, 0.16),
    (7, Part::Whole, 0.13),
    (8, Part::Whole, 0.09),
    (10, Part::Whole, 0.07),
    (12, Part::Whole, 0.06),
    (14, Part::Whole, 0.04),
    (16, Part::Whole, 0.03),
    (20, Part::Whole, 0.03),
    (24, Part::Whole, 0.02),
    (28, Part::Whole, 0.015),
    (32, Part::Whole, 0.015),
    (40, Part::Whole, 0.01),
    (48, Part::Whole, 0.01),
    (56, Part::Whole, 0.01),
    (64, Part::Whole, 0.005),
    (80, Part::Whole, 0.005),
    (96, Part::Whole, 0.005),
    (128, Part::Whole, 0.005),
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
        let rank = i as f64 + 2.0;
        Some(1.0 / (rank * libm::sqrt(rank) * SHARES_TOTAL))
    }

    /// The last start; a contact that outlives it begins anew.
    pub(super) fn last(&self) -> usize {
        self.at.last().copied().unwrap_or(0)
    }
}

/// Sum of (i + 2) to the power -1.5 for i in 0..40, rounded up.
const SHARES_TOTAL: f64 = 1.302;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shares_of_all_looks_add_up_to_no_more_than_the_risk() {
        let starts = Starts::new();
        let by_start: f64 = starts.at.iter().filter_map(|&at| starts.share(at)).sum();
        let by_length: f64 = LENGTHS.iter().map(|length| length.2).sum();
        assert!(by_start <= 1.0 && by_start > 0.999, "{by_start}");
        assert!(by_length <= 1.0 + 1e-12 && by_length > 0.999, "{by_length}");
        assert!(starts.at.windows(2).all(|pair| pair[0] < pair[1]), "{:?}", starts.at);
        assert!(
            LENGTHS.windows(2).all(|pair| pair[0].0 <= pair[1].0),
            "contact stops at the first that is too long"
        );
    }

    #[test]
    fn the_first_eight_starts_are_all_used_and_then_each_is_a_quarter_later() {
        let starts = Starts::new();
        assert_eq!(starts.at[..16], [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 18, 22, 27, 33]);
        // (i + 2)^-1.5 over the sum of all, 1.302: 1 / 2.8284 and 1 / 27; 9 lies between two starts.
        let near = |start, share: f64| (starts.share(start).unwrap() - share).abs() < 1e-6;
        assert!(near(0, 0.271_546) && near(7, 0.028_446) && near(10, 0.021_052));
        assert_eq!(starts.share(9), None);
        // 6626: at ten readings a second, more than 11 minutes.
        assert_eq!((starts.last(), starts.share(starts.last() + 1)), (6626, None));
    }
}
