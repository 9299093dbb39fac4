//! Conversions, not frames: which frames show a measurement that was not seen before. A meter sends its display many times
//! between two measurements; equal digits within one conversion are one reading. Knows no limits and settles nothing.
//!
//! Digits that change are a new conversion. Digits that stand are one as soon as a conversion time has passed since the
//! last. That time is
//! - the stated one ([`super::SettleSpec::conversion_s`], from the profile); or else
//! - measured: at each change a conversion has ended, so between a change and the `n`th after it there are `n` at least, in
//!   no more time than from the frame before the first; the densest of the last [`CHANGES_KEPT`] changes say the most, and at
//!   least [`RUNS_MIN`] runs are asked for. A run of equal digits between two changes is one conversion or several too, so the
//!   longest of the last [`RUNS_KEPT`] runs is no shorter than one; or else
//! - assumed: the cautious longest of the quantity ([`super::SettleSpec::conversion_max_s`]), or the longest run between
//!   two big steps, where that is longer: a value that moves shows each conversion.
//!
//! When a stated time is too short, runs between big steps show it, and the longer one counts.

use super::types::Pace;

/// Runs of equal digits that are kept.
const RUNS_KEPT: usize = 8;
/// Changes that are kept: the ends of those runs.
const CHANGES_KEPT: usize = RUNS_KEPT + 1;
/// Runs needed before their length counts as measured.
const RUNS_MIN: usize = 2;
/// What is added to a conversion time that the stream itself showed, or that was assumed.
const MARGIN: f64 = 1.1;
/// A run longer than this many of the conversion time that is stated or assumed is no conversion: the value stood.
const STOOD: f64 = 2.0;
/// A display that converts this little slower than it sends shows a conversion a frame.
const EACH_FRAME: f64 = 1.2;
/// A frame that follows the one before sooner than this part of the longest gap of late was held up on its way, with others: its time
/// says nothing of conversions.
const HELD_UP: f64 = 0.4;

/// A change of the digits.
#[derive(Clone, Copy, Debug, Default)]
struct Change {
    at_s: f64,
    /// The frame before it: the conversion ended after that.
    after_s: f64,
}

/// Sorts frames into conversions.
#[derive(Clone, Debug)]
pub(super) struct Conversions {
    stated_s: Option<f64>,
    longest_s: f64,
    /// A step of this size or more is the value moving, not noise.
    big_step: f64,
    shown: Option<f64>,
    /// When the digits on display came up, and whether they came by a change.
    since_s: f64,
    by_change: bool,
    /// Whether the change that began the run was a big step.
    by_big_step: bool,
    /// Since when the conversion counted last may have been on display.
    counted_s: f64,
    runs: [f64; RUNS_KEPT],
    runs_seen: usize,
    /// The newest changes without an interruption, oldest first.
    changes: [Change; CHANGES_KEPT],
    changes_seen: usize,
    /// No conversion is longer than this: what the densest changes have shown.
    densest_s: f64,
    moving_run_s: f64,
    last_s: f64,
    frame_s: f64,
}

impl Conversions {
    pub(super) const fn new(stated_s: Option<f64>, longest_s: f64, big_step: f64) -> Self {
        Self {
            stated_s,
            longest_s,
            big_step,
            shown: None,
            since_s: 0.0,
            by_change: false,
            by_big_step: false,
            counted_s: 0.0,
            runs: [0.0; RUNS_KEPT],
            runs_seen: 0,
            changes: [Change { at_s: 0.0, after_s: 0.0 }; CHANGES_KEPT],
            changes_seen: 0,
            densest_s: f64::INFINITY,
            moving_run_s: 0.0,
            last_s: 0.0,
            frame_s: 0.0,
        }
    }

    /// The leads came off or the display was held: the next frame begins a conversion. What is known of the pace stays.
    pub(super) fn interrupt(&mut self) {
        self.shown = None;
        self.changes_seen = 0;
    }

    /// Takes over what another has seen of the same meter's pace. What is on display begins anew.
    pub(super) fn take_pace(&mut self, other: &Self) {
        (self.runs, self.runs_seen) = (other.runs, other.runs_seen);
        (self.moving_run_s, self.frame_s) = (other.moving_run_s, other.frame_s);
        self.densest_s = other.densest_s;
    }

    /// Whether this frame shows a new conversion.
    pub(super) fn take(&mut self, t_s: f64, value: f64) -> bool {
        let Some(shown) = self.shown else {
            (self.shown, self.since_s, self.counted_s, self.last_s) = (Some(value), t_s, t_s, t_s);
            (self.by_change, self.by_big_step) = (false, false);
            return true;
        };
        let gap_s = t_s - self.last_s;
        // The longest of late: a lost frame must not make a display look faster.
        self.frame_s = if gap_s > self.frame_s { gap_s } else { 0.75 * self.frame_s + 0.25 * gap_s };
        let after_s = self.last_s;
        self.last_s = t_s;
        if gap_s < HELD_UP * self.frame_s {
            self.changes_seen = 0;
        }
        let step = libm::fabs(value - shown);
        if step > 0.0 {
            self.run_ends(t_s, step >= self.big_step);
            self.changed(Change { at_s: t_s, after_s });
            (self.shown, self.since_s, self.counted_s) = (Some(value), t_s, t_s);
            return true;
        }
        let (length_s, _) = self.length_s();
        if length_s <= EACH_FRAME * gap_s {
            self.counted_s = t_s;
            return true;
        }
        if t_s - self.counted_s < length_s {
            return false;
        }
        // The display may have converted at any time since; the next is a whole conversion after that.
        self.counted_s += length_s;
        if t_s - self.counted_s > length_s {
            self.counted_s = t_s;
        }
        true
    }

    fn run_ends(&mut self, t_s: f64, big: bool) {
        let run_s = t_s - self.since_s;
        if self.by_change {
            if let Some(slot) = self.runs.get_mut(self.runs_seen % RUNS_KEPT) {
                *slot = run_s;
            }
            self.runs_seen += 1;
        }
        let longest_s = STOOD * self.stated_s.unwrap_or(self.longest_s);
        if big && (self.by_big_step || !self.by_change) && run_s <= longest_s {
            self.moving_run_s = self.moving_run_s.max(run_s);
        }
        (self.by_change, self.by_big_step) = (true, big);
    }

    /// The newest change with those before it: how long a conversion can be at most, if so many went in.
    fn changed(&mut self, change: Change) {
        if self.changes_seen >= CHANGES_KEPT {
            self.changes.rotate_left(1);
        }
        self.changes_seen = (self.changes_seen + 1).min(CHANGES_KEPT);
        if let Some(newest) = self.changes.get_mut(self.changes_seen - 1) {
            *newest = change;
        }
        let before = self.changes.iter().take(self.changes_seen - 1).rev();
        for (conversions, first) in (1..).map(f64::from).zip(before).skip(RUNS_MIN - 1) {
            self.densest_s = self.densest_s.min((change.at_s - first.after_s) / conversions);
        }
    }

    /// The conversion time that counts, and how it is known.
    pub(super) fn length_s(&self) -> (f64, Pace) {
        let moving_s = MARGIN * self.moving_run_s;
        if let Some(stated_s) = self.stated_s {
            return (stated_s.max(moving_s - self.frame_s), Pace::Stated(stated_s));
        }
        let longest_s = self.longest_s.max(moving_s);
        let kept = self.runs_seen.min(RUNS_KEPT);
        let run_s = self.runs.iter().take(kept).copied().fold(0.0, f64::max);
        let measured_s = (MARGIN * run_s + self.frame_s).min(self.densest_s.max(moving_s));
        if kept >= RUNS_MIN && measured_s < longest_s {
            (measured_s, Pace::Measured(run_s))
        } else {
            (longest_s + self.frame_s, Pace::Assumed(longest_s))
        }
    }
}

#[cfg(test)]
mod tests;
