//! The proof of the leads by themselves: clipped together they read next to nothing, apart they read open.

use alloc::format;
use alloc::string::{String, ToString};

use quantity::{Instant, Reading, State, Unit};

use super::rest::{Rest, reach};
use super::{LEAD_OHM_MAX, LEADS_WITHIN, Progress};

/// Overload readings in a row that show an open lead.
const OPEN_READINGS: u32 = 3;

/// The proof of one meter's leads.
#[derive(Clone, Debug)]
pub(super) struct Leads {
    /// It is enough that they read open.
    only_open: bool,
    /// They read short: these words, since then. They are to come apart.
    shorted: Option<(String, Instant)>,
    rest: Rest,
    open_run: u32,
    open_since: Option<Instant>,
}

impl Leads {
    /// Together, then apart.
    pub(super) fn shorted_then_open() -> Self {
        Self { only_open: false, shorted: None, rest: Rest::default(), open_run: 0, open_since: None }
    }

    /// Apart.
    pub(super) fn open() -> Self {
        Self { only_open: true, ..Self::shorted_then_open() }
    }

    pub(super) fn reset(&mut self) {
        self.shorted = None;
        self.break_off();
    }

    /// What settles or stands open begins anew.
    pub(super) fn break_off(&mut self) {
        self.rest.begin_anew();
        (self.open_run, self.open_since) = (0, None);
    }

    pub(super) fn is_under_way(&self) -> bool {
        self.shorted.is_some()
    }

    pub(super) fn push(&mut self, reading: &Reading) -> Progress {
        if self.only_open { self.apart(reading) } else { self.together_then_apart(reading) }
    }

    fn apart(&mut self, reading: &Reading) -> Progress {
        if matches!(reading.state, State::Overload(_)) {
            self.open_run = self.open_run.saturating_add(1);
            let since = *self.open_since.get_or_insert(reading.at);
            // Frames of one conversion are one reading.
            let lasted = reading.at.since(since).seconds() >= reading.timing.conversion_s.unwrap_or(0.0);
            if self.open_run >= OPEN_READINGS && lasted {
                return Progress::Shown("leads apart: open".to_string());
            }
        } else {
            (self.open_run, self.open_since) = (0, None);
        }
        Progress::Waiting("hold the leads apart: the meter must show an open line".to_string())
    }

    fn together_then_apart(&mut self, reading: &Reading) -> Progress {
        if self.shorted.as_ref().is_some_and(|(_, since)| reading.at.since(*since) > LEADS_WITHIN) {
            self.reset();
        }
        if let Some((short, _)) = &self.shorted {
            let short = short.clone();
            return match self.apart(reading) {
                Progress::Shown(open) => Progress::Shown(format!("{short}; {open}")),
                _ => Progress::Waiting(format!("{short}; now take the leads apart")),
            };
        }
        match self.rest.settled(reading, Unit::OHM, &[-LEAD_OHM_MAX, LEAD_OHM_MAX]) {
            Some(settled) if reach(&settled).1 < LEAD_OHM_MAX => {
                let short = format!("leads together: {reading}");
                (self.open_run, self.open_since) = (0, None);
                self.shorted = Some((short.clone(), reading.at));
                Progress::Waiting(format!("{short}; now take the leads apart"))
            }
            Some(_) => Progress::Waiting(format!(
                "leads together read {reading}, not below {LEAD_OHM_MAX} ohm: a lead, plug or clip is bad"
            )),
            None => Progress::Waiting("clip the leads together and hold".to_string()),
        }
    }
}
