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

    /// The step shown after changes of these counts.
    fn step(counts: &[f64]) -> f64 {
        let (mut grain, mut shown) = (Grain::new(0.0), 0.0);
        for counts in counts {
            shown += counts;
            grain.take(shown, 1.0);
        }
        grain.coarser(&SettleSpec::new(1.0)).resolution
    }

    #[test]
    fn a_divisor_counts_once_chance_gives_it_at_most_once_in_a_hundred_streams() {
        // Changes that share 2 by chance: 2^-6 is more than a hundredth, 2^-7 less. The value may lie a whole step to one side.
        let by_twos = [2.0, -4.0, 2.0, -2.0, 4.0, -2.0, 2.0];
        assert_eq!((step(&by_twos[..6]), step(&by_twos)), (1.0, 3.0));
        let by_fives = [5.0, -10.0, 5.0];
        assert_eq!((step(&by_fives[..2]), step(&by_fives)), (1.0, 9.0));
        let by_tens = [10.0, -20.0];
        assert_eq!((step(&by_tens[..1]), step(&by_tens)), (1.0, 19.0));
        // What they share is the greatest divisor of all; standing digits are no change, nor is the same change again.
        assert_eq!(step(&[10.0, 15.0, 0.0, -10.0]), 9.0);
        assert_eq!(step(&[10.0, 15.0, 0.0, 0.0, 15.0, 15.0]), 1.0);
        assert_eq!(step(&[10.0, -15.0, 3.0]), 1.0);
        // Steps of 20 are grain, of 21 a movement.
        assert_eq!((step(&[20.0, -20.0]), step(&[21.0, -21.0])), (39.0, 1.0));
        // A jump beyond counting says nothing.
        assert_eq!(step(&[10.0, 2e9, -20.0]), 19.0);
    }

    #[test]
    fn a_coarser_display_is_noisier_too() {
        let mut grain = Grain::new(30.0);
        for value in [30.1, 29.9] {
            grain.take(value, 0.01);
        }
        // 0.1 / sqrt(12) (JCGM 100, F.2.2.1).
        let even = 0.028_867_5;
        let spec = grain.coarser(&SettleSpec { noise_ceiling: 0.01, ..SettleSpec::new(0.01) });
        assert!(
            (spec.noise_floor - even).abs() < 1e-6 && (spec.noise_ceiling - even).abs() < 1e-6,
            "{spec:?}"
        );
        let noisy = SettleSpec { noise_floor: 0.05, noise_ceiling: 0.06, ..SettleSpec::new(0.01) };
        let spec = grain.coarser(&noisy);
        assert_eq!((spec.noise_floor, spec.noise_ceiling), (0.05, 0.06));
    }
}
