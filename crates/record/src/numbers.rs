//! Numbers and times as they are written.

use alloc::format;

use quantity::Instant;

/// A number as it is written: nine significant digits.
#[must_use]
pub fn rounded(value: f64) -> f64 {
    format!("{value:.8e}").parse().unwrap_or(value)
}

/// Seconds with microseconds.
pub(crate) fn seconds(at: Instant) -> f64 {
    at.seconds()
}

#[cfg(test)]
mod tests {
    use super::rounded;

    #[test]
    fn nine_significant_digits() {
        assert_eq!(rounded(39.400_000_000_000_006), 39.4);
        assert_eq!(rounded(0.1 + 0.2), 0.3);
        assert_eq!(rounded(-1.234_567_891_23e-7), -1.234_567_89e-7);
        assert_eq!(rounded(0.0), 0.0);
    }
}
