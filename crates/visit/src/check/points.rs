//! The points of a check: each waits, settles on a device, or has its value. Takes the readings, and says what came of each.
//! Does not judge, ask, or know hold points.

pub(super) mod after;
mod assign;
pub(super) mod follow;
pub(super) mod measure;
pub(super) mod moment;
pub(super) mod settled;
pub(super) mod settling;
mod since;
mod state;
mod watch;
mod why;

use alloc::boxed::Box;
use alloc::vec::Vec;

use quantity::{DeviceChannel, Duration, Instant};

use settled::SettledPoint;
use settling::SettlingPoint;

pub(super) use assign::assigned;
pub(super) use since::Since;
pub(super) use state::PointState;
pub(super) use why::signed;

/// A settled reading is too old to be judged after this time. Our own choice, the shortest-lived part of it being what
/// a hold point of one component lasts.
const READING_LASTS: Duration = Duration::from_secs(30 * 60);

/// Overload without a break on one channel.
#[derive(Clone, Debug)]
struct OpenRun {
    point: usize,
    from: DeviceChannel,
    since: Instant,
}

/// The points of a check, in the order of its rule.
#[derive(Clone, Debug, Default)]
pub(super) struct Points {
    states: Vec<PointState>,
    /// The last reading came from leads that have not come off since the last point.
    await_lift: bool,
    /// Overload that lasts, on a point where an open circuit is a finding.
    open_run: Option<OpenRun>,
    low_battery: bool,
}

/// What time has brought about.
#[derive(Default)]
pub(super) struct Due {
    /// A link went silent under a contact.
    pub(super) silent: bool,
    /// The first point whose reading is too old to be judged.
    pub(super) too_old: Option<usize>,
    /// The first point that would not settle, and why.
    pub(super) given_up: Option<(usize, alloc::string::String)>,
}

impl Points {
    /// So many points that wait.
    pub(super) fn new(count: usize) -> Self {
        let states = (0..count).map(|_| PointState::Waiting).collect();
        Self { states, ..Self::default() }
    }

    /// Forgets all readings.
    pub(super) fn forget(&mut self) {
        *self = Self::new(self.states.len());
    }

    pub(super) fn states(&self) -> &[PointState] {
        &self.states
    }

    pub(super) fn state(&self, index: usize) -> Option<&PointState> {
        self.states.get(index)
    }

    pub(super) fn settled(&self, index: usize) -> Option<&SettledPoint> {
        self.states.get(index)?.settled()
    }

    pub(super) fn settled_mut(&mut self, index: usize) -> Option<&mut SettledPoint> {
        match self.states.get_mut(index)? {
            PointState::Settled(settled) => Some(settled),
            PointState::Waiting | PointState::Settling(_) => None,
        }
    }

    /// Those that have their value, in order.
    pub(super) fn all_settled(&self) -> impl Iterator<Item = &SettledPoint> {
        self.states.iter().filter_map(PointState::settled)
    }

    /// Whether every point has its value.
    pub(super) fn are_complete(&self) -> bool {
        self.states.iter().all(|state| state.settled().is_some())
    }

    /// Whether every point but this one has come to rest.
    pub(super) fn rest_but_for(&self, index: Option<usize>) -> bool {
        let others = self.states.iter().enumerate().filter(|(at, _)| Some(*at) != index);
        others.map(|(_, state)| state.settled()).all(|settled| settled.is_some_and(|s| s.reading.settled))
    }

    /// A point has its value.
    pub(super) fn put(&mut self, index: usize, settled: SettledPoint) {
        if let Some(state) = self.states.get_mut(index) {
            *state = PointState::Settled(Box::new(settled));
        }
    }

    /// A point goes on settling on what the leads show now.
    pub(super) fn resume(&mut self, index: usize, settling: SettlingPoint) {
        if let Some(state) = self.states.get_mut(index) {
            *state = PointState::Settling(Box::new(settling));
        }
    }

    /// A point is to be taken again; gives what it was.
    pub(super) fn take_again(&mut self, index: usize) -> Option<PointState> {
        let _ = self.open_run.take_if(|run| run.point == index);
        let state = self.states.get_mut(index)?;
        Some(core::mem::replace(state, PointState::Waiting))
    }

    /// What was still settling must not speak up after the end.
    pub(super) fn stop_settling(&mut self) {
        self.states.iter_mut().filter(|p| p.settled().is_none()).for_each(|p| *p = PointState::Waiting);
    }

    /// The leads are to come off before the next point.
    pub(super) const fn await_lift(&self) -> bool {
        self.await_lift
    }

    /// A meter has said that its battery is low.
    pub(super) const fn low_battery(&self) -> bool {
        self.low_battery
    }

    /// The device whose leads have read overload without a break on this point; it is asked for once.
    pub(super) fn take_open_run(&mut self, index: usize) -> Option<DeviceChannel> {
        self.open_run.take().filter(|run| run.point == index).map(|run| run.from)
    }

    /// True when some reading is under way or taken.
    pub(super) fn are_under_way(&self) -> bool {
        self.states.iter().any(|state| state.is_in_contact() || state.settled().is_some())
    }

    /// Whether the leads of this point still read open.
    pub(super) fn reads_open(&self, index: usize) -> bool {
        match self.states.get(index) {
            Some(PointState::Settling(settling)) => settling.open_since.is_some(),
            Some(PointState::Settled(settled)) => settled.watch().is_some(),
            Some(PointState::Waiting) => self.open_run.as_ref().is_some_and(|run| run.point == index),
            None => false,
        }
    }

    /// The earliest time at which a point gives up or its link counts as silent; while values are `awaiting` their judgement,
    /// also when one is too old for it.
    pub(super) fn next_deadline(&self, awaiting: bool) -> Option<Instant> {
        let of = |state: &PointState| {
            let (first, second) = match state {
                PointState::Settling(settling) => (settling.gives_up_at(), settling.silent_at()),
                PointState::Settled(settled) => {
                    (settled.watch().and_then(SettlingPoint::silent_at), too_old_at(settled, awaiting))
                }
                PointState::Waiting => (None, None),
            };
            [first, second].into_iter().flatten().min()
        };
        self.states.iter().filter_map(of).min()
    }

    /// Works off what is due: points that will not settle, readings too old to be judged, links that have gone silent.
    pub(super) fn work_off(&mut self, awaiting: bool, now: Instant) -> Due {
        let too_old = |settled: &SettledPoint| too_old_at(settled, awaiting).is_some_and(|at| at <= now);
        let too_old = self.states.iter().position(|state| state.settled().is_some_and(too_old));
        let mut due = Due { too_old, ..Due::default() };
        let is_due = |at: Option<Instant>| at.is_some_and(|at| at <= now);
        for (index, state) in self.states.iter_mut().enumerate() {
            match state {
                PointState::Settling(settling) if is_due(settling.silent_at()) => {
                    due.silent |= settling.contact_since.is_some();
                    *state = PointState::Waiting;
                }
                PointState::Settling(settling) if is_due(settling.gives_up_at()) => {
                    let why = settling.why_not_settled();
                    due.given_up = due.given_up.or(Some((index, why)));
                    *state = PointState::Waiting;
                }
                PointState::Settled(settled)
                    if is_due(settled.watch().and_then(SettlingPoint::silent_at)) =>
                {
                    settled.ends_watch();
                }
                PointState::Settling(_) | PointState::Settled(_) | PointState::Waiting => {}
            }
        }
        due
    }

    /// The link of a device is lost, or bytes of it. True when something that was settling is lost with it.
    pub(super) fn lose(&mut self, device: &str) -> bool {
        let _ = self.open_run.take_if(|run| run.from.device == device);
        let mut lost = false;
        for state in &mut self.states {
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
        lost
    }
}

/// When the reading of a settled point becomes too old to be judged.
fn too_old_at(settled: &SettledPoint, awaiting: bool) -> Option<Instant> {
    awaiting.then(|| settled.reading.at + READING_LASTS)
}

#[cfg(test)]
mod tests;
