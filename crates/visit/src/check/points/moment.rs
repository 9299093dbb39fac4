//! Readings of one moment: a pressure and the temperature beside it mean something only together. Says which settled
//! points lie too far apart in time, so that the older ones are taken again. Does not settle, nor judge.
//!
//! A settled value stands from the time it settled until the last time its leads still showed it. Two values are of one moment
//! when those spans meet, or miss each other by no more than the rule allows.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::Instant;

use super::state::PointState;
use crate::job::Job;
use judge::rule::Moment;

fn moments(job: &Job) -> &[Moment] {
    job.header().map_or(&[], |header| header.moments.as_slice())
}

/// From when until when each measured point of a moment was seen to stand. Nobody knows when a typed value was read;
/// [`typed_apart`] says so.
fn spans<'a>(
    states: &'a [PointState],
    moment: &'a Moment,
) -> impl Iterator<Item = (usize, Instant, Instant)> + 'a {
    moment.points.iter().filter_map(|index| {
        let settled = states.get(*index)?.settled().filter(|settled| settled.typed.is_none())?;
        Some((*index, settled.reading.at, settled.until))
    })
}

/// Measured points that were over too long before the newest one of their moment began.
pub(in crate::check) fn too_early(job: &Job, states: &[PointState]) -> Vec<usize> {
    let mut early = Vec::new();
    for moment in moments(job) {
        let Some(newest) = spans(states, moment).map(|(_, from, _)| from).max() else { continue };
        let over = spans(states, moment).filter(|(_, _, until)| newest.since(*until) > moment.within);
        early.extend(over.map(|(index, ..)| index));
    }
    early
}

/// Whether some settled point of the same moment is too old beside a reading at `at`: it will be taken again, so nothing
/// may be concluded from its value.
pub(in crate::check) fn is_apart_from_others(
    job: &Job,
    states: &[PointState],
    index: usize,
    at: Instant,
) -> bool {
    let shared = moments(job).iter().filter(|moment| moment.points.contains(&index));
    shared
        .into_iter()
        .any(|moment| spans(states, moment).any(|(_, _, until)| at.since(until) > moment.within))
}

/// Whether a point whose leads show something else before all are settled begins anew: it belongs to a moment, and a
/// probe of its own is bound to it. With one meter for several points, moving the leads on is meant.
pub(super) fn follows_its_moment(job: &Job, index: usize) -> bool {
    let bound = job.points().get(index).is_some_and(|point| job.binding(&point.name).is_some());
    bound && moments(job).iter().any(|moment| moment.points.contains(&index))
}

/// What a verdict says of values that must be of one moment and were typed in farther apart.
pub(in crate::check) fn typed_apart(job: &Job, states: &[PointState]) -> Option<String> {
    let label = |index: &usize| Some(job.points().get(*index)?.label.as_str());
    let apart = moments(job).iter().find(|moment| {
        let times = || moment.points.iter().filter_map(|i| states.get(*i)?.settled());
        let typed = times().any(|settled| settled.typed.is_some());
        let (first, last) = (times().map(|s| s.until).min(), times().map(|s| s.reading.at).max());
        typed && first.zip(last).is_some_and(|(first, last)| last.since(first) > moment.within)
    })?;
    let labels: Vec<&str> = apart.points.iter().filter_map(label).collect();
    Some(format!(
        "{}: typed in at different times; that they are of one moment is the word of whoever typed them",
        labels.join(", ")
    ))
}

#[cfg(test)]
mod tests;
