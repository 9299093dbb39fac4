//! Measuring: which point a reading belongs to, settling it, lifting between points, and what breaks it off.
//! Does not judge; `conclude.rs` does when all points have their value.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{DeviceChannel, Duration, Reading, State};

use super::about::{About, Question};
use super::check::{Check, OpenRun, Phase};
use super::conclude::{Found, seen_from, thresholds};
use super::contact::looks_open;
use super::event::{Output, ResetReason};
use super::point::PointState;
use super::settled::SettledPoint;
use super::settling::{Fed, OPEN_FOR, SettlingPoint, wants};
use super::{Live, Round};
use crate::verdict::Reason;
use judge::rule::Point;

/// A reading that arrives later than this after its own time is stale: shown, never used. Our own choice.
const LATE_FOR: Duration = Duration::from_secs(5);
/// A reading that the check wants stays in view this long beside others. Our own choice.
const LIVE_KEPT_FOR: Duration = Duration::from_secs(2);

impl Round {
    pub(super) fn on_reading(&mut self, device: &str, reading: Reading) {
        // A time ahead of the round's own would keep a silent link alive.
        let reading = Reading { at: reading.at.min(self.now), ..reading };
        self.show_live(device, reading);
        if self.now.since(reading.at) > LATE_FOR {
            return;
        }
        self.watch_for_volts(device, &reading);
        self.watch_contacts(device, &reading);
        self.watch_settled(device, &reading);
        self.follow_settled(device, &reading);
        let Some(check) = &self.check else { return };
        if check.phase == Phase::HoldPoints {
            self.prove(device, &reading);
        } else if check.takes_readings() {
            self.measure(device, &reading);
        }
    }

    /// The reading to look at: the newest, but what the check does not want never covers what it does.
    fn show_live(&mut self, device: &str, reading: Reading) {
        let measuring = self.check.as_ref().is_some_and(Check::takes_readings);
        let wanted = measuring && self.point_for(device, &reading).is_some();
        let kept = self.live.as_ref().is_some_and(|live| {
            measuring && live.wanted && !live.lost && self.now.since(live.reading.at) <= LIVE_KEPT_FOR
        });
        if wanted || !kept {
            let device = match self.live.take() {
                Some(live) if live.device == device => live.device,
                _ => device.to_string(),
            };
            self.live = Some(Live { device, reading, lost: false, wanted });
        }
    }

    fn measure(&mut self, device: &str, reading: &Reading) {
        self.break_off_changed_function(device, reading);
        let Some(index) = self.point_for(device, reading) else { return };
        if self.blocked_by_a_contact(index, device, reading) {
            return;
        }
        if self.runs_open(index, device, reading) {
            return;
        }
        let (risk, decision) = (self.settings.risk, self.settings.decision);
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let Some(point) = rule.header().points.get(index) else { return };
        let at = seen_from(check, index, reading, point);
        let Some(place) = check.points.get_mut(index) else { return };
        let mut state = core::mem::replace(place, PointState::Waiting);
        let ready = make_ready(&mut state, device, reading, point, risk);
        let mut found = None;
        let fed = match &mut state {
            PointState::Settling(settling) if ready => {
                let asked = &*check;
                let mut ask = || {
                    let now = at.and_then(|input| thresholds(asked, index, input, reading.at, decision));
                    let told = now.as_ref().map_or_else(Vec::new, |now| now.thresholds.clone());
                    found = now.or(found.take());
                    told
                };
                Some(settling.push(reading, point.unit, Some(&mut ask)))
            }
            _ => None,
        };
        if let Some(place) = check.points.get_mut(index) {
            *place = state;
        }
        if let Some(Found { inputs, thresholds, evaluation: Some(evaluation) }) = found {
            check.last_evaluation = Some(evaluation);
            check.last_asked = Some((inputs, thresholds));
        }
        let Some(fed) = fed else { return };
        check.low_battery |= reading.flags.low_battery;
        let _ = check.reconsider_question();
        match fed {
            Fed::Quiet => self.ask_whether_open(index, reading),
            Fed::Lifted => self.say(Output::Reset { why: ResetReason::Lifted }),
            Fed::Frozen => self.say(Output::Reset { why: ResetReason::Frozen }),
            Fed::Settled(settled) => {
                let point_at = settling_of(&self.check, index);
                match point_at.and_then(|s| SettledPoint::of_settled(s, point, &settled, reading.at)) {
                    Some(done) => self.point_settled(index, done),
                    None => self.end_without(Reason::BadInput(format!(
                        "{} reads {reading}: no such value can be, or the meter's accuracy does not fit its unit",
                        point.label
                    ))),
                }
            }
        }
    }

    /// A point that was settling on this channel and gets another function: thrown away, visibly.
    fn break_off_changed_function(&mut self, device: &str, reading: &Reading) {
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let mut changed = false;
        for (state, point) in check.points.iter_mut().zip(&rule.header().points) {
            let PointState::Settling(settling) = state else { continue };
            if settling.is_from(device, reading) && !wants(point, reading) {
                changed |= settling.contact_since.is_some();
                *state = PointState::Waiting;
            }
        }
        let _ = check.reconsider_question();
        if changed {
            self.say(Output::Reset { why: ResetReason::FunctionChanged });
        }
    }

    /// True while the leads are still on what another point, or another part, has its value from.
    fn blocked_by_a_contact(&mut self, index: usize, device: &str, reading: &Reading) -> bool {
        let Some(check) = &mut self.check else { return false };
        let Some(rule) = check.rule.clone() else { return false };
        let Some(point) = rule.header().points.get(index) else { return false };
        let bound = check.plan.bindings.iter().any(|binding| binding.point == point.name);
        let blocked = self.contacts.iter().any(|c| c.blocks(check, point, bound, device, reading));
        check.await_lift = blocked;
        blocked
    }

    /// The point this reading belongs to: a bound one, else the one already settling, else the first that waits for it.
    ///
    /// Points of one kind without a binding are read with one meter: a second meter that shows the same kind takes none
    /// of them while the first is on one or has settled one.
    fn point_for(&self, device: &str, reading: &Reading) -> Option<usize> {
        let check = self.check.as_ref()?;
        let points = &check.header()?.points;
        let bound = |name: &str| check.plan.bindings.iter().find(|binding| binding.point == name);
        let open = |index: &usize| check.points.get(*index).is_some_and(|state| state.settled().is_none());
        let wanting = || points.iter().enumerate().filter(|(_, point)| wants(point, reading));
        let mine = wanting().find(|(index, point)| {
            let here = bound(&point.name).is_some_and(|b| b.from.is(device, reading.channel));
            here && open(index)
        });
        if let Some((index, _)) = mine {
            return Some(index);
        }
        let free: Vec<usize> =
            wanting().filter(|(_, point)| bound(&point.name).is_none()).map(|(index, _)| index).collect();
        let taken = |index: &usize| match check.points.get(*index) {
            Some(PointState::Settling(s)) => {
                // Open leads push nobody aside.
                !s.is_from(device, reading) && (s.contact_since.is_some() || looks_open(reading))
            }
            Some(PointState::Settled(s)) => s.typed.is_none() && !s.is_from(device, reading.channel),
            Some(PointState::Waiting) | None => false,
        };
        if free.iter().any(taken) {
            return None;
        }
        let settling = |index: &&usize| matches!(check.points.get(**index), Some(PointState::Settling(s)) if s.is_from(device, reading));
        free.iter().find(settling).or_else(|| free.iter().find(|index| open(index))).copied()
    }

    pub(super) fn point_settled(&mut self, index: usize, done: SettledPoint) {
        self.say(Output::Settled(done.reading.clone()));
        self.remember_contact(&done);
        let Some(check) = &mut self.check else { return };
        if let Some(state) = check.points.get_mut(index) {
            *state = PointState::Settled(alloc::boxed::Box::new(done));
        }
        self.try_conclude();
    }

    /// Overload where an open circuit is a finding: once it has lasted, it is asked whether the leads are on. True while it
    /// lasts; a contact that was settling is over then.
    fn runs_open(&mut self, index: usize, device: &str, reading: &Reading) -> bool {
        let Some(check) = &mut self.check else { return false };
        let Some(rule) = check.rule.clone() else { return false };
        let Some(point) = rule.header().points.get(index) else { return false };
        let overload = matches!(reading.state, State::Overload(_)) && reading.flags.is_live();
        let settling =
            matches!(check.points.get(index), Some(PointState::Settling(s)) if s.contact_since.is_some());
        if point.open_counts_as.is_none() || !overload || settling {
            if check.open_run.as_ref().is_some_and(|run| run.from.is(device, reading.channel)) {
                check.open_run = None;
                let _ = check.reconsider_question();
            }
            return false;
        }
        let same = |run: &OpenRun| run.point == index && run.from.is(device, reading.channel);
        let run = check.open_run.take().filter(same).unwrap_or_else(|| OpenRun {
            point: index,
            from: DeviceChannel::new(device, reading.channel),
            since: reading.at,
        });
        let long = reading.at.since(run.since) >= OPEN_FOR;
        check.open_run = Some(run);
        if long && check.question.is_none() {
            let text = format!(
                "The meter reads {reading}, as on open leads. Are both leads on: {}? \
                 Yes: it is judged as an open circuit. No: clip on.",
                point.label
            );
            self.ask(Question::new(About::OpenPart(index), text));
        }
        true
    }

    /// Leads that read open for long while a capacitance is awaited: open leads, or an open part? The mechanic knows.
    fn ask_whether_open(&mut self, index: usize, reading: &Reading) {
        let Some(check) = &self.check else { return };
        let Some(PointState::Settling(settling)) = check.points.get(index) else { return };
        let open_long = settling.open_since.is_some_and(|since| reading.at.since(since) >= OPEN_FOR);
        let is_number = matches!(reading.state, State::Value(_)) && settling.open_looks_like_a_number();
        if !(open_long && is_number) || check.question.is_some() {
            return;
        }
        let text = format!(
            "The meter reads {reading}, as on open leads. Are both leads on the part? \
             Yes: it is judged as an open part. No: clip on."
        );
        self.ask(Question::new(About::OpenPart(index), text));
    }

    pub(super) fn link_lost(&mut self, device: &str) {
        let Some(check) = &mut self.check else { return };
        let mut lost = check.proving.as_mut().is_some_and(|proving| proving.forget(Some(device)));
        if lost {
            check.proof_says.clear();
        }
        check.drop_proof_question();
        for state in &mut check.points {
            match state {
                PointState::Settling(settling) if settling.from.device == device => {
                    lost |= settling.contact_since.is_some();
                    *state = PointState::Waiting;
                }
                PointState::Settled(settled) if settled.reading.device == device => {
                    settled.after = None;
                }
                PointState::Settling(_) | PointState::Settled(_) | PointState::Waiting => {}
            }
        }
        lost |= check.reconsider_question();
        if lost {
            self.say(Output::Reset { why: ResetReason::LinkLost });
        }
        self.note_live();
    }

    /// Points that will not settle, readings too old to be judged, and links that have gone silent, at `self.now`.
    pub(super) fn points_due(&mut self) {
        let now = self.now;
        let Some(check) = &mut self.check else { return };
        let labels: Vec<String> =
            check.header().map_or_else(Vec::new, |h| h.points.iter().map(|p| p.label.clone()).collect());
        let mut silent = false;
        let mut given_up = None;
        let too_old = check.points.iter().position(|p| check.too_old_at(p).is_some_and(|at| at <= now));
        for (state, label) in check.points.iter_mut().zip(&labels) {
            match state {
                PointState::Settling(settling) if settling.silent_at().is_some_and(|at| at <= now) => {
                    silent |= settling.contact_since.is_some();
                    *state = PointState::Waiting;
                }
                PointState::Settling(settling) if settling.gives_up_at().is_some_and(|at| at <= now) => {
                    let why = settling.why_not_settled();
                    given_up = given_up.or(Some(Reason::Unsettled { point: label.clone(), why }));
                    *state = PointState::Waiting;
                }
                PointState::Settled(settled)
                    if settled.watch().and_then(SettlingPoint::silent_at).is_some_and(|at| at <= now) =>
                {
                    settled.ends_watch();
                }
                PointState::Settling(_) | PointState::Settled(_) | PointState::Waiting => {}
            }
        }
        silent |= check.reconsider_question();
        self.note_live();
        if silent {
            self.say(Output::Reset { why: ResetReason::LinkLost });
        }
        let too_old = too_old.and_then(|index| labels.get(index)).map(|label| {
            Reason::BadInput(format!("the reading of {label} is too old to be judged: take the check again"))
        });
        if let Some(reason) = too_old.or(given_up) {
            self.end_without(reason);
        }
    }
}

fn settling_of(check: &Option<Check>, index: usize) -> Option<&SettlingPoint> {
    match check.as_ref()?.points.get(index)? {
        PointState::Settling(settling) => Some(settling),
        PointState::Settled(_) | PointState::Waiting => None,
    }
}

/// Sees that the point settles on this function and range; false when it cannot. A change of range begins anew, quietly,
/// but the patience with the contact goes on.
fn make_ready(state: &mut PointState, device: &str, reading: &Reading, point: &Point, risk: f64) -> bool {
    if matches!(state, PointState::Settling(settling) if settling.is_from(device, reading) && settling.continues(reading))
    {
        return true;
    }
    let Some(mut fresh) = SettlingPoint::start(device, reading, point, risk) else { return false };
    if let PointState::Settling(before) = state
        && before.is_from(device, reading)
    {
        fresh.goes_on_from(before);
    }
    *state = PointState::Settling(alloc::boxed::Box::new(fresh));
    true
}
