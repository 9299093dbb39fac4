//! The units of the trade: one table row each, with exact conversion to the kind's base unit. Does not parse numbers
//! and does not guess between gauge and absolute pressure: a bare `psi` is a pressure difference.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;

use crate::decimal::{Decimal, scale_by_power_of_ten};
use crate::kind::Kind;

/// A unit: a row of the table. Equal when it is the same row.
#[derive(Clone, Copy)]
pub struct Unit(&'static UnitRow);

/// One row of the unit table. Base value = (value + `shift`) x `factor` x 10^`power`.
#[derive(Debug)]
pub struct UnitRow {
    /// How it is printed.
    pub symbol: &'static str,
    /// Other accepted spellings (case matters, as it does between mV and MV).
    pub aliases: &'static [&'static str],
    /// What it measures.
    pub kind: Kind,
    /// Factor to the base unit, apart from the power of ten.
    pub factor: f64,
    /// Power of ten to the base unit, stored separately so that uF to F loses nothing.
    pub power: i8,
    /// Added before scaling; only temperature scales have one.
    pub shift: f64,
}

/// Why a unit text was rejected, or two units do not convert.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum UnitError {
    /// No such unit. Holds the text and, if only one known unit can be meant, a suggestion.
    Unknown {
        /// The text as given.
        text: String,
        /// The only known spelling that can be meant. Never one of another quantity.
        did_you_mean: Option<&'static str>,
    },
    /// The two units measure different kinds of quantity.
    Kinds {
        /// Unit given.
        from: Unit,
        /// Unit wanted.
        to: Unit,
    },
}

impl fmt::Display for UnitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unknown { text, did_you_mean: Some(near) } => {
                write!(f, "unknown unit {text:?}; did you mean {near:?}?")
            }
            Self::Unknown { text, did_you_mean: None } => write!(f, "unknown unit {text:?}"),
            Self::Kinds { from, to } => write!(
                f,
                "{from} is a unit of {}, {to} of {}; they do not convert into each other",
                from.kind(),
                to.kind()
            ),
        }
    }
}

impl core::error::Error for UnitError {}

macro_rules! units {
    ($($name:ident = $symbol:literal, [$($alias:literal),*], $kind:ident, $factor:expr, $power:expr, $shift:expr;)*) => {
        impl Unit {
            $(
                #[doc = concat!("The unit `", $symbol, "`.")]
                pub const $name: Self = Self(&UnitRow {
                    symbol: $symbol, aliases: &[$($alias),*], kind: Kind::$kind,
                    factor: $factor, power: $power, shift: $shift,
                });
            )*
            /// Every unit, in the order of the table.
            pub const ALL: &'static [Self] = &[$(Self::$name),*];
        }
    };
}

// Exact definitions: inch 25.4 mm, pound 0.45359237 kg, standard gravity 9.80665 m/s2 (NIST SP 811 appendix B);
// conventional inch of water 249.08891 Pa (UCUM: 1000 kg/m3 x 9.80665 m/s2 x 0.0254 m); Btu (IT) 1055.05585262 J.
const PSI_PA: f64 = 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254);
const INCH_WATER_PA: f64 = 249.088_91;
const CFM_M3_S: f64 = 0.3048 * 0.3048 * 0.3048 / 60.0;
const BTU_IT_J: f64 = 1_055.055_852_62;

units! {
    F = "F", ["farad"], Capacitance, 1.0, 0, 0.0;
    MILLIFARAD = "mF", [], Capacitance, 1.0, -3, 0.0;
    MICROFARAD = "uF", ["\u{b5}F", "\u{3bc}F", "MFD", "mfd"], Capacitance, 1.0, -6, 0.0;
    NANOFARAD = "nF", [], Capacitance, 1.0, -9, 0.0;
    PICOFARAD = "pF", [], Capacitance, 1.0, -12, 0.0;
    OHM = "ohm", ["Ohm", "ohms", "\u{3a9}", "\u{2126}"], Resistance, 1.0, 0, 0.0;
    MILLIOHM = "mohm", ["mOhm", "m\u{3a9}", "m\u{2126}"], Resistance, 1.0, -3, 0.0;
    KILOHM = "kohm", ["kOhm", "k\u{3a9}", "k\u{2126}"], Resistance, 1.0, 3, 0.0;
    MEGOHM = "Mohm", ["MOhm", "M\u{3a9}", "M\u{2126}"], Resistance, 1.0, 6, 0.0;
    GIGOHM = "Gohm", ["GOhm", "G\u{3a9}", "G\u{2126}"], Resistance, 1.0, 9, 0.0;
    VOLT = "V", ["volt", "volts"], Voltage, 1.0, 0, 0.0;
    MILLIVOLT = "mV", [], Voltage, 1.0, -3, 0.0;
    KILOVOLT = "kV", [], Voltage, 1.0, 3, 0.0;
    AMPERE = "A", ["amp", "amps"], Current, 1.0, 0, 0.0;
    MILLIAMPERE = "mA", [], Current, 1.0, -3, 0.0;
    MICROAMPERE = "uA", ["\u{b5}A", "\u{3bc}A"], Current, 1.0, -6, 0.0;
    HERTZ = "Hz", [], Frequency, 1.0, 0, 0.0;
    KILOHERTZ = "kHz", [], Frequency, 1.0, 3, 0.0;
    WATT = "W", [], Power, 1.0, 0, 0.0;
    KILOWATT = "kW", [], Power, 1.0, 3, 0.0;
    BTU_PER_HOUR = "Btu/h", ["BTU/h", "Btuh", "BTUH"], Power, BTU_IT_J / 3600.0, 0, 0.0;
    HORSEPOWER = "hp", ["HP"], Power, 550.0 * 0.3048 * 0.453_592_37 * 9.806_65, 0, 0.0;
    VOLT_AMPERE = "VA", [], ApparentPower, 1.0, 0, 0.0;
    KILOVOLT_AMPERE = "kVA", [], ApparentPower, 1.0, 3, 0.0;
    CELSIUS = "°C", ["degC", "Cel"], Temperature, 1.0, 0, 0.0;
    FAHRENHEIT = "°F", ["degF"], Temperature, 5.0 / 9.0, 0, -32.0;
    KELVIN_DIFFERENCE = "K", ["delta°C", "deltaC"], TemperatureDifference, 1.0, 0, 0.0;
    FAHRENHEIT_DIFFERENCE = "delta°F", ["deltaF"], TemperatureDifference, 5.0 / 9.0, 0, 0.0;
    PSIG = "psig", ["psi(g)"], GaugePressure, PSI_PA, 0, 0.0;
    KPAG = "kPag", ["kPa(g)"], GaugePressure, 1.0, 3, 0.0;
    BARG = "barg", ["bar(g)"], GaugePressure, 1.0, 5, 0.0;
    PSIA = "psia", ["psi(a)"], AbsolutePressure, PSI_PA, 0, 0.0;
    KPAA = "kPaa", ["kPa(a)"], AbsolutePressure, 1.0, 3, 0.0;
    BARA = "bara", ["bar(a)"], AbsolutePressure, 1.0, 5, 0.0;
    PASCAL = "Pa", [], PressureDifference, 1.0, 0, 0.0;
    KILOPASCAL = "kPa", [], PressureDifference, 1.0, 3, 0.0;
    PSI = "psi", [], PressureDifference, PSI_PA, 0, 0.0;
    INCH_WATER = "in. w.c.", ["in.w.c.", "inwc", "inH2O", "in w.c."], PressureDifference, INCH_WATER_PA, 0, 0.0;
    PERCENT = "%", [], Ratio, 1.0, -2, 0.0;
    ONE = "1", [], Ratio, 1.0, 0, 0.0;
    PERCENT_RH = "%RH", ["%rh"], RelativeHumidity, 1.0, -2, 0.0;
    PPM = "ppm", [], Concentration, 1.0, -6, 0.0;
    PERCENT_VOLUME = "%vol", [], Concentration, 1.0, -2, 0.0;
    CFM = "cfm", ["CFM", "ft3/min"], VolumeFlow, CFM_M3_S, 0, 0.0;
    CUBIC_FOOT_PER_HOUR = "cfh", ["CFH", "ft3/h"], VolumeFlow, CFM_M3_S / 60.0, 0, 0.0;
    CUBIC_METRE_PER_SECOND = "m3/s", [], VolumeFlow, 1.0, 0, 0.0;
    LITRE_PER_SECOND = "L/s", ["l/s"], VolumeFlow, 1.0, -3, 0.0;
    FOOT_PER_MINUTE = "ft/min", ["fpm"], AirSpeed, 0.3048 / 60.0, 0, 0.0;
    METRE_PER_SECOND = "m/s", [], AirSpeed, 1.0, 0, 0.0;
    RPM = "rpm", ["r/min"], RotationalSpeed, 1.0 / 60.0, 0, 0.0;
    SECOND = "s", ["sec"], Time, 1.0, 0, 0.0;
    MILLISECOND = "ms", [], Time, 1.0, -3, 0.0;
    MINUTE = "min", [], Time, 60.0, 0, 0.0;
    HOUR = "h", [], Time, 3600.0, 0, 0.0;
    DAY = "d", [], Time, 86_400.0, 0, 0.0;
    JOULE = "J", [], Energy, 1.0, 0, 0.0;
    KILOWATT_HOUR = "kWh", [], Energy, 3.6, 6, 0.0;
    KILOGRAM = "kg", [], Mass, 1.0, 0, 0.0;
    GRAM = "g", [], Mass, 1.0, -3, 0.0;
    POUND = "lb", ["lbs"], Mass, 0.453_592_37, 0, 0.0;
    OUNCE = "oz", [], Mass, 0.453_592_37 / 16.0, 0, 0.0;
    METRE = "m", [], Length, 1.0, 0, 0.0;
    MILLIMETRE = "mm", [], Length, 1.0, -3, 0.0;
    INCH = "in", [], Length, 0.0254, 0, 0.0;
    FOOT = "ft", [], Length, 0.3048, 0, 0.0;
}

impl Unit {
    /// Finds the unit by symbol or alias.
    ///
    /// # Errors
    /// [`UnitError::Unknown`], with the intended spelling if that is certain.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let text = text.trim();
        Self::ALL.iter().find(|unit| unit.is_written(text)).copied().ok_or_else(|| UnitError::Unknown {
            text: text.into(),
            did_you_mean: near::nearest_spelling(text),
        })
    }

    fn is_written(self, text: &str) -> bool {
        self.0.symbol == text || self.0.aliases.contains(&text)
    }

    /// How it is printed.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        self.0.symbol
    }

    /// What it measures.
    #[must_use]
    pub const fn kind(self) -> Kind {
        self.0.kind
    }

    /// The row of the table.
    #[must_use]
    pub const fn row(self) -> &'static UnitRow {
        self.0
    }

    /// A value in the base unit of its kind, even if the table does not contain that unit; accurate to a few ulp.
    #[must_use]
    pub fn in_base(self, value: f64) -> f64 {
        (value + self.0.shift) * self.0.factor * libm::exp10(f64::from(self.0.power))
    }

    /// Whether a number is physically possible in this unit. If not, it is damaged.
    #[must_use]
    pub fn is_possible(self, number: Decimal) -> bool {
        let bounds = self.kind().bounds();
        let base = self.in_base(number.to_f64());
        base >= bounds.min && base <= bounds.max
    }

    /// The base unit of a kind (factor 1, power 0, no shift).
    #[must_use]
    pub fn base_of(kind: Kind) -> Option<Self> {
        Self::ALL.iter().copied().find(|unit| {
            let row = unit.0;
            row.kind == kind && row.power == 0 && row.shift == 0.0 && (row.factor - 1.0).abs() < f64::EPSILON
        })
    }

    /// Converts a value in this unit into `to`. Converting to the same unit returns the same bits.
    ///
    /// # Errors
    /// [`UnitError::Kinds`] if the two measure different kinds.
    pub fn convert(self, value: f64, to: Self) -> Result<f64, UnitError> {
        self.same_kind(to)?;
        if self == to {
            return Ok(value);
        }
        Ok(scale(value + self.0.shift, self.0, to.0) - to.0.shift)
    }

    /// Converts a span (a difference, an uncertainty) given in this unit into `to`: scales, never shifts.
    ///
    /// # Errors
    /// [`UnitError::Kinds`] when the two measure different kinds.
    pub fn convert_span(self, span: f64, to: Self) -> Result<f64, UnitError> {
        self.same_kind(to)?;
        Ok(if self == to { span } else { scale(span, self.0, to.0) })
    }

    fn same_kind(self, to: Self) -> Result<(), UnitError> {
        if self.kind() == to.kind() { Ok(()) } else { Err(UnitError::Kinds { from: self, to }) }
    }
}

#[allow(clippy::float_cmp)] // equal table entries, not computed values
fn scale(value: f64, from: &UnitRow, to: &UnitRow) -> f64 {
    let value = if from.factor == to.factor { value } else { value * from.factor / to.factor };
    scale_by_power_of_ten(value, i32::from(from.power) - i32::from(to.power))
}

impl PartialEq for Unit {
    fn eq(&self, other: &Self) -> bool {
        self.0.symbol == other.0.symbol
    }
}

impl Eq for Unit {}

impl fmt::Debug for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Unit({})", self.0.symbol)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.0.symbol)
    }
}

/// Levenshtein distance of two short words (the first 24 characters count); for "did you mean" hints.
#[must_use]
pub fn edit_distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().take(24).collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().take(24).enumerate() {
        let mut diagonal = i;
        let mut left = i + 1;
        let mut next = alloc::vec![left];
        for (cb, &up) in b.iter().zip(row.iter().skip(1)) {
            left = (diagonal + usize::from(ca != *cb)).min(up + 1).min(left + 1);
            diagonal = up;
            next.push(left);
        }
        row = next;
    }
    row.last().copied().unwrap_or(0)
}

mod near;
#[cfg(test)]
mod tests;
