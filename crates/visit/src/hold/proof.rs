//! Hold points shown by the stream itself: a small state machine per kind, fed with readings, that says what it waits
//! for and, at the end, with which readings the hold point was shown. Does not know checks, scopes or lapses.

mod course;
mod dead;
mod discharged;
mod leads;
mod pairs;
mod rest;

use alloc::string::{String, ToString};

use quantity::{Coupling, Duration, Instant, Kind, Reading, State, Unit};

use super::ByStream;
use dead::Dead;
use discharged::Discharged;
use leads::Leads;

pub(crate) use course::{Course, Subject};
pub(crate) use pairs::{PairRead, Pairs};

/// Shorted leads must read below this. Common practice, no source.
pub const LEAD_OHM_MAX: f64 = 0.5;
/// "Dead" and "discharged": volts must be below this. Common practice; 50 V after a minute is the design figure of a
/// bleeder (NEC 460.6, from memory), not safe for a meter on capacitance.
pub const RESIDUAL_V_MAX: f64 = 5.0;
/// A dead pair must also read less than this part of the live source: a tester that reads low reads both low. Our own choice.
pub const DEAD_PART_MAX: f64 = 0.03;
/// Leads in the air show less than this on a volts range, or up to [`NEXT_TO_NOTHING_COUNTS`]. From memory, no source.
pub const NEXT_TO_NOTHING_V: f64 = 0.5;
/// See [`NEXT_TO_NOTHING_V`].
pub const NEXT_TO_NOTHING_COUNTS: f64 = 3.0;
/// Volts ac from here on are those of a live conductor. Our own choice: 24 V control power counts.
pub const LIVE_V_MIN: f64 = 20.0;
/// The known live source of a live-dead-live test must read at least this. Our own choice: nobody knows the input impedance
/// of the meter, and on a high one a conductor that only runs beside a live one reads 40 to 80 V (a ghost; from memory).
pub const LIVE_SOURCE_V_MIN: f64 = 90.0;
/// The live source must read the same at the end as at the beginning, within this part. Our own choice: a line sags by less.
pub const SAME_SOURCE_PART: f64 = 0.2;
/// Volts on a pair for so many readings in a row, over [`LIVE_FOR`] at least, say that it is live. They are told at the first
/// one. Our own choice: one spike of a floating lead ends no lockout.
pub const LIVE_READINGS: u32 = 5;
/// See [`LIVE_READINGS`].
pub const LIVE_FOR: Duration = Duration::from_secs(1);
/// Leads may stay on the live source for so long after the next pair was named. Our own choice.
pub const OFF_SOURCE_WITHIN: Duration = Duration::from_secs(10);
/// A dead or discharged reading must stand for this long: leads lifted in passing do not count. Our own choice.
pub const DEAD_FOR: Duration = Duration::from_secs(2);
/// All of live-dead-live must happen within this time, and all pairs of a discharge. Our own choice.
pub const ALL_PAIRS_WITHIN: Duration = Duration::from_secs(600);
/// Leads must come apart within this time after they read short. Our own choice.
pub const LEADS_WITHIN: Duration = Duration::from_secs(120);
/// A meter that is silent for longer than this begins anew: nobody knows what happened between. Our own choice.
pub const SILENT_FOR: Duration = Duration::from_secs(8);

/// What a proof says after a reading.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Progress {
    /// The reading has nothing to do with this proof.
    Ignored,
    /// It goes on; the sentence says what is awaited or wrong.
    Waiting(String),
    /// Volts where none should be, so far: in words. True at the first such reading.
    Volts(String, bool),
    /// It goes on, and this reading has completed a step.
    Step(String),
    /// Shown, with these readings.
    Shown(String),
    /// Shown if a person answers with yes: a meter cannot tell a dead pair from leads in the air.
    Asks(Asks),
    /// Volts on what should be dead: the proof is at its end, and so is all that rests on isolation.
    Live(String),
}

/// What a proof has read, before a person says where the leads were.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Asks {
    /// The readings.
    pub(crate) says: String,
    /// After this the readings are too old for a yes.
    pub(crate) until: Instant,
}

/// A running proof. It takes the readings of one channel of one device; the caller sees to that.
#[derive(Clone, Debug)]
pub(crate) struct Proof {
    kind: Of,
    last_at: Option<Instant>,
}

#[derive(Clone, Debug)]
enum Of {
    Leads(Leads),
    Dead(Dead),
    Discharged(Discharged),
}

impl Proof {
    /// Starts a proof; `None` when the stream cannot show this hold point.
    pub(crate) fn new(kind: ByStream) -> Option<Self> {
        let kind = match kind {
            ByStream::No => return None,
            ByStream::LeadsShortedThenOpen => Of::Leads(Leads::shorted_then_open()),
            ByStream::LeadsOpen => Of::Leads(Leads::open()),
            ByStream::LiveDeadLive => Of::Dead(Dead::default()),
            ByStream::Discharged => Of::Discharged(Discharged::default()),
        };
        Some(Self { kind, last_at: None })
    }

    /// Forgets everything: the link was lost, or the power came back. What a person has named until now counts no more where
    /// the proof was under way.
    pub(crate) fn reset(&mut self) {
        self.last_at = None;
        match &mut self.kind {
            Of::Leads(leads) => leads.reset(),
            Of::Dead(dead) => dead.reset(),
            Of::Discharged(discharged) => discharged.reset(),
        }
    }

    /// True when a part of the proof has been seen already.
    pub(crate) fn is_under_way(&self) -> bool {
        match &self.kind {
            Of::Leads(leads) => leads.is_under_way(),
            Of::Dead(dead) => dead.is_under_way(),
            Of::Discharged(discharged) => discharged.is_under_way(),
        }
    }

    /// Whether the last reading was that of the named live source.
    pub(crate) fn is_on_source(&self) -> bool {
        matches!(&self.kind, Of::Dead(dead) if dead.is_on_source())
    }

    /// Whether the live source was read that has to be read before any pair.
    pub(crate) fn may_read_pairs(&self) -> bool {
        match &self.kind {
            Of::Leads(_) => false,
            Of::Dead(dead) => dead.is_under_way(),
            Of::Discharged(_) => true,
        }
    }

    /// The pairs that it has read.
    pub(crate) fn read(&self) -> &[PairRead] {
        match &self.kind {
            Of::Leads(_) => &[],
            Of::Dead(dead) => dead.read(),
            Of::Discharged(discharged) => discharged.read(),
        }
    }

    /// Whether it still waits for the reading of the pair that was named last.
    pub(crate) fn awaits_reading(&self, course: &Course) -> bool {
        match &self.kind {
            Of::Leads(_) => false,
            Of::Dead(dead) => dead.pending(course).is_some(),
            Of::Discharged(discharged) => discharged.pending(course).is_some(),
        }
    }

    /// Takes a reading; one that is not later than the last is ignored.
    pub(crate) fn push(&mut self, reading: &Reading, course: &Course) -> Progress {
        if self.last_at.is_some_and(|last| reading.at <= last) {
            return Progress::Ignored;
        }
        if self.last_at.is_some_and(|last| reading.at.since(last) > SILENT_FOR) {
            self.reset();
        }
        self.last_at = Some(reading.at);
        if let Some(turned) = self.turned(reading, course) {
            return turned;
        }
        if !reading.flags.is_live() {
            match &mut self.kind {
                Of::Leads(leads) => leads.break_off(),
                Of::Dead(dead) => dead.break_off(),
                Of::Discharged(discharged) => discharged.break_off(),
            }
            return Progress::Waiting(
                "the display is held, or shows a relative or stored value; release it".to_string(),
            );
        }
        match &mut self.kind {
            Of::Leads(leads) => leads.push(reading),
            Of::Dead(dead) => dead.push(reading, course),
            Of::Discharged(discharged) => discharged.push(reading, course),
        }
    }

    /// What follows where the meter shows another function than the proof needs. The tester that was proved is the tester in
    /// this function: turned away, it must be proved again.
    fn turned(&mut self, reading: &Reading, course: &Course) -> Option<Progress> {
        let display = reading.display;
        let (kind, coupling) = match &self.kind {
            Of::Leads(_) => (Kind::Resistance, None),
            Of::Dead(dead) => (Kind::Voltage, Some(dead.coupling(course))),
            Of::Discharged(_) => (Kind::Voltage, Some(Coupling::Dc)),
        };
        if display.unit.kind() == kind && coupling.is_none_or(|wanted| display.coupling == Some(wanted)) {
            return None;
        }
        if let Of::Dead(dead) = &mut self.kind
            && let Some(says) = dead.turns_for_the_bus(reading, course)
        {
            return Some(Progress::Waiting(says));
        }
        let under_way = self.is_under_way();
        self.reset();
        Some(if under_way {
            Progress::Waiting("the meter was turned to another function: begin anew".to_string())
        } else {
            Progress::Ignored
        })
    }
}

/// Volts without their sign: beyond the range there are more than any limit, on a blank display none.
fn volts_of(reading: &Reading) -> f64 {
    match reading.state {
        State::Value(shown) => {
            reading.display.unit.convert(shown.to_f64(), Unit::VOLT).map_or(f64::INFINITY, f64::abs)
        }
        State::Overload(_) => f64::INFINITY,
        State::NoValue => 0.0,
    }
}

#[cfg(test)]
mod tests;
