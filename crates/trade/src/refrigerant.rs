//! Refrigerants: saturation on the bubble line and on the dew line, in kPa absolute and °C. Holds the refrigerants
//! and the interpolation; `circuit.rs` uses them in the trade's units, and `data.rs` holds the nodes.
//!
//! Between nodes 5 K apart, ln p is a cubic with the slopes of both ends (Hermite). It agrees with CoolProp 8.0.0,
//! which made the nodes, to within 10^-6 of the pressure over the whole range; CI compares them at every kelvin. The
//! accuracy of CoolProp itself differs: pure refrigerants, R-410A and R-407C to some 0.1 %; R-454B to 0.5 %, with up
//! to 1 % between two versions of the library.

mod data;

use crate::range::{Argument, OutOfRange};
use data::{FIRST_C, Line, NODES, STEP_K};

/// Saturation temperatures that are answered, °C.
pub(crate) const SATURATION: Argument =
    Argument { what: "saturation temperature", unit: "°C", least: -45.0, greatest: 65.0 };
/// Halvings of 5 K: to less than 10^-9 K.
const HALVINGS: usize = 34;

/// A refrigerant, named as ASHRAE 34 does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refrigerant {
    /// R-22, pure.
    R22,
    /// R-32, pure; mildly flammable (A2L).
    R32,
    /// R-134a, pure.
    R134a,
    /// R-407C, a blend with some 5 K of glide.
    R407C,
    /// R-410A, a blend with next to no glide.
    R410A,
    /// R-454B, a blend with some 1 K of glide; mildly flammable (A2L).
    R454B,
}

impl Refrigerant {
    /// All, in the order of [`Refrigerant::NAMES`].
    pub const ALL: [Self; 6] = [Self::R22, Self::R32, Self::R134a, Self::R407C, Self::R410A, Self::R454B];
    /// Their designations.
    pub const NAMES: &'static [&'static str] = &["R-22", "R-32", "R-134a", "R-407C", "R-410A", "R-454B"];

    /// Whether it is mildly flammable (safety group A2L). Source: standard ASHRAE 34, from memory.
    #[must_use]
    pub const fn is_mildly_flammable(self) -> bool {
        matches!(self, Self::R32 | Self::R454B)
    }

    /// Exponent of the discharge temperature model, see [`crate::circuit::expected_discharge_f`].
    pub(crate) const fn discharge_exponent(self) -> f64 {
        match self {
            Self::R22 => 0.2020,
            Self::R32 => 0.2422,
            Self::R134a => 0.1420,
            Self::R407C => 0.1657,
            Self::R410A => 0.1952,
            Self::R454B => 0.2091,
        }
    }

    const fn line(self, line: Saturation) -> &'static Line {
        match (self, line) {
            (Self::R22, Saturation::Bubble) => &data::R22_BUBBLE,
            (Self::R22, Saturation::Dew) => &data::R22_DEW,
            (Self::R32, Saturation::Bubble) => &data::R32_BUBBLE,
            (Self::R32, Saturation::Dew) => &data::R32_DEW,
            (Self::R134a, Saturation::Bubble) => &data::R134A_BUBBLE,
            (Self::R134a, Saturation::Dew) => &data::R134A_DEW,
            (Self::R407C, Saturation::Bubble) => &data::R407C_BUBBLE,
            (Self::R407C, Saturation::Dew) => &data::R407C_DEW,
            (Self::R410A, Saturation::Bubble) => &data::R410A_BUBBLE,
            (Self::R410A, Saturation::Dew) => &data::R410A_DEW,
            (Self::R454B, Saturation::Bubble) => &data::R454B_BUBBLE,
            (Self::R454B, Saturation::Dew) => &data::R454B_DEW,
        }
    }
}

/// One of the two ends of boiling; for a pure refrigerant both are the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Saturation {
    /// Liquid about to boil: subcooling counts from here.
    Bubble,
    /// Vapour about to condense: superheat counts from here.
    Dew,
}

/// Saturation pressure in kPa absolute.
///
/// `celsius` -45 to 65 °C. Source: physics, CoolProp 8.0.0.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn pressure_kpa(refrigerant: Refrigerant, line: Saturation, celsius: f64) -> Result<f64, OutOfRange> {
    let nodes = refrigerant.line(line);
    let steps = (SATURATION.validate(celsius)? - FIRST_C) / STEP_K;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 22
    let below = (steps as usize).min(NODES - 2);
    Ok(libm::exp(logarithm(nodes, below, steps - below as f64)))
}

/// Saturation temperature in °C; the inverse of [`pressure_kpa`], to 10^-8 K.
///
/// `kpa` absolute, what the refrigerant has from -45 to 65 °C. Source: physics, CoolProp 8.0.0.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn temperature_c(refrigerant: Refrigerant, line: Saturation, kpa: f64) -> Result<f64, OutOfRange> {
    let nodes = refrigerant.line(line);
    let end = |node: Option<&(f64, f64)>| node.map_or(f64::NAN, |(log, _)| libm::exp(*log));
    let range = Argument {
        what: "saturation pressure",
        unit: "kPa absolute",
        least: end(nodes.first()),
        greatest: end(nodes.last()),
    };
    let log = libm::log(range.validate(kpa)?);
    // The nodes rise; the last one at or below the pressure begins the stretch.
    let below = nodes.iter().take(NODES - 1).rposition(|(node, _)| *node <= log).unwrap_or(0);
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if logarithm(nodes, below, middle) > log {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(FIRST_C + STEP_K * (below as f64 + (low + high) / 2.0))
}

/// ln p between two nodes, `part` from 0 to 1.
fn logarithm(nodes: &Line, below: usize, part: f64) -> f64 {
    let (Some((y0, d0)), Some((y1, d1))) = (nodes.get(below), nodes.get(below + 1)) else { return f64::NAN };
    let rest = 1.0 - part;
    (1.0 + 2.0 * part) * rest * rest * y0
        + part * rest * rest * STEP_K * d0
        + part * part * (3.0 - 2.0 * part) * y1
        - part * part * rest * STEP_K * d1
}

#[cfg(test)]
mod tests;
