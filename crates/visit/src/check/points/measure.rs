//! Taking a reading for a point: a function that changes, overload that lasts, and settling. Does not say which point it is for.

use alloc::boxed::Box;
use alloc::format;
use alloc::string::String;

use quantity::{DeviceChannel, Instant, Reading, State};

use super::settled::SettledPoint;
use super::settling::{OPEN_FOR, SettleEvent, SettlingPoint, wants};
use super::state::PointState;
use super::{OpenRun, Points};
use crate::event::ResetReason;
use judge::rule::Point;

/// What a reading brought about.
pub(in crate::check) enum Measured {
    /// Nothing to report.
    Quiet,
    /// The reading could not be taken: it has no number yet.
    NotTaken,
    /// What was settling is thrown away.
    Reset(ResetReason),
    /// The leads have read open for long where that looks like a number; only a person knows whether they are on.
    ReadsOpen(String),
    /// The point has its value.
    Settled(Box<SettledPoint>),
    /// No such value can be.
    Impossible(String),
}

/// What overload on a point where an open circuit is a finding comes to.
pub(in crate::check) enum Asked {
    /// It is none, or it is over.
    No,
    /// It lasts; not long enough to ask.
    NotYet,
    /// It has lasted: are the leads on?
    Now(String),
}

impl Points {
    /// Throws away points that were settling on this channel and get another function now; true if there was contact.
    pub(in crate::check) fn break_off(&mut self, of: &[Point], device: &str, reading: &Reading) -> bool {
        let mut changed = false;
        for (state, point) in self.states.iter_mut().zip(of) {
            let PointState::Settling(settling) = state else { continue };
            if settling.is_from(device, reading) && !wants(point, reading) {
                changed |= settling.contact_since.is_some();
                *state = PointState::Waiting;
            }
        }
        changed
    }

    /// Notes whether the leads are still on what another point has its value from.
    pub(in crate::check) fn note_blocked(&mut self, blocked: bool) {
        self.await_lift = blocked;
    }

    /// Overload where an open circuit is a finding: once it has lasted, it is to be asked whether the leads are on.
    pub(in crate::check) fn overload(
        &mut self,
        index: usize,
        point: &Point,
        device: &str,
        reading: &Reading,
    ) -> Asked {
        let overload = matches!(reading.state, State::Overload(_)) && reading.flags.is_live();
        let in_contact = self.states.get(index).is_some_and(PointState::is_in_contact);
        if point.open_counts_as.is_none() || !overload || in_contact {
            if self.open_run.as_ref().is_some_and(|run| run.from.is(device, reading.channel)) {
                self.open_run = None;
            }
            return Asked::No;
        }
        let same = |run: &OpenRun| run.point == index && run.from.is(device, reading.channel);
        let run = self.open_run.take().filter(same).unwrap_or_else(|| OpenRun {
            point: index,
            from: DeviceChannel::new(device, reading.channel),
            since: reading.at,
        });
        let long = reading.at.since(run.since) >= OPEN_FOR;
        self.open_run = Some(run);
        if !long {
            return Asked::NotYet;
        }
        Asked::Now(format!(
            "The meter reads {reading}, as on open leads. Are both leads on: {}? \
             Yes: it is judged as an open circuit. No: clip on.",
            point.label
        ))
    }

    /// Feeds the point; `ask` gives the thresholds that may decide.
    pub(in crate::check) fn settle(
        &mut self,
        index: usize,
        point: &Point,
        device: &str,
        reading: &Reading,
        risk: f64,
        mut ask: impl FnMut(&Self) -> alloc::vec::Vec<f64>,
    ) -> Measured {
        let Some(place) = self.states.get_mut(index) else { return Measured::NotTaken };
        let mut state = core::mem::replace(place, PointState::Waiting);
        let ready = make_ready(&mut state, device, reading, point, risk);
        let event = match &mut state {
            PointState::Settling(settling) if ready => {
                let others = &*self;
                Some(settling.push(reading, point.display.unit, Some(&mut || ask(others) as _)))
            }
            _ => None,
        };
        if let Some(place) = self.states.get_mut(index) {
            *place = state;
        }
        let Some(event) = event else { return Measured::NotTaken };
        self.low_battery |= reading.flags.low_battery;
        match event {
            SettleEvent::Quiet => self.open_long(index, reading).map_or(Measured::Quiet, Measured::ReadsOpen),
            SettleEvent::Lifted => Measured::Reset(ResetReason::Lifted),
            SettleEvent::Frozen => Measured::Reset(ResetReason::Frozen),
            SettleEvent::Settled(settled) => {
                let settling = self.states.get(index).and_then(PointState::settling);
                match settling.and_then(|s| SettledPoint::of_settled(s, point, &settled, reading.at)) {
                    Some(done) => Measured::Settled(Box::new(done)),
                    None => Measured::Impossible(format!(
                        "{} reads {reading}: no such value can be, or the meter's accuracy does not fit its unit",
                        point.label
                    )),
                }
            }
        }
    }

    /// Leads that read open for long while a capacitance is awaited: open leads, or an open part? The mechanic knows.
    fn open_long(&self, index: usize, reading: &Reading) -> Option<String> {
        let settling = self.states.get(index)?.settling()?;
        let open_long = settling.open_since.is_some_and(|since| reading.at.since(since) >= OPEN_FOR);
        let is_number = matches!(reading.state, State::Value(_)) && settling.open_looks_like_a_number();
        (open_long && is_number).then(|| {
            format!(
                "The meter reads {reading}, as on open leads. Are both leads on the part? \
                 Yes: it is judged as an open part. No: clip on."
            )
        })
    }

    /// The display of a point that settles, taken as its value as it stands.
    pub(in crate::check) fn as_displayed(
        &self,
        index: usize,
        point: &Point,
        now: Instant,
    ) -> Option<SettledPoint> {
        let settling = self.states.get(index)?.settling()?;
        let shown = settling.last_shown?;
        let value = settling.display.unit.convert(shown.to_f64(), point.display.unit).ok()?;
        SettledPoint::of_display(settling, point, value, 0.0, 1, now)
    }
}

/// Sees that the point settles on this function and range; false when it cannot. A change of range begins anew, quietly,
/// but the patience with the contact goes on.
fn make_ready(state: &mut PointState, device: &str, reading: &Reading, point: &Point, risk: f64) -> bool {
    let same = |settling: &SettlingPoint| settling.is_from(device, reading) && settling.continues(reading);
    if state.settling().is_some_and(same) {
        return true;
    }
    let Some(mut fresh) = SettlingPoint::start(device, reading, point, risk) else { return false };
    if let Some(before) = state.settling().filter(|before| before.is_from(device, reading)) {
        fresh.goes_on_from(before);
    }
    *state = PointState::Settling(Box::new(fresh));
    true
}

#[cfg(test)]
mod tests;
