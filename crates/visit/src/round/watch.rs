//! Watching the leads beside measuring: whether a verdict still describes what they show, volts on a unit that counts as
//! dead, and contacts that have not ended. Takes no readings for points and judges nothing.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Coupling, Duration, Instant, Kind, Reading, State, Unit};

use super::Round;
use super::check::{Check, Phase};
use super::contact::Contact;
use super::event::LapseReason;
use super::point::{PointState, SettledPoint, wants};
use crate::hold::proof::{LIVE_V_MIN, RESIDUAL_V_MAX};
use judge::settle::Settling;

/// Volts in a row that undo "proved dead" or "discharged". Our own choice: one spike of a floating lead is not enough.
const VOLTS_SEEN_READINGS: u32 = 5;
/// After live-dead-live the leads are still on the known live source; for this long at most that counts as such.
const STILL_ON_LIVE_SOURCE: Duration = Duration::from_secs(10);
/// Sources whose volts are counted, and contacts kept; the oldest goes first.
const SOURCES_MAX: usize = 32;

/// Readings in a row of one source that show volts.
#[derive(Clone, Debug)]
pub(super) struct VoltsRun {
    device: String,
    channel: u8,
    ac: u32,
    dc: u32,
    /// The source has just shown live-dead-live and is still on the live source.
    on_live_source_since: Option<Instant>,
}

impl Round {
    /// Volts at the leads while the unit counts as dead, or the part as discharged, undo that. Where the meter does not
    /// say whether ac or dc they count as both.
    pub(super) fn watch_for_volts(&mut self, device: &str, reading: &Reading) {
        let volts = match reading.state {
            State::Value(shown) if reading.unit.kind() == Kind::Voltage && reading.flags.is_live() => {
                reading.unit.convert(shown.to_f64(), Unit::VOLT).unwrap_or(0.0).abs()
            }
            State::Overload(_) if reading.unit.kind() == Kind::Voltage => f64::INFINITY,
            _ => 0.0,
        };
        let Some(run) = self.volts_run(device, reading.channel) else { return };
        let may_be = |coupling| reading.coupling.is_none_or(|shown| shown == coupling);
        let live = volts >= LIVE_V_MIN && may_be(Coupling::Ac);
        let charged = volts >= RESIDUAL_V_MAX && may_be(Coupling::Dc);
        let still = run.on_live_source_since.is_some_and(|t| reading.at.since(t) <= STILL_ON_LIVE_SOURCE);
        if !(live && still) {
            run.on_live_source_since = None;
        }
        let count = |seen: bool, run: u32| if seen { run.saturating_add(1) } else { 0 };
        (run.ac, run.dc) = (count(live && !still, run.ac), count(charged, run.dc));
        let (live, charged) = (run.ac >= VOLTS_SEEN_READINGS, run.dc >= VOLTS_SEEN_READINGS);
        for (seen, name) in [(live, "proved dead"), (charged, "discharged")] {
            let Some(check) = self.check.as_ref().filter(|_| seen) else { continue };
            let mut gone = Vec::from_iter(self.gate.withdraw(name, check.place()));
            if live && !gone.is_empty() {
                // Live volts on a unit that counted as dead put the lockout itself in question.
                gone.extend(self.gate.withdraw("locked out", check.place()));
            }
            if !gone.is_empty() {
                self.fell(&gone, LapseReason::VoltsSeen);
            }
        }
    }

    /// Live-dead-live was shown with this source: what follows is still the live source.
    pub(super) fn on_live_source(&mut self, device: &str, reading: &Reading) {
        if let Some(run) = self.volts_run(device, reading.channel) {
            run.on_live_source_since = Some(reading.at);
        }
    }

    fn volts_run(&mut self, device: &str, channel: u8) -> Option<&mut VoltsRun> {
        let runs = &mut self.check.as_mut()?.volts;
        let known = runs.iter().position(|run| run.device == device && run.channel == channel);
        if known.is_none() {
            if runs.len() >= SOURCES_MAX {
                runs.remove(0);
            }
            let device = device.to_string();
            runs.push(VoltsRun { device, channel, ac: 0, dc: 0, on_live_source_since: None });
        }
        let at = known.unwrap_or(runs.len().saturating_sub(1));
        runs.get_mut(at)
    }

    /// Ends contacts whose leads have come off.
    pub(super) fn watch_contacts(&mut self, device: &str, reading: &Reading) {
        let check = self.check.as_ref();
        self.contacts.retain_mut(|contact| !contact.ended(check, device, reading));
    }

    /// Remembers the contact of a point that has just settled.
    pub(super) fn remember_contact(&mut self, settled: &SettledPoint) {
        let Some(contact) = self.check.as_ref().and_then(|check| Contact::of(check, settled)) else { return };
        self.contacts.retain(|known| !known.same_source(&contact));
        if self.contacts.len() >= SOURCES_MAX {
            self.contacts.remove(0);
        }
        self.contacts.push(contact);
    }

    /// The settled points go on watching: what no longer shows the settled value is no longer live.
    pub(super) fn watch_settled(&mut self, device: &str, reading: &Reading) {
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let again: Vec<bool> = (0..check.points.len()).map(|index| check.follows_its_moment(index)).collect();
        for ((state, point), again) in check.points.iter_mut().zip(&rule.header().points).zip(again) {
            let PointState::Settled(settled) = state else { continue };
            let Some(after) = settled.after.as_mut() else { continue };
            let Some(watch) = after.watch().filter(|watch| watch.is_from(device, reading)) else { continue };
            let same = wants(point, reading)
                && watch.continues(reading)
                && matches!(after.push(reading, point.unit), Settling::Settled(_) | Settling::BounceRejected);
            if same {
                settled.until = reading.at;
            } else if again {
                *state = PointState::Waiting;
            } else {
                settled.ends_watch();
            }
        }
        // Clipping on answers the question whether the leads are on.
        let _ = check.reconsider_question();
        self.note_live();
    }

    /// The mechanic says that the leads are not on: what they show now is nobody's value.
    pub(super) fn not_on(&mut self, point: &str) {
        let check = self.check.as_ref();
        self.contacts.iter_mut().filter(|c| c.is_of(check, point)).for_each(Contact::touches_nothing);
    }

    /// Takes back the live flag of a verdict whose readings are no longer shown.
    pub(super) fn note_live(&mut self) {
        if let Some(check) = &mut self.check
            && check.phase == Phase::Done
        {
            check.verdict_live = check.verdict_live && check.still_shown(None);
        }
    }
}

impl Check {
    /// Whether the newest point of each source still shows its value, and with `now` whether readings still come.
    /// Points measured before it with the same leads were left on purpose; typed ones are as live as the day they were
    /// typed.
    pub(super) fn still_shown(&self, now: Option<Instant>) -> bool {
        let settled: Vec<&SettledPoint> = self.points.iter().filter_map(PointState::settled).collect();
        let newer = |of: &SettledPoint| {
            settled.iter().any(|other| {
                other.reading.device == of.reading.device
                    && other.channel == of.channel
                    && other.reading.at > of.reading.at
            })
        };
        settled
            .iter()
            .filter(|s| s.typed.is_none() && !newer(s))
            .all(|s| s.watch().is_some_and(|watch| now.is_none_or(|now| watch.is_fresh(now))))
    }
}
