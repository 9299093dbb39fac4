//! One reading of a contact, as the settler keeps it, and the mean of several. Plain data.

/// One reading of a contact.
#[derive(Clone, Copy, Debug)]
pub(super) struct Obs {
    /// Seconds since contact.
    pub(super) t_s: f64,
    pub(super) value: f64,
    /// `exp(-(time since the reading before) / tau)`, for the time constant that counts now.
    pub(super) decay: f64,
    /// Within the bounce time: may stand in the early block only.
    pub(super) bouncing: bool,
}

/// Mean time and mean value of a block of readings.
pub(super) fn mean(block: &[Obs]) -> (f64, f64) {
    let n = block.len() as f64;
    (block.iter().map(|o| o.t_s).sum::<f64>() / n, block.iter().map(|o| o.value).sum::<f64>() / n)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_stands_at_its_mean_time_and_mean_value() {
        let at = |t_s, value| Obs { t_s, value, decay: 1.0, bouncing: false };
        assert_eq!(mean(&[at(1.0, 4.0), at(2.0, 5.0), at(6.0, 9.0)]), (3.0, 6.0));
    }
}
