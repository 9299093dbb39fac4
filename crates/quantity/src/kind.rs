//! Kinds of quantity: what is measured, with the physically possible range of its values. Kinds separate quantities
//! that share a unit: temperature and temperature difference, gauge and absolute pressure. Holds no limits of the
//! trade; a bound here is physics or "beyond any meter", never a verdict.

use core::fmt;

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Capacitance; base unit farad.
    Capacitance,
    /// Resistance; base unit ohm.
    Resistance,
    /// Voltage; base unit volt.
    Voltage,
    /// Current; base unit ampere.
    Current,
    /// Frequency; base unit hertz.
    Frequency,
    /// Active power and heat rate; base unit watt.
    Power,
    /// Apparent power; base unit volt ampere.
    ApparentPower,
    /// Temperature on a scale; base unit degree Celsius.
    Temperature,
    /// Difference between two temperatures; base unit kelvin.
    TemperatureDifference,
    /// Pressure above the surrounding air; base unit pascal.
    GaugePressure,
    /// Pressure above vacuum; base unit pascal.
    AbsolutePressure,
    /// Difference between two pressures (static, filter drop, manifold); base unit pascal.
    PressureDifference,
    /// A share in percent (tolerance, unbalance); base unit one.
    Ratio,
    /// Relative humidity; base unit one.
    RelativeHumidity,
    /// Share by volume of a gas; base unit one.
    Concentration,
    /// Volume per time; base unit cubic metre per second.
    VolumeFlow,
    /// Speed of air; base unit metre per second.
    AirSpeed,
    /// Turns per time; base unit turn per second.
    RotationalSpeed,
    /// Time span; base unit second.
    Time,
    /// Energy; base unit joule.
    Energy,
    /// Mass; base unit kilogram.
    Mass,
    /// Length; base unit metre.
    Length,
}

/// The physically possible range of a kind, in the kind's base unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Least value.
    pub min: f64,
    /// Greatest value.
    pub max: f64,
}

impl Kind {
    /// Every kind, in the order of declaration.
    pub const ALL: [Self; 22] = [
        Self::Capacitance,
        Self::Resistance,
        Self::Voltage,
        Self::Current,
        Self::Frequency,
        Self::Power,
        Self::ApparentPower,
        Self::Temperature,
        Self::TemperatureDifference,
        Self::GaugePressure,
        Self::AbsolutePressure,
        Self::PressureDifference,
        Self::Ratio,
        Self::RelativeHumidity,
        Self::Concentration,
        Self::VolumeFlow,
        Self::AirSpeed,
        Self::RotationalSpeed,
        Self::Time,
        Self::Energy,
        Self::Mass,
        Self::Length,
    ];

    /// The name that messages use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Capacitance => "capacitance",
            Self::Resistance => "resistance",
            Self::Voltage => "voltage",
            Self::Current => "current",
            Self::Frequency => "frequency",
            Self::Power => "power",
            Self::ApparentPower => "apparent power",
            Self::Temperature => "temperature",
            Self::TemperatureDifference => "temperature difference",
            Self::GaugePressure => "gauge pressure",
            Self::AbsolutePressure => "absolute pressure",
            Self::PressureDifference => "pressure difference",
            Self::Ratio => "ratio",
            Self::RelativeHumidity => "relative humidity",
            Self::Concentration => "concentration",
            Self::VolumeFlow => "volume flow",
            Self::AirSpeed => "air speed",
            Self::RotationalSpeed => "rotational speed",
            Self::Time => "time",
            Self::Energy => "energy",
            Self::Mass => "mass",
            Self::Length => "length",
        }
    }

    /// The kind with this name, as printed by [`Kind::name`].
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// Whether a value of this kind must be AC or DC: voltage and current only.
    #[must_use]
    pub const fn has_coupling(self) -> bool {
        matches!(self, Self::Voltage | Self::Current)
    }

    /// Whether a device may state AC or DC for it: everything that alternates, power included.
    #[must_use]
    pub const fn takes_coupling(self) -> bool {
        matches!(self, Self::Voltage | Self::Current | Self::Power | Self::ApparentPower)
    }

    /// The physically possible range in the base unit. A small negative span is included where a zeroed meter shows
    /// one (capacitance, resistance).
    #[must_use]
    pub const fn bounds(self) -> Bounds {
        let (min, max) = match self {
            Self::Capacitance => (-1e-6, 10.0),
            Self::Resistance => (-10.0, 1e13),
            Self::Voltage => (-1e6, 1e6),
            Self::Current => (-1e5, 1e5),
            Self::Frequency => (0.0, 1e10),
            Self::Power | Self::ApparentPower => (-1e9, 1e9),
            Self::Temperature => (-273.15, 3000.0),
            Self::TemperatureDifference => (-3273.15, 3273.15),
            Self::GaugePressure => (-110_000.0, 1e8),
            Self::AbsolutePressure => (0.0, 1e8),
            Self::PressureDifference => (-1e8, 1e8),
            Self::Ratio => (-1e6, 1e6),
            Self::RelativeHumidity => (-0.05, 1.1),
            Self::Concentration => (-0.001, 1.0),
            Self::VolumeFlow => (-1e4, 1e4),
            Self::AirSpeed => (-350.0, 350.0),
            Self::RotationalSpeed => (0.0, 1e5),
            Self::Time => (-1e10, 1e10),
            Self::Energy => (-1e12, 1e12),
            Self::Mass => (-1e6, 1e6),
            Self::Length => (-1e6, 1e6),
        };
        Bounds { min, max }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
