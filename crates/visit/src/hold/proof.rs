//! Hold points shown by the stream itself: a small state machine per kind, fed with readings, that says what it waits
//! for and, at the end, with which readings the hold point was shown. Does not know checks, scopes or lapses.

use alloc::format;
use alloc::string::{String, ToString};

use quantity::{Coupling, Duration, Instant, Kind, Reading, State, Unit};

use super::ByStream;
use judge::settle::{Sample, SettleSpec, Settled, Settler, Settling};

/// Shorted leads must read below this. Common practice, no source.
pub const LEAD_OHM_MAX: f64 = 0.5;
/// "Dead" and "discharged": volts must be below this. Common practice; 50 V after a minute is the design figure of a
/// bleeder (NEC 460.6, from memory), not safe for a meter on capacitance.
pub const RESIDUAL_V_MAX: f64 = 5.0;
/// Leads in the air show less than this on a volts range, or up to [`NEXT_TO_NOTHING_COUNTS`]. From memory, no source.
pub const NEXT_TO_NOTHING_V: f64 = 0.5;
/// See [`NEXT_TO_NOTHING_V`].
pub const NEXT_TO_NOTHING_COUNTS: f64 = 3.0;
/// The known live source of a live-dead-live test must read at least this. Our own choice: 24 V control power counts.
pub const LIVE_V_MIN: f64 = 20.0;
/// A dead or discharged reading must stand for this long: leads lifted in passing do not count. Our own choice.
pub const DEAD_FOR: Duration = Duration::from_secs(2);
/// All of live-dead-live must happen within this time. Our own choice.
pub const LIVE_DEAD_LIVE_WITHIN: Duration = Duration::from_secs(600);
/// Leads must come apart within this time after they read short. Our own choice.
pub const LEADS_WITHIN: Duration = Duration::from_secs(120);
/// A meter that is silent for longer than this begins anew: nobody knows what happened between. Our own choice.
pub const SILENT_FOR: Duration = Duration::from_secs(8);
/// Overload readings in a row that show an open lead.
const OPEN_READINGS: u32 = 3;

/// What a proof says after a reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Progress {
    /// The reading has nothing to do with this proof.
    Ignored,
    /// It goes on; the sentence says what is awaited or wrong.
    Waiting(String),
    /// Shown, with these readings.
    Shown(String),
    /// Shown with these readings if the leads were on: what was read is also what leads in the air show, so a person
    /// must say where they were.
    ShownIfOn(String),
}

/// A running proof.
#[derive(Clone, Debug)]
pub struct Proof {
    kind: ByStream,
    stage: Stage,
    settler: Option<(Unit, f64, Settler)>,
    /// The same readings, settled until it is clear whether leads in the air would show them too.
    in_air: Option<Settler>,
    open_run: u32,
    open_since: Option<Instant>,
    dead_since: Option<Instant>,
    /// What counted as dead is also what leads in the air show.
    in_the_air: bool,
    last_at: Option<Instant>,
}

/// A running proof takes the readings of one channel of one device; the caller sees to that.
#[derive(Clone, Debug, PartialEq)]
enum Stage {
    /// Before anything was seen.
    Begun,
    /// The leads read short; they are to come apart.
    Shorted { so_far: String, since: Instant },
    /// The live source was read; the dead conductors come next.
    SourceSeen { so_far: String, since: Instant },
    /// The conductors read dead; the live source comes again.
    DeadSeen { so_far: String, since: Instant },
}

impl Proof {
    /// Starts a proof; `None` when the stream cannot show this hold point.
    #[must_use]
    pub fn new(kind: ByStream) -> Option<Self> {
        let fresh = Self {
            kind,
            stage: Stage::Begun,
            settler: None,
            in_air: None,
            open_run: 0,
            open_since: None,
            dead_since: None,
            in_the_air: false,
            last_at: None,
        };
        (kind != ByStream::No).then_some(fresh)
    }

    /// Forgets everything: the link was lost, or the power came back.
    pub fn reset(&mut self) {
        self.stage = Stage::Begun;
        self.settler = None;
        (self.open_run, self.open_since) = (0, None);
        self.dead_since = None;
        self.last_at = None;
    }

    /// True when a part of the proof has been seen already.
    #[must_use]
    pub fn is_under_way(&self) -> bool {
        self.stage != Stage::Begun
    }

    /// Takes a reading; one that is not later than the last is ignored.
    pub fn push(&mut self, reading: &Reading) -> Progress {
        if self.last_at.is_some_and(|last| reading.at <= last) {
            return Progress::Ignored;
        }
        if self.last_at.is_some_and(|last| reading.at.since(last) > SILENT_FOR) {
            self.reset();
        }
        self.last_at = Some(reading.at);
        let (kind, coupling) = match self.kind {
            ByStream::No => return Progress::Ignored,
            ByStream::LeadsShortedThenOpen | ByStream::LeadsOpen => (Kind::Resistance, None),
            ByStream::LiveDeadLive => (Kind::Voltage, Some(Coupling::Ac)),
            ByStream::Discharged => (Kind::Voltage, Some(Coupling::Dc)),
        };
        if reading.display.unit.kind() != kind || (coupling.is_some() && reading.display.coupling != coupling)
        {
            // The tester that was proved is the tester in this function; turned away, it must be proved again.
            let under_way = self.is_under_way();
            self.reset();
            return if under_way {
                Progress::Waiting("the meter was turned to another function: begin anew".to_string())
            } else {
                Progress::Ignored
            };
        }
        if !reading.flags.is_live() {
            self.settler = None;
            (self.open_run, self.open_since) = (0, None);
            self.dead_since = None;
            return Progress::Waiting(
                "the display is held, or shows a relative or stored value; release it".to_string(),
            );
        }
        match self.kind {
            ByStream::LeadsOpen => self.leads_open(reading),
            ByStream::LeadsShortedThenOpen => self.leads_shorted_then_open(reading),
            ByStream::LiveDeadLive => self.live_dead_live(reading),
            ByStream::Discharged => self.discharged(reading),
            ByStream::No => Progress::Ignored,
        }
    }

    fn leads_open(&mut self, reading: &Reading) -> Progress {
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

    fn leads_shorted_then_open(&mut self, reading: &Reading) -> Progress {
        if matches!(self.stage, Stage::Shorted { since, .. } if reading.at.since(since) > LEADS_WITHIN) {
            self.reset();
            self.last_at = Some(reading.at);
        }
        if let Stage::Shorted { so_far: short, .. } = &self.stage {
            let short = short.clone();
            return match self.leads_open(reading) {
                Progress::Shown(open) => Progress::Shown(format!("{short}; {open}")),
                _ => Progress::Waiting(format!("{short}; now take the leads apart")),
            };
        }
        match self.settled(reading, Unit::OHM, &[-LEAD_OHM_MAX, LEAD_OHM_MAX]) {
            Some(settled) if reach(&settled).1 < LEAD_OHM_MAX => {
                let short = format!("leads together: {reading}");
                (self.open_run, self.open_since) = (0, None);
                self.stage = Stage::Shorted { so_far: short.clone(), since: reading.at };
                Progress::Waiting(format!("{short}; now take the leads apart"))
            }
            Some(_) => Progress::Waiting(format!(
                "leads together read {reading}, not below {LEAD_OHM_MAX} ohm: a lead, plug or clip is bad"
            )),
            None => Progress::Waiting("clip the leads together and hold".to_string()),
        }
    }

    fn live_dead_live(&mut self, reading: &Reading) -> Progress {
        if let Stage::SourceSeen { since, .. } | Stage::DeadSeen { since, .. } = &self.stage
            && reading.at.since(*since) > LIVE_DEAD_LIVE_WITHIN
        {
            self.reset();
            self.last_at = Some(reading.at);
        }
        let air = next_to_nothing(reading);
        let thresholds = [-LIVE_V_MIN, -RESIDUAL_V_MAX, RESIDUAL_V_MAX, LIVE_V_MIN];
        let ends = self.settled(reading, Unit::VOLT, &thresholds).map(|settled| reach(&settled));
        let (live, dead) = (
            ends.is_some_and(|(least, _)| least >= LIVE_V_MIN),
            ends.is_some_and(|(_, most)| most < RESIDUAL_V_MAX),
        );
        let dead_stands = self.stands(dead, reading.at);
        match (self.stage.clone(), live) {
            (Stage::Begun | Stage::Shorted { .. }, true) => {
                self.stage =
                    Stage::SourceSeen { so_far: format!("live source {reading}"), since: reading.at };
                Progress::Waiting(format!("live source {reading}; now across the dead conductors"))
            }
            (Stage::Begun | Stage::Shorted { .. }, false) => {
                Progress::Waiting(format!("volts ac on a known live source first (at least {LIVE_V_MIN} V)"))
            }
            (Stage::SourceSeen { so_far, since }, _) if dead_stands => {
                let text = format!("{so_far}, dead {reading}");
                self.in_the_air = self.may_be_in_the_air(air);
                self.stage = Stage::DeadSeen { so_far: text.clone(), since };
                Progress::Waiting(format!("{text}; now the live source again"))
            }
            (Stage::SourceSeen { so_far, .. }, _) => {
                Progress::Waiting(format!("{so_far}; now across the dead conductors"))
            }
            (Stage::DeadSeen { so_far, .. }, true) => {
                let says = format!("{so_far}, live source again {reading}");
                if self.in_the_air { Progress::ShownIfOn(says) } else { Progress::Shown(says) }
            }
            (Stage::DeadSeen { so_far, .. }, false) => {
                Progress::Waiting(format!("{so_far}; now the live source again"))
            }
        }
    }

    fn discharged(&mut self, reading: &Reading) -> Progress {
        let air = next_to_nothing(reading);
        let settled = self.settled(reading, Unit::VOLT, &[-RESIDUAL_V_MAX, RESIDUAL_V_MAX]);
        let Some((_, most)) = settled.map(|settled| reach(&settled)) else {
            self.dead_since = None;
            return Progress::Waiting("hold the leads on the terminals".to_string());
        };
        let low = most < RESIDUAL_V_MAX;
        if self.stands(low, reading.at) {
            let says = format!("terminals read {reading}");
            return if self.may_be_in_the_air(air) {
                Progress::ShownIfOn(says)
            } else {
                Progress::Shown(says)
            };
        }
        Progress::Waiting(if low {
            format!("{reading}; keep the leads on")
        } else {
            format!("{reading} still on the terminals: keep discharging through the resistor")
        })
    }

    /// Whether leads in the air would show this too, or may for all that is known.
    fn may_be_in_the_air(&self, air: f64) -> bool {
        let settled = self.in_air.as_ref().and_then(|settler| settler.state().settled().copied());
        settled.is_none_or(|settled| reach(&settled).0 < air)
    }

    /// Whether the condition has held without a break for [`DEAD_FOR`].
    fn stands(&mut self, now_true: bool, at: Instant) -> bool {
        if !now_true {
            self.dead_since = None;
            return false;
        }
        let since = *self.dead_since.get_or_insert(at);
        at.since(since) >= DEAD_FOR
    }

    /// Pushes into the settler (made anew when the unit or the displayed step changes); the settled value is in `unit`.
    fn settled(&mut self, reading: &Reading, unit: Unit, thresholds: &[f64]) -> Option<Settled> {
        let sample = match (reading.state, reading.resolution()) {
            (State::Value(shown), _) => {
                Sample::value(reading.display.unit.convert(shown.to_f64(), unit).ok()?)
            }
            (State::Overload(_), _) => Sample::overload(),
            (State::NoValue, _) => Sample::no_value(),
        };
        let step = reading.resolution();
        let fits = |of: Unit, at: f64| {
            step.is_none_or(|step| of == reading.display.unit && (step - at).abs() < 1e-9 * at)
        };
        if !self.settler.as_ref().is_some_and(|(of, at, _)| fits(*of, *at)) {
            let resolution = reading.display.unit.convert_span(step?, unit).ok()?;
            let spec = if unit.kind() == Kind::Resistance {
                SettleSpec::resistance(resolution)
            } else {
                SettleSpec::voltage(resolution)
            };
            let settler = Settler::new(spec.timed(reading.timing)).ok()?;
            self.in_air = (unit.kind() == Kind::Voltage).then(|| settler.clone());
            self.settler = Some((reading.display.unit, step?, settler));
        }
        if let Some(in_air) = &mut self.in_air {
            let air = next_to_nothing(reading);
            in_air.set_thresholds(&[-air, air]);
            let _ = in_air.push(reading.at, sample);
        }
        let (_, _, settler) = self.settler.as_mut()?;
        settler.set_thresholds(thresholds);
        match settler.push(reading.at, sample) {
            Settling::Settled(settled) => Some(settled),
            _ => None,
        }
    }
}

/// The least and the most that a settled value may be without its sign. A proof rests on all of the interval, so that it never
/// counts a value that is not at rest.
fn reach(settled: &Settled) -> (f64, f64) {
    let (low, high) = (settled.low.abs(), settled.high.abs());
    let least = if settled.low <= 0.0 && settled.high >= 0.0 { 0.0 } else { low.min(high) };
    (least, low.max(high))
}

/// Volts below which leads that touch nothing would show this too.
fn next_to_nothing(reading: &Reading) -> f64 {
    let step = reading.resolution().and_then(|step| reading.display.unit.convert_span(step, Unit::VOLT).ok());
    NEXT_TO_NOTHING_V.max(NEXT_TO_NOTHING_COUNTS * step.unwrap_or(0.0))
}

#[cfg(test)]
mod tests;
