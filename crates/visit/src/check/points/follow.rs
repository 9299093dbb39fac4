//! Following a point that has its value while the contact lasts: the figure, once the value has come to rest, and another value
//! that the leads show. Says what was seen; what it means for a verdict is not known here.

use quantity::{Duration, Kind, Reading, State};

use super::settled::SettledPoint;
use super::settling::{SettlingPoint, wants};
use crate::verdict::PointReading;
use judge::evaluate::Input;
use judge::rule::Point;
use judge::settle::Settling;

/// What a reading brought about at a point that has its value.
pub(crate) struct Seen {
    pub(crate) index: usize,
    pub(crate) reading: PointReading,
    pub(crate) input: Input,
    pub(crate) what: What,
}

/// How a value that is seen again compares with the one that was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum What {
    /// The value has come to rest.
    Figure,
    /// It has settled anew, perhaps elsewhere.
    Anew,
    /// It has jumped to another level and settled there, without lifted leads.
    Moved,
}

/// Of a value that was settled, this part is next to nothing: the leads, the clamp or the hose are off, or the machine stopped.
/// Our own choice.
const OFF_PART: f64 = 0.05;
/// A value that jumps up to so many conversions after the word is the same contact's next conversion. Our own choice.
const CONVERSIONS_LATE: i64 = 2;

impl SettledPoint {
    /// Quantities that show a number next to nothing where leads, clamp or hose are off.
    fn off(&self, reading: &Reading) -> bool {
        let State::Value(shown) = reading.state else { return true };
        let kinds = [Kind::Voltage, Kind::Current, Kind::GaugePressure, Kind::PressureDifference];
        kinds.contains(&reading.display.unit.kind())
            && shown.to_f64().abs() < OFF_PART * self.reading.quantity.value().abs()
    }

    /// Whether this reading may be of the same contact. Open leads and another function end it: what comes after may be another
    /// part. A range that changed has been followed before.
    fn may_go_on(&self, reading: &Reading, point: &Point) -> bool {
        let Some(following) = self.after.as_ref().and_then(|after| after.follow()) else { return false };
        wants(point, reading) && following.continues(reading) && !self.off(reading)
    }

    /// The meter has changed its range under the same leads: it settles anew there, and what was known of its pace counts.
    fn follow_range(&mut self, device: &str, reading: &Reading, point: &Point) {
        let Some(after) = &mut self.after else { return };
        let Some(following) = after.follow().filter(|following| following.changes_range(reading)) else {
            return;
        };
        if !wants(point, reading) {
            return;
        }
        let Some(mut fresh) = SettlingPoint::start(device, reading, point, following.risk()) else { return };
        fresh.goes_on_from(following);
        after.begin_anew(fresh);
    }

    /// Takes a reading while the contact lasts. What settles anew is handed out: a figure once, and what is not at rest yet
    /// once for each new settling.
    pub(super) fn follow(
        &mut self,
        device: &str,
        reading: &Reading,
        point: &Point,
    ) -> Option<(PointReading, Input, What)> {
        self.after.as_ref()?.follow().filter(|following| following.is_from(device, reading))?;
        self.follow_range(device, reading, point);
        if !self.may_go_on(reading, point) {
            self.ends_follow();
            return None;
        }
        let after = self.after.as_mut()?;
        let step = match after.taken() {
            // Watching took it already; while it watched, the link was not silent.
            Some(step) => step,
            None => {
                if after.follow()?.silent_at().is_some_and(|at| at <= reading.at) {
                    self.ends_follow();
                    return None;
                }
                let _ = after.push(reading, point.display.unit);
                after.taken()?
            }
        };
        let following = after.follow()?;
        if let (Settling::Settled(before), None) = (step.before, self.since.level) {
            self.since.level = Some(before.since);
        }
        self.since.paused |= step.after_a_pause;
        let settled = match following.state {
            Settling::Settled(settled) => settled,
            Settling::Moving(_) | Settling::BounceRejected => return None,
            Settling::Empty | Settling::Held | Settling::Frozen { .. } | Settling::LiftedOff => {
                self.ends_follow();
                return None;
            }
        };
        if self.since.level.replace(settled.since) == Some(settled.since) {
            self.since.paused = false;
        } else if self.since.paused {
            // The leads may have been on another part when it paused.
            self.ends_follow();
            return None;
        }
        if matches!(step.before, Settling::Settled(before) if before.at_rest == settled.at_rest) {
            return None;
        }
        // What jumps at once is the next conversion of a display that was taken for at rest; later the value itself has moved.
        let conversion = following.conversion();
        let late = Duration::from_micros(conversion.micros().saturating_mul(CONVERSIONS_LATE));
        let done = Self::of_settled(following, point, &settled, reading.at)?;
        let (low, high) = (self.reading.at_least, self.reading.at_most);
        let value = done.reading.quantity.value();
        let inside = low.is_some_and(|low| low <= value) && high.is_some_and(|high| value <= high);
        // In another range the contact seems to begin anew: a value that the word's interval holds is its figure.
        let its_own = inside && !self.reading.settled && !self.since.moved;
        let what = if settled.since > self.reading.at + late && !its_own {
            self.since.moved = true;
            What::Moved
        } else if done.reading.settled && !self.reading.settled {
            What::Figure
        } else {
            What::Anew
        };
        Some((done.reading, done.input, what))
    }
}

#[cfg(test)]
mod tests;
