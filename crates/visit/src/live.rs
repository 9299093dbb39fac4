//! The newest reading of any device, to look at. Takes no part in measuring.

use alloc::string::{String, ToString};

use quantity::{Duration, Instant, Reading, State};

use crate::view::{LiveState, LiveView};

/// A reading that the check wants stays in view this long beside others. Our own choice.
const KEPT_FOR: Duration = Duration::from_secs(2);
/// A reading older than this is drawn as stale. Three periods of a slow meter.
const STALE_AFTER: Duration = Duration::from_millis(2_000);

/// The newest reading.
#[derive(Clone, Debug, Default)]
pub(crate) struct Live(Option<Newest>);

#[derive(Clone, Debug)]
struct Newest {
    device: String,
    reading: Reading,
    lost: bool,
    /// The armed check wants this reading, so others beside it do not take its place.
    wanted: bool,
}

/// What the armed check makes of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Interest {
    /// It takes no readings now.
    None,
    /// It takes readings, and not this one.
    Other,
    /// It wants this one.
    Wanted,
}

impl Live {
    /// Takes a reading. What the check does not want never covers what it does.
    pub(crate) fn take(&mut self, device: &str, reading: Reading, interest: Interest, now: Instant) {
        let wanted = interest == Interest::Wanted;
        let kept = self.0.as_ref().is_some_and(|newest| {
            interest != Interest::None
                && newest.wanted
                && !newest.lost
                && now.since(newest.reading.at) <= KEPT_FOR
        });
        if wanted || !kept {
            let device = match self.0.take() {
                Some(newest) if newest.device == device => newest.device,
                _ => device.to_string(),
            };
            self.0 = Some(Newest { device, reading, lost: false, wanted });
        }
    }

    /// The link of this device is lost; of every device without a name.
    pub(crate) fn lose(&mut self, device: Option<&str>) {
        if let Some(newest) = &mut self.0
            && device.is_none_or(|device| newest.device == device)
        {
            newest.lost = true;
        }
    }

    /// The device whose reading is in view.
    pub(crate) fn device(&self) -> Option<&str> {
        self.0.as_ref().map(|newest| newest.device.as_str())
    }

    /// The picture of it; `settling` says what the settling on its device waits for.
    pub(crate) fn view(&self, settling: String, now: Instant) -> Option<LiveView> {
        let Newest { device, reading, lost, .. } = self.0.as_ref()?;
        let age = now.since(reading.at);
        let state = if *lost || age > STALE_AFTER {
            LiveState::Stale
        } else if !reading.flags.is_live() {
            LiveState::Held
        } else {
            match reading.state {
                State::Value(_) => LiveState::Live,
                State::Overload(_) => LiveState::Overload,
                State::NoValue => LiveState::NoValue,
            }
        };
        Some(LiveView {
            device: device.clone(),
            shown: reading.to_string(),
            state,
            flags: reading.flags,
            settling,
            age_ms: age.micros() / 1_000,
        })
    }
}

#[cfg(test)]
mod tests;
