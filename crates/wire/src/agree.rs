//! Agreement between frames that carry no checksum. Does not smooth or average: a value is returned as displayed, or
//! dropped.
//!
//! # What agreement means
//! A damaged digit is still a digit, so a single frame of text without a checksum proves nothing. With `agree = n`, a
//! frame is accepted if at least n - 1 other frames with the same channel, unit, coupling, flags, state and decimal
//! place lie at or above its number **and** at least n - 1 lie at or below it. The other frames are
//! - the n - 1 frames before it and the n - 1 after it, whatever their number, and
//! - those of the 2n + 2 frames before these that are near: within [`NEAR`] median steps from frame to frame. On a
//!   steady display the median step is 0 and only equal numbers are near.
//!
//! A number within one median step counts on both sides. An overload counts on both sides for an overload.
//!
//! A steady display is therefore accepted at once and a settling one at most a frame later (it lies between its
//! neighbours); the first frame after a change waits for the next. A single damaged frame among good ones stands
//! alone and is dropped. A damaged digit gets through only if the result lies between what the neighbouring frames
//! showed, or within the noise of the display; on a steady display none does.
//!
//! Counted over every single bit of every line of six streams (`tests/damage.rs`; wrong values returned, of cases;
//! the generic line meter, 22 bytes; counts are those of the last digit):
//!
//! | display | no agreement | n = 2 | of these outside what the display showed | undamaged, returned |
//! |---|---|---|---|---|
//! | steady | 330 of 5760 | 0 | 0 | all |
//! | flicker of 2 counts | 564 of 9600 | 106 | 28, by 1 or 2 counts | 98 % |
//! | noise of 16 counts | 547 of 9600 | 153 | 33, within the noise | 92 % |
//! | settling | 574 of 9600 | 195 | 5, within a step | all |
//! | ramp | 618 of 9600 | 241 | 0 | all |
//! | jumps with flicker | 648 of 9600 | 157 | 14, by 1 or 2 counts | 94 % |
//!
//! The same streams as the bits of a display (the generic segment meter, 13 bytes; 3120 and 5200 cases). Segments
//! that form no digit are rejected anyway, so without agreement 9 to 12 % get through, against 6 % for the line. With
//! n = 2:
//!
//! | display | no agreement | n = 2 | of these outside what the display showed |
//! |---|---|---|---|
//! | steady | 330 of 3120 | 0 | 0 |
//! | flicker of 2 counts | 580 of 5200 | 0 | 0 |
//! | noise of 16 counts | 608 of 5200 | 70 | 20, within the noise |
//! | settling | 552 of 5200 | 73 | 0 |
//! | ramp | 442 of 5200 | 111 | 0 |
//! | jumps with flicker | 538 of 5200 | 51 | 2, by 1 or 2 counts |
//!
//! A damaged line costs its own reading and sometimes a neighbour that depended on it (two at most). Lost and doubled
//! bytes get nothing through, with or without agreement: the width is wrong.
//!
//! Noise that passes keeps 91 to 96 % of its standard deviation (4 to 7 % of its frames, the outermost, are dropped;
//! the mean is unchanged). Strict counting, without the median step, kept 73 % of the deviation and three frames in
//! four.
//!
//! Damage in the very frame next to a jump of the display can leave a number between the old and the new value, just
//! as a moving display does. It stands alone, so the settler does not treat it as settled.

use alloc::collections::VecDeque;
use alloc::vec::Vec;

use quantity::{Decimal, Instant, State};

use crate::decode::Decoded;

/// Why readings of a profile are accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// Each frame carries a checksum, and it matched.
    Checksum,
    /// Each frame carries a checksum, and this many frames agree.
    ChecksumAndAgreement {
        /// Frames, the reading's own included.
        frames: u8,
    },
    /// Frames carry no checksum; this many frames agree.
    Agreement {
        /// Frames, the reading's own included.
        frames: u8,
    },
}

/// The decision on a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Decision {
    Believed(Instant, Decoded),
    Disagreed,
}

/// The most frames that a profile may ask for.
pub(crate) const AGREE_MAX: u8 = 8;

/// How many median steps away an older frame may be and still confirm a number. For normally distributed noise with
/// deviation s the median step is 0.95 s, so this is 3.8 s.
const NEAR: i64 = 4;

/// Windows of all channels.
#[derive(Clone, Debug)]
pub(crate) struct Agreement {
    /// Other frames required on each side.
    others: usize,
    channels: Vec<(u8, Window)>,
}

/// Recent frames of one channel. Frames before `undecided_from` are decided.
#[derive(Clone, Debug, Default)]
struct Window {
    frames: VecDeque<(Instant, Decoded)>,
    undecided_from: usize,
}

impl Agreement {
    pub(crate) fn new(agree: u8) -> Self {
        Self { others: usize::from(agree.clamp(1, AGREE_MAX)) - 1, channels: Vec::new() }
    }

    /// Takes one decoded frame and returns the frames it decides, oldest first. The profile bounds the number of
    /// channels.
    pub(crate) fn push(&mut self, at: Instant, decoded: Decoded, out: &mut dyn FnMut(Decision)) {
        if self.others == 0 {
            out(Decision::Believed(at, decoded));
            return;
        }
        let known = self.channels.iter().position(|(channel, _)| *channel == decoded.channel);
        if known.is_none() {
            self.channels.push((decoded.channel, Window::default()));
        }
        let index = known.unwrap_or(self.channels.len() - 1);
        if let Some((_, window)) = self.channels.get_mut(index) {
            window.push(at, decoded, self.others, out);
        }
    }

    /// Forgets all frames; returns how many were undecided.
    pub(crate) fn clear(&mut self) -> usize {
        let undecided = self.channels.iter().map(|(_, w)| w.frames.len() - w.undecided_from).sum();
        self.channels.clear();
        undecided
    }
}

impl Window {
    fn push(&mut self, at: Instant, decoded: Decoded, others: usize, out: &mut dyn FnMut(Decision)) {
        self.frames.push_back((at, decoded));
        while let Some(&(at, decoded)) = self.frames.get(self.undecided_from) {
            if self.is_borne_out(self.undecided_from, others) {
                out(Decision::Believed(at, decoded));
            } else if self.frames.len() - 1 - self.undecided_from >= others {
                out(Decision::Disagreed);
            } else {
                break;
            }
            self.undecided_from += 1;
        }
        // An undecided frame is never older than the decided ones kept, 2n + 2 = 2 * others + 4.
        while self.undecided_from > 2 * others + 4 {
            self.frames.pop_front();
            self.undecided_from -= 1;
        }
    }

    fn is_borne_out(&self, index: usize, others: usize) -> bool {
        let Some((_, this)) = self.frames.get(index) else { return false };
        let mine = counts(this);
        let alike = |i: usize, other: &Decoded| i != index && is_alike(this, other);
        let like = self.frames.iter().enumerate().filter(|(i, (_, other))| alike(*i, other));
        if like.clone().filter(|(_, (_, other))| counts(other) == mine).count() >= others {
            return true;
        }
        let step = self.median_step(this, index);
        let near = step.saturating_mul(NEAR);
        let (mut at_or_above, mut at_or_below) = (0, 0);
        for (i, (_, other)) in like {
            let its = counts(other);
            if i.abs_diff(index) <= others || its.abs_diff(mine) <= near.unsigned_abs() {
                let beside = its.abs_diff(mine) <= step.unsigned_abs();
                at_or_above += usize::from(its >= mine || beside);
                at_or_below += usize::from(its <= mine || beside);
            }
        }
        at_or_above >= others && at_or_below >= others
    }

    /// The median step between successive frames like `this`, without the frame at `index`; 0 with fewer than three.
    fn median_step(&self, this: &Decoded, index: usize) -> i64 {
        let mut steps: Vec<i64> = Vec::with_capacity(self.frames.len());
        let mut last = None;
        for (i, (_, other)) in self.frames.iter().enumerate() {
            if i != index && is_alike(this, other) {
                let now = counts(other);
                steps.extend(last.map(|before: i64| now.saturating_sub(before).saturating_abs()));
                last = Some(now);
            }
        }
        steps.sort_unstable();
        if steps.len() < 3 { 0 } else { steps.get((steps.len() - 1) / 2).copied().unwrap_or(0) }
    }
}

/// Equal in everything but the number.
fn is_alike(a: &Decoded, b: &Decoded) -> bool {
    let states = match (a.state, b.state) {
        (State::Value(x), State::Value(y)) => x.exponent() == y.exponent(),
        (x, y) => x == y,
    };
    states && a.unit == b.unit && a.coupling == b.coupling && a.flags == b.flags
}

/// The digits of the display as a whole number; 0 for a state without one.
fn counts(decoded: &Decoded) -> i64 {
    match decoded.state {
        State::Value(shown) => Decimal::mantissa(shown),
        State::Overload(_) | State::NoValue => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::{String, ToString};
    use quantity::{Flags, Unit};

    /// Runs numbers (in counts of 0.01) through; `x` marks each one dropped, else the number, in order of decision.
    fn run(agree: u8, numbers: &[i64]) -> Vec<String> {
        let mut agreement = Agreement::new(agree);
        let mut seen = Vec::new();
        for (i, n) in numbers.iter().enumerate() {
            let decoded = Decoded {
                channel: 0,
                unit: Unit::MICROFARAD,
                coupling: None,
                state: State::Value(Decimal::new(*n, -2).unwrap()),
                flags: Flags::default(),
                accuracy: None,
            };
            let at = Instant::from_micros(i64::try_from(i).unwrap());
            agreement.push(at, decoded, &mut |outcome| {
                seen.push(match outcome {
                    Decision::Believed(_, d) => counts(&d).to_string(),
                    Decision::Disagreed => String::from("x"),
                });
            });
        }
        seen
    }

    #[test]
    fn a_steady_display_is_believed_at_once() {
        // The first waits for the second; from then on each is decided on arrival.
        assert_eq!(run(2, &[41, 41, 41]), ["41", "41", "41"]);
        assert_eq!(run(2, &[41]), [""; 0]);
    }

    #[test]
    fn a_settling_display_is_believed_one_frame_late_at_most() {
        assert_eq!(run(2, &[10, 20, 30, 40, 45]), ["x", "20", "30", "40", "45"]);
        assert_eq!(run(3, &[10, 20, 30, 40, 45]), ["x", "x", "30", "40"]);
    }

    #[test]
    fn an_odd_one_out_costs_only_itself() {
        assert_eq!(run(2, &[41, 41, 91, 41, 41]), ["41", "41", "x", "41", "41"]);
        assert_eq!(run(2, &[41, 42, 42, 41, 1, 42, 41]), ["x", "42", "42", "41", "x", "42", "41"]);
    }

    /// Noise that passes must still look like noise, or the settler would think the display steadier than it is.
    #[test]
    fn noise_goes_through_hardly_changed() {
        let mut state = 1_u64;
        let mut uniform = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(1_u32 << 31)
        };
        for sd in [1.0, 2.0, 5.0, 20.0] {
            // Sum of twelve: near enough to a normal distribution.
            let numbers: Vec<i64> = (0..8_000)
                .map(|_| (100_000.0 + sd * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0)).round() as i64)
                .collect();
            let kept: Vec<f64> = run(2, &numbers).iter().filter_map(|t| t.parse().ok()).collect();
            let spread = |v: &[f64]| {
                let mean = v.iter().sum::<f64>() / v.len() as f64;
                (mean, (v.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / v.len() as f64).sqrt())
            };
            let all: Vec<f64> = numbers.iter().map(|n| *n as f64).collect();
            let (before, after) = (spread(&all), spread(&kept));
            let share = kept.len() as f64 / numbers.len() as f64;
            std::println!("deviation {sd}: {share:.3} kept, {:.3} of the deviation", after.1 / before.1);
            assert!(share > 0.9 && after.1 > 0.88 * before.1 && (after.0 - before.0).abs() < 0.03 * sd);
        }
    }

    #[test]
    fn memory_is_bounded() {
        let mut agreement = Agreement::new(AGREE_MAX);
        for i in 0..10_000 {
            let number = Decimal::new(i * 7919 % 1000, -2).unwrap();
            let decoded = Decoded {
                channel: u8::try_from(i % 2).unwrap(),
                unit: Unit::VOLT,
                coupling: None,
                state: State::Value(number),
                flags: Flags::default(),
                accuracy: None,
            };
            agreement.push(Instant::ZERO, decoded, &mut |_| {});
        }
        assert!(agreement.channels.iter().all(|(_, w)| w.frames.len() <= 3 * usize::from(AGREE_MAX) + 2));
    }
}
