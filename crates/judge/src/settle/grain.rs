//! The steps in which a display really moves. A last digit that never changes, or changes by fives, makes the display coarser
//! than its digits say; half of the real step is how far a quiet reading can be off. Decides nothing.

use super::spec::{STEP_SD, SettleSpec};

/// Steps of this many counts or more are movement, not grain.
const COUNTS_MAX: u32 = 20;
/// By chance the counts of an honest display share a divisor at most once in so many streams.
const CHANCE: f64 = 100.0;

/// The greatest common divisor of all changes, in counts of the last digit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grain {
    last: f64,
    divisor: u64,
    /// Changes that differ from the one before: a steady slope repeats its own.
    changes: i32,
    step: i64,
}

impl Grain {
    pub(super) const fn new(value: f64) -> Self {
        Self { last: value, divisor: 0, changes: 0, step: 0 }
    }

    pub(super) fn take(&mut self, value: f64, resolution: f64) {
        let counts = libm::round((value - self.last) / resolution);
        self.last = value;
        if !(0.5..=1e9).contains(&libm::fabs(counts)) {
            return;
        }
        #[allow(clippy::cast_possible_truncation)] // whole, within bounds
        let counts = counts as i64;
        self.divisor = common(self.divisor, counts.unsigned_abs());
        if counts != self.step {
            self.changes = self.changes.saturating_add(1);
        }
        self.step = counts;
    }

    /// The spec with the step that the display has shown.
    pub(super) fn coarser(self, spec: &SettleSpec) -> SettleSpec {
        let steps = self.divisor as f64;
        let grain = self.divisor > 1
            && self.divisor <= u64::from(COUNTS_MAX)
            && libm::pow(steps, f64::from(self.changes.min(64))) >= CHANCE;
        if !grain {
            return *spec;
        }
        // The digit that stands may be any: the value lies up to a whole step to one side of what is shown.
        let resolution = spec.resolution * (2.0 * steps - 1.0);
        SettleSpec {
            resolution,
            noise_floor: spec.noise_floor.max(STEP_SD * steps * spec.resolution),
            noise_ceiling: spec.noise_ceiling.max(STEP_SD * steps * spec.resolution),
            ..*spec
        }
    }
}

fn common(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { common(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stuck_digit_makes_the_step_ten_and_an_honest_one_stays() {
        let spec = SettleSpec::capacitance(0.01);
        let of = |values: &[f64]| {
            let mut grain = Grain::new(values[0]);
            values[1..].iter().for_each(|value| grain.take(*value, 0.01));
            grain.coarser(&spec).resolution
        };
        // The digit that stands may be any: up to 9 counts and a half to one side.
        assert!((of(&[30.07, 34.17, 36.07, 36.97, 37.27]) - 0.19).abs() < 1e-12);
        assert!((of(&[30.07, 30.17, 30.07]) - 0.19).abs() < 1e-12, "to and fro are two changes");
        assert!((of(&[30.07, 34.12, 36.03, 36.97, 37.21]) - 0.01).abs() < 1e-12);
        assert!((of(&[30.07, 34.17]) - 0.01).abs() < 1e-12);
        assert!((of(&[75.0, 75.1, 75.2, 75.3, 75.4, 75.5]) - 0.01).abs() < 1e-12, "a slope of ten counts");
    }
}
