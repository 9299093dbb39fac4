//! Which point a reading belongs to. Does not take it.

use alloc::vec::Vec;

use quantity::Reading;

use super::settling::wants;
use super::state::PointState;
use crate::job::Job;
use crate::leads::looks_open;

/// The point this reading belongs to: a bound one, else the one already settling, else the first that waits for it.
///
/// Points of one kind without a binding are read with one meter: a second meter that shows the same kind takes none
/// of them while the first is on one or has settled one.
pub(in crate::check) fn assigned(
    job: &Job,
    states: &[PointState],
    device: &str,
    reading: &Reading,
) -> Option<usize> {
    let open = |index: &usize| states.get(*index).is_some_and(|state| state.settled().is_none());
    let wanting = || job.points().iter().enumerate().filter(|(_, point)| wants(point, reading));
    let mine = wanting().find(|(index, point)| {
        let here = job.binding(&point.name).is_some_and(|b| b.from.is(device, reading.channel));
        here && open(index)
    });
    if let Some((index, _)) = mine {
        return Some(index);
    }
    let free: Vec<usize> =
        wanting().filter(|(_, point)| job.binding(&point.name).is_none()).map(|(index, _)| index).collect();
    let taken = |index: &usize| match states.get(*index) {
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
    let settling = |index: &&usize| {
        states.get(**index).and_then(PointState::settling).is_some_and(|s| s.is_from(device, reading))
    };
    free.iter().find(settling).or_else(|| free.iter().find(|index| open(index))).copied()
}

#[cfg(test)]
mod tests;
