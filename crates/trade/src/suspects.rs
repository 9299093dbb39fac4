//! What a pattern of superheat, subcooling, suction and head pressure suggests: suspects in order, each with the
//! reading that distinguishes it from the next. Judges no single reading; each has been classified as low or high by
//! its own window before.
//!
//! Source of the table: common practice, no published source; valid only once the airflow is proved.

/// Where a reading lies relative to its window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// Below.
    Low,
    /// Inside.
    Normal,
    /// Above.
    High,
    /// Not read.
    Unknown,
}

/// How the refrigerant is metered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Metering {
    /// A fixed orifice: superheat follows the charge.
    FixedOrifice,
    /// A thermostatic or electronic valve: it holds superheat as long as it can.
    Valve,
}

/// The readings, each against its window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pattern {
    /// How the refrigerant is metered.
    pub metering: Metering,
    /// Superheat.
    pub superheat: Level,
    /// Subcooling.
    pub subcooling: Level,
    /// Suction pressure, or the evaporator's difference turned round.
    pub suction: Level,
    /// Head pressure, or condensing over ambient.
    pub head: Level,
}

/// What may be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Suspect {
    /// Too little refrigerant.
    Undercharge,
    /// Too much.
    Overcharge,
    /// A restriction: drier, valve, kinked line.
    Restriction,
    /// Too little air or load at the evaporator.
    LowAirflow,
    /// The condenser does not get rid of its heat: dirty coil, fan.
    Condenser,
    /// Air or nitrogen in the circuit.
    NonCondensables,
    /// The compressor does not pump.
    WeakCompressor,
    /// The valve is stuck open, or its bulb is off.
    ValveOpen,
}

impl Suspect {
    /// All.
    pub const ALL: [Self; 8] = [
        Self::Undercharge,
        Self::Overcharge,
        Self::Restriction,
        Self::LowAirflow,
        Self::Condenser,
        Self::NonCondensables,
        Self::WeakCompressor,
        Self::ValveOpen,
    ];
    /// Their names in words.
    pub const NAMES: [&'static str; 8] = [
        "undercharge",
        "overcharge",
        "restriction",
        "low airflow",
        "condenser",
        "non-condensables",
        "weak compressor",
        "valve stuck open",
    ];

    /// The effect on each reading, for a fixed orifice and for a valve: superheat, subcooling, suction, head.
    /// `Unknown` if it may be either.
    const fn signs(self, metering: Metering) -> [Level; 4] {
        use Level::{High, Low, Normal, Unknown};
        match (self, metering) {
            (Self::Undercharge, _) => [High, Low, Low, Low],
            (Self::Overcharge, Metering::FixedOrifice) => [Low, High, High, High],
            (Self::Overcharge, Metering::Valve) => [Normal, High, Normal, High],
            (Self::Restriction, _) => [High, High, Low, Low],
            (Self::LowAirflow, _) => [Low, High, Low, Low],
            (Self::Condenser, _) => [Normal, Low, High, High],
            (Self::NonCondensables, _) => [Normal, High, High, High],
            (Self::WeakCompressor, _) => [Normal, Low, High, Low],
            (Self::ValveOpen, Metering::Valve) => [Low, Low, High, Low],
            // A fixed orifice has no valve.
            (Self::ValveOpen, Metering::FixedOrifice) => [Unknown, Unknown, Unknown, Unknown],
        }
    }

    /// The next reading worth taking to distinguish it from similar ones.
    #[must_use]
    pub const fn next_reading(self) -> &'static str {
        match self {
            Self::Undercharge => {
                "look for oil and leaks, then weigh the charge out and in; temperature across the drier rules a restriction out"
            }
            Self::Overcharge => {
                "liquid line over outdoor air, then weigh the charge; standing pressure against saturation rules air out"
            }
            Self::Restriction => {
                "temperature before and after the drier: more than 3 °F apart is a restriction there, else the metering device"
            }
            Self::LowAirflow => "filter, coil, belt and temperature split; the charge is not touched before",
            Self::Condenser => {
                "condenser coil against the light, fan amps and turning, air leaving over air entering"
            }
            Self::NonCondensables => {
                "unit off until the pressures stand: pressure against saturation at outdoor temperature"
            }
            Self::WeakCompressor => {
                "compressor amps against its map, pump-down, and compression ratio below 1.8"
            }
            Self::ValveOpen => {
                "bulb strapped, insulated and at 4 or 8 o'clock; warm and cool it by hand and watch the superheat"
            }
        }
    }
}

/// A suspect with how well the pattern fits it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ranked {
    /// The suspect.
    pub suspect: Suspect,
    /// Readings that support it.
    pub fits: u8,
    /// Readings that contradict it: the other side of the window.
    pub against: u8,
}

impl Ranked {
    fn weight(self) -> i16 {
        i16::from(self.fits) - 2 * i16::from(self.against)
    }
}

/// Suspects, best first. Empty if nothing supports any: all normal, or too few readings. Readings that were not taken
/// count neither for nor against. Ties keep the order of [`Suspect::ALL`].
#[must_use]
pub fn rank(pattern: Pattern) -> [Option<Ranked>; 8] {
    let seen = [pattern.superheat, pattern.subcooling, pattern.suction, pattern.head];
    let mut found = Suspect::ALL.map(|suspect| {
        let mut ranked = Ranked { suspect, fits: 0, against: 0 };
        for (sign, level) in suspect.signs(pattern.metering).into_iter().zip(seen) {
            match (sign, level) {
                (Level::Unknown, _) | (_, Level::Unknown) => {}
                (a, b) if a == b => ranked.fits += 1,
                (Level::Low, Level::High) | (Level::High, Level::Low) => ranked.against += 1,
                _ => {}
            }
        }
        // A normal reading alone accuses nobody, and two against it let anybody go.
        let accused = suspect
            .signs(pattern.metering)
            .into_iter()
            .zip(seen)
            .any(|(sign, level)| sign == level && matches!(level, Level::Low | Level::High));
        (accused && ranked.fits >= 2 && ranked.weight() > 0).then_some(ranked)
    });
    // Stable, so equals stay in the order of the table.
    sort(&mut found);
    found
}

/// Insertion sort by weight; eight items, no allocation.
fn sort(found: &mut [Option<Ranked>; 8]) {
    let weight = |item: &Option<Ranked>| item.map_or(i16::MIN, Ranked::weight);
    for end in 1..found.len() {
        let mut at = end;
        while at > 0 && found.get(at - 1).map(weight) < found.get(at).map(weight) {
            found.swap(at - 1, at);
            at -= 1;
        }
    }
}

#[cfg(test)]
mod tests;
