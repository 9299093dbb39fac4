//! Watching the leads of points that have their value: whether they still show it, and what else they show. Takes no
//! readings for points.

use alloc::vec::Vec;

use quantity::{Instant, Reading};

use super::Points;
use super::follow::Seen;
use super::moment::follows_its_moment;
use super::settled::SettledPoint;
use super::settling::wants;
use super::state::PointState;
use crate::job::Job;
use judge::settle::Settling;

impl Points {
    /// Takes a reading: what no longer shows its settled value ends its watch. While the check is `measuring`, a point that
    /// must be of one moment with others begins anew instead.
    pub(in crate::check) fn watch(&mut self, job: &Job, device: &str, reading: &Reading, measuring: bool) {
        for (index, (state, point)) in self.states.iter_mut().zip(job.points()).enumerate() {
            let PointState::Settled(settled) = state else { continue };
            let Some(after) = settled.after.as_mut() else { continue };
            let Some(watch) = after.watch().filter(|watch| watch.is_from(device, reading)) else { continue };
            let same = wants(point, reading)
                && watch.continues(reading)
                && matches!(
                    after.push(reading, point.display.unit),
                    Settling::Settled(_) | Settling::BounceRejected
                );
            if same {
                settled.until = reading.at;
            } else if measuring && follows_its_moment(job, index) {
                *state = PointState::Waiting;
            } else {
                settled.ends_watch();
            }
        }
    }

    /// Takes a reading: what the points that have their value show now.
    pub(in crate::check) fn follow(&mut self, job: &Job, device: &str, reading: &Reading) -> Vec<Seen> {
        let mut all_seen = Vec::new();
        for (index, (state, point)) in self.states.iter_mut().zip(job.points()).enumerate() {
            let PointState::Settled(settled) = state else { continue };
            let Some((reading, input, what)) = settled.follow(device, reading, point) else { continue };
            all_seen.push(Seen { index, reading, input, what });
        }
        all_seen
    }

    /// Whether the newest point of each source still shows its value, and with `now` whether readings still come.
    /// Points measured before it with the same leads were left on purpose; typed ones are as live as the day they were
    /// typed.
    pub(in crate::check) fn still_shown(&self, now: Option<Instant>) -> bool {
        let newer = |of: &SettledPoint| {
            self.all_settled().any(|other| {
                other.is_from(&of.reading.device, of.channel) && other.reading.at > of.reading.at
            })
        };
        self.all_settled()
            .filter(|s| s.typed.is_none() && !newer(s))
            .all(|s| s.watch().is_some_and(|watch| now.is_none_or(|now| watch.is_fresh(now))))
    }

    /// Whether the contact of this point goes on, and readings still come.
    pub(in crate::check) fn is_followed(&self, index: usize, now: Instant) -> bool {
        let following = self.settled(index).and_then(|settled| settled.after.as_ref()?.follow());
        following.is_some_and(|following| following.is_fresh(now))
    }
}

#[cfg(test)]
mod tests;
