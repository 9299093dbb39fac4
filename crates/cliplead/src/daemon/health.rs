//! How a device is: readings, what was dropped and why, what it was asked and did not answer. Counts; decides nothing.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use pipeline::Device;
use record::{DeviceState, DropReason};

/// Reasons that are told.
const TOP: usize = 3;

/// What a link has counted, as its task last said.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct LinkCounts {
    pub(super) link: link::LinkCounters,
    pub(super) asked: Option<wire::poll::PollCounters>,
}

/// Where a device's task leaves its counts.
pub(super) type SharedCounts = Arc<Mutex<LinkCounts>>;

/// A device's counts.
pub(super) struct Health {
    pub(super) name: String,
    /// A person types there.
    pub(super) typed: bool,
    drops: BTreeMap<&'static str, u64>,
    counts: SharedCounts,
}

impl Health {
    pub(super) fn of(name: &str, typed: bool) -> Self {
        Self { name: name.to_owned(), typed, drops: BTreeMap::new(), counts: SharedCounts::default() }
    }

    /// Where its task leaves its counts.
    pub(super) fn counts(&self) -> SharedCounts {
        Arc::clone(&self.counts)
    }

    /// Something was dropped.
    pub(super) fn dropped(&mut self, reason: &'static str) {
        let count = self.drops.entry(reason).or_default();
        *count = count.saturating_add(1);
    }

    fn snapshot(&self) -> LinkCounts {
        *self.counts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Every reason with its count, most first.
    fn reasons(&self) -> Vec<DropReason> {
        let mut reasons: Vec<DropReason> = self
            .drops
            .iter()
            .map(|(reason, count)| DropReason { reason: (*reason).to_owned(), count: *count })
            .collect();
        let counts = self.snapshot();
        let mut add = |reason: &str, count: u64| {
            if count > 0 {
                reasons.push(DropReason { reason: reason.to_owned(), count });
            }
        };
        add("bytes lost: the program was behind", counts.link.dropped_bytes);
        add("requests lost: the device was not open", counts.link.requests_dropped);
        if let Some(asked) = &counts.asked {
            for reason in wire::poll::PollReason::ALL {
                add(reason.words(), asked.of(reason));
            }
        }
        reasons.sort_by_key(|reason| std::cmp::Reverse(reason.count));
        reasons
    }

    /// Writes it into what the page gets.
    pub(super) fn fill<'a>(
        &self,
        state: &mut DeviceState,
        mut devices: impl Iterator<Item = (&'a str, &'a Device)>,
    ) {
        let mut reasons = self.reasons();
        state.readings = devices.find(|(name, _)| *name == self.name).map_or(0, |(_, of)| of.readings());
        state.drops = reasons.iter().fold(0, |sum, reason| sum.saturating_add(reason.count));
        reasons.truncate(TOP);
        state.reasons = reasons;
        let counts = self.snapshot();
        state.gaps = counts.link.gaps;
        state.asked = counts.asked.map(|asked| asked.requests);
        state.unanswered = counts.asked.map(|asked| asked.requests.saturating_sub(asked.answers));
    }

    /// One line for the end of a run.
    pub(super) fn summary<'a>(&self, devices: impl Iterator<Item = (&'a str, &'a Device)>) -> String {
        let mut state = DeviceState::default();
        self.fill(&mut state, devices);
        let what = if self.typed { "typed values" } else { "readings" };
        let mut text = format!("{}: {} {what}, {} dropped", self.name, state.readings, state.drops);
        let reasons: Vec<String> =
            state.reasons.iter().map(|of| format!("{} {}", of.reason, of.count)).collect();
        if !reasons.is_empty() {
            text.push_str(&format!(" ({})", reasons.join("; ")));
        }
        if state.gaps > 0 {
            text.push_str(&format!(", {} gaps", state.gaps));
        }
        if let (Some(asked), Some(unanswered)) = (state.asked, state.unanswered) {
            text.push_str(&format!("; asked {asked} times, {unanswered} unanswered"));
        }
        text
    }
}
