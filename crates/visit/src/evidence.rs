//! Evidence: which hold points stand, from confirmations, proofs and verdicts, and what undoes them: time, power, volts at the
//! leads, any other sign of life, a withdrawal, a failed check, a span in which nobody watched.
//!
//! The ledger knows what the armed check needs, so that a hold point that falls takes those behind it in the check's list with it.
//! Each input returns what changed, in order. Does not know rules, readings of points or phases of a check.

mod life;
mod standing;
mod unstored;
mod volts;

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Instant, Reading};

use crate::act::By;
use crate::event::LapseReason;
use crate::hold::{self, ByStream, Evidence, HoldPoint, How, Power, Scope};
use crate::job::{Job, Place};
use crate::model::Slot;
use crate::verdict::{PointReading, Verdict};
use crate::view::{HoldPointState, HoldPointView, ShownBy};
use judge::limits::Word;
use judge::rule::{Shows, UnitState};
pub(crate) use life::is_shown_by as is_life;
use standing::{Gate, Shown, Standing};
use unstored::{Pending, Unstored};
use volts::Volts;

/// The hold point that says that a unit has power.
const POWER_ON: &str = "power on";

/// What became of a hold point.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Change {
    /// It stands.
    Shown { name: String, evidence: Evidence },
    /// It stands no longer.
    Lapsed { name: String, why: LapseReason },
    /// The unit shows life, which contradicts what was shown of its isolation.
    Contradicted { unit_tag: String, sign: String },
}

/// What the armed check needs: its hold points in order, and where.
#[derive(Clone, Debug)]
struct Needs {
    unit_tag: String,
    component: String,
    slot: Slot,
    hold_points: Vec<String>,
}

impl Needs {
    fn place(&self) -> Place<'_> {
        Place { unit_tag: &self.unit_tag, component: &self.component, slot: &self.slot }
    }
}

/// All hold points that stand, and what verdicts wait to show.
#[derive(Default)]
pub(crate) struct Ledger {
    gate: Gate,
    unstored: Unstored,
    needs: Option<Needs>,
    volts: Volts,
}

impl Ledger {
    /// Another check is armed, or none. Volts are counted anew.
    pub(crate) fn serve(&mut self, job: Option<&Job>) {
        self.volts = Volts::default();
        self.needs = job.map(|job| Needs {
            unit_tag: job.plan.unit_tag.clone(),
            component: job.plan.component.clone(),
            slot: job.plan.slot.clone(),
            hold_points: job.hold_points().to_vec(),
        });
    }

    /// How many sources of readings it counts volts of.
    #[cfg(test)]
    pub(crate) fn sources(&self) -> usize {
        self.volts.sources()
    }

    /// When the next hold point lapses.
    pub(crate) fn next_lapse(&self) -> Option<Instant> {
        self.gate.next_lapse()
    }

    /// The hold points of the armed check in order, each with its evidence if it counts here and now.
    pub(crate) fn hold_points(&self) -> Vec<HoldPoint> {
        let named = self.evidence().into_iter();
        named.map(|(name, evidence)| HoldPoint { name: name.clone(), evidence: evidence.cloned() }).collect()
    }

    /// The hold points of the armed check that are open, in order.
    pub(crate) fn open(&self) -> Vec<String> {
        let open = self.evidence().into_iter().filter(|(_, evidence)| evidence.is_none());
        open.map(|(name, _)| name.clone()).collect()
    }

    fn evidence(&self) -> Vec<(&String, Option<&Evidence>)> {
        let Some(needs) = &self.needs else { return Vec::new() };
        let evidence = self.gate.evidence_of(&needs.hold_points, needs.place());
        needs.hold_points.iter().zip(evidence).collect()
    }

    /// The devices whose leads the armed check may read by; `None` for any of them.
    pub(crate) fn proved_leads(&self) -> Option<Vec<String>> {
        let about_leads = |name: &&String| hold::of(name).scope == Scope::Leads;
        let name = self.needs.as_ref()?.hold_points.iter().find(about_leads)?;
        let devices = self.gate.devices(name)?;
        Some(devices.into_iter().map(ToString::to_string).collect())
    }

    /// What is known of the power of this unit.
    pub(crate) fn state_of(&self, unit_tag: &str) -> Option<UnitState> {
        self.gate.state_of(unit_tag)
    }

    /// Somebody or something shows a hold point for the armed check; `from` is the device that does.
    pub(crate) fn show(&mut self, name: &str, how: How, from: Option<String>, now: Instant) -> Vec<Change> {
        let renewed = !self.open().iter().any(|open| open == name);
        let Some(needs) = &self.needs else { return Vec::new() };
        let unit_tag = needs.unit_tag.clone();
        let evidence = self.gate.show(
            name,
            needs.place(),
            Shown { at: now, how: how.clone(), from: from.clone() },
            renewed,
        );
        let mut changes = Vec::from([Change::Shown { name: name.to_string(), evidence }]);
        changes.extend(match hold::of(name).power {
            Power::Isolated => {
                let gone = self.gate.lose_life(&unit_tag);
                self.fell(gone.into_iter(), LapseReason::Isolated)
            }
            Power::Live => {
                let mut changes = self.lose_isolation(&unit_tag);
                if name != POWER_ON {
                    changes.extend(self.power_on(&unit_tag, Shown { at: now, how, from }));
                }
                changes
            }
            Power::Any => Vec::new(),
        });
        changes
    }

    /// Takes a value that the armed check has: amps or volts say that its unit has power, and volts dc that the part is charged.
    pub(crate) fn settled(&mut self, reading: &PointReading, now: Instant) -> Vec<Change> {
        if life::is_shown_by(reading) {
            let sign = format!("{}: {} {}", reading.label, reading.shown, reading.display);
            return self.life(&sign, Some(&reading.device), now);
        }
        let place = self.needs.as_ref().filter(|_| life::is_charged(reading)).map(Needs::place);
        let gone = place.and_then(|place| self.gate.withdraw("discharged", place));
        self.fell(gone.into_iter(), LapseReason::VoltsSeen)
    }

    /// The unit of the armed check shows life: it has power, and nothing that rests on its isolation stands any more.
    fn life(&mut self, sign: &str, device: Option<&str>, now: Instant) -> Vec<Change> {
        let Some(needs) = &self.needs else { return Vec::new() };
        let unit_tag = needs.unit_tag.clone();
        let mut changes = self.lose_isolation(&unit_tag);
        if !changes.is_empty() {
            changes.push(Change::Contradicted { unit_tag: unit_tag.clone(), sign: sign.to_string() });
        }
        let from = device.map(ToString::to_string);
        changes.extend(self.power_on(&unit_tag, Shown { at: now, how: How::Stream(sign.to_string()), from }));
        changes
    }

    fn lose_isolation(&mut self, unit_tag: &str) -> Vec<Change> {
        let gone = self.gate.lose_isolation(unit_tag);
        self.fell(gone.into_iter(), LapseReason::Life)
    }

    /// The unit has power: that stands, and is told once.
    fn power_on(&mut self, unit_tag: &str, shown: Shown) -> Vec<Change> {
        let stood = self.gate.stands(POWER_ON, Place::new(unit_tag, ""));
        let evidence = self.gate.show(POWER_ON, Place::new(unit_tag, ""), shown, stood);
        if stood { Vec::new() } else { Vec::from([Change::Shown { name: POWER_ON.to_string(), evidence }]) }
    }

    /// A person takes a hold point of the armed check back; nothing changes where it does not stand.
    pub(crate) fn withdraw(&mut self, name: &str) -> Vec<Change> {
        let place = self.needs.as_ref().map(Needs::place);
        let gone = place.and_then(|place| self.gate.withdraw(name, place));
        self.fell(gone.into_iter(), LapseReason::Withdrawn)
    }

    /// What was taken off for this hold point at this place is back, so it stands no longer.
    pub(crate) fn put_back(&mut self, name: &str, place: Place<'_>) -> Vec<Change> {
        let gone = self.gate.put_back(name, place);
        self.fell(gone.into_iter(), LapseReason::PutBack)
    }

    /// Another meter may go by this name now: no leads of it are proved.
    pub(crate) fn rejoined(&mut self, device: &str) -> Vec<Change> {
        let gone = self.gate.lose_leads(device);
        self.fell(gone.into_iter(), LapseReason::Rejoined)
    }

    /// Time has passed.
    pub(crate) fn lapse(&mut self, now: Instant) -> Vec<Change> {
        let gone = self.gate.lapse_due(now);
        self.fell(gone.into_iter(), LapseReason::Time)
    }

    /// Power is back on this unit; on any unit, as far as is known, without one. That it has power stands from now on where somebody
    /// says so, which nobody does in a pause.
    pub(crate) fn energised(&mut self, unit_tag: Option<&str>, by: Option<By>, now: Instant) -> Vec<Change> {
        let gone = self.gate.energised(unit_tag);
        let mut changes = self.fell(gone.into_iter(), LapseReason::Energised);
        if let (Some(unit_tag), Some(by)) = (unit_tag, by) {
            let shown = Shown { at: now, how: How::Confirmed(by), from: None };
            changes.extend(self.power_on(unit_tag, shown));
        }
        changes
    }

    /// Nobody watched, or the visit is paused: nothing counts any more, nor what unstored verdicts would show.
    pub(crate) fn forget(&mut self, why: LapseReason) -> Vec<Change> {
        self.unstored.forget();
        let gone = self.gate.forget_all();
        self.fell(gone.into_iter(), why)
    }

    /// The visit at this unit has ended: nothing of it counts any more.
    pub(crate) fn leave(&mut self, unit_tag: &str) -> Vec<Change> {
        self.unstored.leave(unit_tag);
        let gone = self.gate.leave(unit_tag);
        self.fell(gone.into_iter(), LapseReason::Closed)
    }

    /// Takes a reading: volts at the leads while the unit counts as dead, or the part as discharged, undo that.
    pub(crate) fn read(&mut self, device: &str, reading: &Reading) -> Vec<Change> {
        if self.needs.is_none() {
            return Vec::new();
        }
        let all = self.volts.push(device, reading);
        let mut changes = Vec::new();
        for (seen, name) in [(all.live, "proved dead"), (all.charged, "discharged")] {
            let Some(place) = self.needs.as_ref().filter(|_| seen).map(Needs::place) else { continue };
            let mut gone = Vec::from_iter(self.gate.withdraw(name, place));
            let lives = all.live && !gone.is_empty();
            if lives {
                // Live volts on a unit that counted as dead put the lockout itself in question.
                gone.extend(self.gate.withdraw("locked out", place));
            }
            changes.extend(self.fell(gone.into_iter(), LapseReason::VoltsSeen));
            if lives {
                changes.extend(self.life(&reading.to_string(), Some(device), reading.at));
            }
        }
        changes
    }

    /// This reading is that of the named live source: neither it nor what follows at once says anything of the unit.
    pub(crate) fn on_live_source(&mut self, device: &str, reading: &Reading) {
        self.volts.on_live_source(device, reading);
    }

    /// Volts on a pair that should be dead: nothing of this unit counts as isolated any more.
    pub(crate) fn live_pair(&mut self) -> Vec<Change> {
        let Some(needs) = &self.needs else { return Vec::new() };
        let gone = self.gate.lose_isolation(&needs.unit_tag);
        self.fell(gone.into_iter(), LapseReason::VoltsSeen)
    }

    /// A pass shows hold points for other checks of this unit, a fail takes them away; a conditional pass shows those that its rule
    /// lets it show; a danger ends them everywhere on the unit; anything else changes nothing.
    /// A fail closes gates at once and is told when it is stored. `waits_for_storing` as in
    /// [`crate::settings::Settings::verdicts_are_stored`].
    pub(crate) fn judged(
        &mut self,
        verdict: &Verdict,
        slot: &Slot,
        shows: &[Shows],
        waits_for_storing: bool,
    ) -> Vec<Change> {
        let conditional = verdict.word == Word::ConditionalPass;
        let names = shows.iter().filter(|shows| !conditional || shows.by_conditional_pass);
        let names: Vec<String> = names.map(|shows| shows.name.clone()).collect();
        if names.is_empty() || verdict.word == Word::NoVerdict {
            return Vec::new();
        }
        let mut given = Pending::new(verdict, slot, names);
        if !given.passes() {
            self.unstored.take_back(&given);
            let gate = &mut self.gate;
            // What a danger ends, it ends everywhere on the unit.
            let ends =
                |gate: &mut Gate, name: &str| verdict.danger && !gate.end(name, &verdict.unit_tag).is_empty();
            let fails = |name: &&String| {
                let of_leads = hold::of(name).scope == Scope::Leads
                    && given.device.as_ref().is_some_and(|device| !gate.lose_leads(device).is_empty());
                gate.fail(name, given.place(), given.at).is_some() | of_leads | ends(gate, name)
            };
            given.taken = given.names.iter().filter(fails).cloned().collect();
        }
        if !waits_for_storing {
            return self.give(given);
        }
        self.unstored.keep(given);
        Vec::new()
    }

    /// A check at this place failed before the round began. What the round has seen there since counts more.
    pub(crate) fn failed_before(&mut self, name: &str, place: Place<'_>, now: Instant) -> Vec<Change> {
        if self.gate.stands(name, place) {
            return Vec::new();
        }
        let gone = self.gate.fail(name, place, now);
        self.fell(gone.into_iter(), LapseReason::Failed)
    }

    /// The caller has stored this verdict.
    pub(crate) fn stored(&mut self, number: u64) -> Vec<Change> {
        self.unstored.stored(number).map_or_else(Vec::new, |given| self.give(given))
    }

    fn give(&mut self, mut given: Pending) -> Vec<Change> {
        let why = if given.danger { LapseReason::Danger } else { LapseReason::Failed };
        let taken = core::mem::take(&mut given.taken).into_iter();
        let mut changes: Vec<Change> = taken.map(|name| Change::Lapsed { name, why }).collect();
        if !given.passes() {
            return changes;
        }
        for name in &given.names {
            let how = How::Stream(format!("{}: {}", given.title, given.word));
            // Leads are those of the device that read them.
            let from = match (hold::of(name).scope, &given.device) {
                (Scope::Leads, None) => continue,
                (Scope::Leads, Some(device)) => device.clone(),
                _ => format!("check {}", given.check),
            };
            let shown = Shown { at: given.at, how, from: Some(from) };
            let evidence = self.gate.show(name, given.place(), shown, false);
            changes.push(Change::Shown { name: name.clone(), evidence });
        }
        changes
    }

    /// Hold points that no longer stand: those behind them in the check's list fall too (leads excepted). Those of another
    /// unit or component fall without a word; a check there asks for them again.
    fn fell(&mut self, gone: impl Iterator<Item = Standing>, why: LapseReason) -> Vec<Change> {
        let mut changes = Vec::new();
        for fallen in gone {
            let here = self.needs.as_ref().is_none_or(|needs| fallen.reaches(needs.place()));
            if here {
                changes.push(Change::Lapsed { name: fallen.name.clone(), why });
                self.fall_behind(&fallen.name, &mut changes);
            }
        }
        changes
    }

    fn fall_behind(&mut self, name: &str, changes: &mut Vec<Change>) {
        let Some(needs) = &self.needs else { return };
        for name in needs.hold_points.iter().skip_while(|listed| *listed != name).skip(1) {
            if hold::of(name).keeps_order && self.gate.withdraw(name, needs.place()).is_some() {
                changes.push(Change::Lapsed { name: name.clone(), why: LapseReason::Earlier });
            }
        }
    }

    /// What a person should see of the hold points of the armed check. With `asks` the first open one is asked for, and
    /// `proof` says what its proof waits for.
    pub(crate) fn views(&self, asks: bool, proof: &str, now: Instant) -> Vec<HoldPointView> {
        let Some(needs) = &self.needs else { return Vec::new() };
        let mut next_is_asked = asks;
        let view = |(name, evidence): (&String, Option<&Evidence>)| {
            let known = hold::of(name);
            let asked = evidence.is_none() && core::mem::take(&mut next_is_asked);
            let (how, detail) = match evidence.map(|evidence| &evidence.how) {
                Some(How::Confirmed(_)) => (Some(ShownBy::Person), String::new()),
                Some(How::Stream(says)) => (Some(ShownBy::Meter), says.clone()),
                None if asked => (None, proof.to_string()),
                None => (None, String::new()),
            };
            let state = match (evidence, asked) {
                (Some(_), _) => HoldPointState::Shown,
                (None, true) => HoldPointState::Asked,
                (None, false) => HoldPointState::Waiting,
            };
            let lapses = || self.gate.lapses_in_s(name, needs.place(), now);
            HoldPointView {
                name: name.clone(),
                state,
                how,
                detail,
                ask: known.ask.to_string(),
                caution: known.caution.to_string(),
                by_stream: known.by_stream != ByStream::No,
                lapses_in_s: evidence.and_then(|_| lapses()),
            }
        };
        self.evidence().into_iter().map(view).collect()
    }
}

#[cfg(test)]
mod tests;
