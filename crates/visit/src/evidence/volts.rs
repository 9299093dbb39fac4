//! Volts at the leads, counted per channel of a device: enough in a row say that a unit is live, or a part charged. Does not
//! know hold points; [`super::Ledger`] undoes them.

use alloc::vec::Vec;

use quantity::{Coupling, DeviceChannel, Duration, Instant, Kind, Reading, State, Unit};

use crate::hold::proof::{LIVE_V_MIN, RESIDUAL_V_MAX};

/// Volts in a row that undo "proved dead" or "discharged". Our own choice: one spike of a floating lead is not enough.
const VOLTS_SEEN_READINGS: u32 = 5;
/// Leads that were on the named live source are still there for this long at most.
const STILL_ON_LIVE_SOURCE: Duration = Duration::from_secs(10);
/// Sources whose volts are counted; the oldest goes first.
const SOURCES_MAX: usize = 32;

/// The counts of all sources.
#[derive(Clone, Debug, Default)]
pub(super) struct Volts {
    runs: Vec<Run>,
}

/// What the readings so far say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Seen {
    /// Volts ac, as on a live conductor.
    pub(super) live: bool,
    /// Volts dc, as on a charged part.
    pub(super) charged: bool,
}

/// Readings in a row of one source that show volts.
#[derive(Clone, Debug)]
struct Run {
    from: DeviceChannel,
    ac: u32,
    dc: u32,
    /// When its leads were last on the named live source, if they were not off it since.
    on_live_source_since: Option<Instant>,
}

impl Volts {
    /// Takes a reading. Where the meter does not say whether ac or dc, its volts count as both.
    pub(super) fn push(&mut self, device: &str, reading: &Reading) -> Seen {
        let volts = match reading.state {
            State::Value(shown)
                if reading.display.unit.kind() == Kind::Voltage && reading.flags.is_live() =>
            {
                reading.display.unit.convert(shown.to_f64(), Unit::VOLT).unwrap_or(0.0).abs()
            }
            State::Overload(_) if reading.display.unit.kind() == Kind::Voltage => f64::INFINITY,
            _ => 0.0,
        };
        let Some(run) = self.run(device, reading.channel) else {
            return Seen { live: false, charged: false };
        };
        let may_be = |coupling| reading.display.coupling.is_none_or(|shown| shown == coupling);
        let live = volts >= LIVE_V_MIN && may_be(Coupling::Ac);
        let charged = volts >= RESIDUAL_V_MAX && may_be(Coupling::Dc);
        let still = run.on_live_source_since.is_some_and(|t| reading.at.since(t) <= STILL_ON_LIVE_SOURCE);
        if !(live && still) {
            run.on_live_source_since = None;
        }
        let count = |seen: bool, run: u32| if seen { run.saturating_add(1) } else { 0 };
        (run.ac, run.dc) = (count(live && !still, run.ac), count(charged, run.dc));
        Seen { live: run.ac >= VOLTS_SEEN_READINGS, charged: run.dc >= VOLTS_SEEN_READINGS }
    }

    /// This reading is that of the named live source, as are those that follow at once.
    pub(super) fn on_live_source(&mut self, device: &str, reading: &Reading) {
        if let Some(run) = self.run(device, reading.channel) {
            run.on_live_source_since = Some(reading.at);
            run.ac = 0;
        }
    }

    /// How many sources are counted.
    #[cfg(test)]
    pub(super) fn sources(&self) -> usize {
        self.runs.len()
    }

    fn run(&mut self, device: &str, channel: u8) -> Option<&mut Run> {
        let known = self.runs.iter().position(|run| run.from.is(device, channel));
        if known.is_none() {
            if self.runs.len() >= SOURCES_MAX {
                self.runs.remove(0);
            }
            let from = DeviceChannel::new(device, channel);
            self.runs.push(Run { from, ac: 0, dc: 0, on_live_source_since: None });
        }
        let at = known.unwrap_or(self.runs.len().saturating_sub(1));
        self.runs.get_mut(at)
    }
}
