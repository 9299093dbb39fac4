//! Watching the leads beside measuring: whether a verdict still describes what they show, volts on a unit that counts as
//! dead, and contacts that have not ended. Takes no readings for points and judges nothing.

use alloc::vec::Vec;

use quantity::{Instant, Reading};

use super::Round;
use super::check::{Check, Phase};
use super::contact::Contact;
use super::event::LapseReason;
use super::point::PointState;
use super::settled::SettledPoint;
use super::settling::wants;
use judge::settle::Settling;

/// Contacts kept; the oldest goes first.
const CONTACTS_MAX: usize = 32;

impl Round {
    /// Volts at the leads while the unit counts as dead, or the part as discharged, undo that.
    pub(super) fn watch_for_volts(&mut self, device: &str, reading: &Reading) {
        let Some(check) = &mut self.check else { return };
        let all = check.volts.push(device, reading);
        for (seen, name) in [(all.live, "proved dead"), (all.charged, "discharged")] {
            let Some(check) = self.check.as_ref().filter(|_| seen) else { continue };
            let mut gone = Vec::from_iter(self.gate.withdraw(name, check.place()));
            if all.live && !gone.is_empty() {
                // Live volts on a unit that counted as dead put the lockout itself in question.
                gone.extend(self.gate.withdraw("locked out", check.place()));
            }
            if !gone.is_empty() {
                self.fell(&gone, LapseReason::VoltsSeen);
            }
        }
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
        if self.contacts.len() >= CONTACTS_MAX {
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
                other.is_from(&of.reading.device, of.channel) && other.reading.at > of.reading.at
            })
        };
        settled
            .iter()
            .filter(|s| s.typed.is_none() && !newer(s))
            .all(|s| s.watch().is_some_and(|watch| now.is_none_or(|now| watch.is_fresh(now))))
    }
}
