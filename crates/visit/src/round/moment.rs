//! Readings of one moment: a pressure and the temperature beside it mean something only together. Says which settled
//! points lie too far apart in time and has the older ones taken again. Does not settle, nor judge.
//!
//! A settled value stands from the time it settled until the last time its leads still showed it. Two values are of one moment
//! when those spans meet, or miss each other by no more than the rule allows.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::Instant;

use super::Round;
use super::check::{Check, Phase};
use super::event::{Output, ResetReason};
use super::point::PointState;
use judge::rule::Moment;

impl Round {
    /// Sends the older of readings that lie too far apart back to be taken again; true if there were such.
    pub(super) fn take_apart_again(&mut self) -> bool {
        let Some(check) = &mut self.check else { return false };
        let moments = check.moments().to_vec();
        let apart: Vec<usize> = moments.iter().flat_map(|moment| check.too_early(moment)).collect();
        for index in &apart {
            if let Some(state) = check.points.get_mut(*index) {
                *state = PointState::Waiting;
            }
        }
        if !apart.is_empty() {
            self.say(Output::Reset { why: ResetReason::Apart });
        }
        !apart.is_empty()
    }
}

impl Check {
    fn moments(&self) -> &[Moment] {
        self.header().map_or(&[], |header| header.moments.as_slice())
    }

    /// From when until when each measured point of a moment was seen to stand.
    fn spans<'a>(&'a self, moment: &'a Moment) -> impl Iterator<Item = (usize, Instant, Instant)> + 'a {
        moment.points.iter().filter_map(|index| {
            let settled = self.points.get(*index)?.settled().filter(|settled| settled.typed.is_none())?;
            Some((*index, settled.reading.at, settled.until))
        })
    }

    /// Measured points of this moment that were over too long before its newest one began. Nobody knows when a typed value was
    /// read; [`Check::typed_apart`] says so.
    fn too_early(&self, moment: &Moment) -> Vec<usize> {
        let Some(newest) = self.spans(moment).map(|(_, from, _)| from).max() else { return Vec::new() };
        let early = self.spans(moment).filter(|(_, _, until)| newest.since(*until) > moment.within);
        early.map(|(index, ..)| index).collect()
    }

    /// Whether some settled point of the same moment is too old beside a reading at `at`: it will be taken again, so nothing
    /// may be concluded from its value.
    pub(super) fn is_apart_from_others(&self, index: usize, at: Instant) -> bool {
        let shared = self.moments().iter().filter(|moment| moment.points.contains(&index));
        shared
            .into_iter()
            .any(|moment| self.spans(moment).any(|(_, _, until)| at.since(until) > moment.within))
    }

    /// Whether a point whose leads show something else before all are settled begins anew: it belongs to a moment, and a
    /// probe of its own is bound to it. With one meter for several points, moving the leads on is meant.
    pub(super) fn follows_its_moment(&self, index: usize) -> bool {
        let name = self.header().and_then(|header| Some(&header.points.get(index)?.name));
        let bound = |binding: &&super::Binding| name.is_some_and(|name| *name == binding.point);
        self.phase == Phase::Measuring
            && self.moments().iter().any(|moment| moment.points.contains(&index))
            && self.plan.bindings.iter().any(|binding| bound(&binding))
    }

    /// What a verdict says of values that must be of one moment and were typed in farther apart.
    pub(super) fn typed_apart(&self) -> Option<String> {
        let label = |index: &usize| Some(self.header()?.points.get(*index)?.label.as_str());
        let apart = self.moments().iter().find(|moment| {
            let times = || moment.points.iter().filter_map(|i| self.points.get(*i)?.settled());
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
}
