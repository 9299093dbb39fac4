//! Measuring: which point a reading belongs to, settling it, lifting between points, and what breaks it off.
//! Does not judge; `conclude.rs` does when all points have their value.

use alloc::format;
use alloc::string::{String, ToString};

use quantity::{Accuracy, Coupling, Kind, Quantity, Reading, State, Typed};

use super::check::{About, Phase, Question};
use super::event::{LapseReason, Output, ResetReason};
use super::point::{Fed, OPEN_FOR, PointState, SettledPoint, SettlingPoint, wants};
use super::{Live, Round};
use crate::evaluate::Input;
use crate::hold::proof::LIVE_V_MIN;
use crate::settle::Settling;
use crate::verdict::{PointReading, Reason};

/// Live volts in a row that undo "proved dead". Our own choice: one spike of a floating lead is not enough.
const VOLTS_SEEN_READINGS: u32 = 5;

impl Round {
    pub(super) fn on_reading(&mut self, device: &str, reading: Reading) {
        self.live = Some(Live { device: device.to_string(), reading, lost: false });
        self.watch_for_volts(&reading);
        let Some(check) = &mut self.check else { return };
        check.low_battery |= reading.flags.low_battery && check.phase == Phase::Measuring;
        match check.phase {
            Phase::HoldPoints => self.prove(&reading),
            Phase::Measuring => self.measure(device, &reading),
            Phase::Done => self.watch_verdict(device, &reading),
            Phase::Asking => {}
        }
    }

    /// Volts at the leads while the unit counts as dead undo that.
    fn watch_for_volts(&mut self, reading: &Reading) {
        let volts = match reading.state {
            State::Value(shown)
                if reading.unit.kind() == Kind::Voltage && reading.coupling == Some(Coupling::Ac) =>
            {
                reading.unit.convert(shown.to_f64(), quantity::Unit::VOLT).unwrap_or(0.0)
            }
            _ => 0.0,
        };
        let proving = self.proving_with_volts();
        let Some(check) = &mut self.check else { return };
        check.volts_run =
            if volts.abs() >= LIVE_V_MIN && !proving { check.volts_run.saturating_add(1) } else { 0 };
        let listed = check.hold_points().iter().any(|name| name == "proved dead");
        if check.volts_run >= VOLTS_SEEN_READINGS
            && listed
            && self.gate.withdraw("proved dead", check.place())
        {
            self.fell("proved dead", LapseReason::VoltsSeen);
        }
    }

    fn measure(&mut self, device: &str, reading: &Reading) {
        self.break_off_changed_function(device, reading);
        if self.still_on_the_last_point(device, reading) {
            return;
        }
        let Some(index) = self.point_for(device, reading) else { return };
        let thresholds = self.thresholds(index, reading);
        let risk = self.settings.risk;
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let Some(point) = rule.header().points.get(index) else { return };
        let Some(state) = check.points.get_mut(index) else { return };
        if !matches!(state, PointState::Settling(settling) if settling.continues(reading) && settling.device == device)
        {
            let Some(fresh) = SettlingPoint::start(device, reading, point, risk) else { return };
            *state = PointState::Settling(fresh);
        }
        let PointState::Settling(settling) = state else { return };
        match settling.push(reading, point.unit, Some(&thresholds)) {
            Fed::Quiet => self.ask_whether_open(index, reading),
            Fed::Lifted => self.say(Output::Reset { why: ResetReason::Lifted }),
            Fed::Frozen => self.say(Output::Reset { why: ResetReason::Frozen }),
            Fed::Settled(settled) => {
                let done = settling.finish(
                    point,
                    settled.value,
                    settled.standard_uncertainty,
                    settled.n,
                    reading.at,
                );
                if let Some(done) = done {
                    self.point_settled(index, done);
                }
            }
        }
    }

    /// A point that was settling on this device and gets another function: thrown away, visibly.
    fn break_off_changed_function(&mut self, device: &str, reading: &Reading) {
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let mut changed = false;
        for (state, point) in check.points.iter_mut().zip(&rule.header().points) {
            let PointState::Settling(settling) = state else { continue };
            if settling.device == device && !wants(point, reading) {
                changed |= settling.contact_since.is_some();
                *state = PointState::Waiting;
            }
        }
        if changed {
            self.say(Output::Reset { why: ResetReason::FunctionChanged });
        }
    }

    /// After a point has settled, the next one of the same kind waits until the leads come off.
    fn still_on_the_last_point(&mut self, device: &str, reading: &Reading) -> bool {
        let Some(check) = &mut self.check else { return false };
        if check.await_lift.as_deref() != Some(device) {
            return false;
        }
        let Some(rule) = check.rule.clone() else { return false };
        let last = check
            .points
            .iter_mut()
            .zip(&rule.header().points)
            .filter_map(|(state, point)| match state {
                PointState::Settled(settled) if settled.reading.device == device => Some((settled, point)),
                _ => None,
            })
            .max_by_key(|(settled, _)| settled.reading.at);
        let on = last.is_some_and(|(settled, point)| {
            wants(point, reading)
                && settled.watch.as_mut().is_some_and(|watch| still_touching(watch, reading, point.unit))
        });
        if !on {
            check.await_lift = None;
        }
        on
    }

    /// The point this reading belongs to: a bound one, else the one already settling, else the first that waits for it.
    fn point_for(&self, device: &str, reading: &Reading) -> Option<usize> {
        let check = self.check.as_ref()?;
        let points = &check.header()?.points;
        let bound = |name: &str| check.plan.bindings.iter().find(|binding| binding.point == name);
        let open = || {
            points.iter().enumerate().filter(|(index, point)| {
                let settled = check.points.get(*index).is_none_or(|state| state.settled().is_some());
                !settled && wants(point, reading)
            })
        };
        if let Some((index, _)) = open().find(|(_, point)| {
            bound(&point.name).is_some_and(|b| b.device == device && b.channel == reading.channel)
        }) {
            return Some(index);
        }
        let mut free = open().filter(|(_, point)| bound(&point.name).is_none());
        let settling = |index: &usize| matches!(check.points.get(*index), Some(PointState::Settling(s)) if s.device == device);
        let indices: alloc::vec::Vec<usize> = free.by_ref().map(|(index, _)| index).collect();
        indices.iter().find(|index| settling(index)).or_else(|| indices.first()).copied()
    }

    pub(super) fn point_settled(&mut self, index: usize, done: SettledPoint) {
        self.say(Output::Settled(done.reading.clone()));
        let Some(check) = &mut self.check else { return };
        let kind = done.reading.unit.kind();
        let device = done.reading.device.clone();
        if let Some(state) = check.points.get_mut(index) {
            *state = PointState::Settled(done);
        }
        let more_of_this_kind = check.header().is_some_and(|header| {
            header
                .points
                .iter()
                .zip(&check.points)
                .any(|(point, state)| state.settled().is_none() && point.unit.kind() == kind)
        });
        if more_of_this_kind {
            check.await_lift = Some(device);
        }
        self.try_conclude();
    }

    /// Leads that read open for long while a capacitance is awaited: open leads, or an open part? The mechanic knows.
    fn ask_whether_open(&mut self, index: usize, reading: &Reading) {
        let Some(check) = &mut self.check else { return };
        let Some(PointState::Settling(settling)) = check.points.get(index) else { return };
        let open_long = settling.open_since.is_some_and(|since| reading.at.since(since) >= OPEN_FOR);
        let is_number = matches!(reading.state, State::Value(_)) && settling.open_looks_like_a_number();
        if !(open_long && is_number) || settling.last_shown.is_none() {
            return;
        }
        let text = format!(
            "The meter reads {reading}, as on open leads. Are both leads on the part? \
             Yes: it is judged as an open part. No: clip on."
        );
        self.ask(Question { about: About::OpenPart(index), text });
    }

    pub(super) fn ask(&mut self, question: Question) {
        let Some(check) = &mut self.check else { return };
        check.phase = Phase::Asking;
        let text = question.text.clone();
        check.question = Some(question);
        self.say(Output::Asked { question: text });
    }

    /// The last of the settled points goes on watching: when the leads come off, the verdict is no longer live.
    fn watch_verdict(&mut self, device: &str, reading: &Reading) {
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let newest = check
            .points
            .iter_mut()
            .zip(&rule.header().points)
            .filter_map(|(state, point)| match state {
                PointState::Settled(settled) => Some((settled, point)),
                _ => None,
            })
            .max_by_key(|(settled, _)| settled.reading.at);
        let Some((settled, point)) = newest else { return };
        if settled.reading.device != device {
            return;
        }
        let Some(watch) = settled.watch.as_mut() else { return };
        if !wants(point, reading) || !still_touching(watch, reading, point.unit) {
            check.verdict_live = false;
        }
    }

    pub(super) fn link_lost(&mut self, device: &str) {
        let Some(check) = &mut self.check else { return };
        if let Some((_, proof)) = &mut check.proof {
            proof.reset();
        }
        let mut lost = false;
        let mut verdict_lost = false;
        for state in &mut check.points {
            match state {
                PointState::Settling(settling) if settling.device == device => {
                    lost |= settling.contact_since.is_some();
                    *state = PointState::Waiting;
                }
                PointState::Settled(settled) => verdict_lost |= settled.reading.device == device,
                PointState::Settling(_) | PointState::Waiting => {}
            }
        }
        if verdict_lost {
            check.verdict_live = false;
        }
        if lost && check.phase != Phase::Done {
            self.say(Output::Reset { why: ResetReason::LinkLost });
        }
    }

    /// Points that will not settle, and links that have gone silent, at `self.now`.
    pub(super) fn points_due(&mut self) {
        let now = self.now;
        let Some(check) = &mut self.check else { return };
        let labels: alloc::vec::Vec<String> = check
            .header()
            .map_or_else(alloc::vec::Vec::new, |h| h.points.iter().map(|p| p.label.clone()).collect());
        let mut silent = None;
        let mut given_up = None;
        let mut verdict_silent = false;
        for (state, label) in check.points.iter_mut().zip(labels) {
            match state {
                PointState::Settling(settling) if settling.silent_at().is_some_and(|at| at <= now) => {
                    let pending = settling.contact_since.is_some();
                    let _ = settling.check_silence(now);
                    silent = Some(pending);
                    *state = PointState::Waiting;
                }
                PointState::Settling(settling) if settling.gives_up_at().is_some_and(|at| at <= now) => {
                    given_up =
                        Some(Reason::Unsettled { point: label, why: settling.why_not_settled().to_string() });
                    *state = PointState::Waiting;
                }
                PointState::Settled(settled) => {
                    if let Some(watch) =
                        settled.watch.as_mut().filter(|w| w.silent_at().is_some_and(|at| at <= now))
                    {
                        let _ = watch.check_silence(now);
                        settled.watch = None;
                        verdict_silent = true;
                    }
                }
                PointState::Settling(_) | PointState::Waiting => {}
            }
        }
        if verdict_silent {
            check.verdict_live = false;
        }
        if silent == Some(true) {
            self.say(Output::Reset { why: ResetReason::LinkLost });
        }
        if let Some(reason) = given_up {
            self.end_without(reason);
        }
    }

    pub(super) fn typed(&mut self, name: &str, value: Typed, accuracy: Option<Accuracy>) {
        match self.typed_point(name, value, accuracy) {
            Ok((index, done)) => {
                let Some(check) = &mut self.check else { return };
                check.premature |= check.phase == Phase::HoldPoints;
                self.point_settled(index, done);
            }
            Err(why) => self.refuse(why),
        }
    }

    fn typed_point(&self, name: &str, value: Typed, accuracy: Option<Accuracy>) -> Result<(usize, SettledPoint), String> {
        let check = self.check.as_ref().ok_or("no check is armed")?;
        if check.phase == Phase::Done {
            return Err("this check has its verdict; take it again to enter a new value".to_string());
        }
        let header = check.header().ok_or_else(|| format!("no rule {:?}", check.plan.rule))?;
        let found = header.points.iter().enumerate().find(|(_, point)| point.name == name);
        let (index, point) = found.ok_or_else(|| {
            let known: alloc::vec::Vec<&str> = header.points.iter().map(|p| p.name.as_str()).collect();
            format!("this check has no reading {name:?}; it wants {}", known.join(", "))
        })?;
        let unit = value.unit.unwrap_or(point.unit);
        if let (Some(wanted), Some(given)) = (point.coupling, value.coupling)
            && wanted != given
        {
            return Err(format!("{name} is wanted as {} {wanted}, not {given}", point.unit));
        }
        let (number, resolution) = (value.number.to_f64(), value.number.resolution());
        let u = accuracy.map_or_else(
            || Ok(Accuracy::of_resolution(resolution)),
            |accuracy| accuracy.standard_uncertainty(number, resolution, unit),
        );
        let u = u.map_err(|e| format!("{name}: the accuracy does not fit: {e}"))?;
        let shown = Quantity::new(value.number.to_f64(), u, unit).map_err(|e| format!("{name}: {e}"))?;
        let in_rule = shown.to_unit(point.unit).map_err(|e| format!("{name}: {e}"))?;
        let reading = PointReading {
            point: point.name.clone(),
            label: point.label.clone(),
            device: "typed".to_string(),
            quantity: shown,
            shown: value.number,
            unit,
            coupling: value.coupling.or(point.coupling),
            count: 1,
            at: self.now,
        };
        let input = Input { value: in_rule.value(), standard_uncertainty: in_rule.standard_uncertainty() };
        Ok((index, SettledPoint { input, reading, typed: Some(value.number), watch: None }))
    }
}

/// Feeds the watch of a settled point; false when the leads have come off or the value has walked away.
fn still_touching(watch: &mut SettlingPoint, reading: &Reading, rule_unit: quantity::Unit) -> bool {
    if !watch.continues(reading) {
        return false;
    }
    let _ = watch.push(reading, rule_unit, None);
    match watch.state {
        Settling::Settled(_) | Settling::BounceRejected => true,
        Settling::Empty | Settling::LiftedOff | Settling::Held | Settling::Frozen { .. } => false,
        // A capacitance or resistance ends its contact by reading open; what merely moves is still the same part.
        Settling::Moving(_) => matches!(rule_unit.kind(), Kind::Capacitance | Kind::Resistance),
    }
}
