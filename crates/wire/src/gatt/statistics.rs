//! Averages and statistics of voltage and current: several numbers in one characteristic and the time span they
//! cover. Stored values, never live ones.
//!
//! Source: GATT Specification Supplement, Average Voltage, Average Current, Voltage Statistics, Electric Current
//! Statistics, Time Exponential 8.

use super::raw::validate_length;
use super::{Characteristic, GattError, Got, Measured};

/// The time span that the values cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Span {
    /// This many seconds.
    Seconds(f64),
    /// The whole life of the device.
    DeviceLife,
    /// Not known.
    Unknown,
}

impl Span {
    /// Time Exponential 8: 1.1^(N - 64) s.
    fn from_code(code: u8) -> Self {
        match code {
            0x00 => Self::Seconds(0.0),
            0xFE => Self::DeviceLife,
            0xFF => Self::Unknown,
            n => Self::Seconds(libm::pow(1.1, f64::from(n) - 64.0)),
        }
    }
}

/// Statistics over a time span; each has `min_max` set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Statistics {
    /// Mean.
    pub average: Measured,
    /// Standard deviation.
    pub deviation: Measured,
    /// Least.
    pub minimum: Measured,
    /// Greatest.
    pub maximum: Measured,
    /// The time span.
    pub over: Span,
}

/// How each value of a statistics characteristic is stored.
fn row(uuid: u16, known: [(u16, u16); 2]) -> Got<&'static Characteristic> {
    let of = known.iter().find(|(statistics, _)| *statistics == uuid).map(|(_, of)| *of);
    of.and_then(Characteristic::find).ok_or(GattError::NotDescribed)
}

fn split(bytes: &[u8], figures: usize) -> Got<(&[u8], Span)> {
    validate_length(bytes, 2 * figures + 1)?;
    let (code, figures) = bytes.split_last().ok_or(GattError::NotDescribed)?;
    Ok((figures, Span::from_code(*code)))
}

/// Average Voltage (0x2AE1) or Average Current (0x2AE0), with its time span.
///
/// # Errors
/// [`GattError::NotDescribed`] for another characteristic; otherwise as for [`Characteristic::measure`].
pub fn average(uuid: u16, bytes: &[u8]) -> Got<(Measured, Span)> {
    let row = row(uuid, [(0x2AE1, 0x2B18), (0x2AE0, 0x2AEE)])?;
    let (figure, over) = split(bytes, 1)?;
    Ok((row.measure(figure, None, None)?.stored(), over))
}

/// Voltage Statistics (0x2B1A) or Electric Current Statistics (0x2AF1).
///
/// # Errors
/// [`GattError::NotDescribed`] for another characteristic; else as [`Characteristic::measure`].
pub fn statistics(uuid: u16, bytes: &[u8]) -> Got<Statistics> {
    let row = row(uuid, [(0x2B1A, 0x2B18), (0x2AF1, 0x2AEE)])?;
    let (figures, over) = split(bytes, 4)?;
    let figure = |at: usize| {
        let bytes = figures.get(2 * at..2 * at + 2).unwrap_or_default();
        row.measure(bytes, None, None).map(Measured::stored)
    };
    Ok(Statistics {
        average: figure(0)?,
        deviation: figure(1)?,
        minimum: figure(2)?,
        maximum: figure(3)?,
        over,
    })
}
