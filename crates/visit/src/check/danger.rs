//! Dangers: readings that fit a point with one are settled here, apart from the gate, from questions, and from what the points of
//! the check have already. Says which danger was found and with which reading; what becomes of the check is not known here.

mod over;
mod watched;

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::{DeviceChannel, Instant, Reading};

use super::points::settled::SettledPoint;
use super::points::settling::wants;
use crate::job::Job;
use crate::verdict::PointReading;
use judge::evaluate::Judged;
use judge::rule::{Beyond, Danger, Header, Point};
use over::{may_be_over, over};
use watched::{Value, Watched};

/// Channels that are settled at the same time; with one more, the one that was silent longest goes. Our own choice.
const SOURCES_MAX: usize = 32;
/// What settles towards the dangers of a check.
#[derive(Clone, Debug, Default)]
pub(super) struct Dangers {
    sources: Vec<Watched>,
    /// Places in the rule's list of those that were told; each is told once, until the check is taken again.
    told: Vec<usize>,
    /// The channel that showed the last one; `None` for a typed value.
    by: Option<DeviceChannel>,
}

/// A danger that was found.
pub(super) struct Found {
    pub(super) reading: PointReading,
    pub(super) judgements: Vec<Judged>,
    /// Hold points of the unit that it ends.
    pub(super) ends: Vec<String>,
    /// What else is to be said.
    pub(super) note: Option<String>,
}

impl Dangers {
    /// The check is taken again: what was told is told again.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    /// Nobody watched: what settles begins anew.
    pub(super) fn lose_all(&mut self) {
        self.sources.clear();
    }

    /// Forgets what settles on this device.
    pub(super) fn lose(&mut self, device: &str) {
        self.sources.retain(|source| source.from.device != device);
    }

    /// Whether the channel that showed the last one still has contact, and with `now` whether readings still come. What was
    /// typed is as live as the day it was typed.
    pub(super) fn is_still_shown(&self, now: Option<Instant>) -> bool {
        let Some(by) = &self.by else { return true };
        self.sources.iter().filter(|source| source.from == *by).any(|source| source.has_contact(now))
    }

    /// Takes a reading of any phase.
    pub(super) fn read(&mut self, job: &Job, device: &str, reading: &Reading, risk: f64) -> Option<Found> {
        let header = job.header().filter(|header| !header.dangers.is_empty())?;
        self.sources.retain(|source| {
            let wanted = header.points.get(source.point).is_some_and(|point| wants(point, reading));
            wanted || !source.from.is(device, reading.channel)
        });
        for (index, point) in header.points.iter().enumerate() {
            let dangers: Vec<&Danger> = of_point(header, index).map(|(_, danger)| danger).collect();
            if dangers.is_empty() || !fits(job, point, device, reading) {
                continue;
            }
            let source = self.source(index, device, reading);
            let Some((value, shown)) = source.take(point, &dangers, reading, risk) else { continue };
            if let Some(found) = self.tell(header, index, value, shown) {
                self.by = Some(DeviceChannel::new(device, reading.channel));
                return Some(found);
            }
        }
        None
    }

    /// Takes a value that a person typed for this point. The value itself counts: a danger does not wait for the guard band.
    pub(super) fn typed(&mut self, job: &Job, index: usize, done: SettledPoint) -> Option<Found> {
        let value = Value::At(done.input.value, done.input.standard_uncertainty);
        let found = self.tell(job.header()?, index, value, done.reading)?;
        self.by = None;
        Some(found)
    }

    /// A person reads overload off for the point of this name.
    pub(super) fn typed_over(&mut self, job: &Job, name: &str, now: Instant) -> Option<Found> {
        let (index, point) = job.point(name)?;
        let (header, at) = (job.header()?, limit_of(job.header()?, index, Beyond::Above)?);
        let shown =
            may_be_over(point, point.display).then(|| over(point, at, point.display, "typed", now))??;
        let found = self.tell(header, index, Value::Beyond(Beyond::Above), shown)?;
        self.by = None;
        Some(found)
    }

    fn source(&mut self, point: usize, device: &str, reading: &Reading) -> &mut Watched {
        let is_it = |source: &Watched| source.point == point && source.from.is(device, reading.channel);
        let at = self.sources.iter().position(is_it).unwrap_or_else(|| {
            if self.sources.len() >= SOURCES_MAX {
                let silent = self.sources.iter().enumerate().min_by_key(|(_, source)| source.last_at);
                let silent = silent.map_or(0, |(at, _)| at);
                self.sources.swap_remove(silent);
            }
            self.sources.push(Watched::new(point, device, reading));
            self.sources.len() - 1
        });
        #[allow(clippy::indexing_slicing)] // found above, or pushed last
        &mut self.sources[at]
    }

    /// What is past and was not told yet.
    fn tell(&mut self, header: &Header, index: usize, value: Value, reading: PointReading) -> Option<Found> {
        let new = |(place, danger): &(usize, &Danger)| value.is_past(danger) && !self.told.contains(place);
        let past: Vec<(usize, &Danger)> = of_point(header, index).filter(new).collect();
        let judged = |(_, danger): &(usize, &Danger)| {
            let (stated, u) = value.stated(danger);
            Some(Judged::danger(danger.judgement(header, stated)?, u))
        };
        let judgements: Vec<Judged> = past.iter().filter_map(judged).collect();
        if judgements.is_empty() {
            return None;
        }
        self.told.extend(past.iter().map(|(place, _)| *place));
        let ends = past.iter().flat_map(|(_, danger)| danger.ends.iter().cloned()).collect();
        let note = matches!(value, Value::Beyond(_)).then(|| {
            format!("{} is beyond the meter's range, so it counts as past the limit", reading.label)
        });
        Some(Found { reading, judgements, ends, note })
    }
}

/// The dangers of a point, with their places in the rule's list.
fn of_point(header: &Header, index: usize) -> impl Iterator<Item = (usize, &Danger)> {
    header.dangers.iter().enumerate().filter(move |(_, danger)| danger.point == index)
}

fn limit_of(header: &Header, index: usize, beyond: Beyond) -> Option<f64> {
    of_point(header, index).map(|(_, danger)| danger).find(|danger| danger.beyond == beyond).map(|d| d.at)
}

/// Whether this reading is of this point, whatever the others have: a bound point takes its own channel alone, and a channel
/// that is bound to one point is for no other of its kind.
fn fits(job: &Job, point: &Point, device: &str, reading: &Reading) -> bool {
    if !wants(point, reading) {
        return false;
    }
    if let Some(binding) = job.binding(&point.name) {
        return binding.from.is(device, reading.channel);
    }
    let elsewhere = |other: &Point| {
        let here = job.binding(&other.name).is_some_and(|bound| bound.from.is(device, reading.channel));
        here && wants(other, reading)
    };
    !job.points().iter().any(elsewhere)
}

#[cfg(test)]
mod tests;
