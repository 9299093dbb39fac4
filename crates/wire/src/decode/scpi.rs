//! Replies of an instrument to SCPI queries -> what it displays. Each packet holds a query and its reply and is
//! independent of others. Does not send queries.
//!
//! The message is the query, a line feed, and the reply without its line end. 9.9E37 and -9.9E37 are overloads,
//! 9.91E37 is no value (SCPI-99, 7.2.1.4 and 7.2.1.5).

use alloc::string::String;
use alloc::vec::Vec;

use quantity::{Decimal, Flags, State};

use super::Decoded;
use crate::counters::{Field, Reason};
use crate::packet::{self, PacketKind};
use crate::poll::scpi::is_numbers;
use crate::unit_spec::UnitSpec;

const INFINITY: f64 = 9.9e37;
const NOT_A_NUMBER: f64 = 9.91e37;
/// Numbers from here on are one of these or nonsense.
const SPECIAL_FROM: f64 = 1e36;

/// One number of a reply.
#[derive(Clone, Debug)]
pub(crate) struct ScpiChannel {
    pub(crate) number: u8,
    /// Index of its query.
    pub(crate) query: usize,
    /// Which number of the reply, from 0.
    pub(crate) part: usize,
    pub(crate) unit: UnitSpec,
    /// Power of ten from the instrument's unit to `unit`: 6 from F to uF.
    pub(crate) scale: i8,
    /// Power of ten of the last significant digit; finer ones are rounded away.
    pub(crate) exponent: Option<i8>,
}

/// The replies to all queries.
#[derive(Clone, Debug)]
pub(crate) struct ScpiDecode {
    /// Text and number of parts.
    pub(crate) queries: Vec<(String, usize)>,
    pub(crate) channels: Vec<ScpiChannel>,
}

impl ScpiDecode {
    pub(crate) fn frame(&self, frame: &[u8], out: &mut dyn FnMut(Result<Decoded, Reason>)) -> bool {
        let Some(packet) = packet::open(PacketKind::Reply, frame) else { return false };
        let index = usize::from(packet.index);
        let Some((query, parts)) = self.queries.get(index) else { return false };
        let answer = core::str::from_utf8(packet.message).ok().and_then(|text| {
            let (asked, answer) = text.split_once('\n')?;
            (asked == query && is_numbers(answer, *parts)).then_some(answer)
        });
        let Some(answer) = answer else { return false };
        for channel in self.channels.iter().filter(|channel| channel.query == index) {
            let part = answer.split(',').nth(channel.part).unwrap_or_default();
            out(channel.decode(part.trim()).map_err(Reason::Undecodable));
        }
        true
    }
}

impl ScpiChannel {
    fn decode(&self, text: &str) -> Result<Decoded, Field> {
        let UnitSpec { unit, coupling } = self.unit;
        let state = self.state(text)?;
        match state {
            State::Value(number) if !unit.is_possible(number) => Err(Field::Value),
            _ => Ok(Decoded {
                channel: self.number,
                unit,
                coupling,
                state,
                flags: Flags::default(),
                accuracy: None,
            }),
        }
    }

    #[allow(
        clippy::float_cmp,
        reason = "the standard fixes these two numbers, and equal text gives equal bits"
    )]
    fn state(&self, text: &str) -> Result<State, Field> {
        let value: f64 = text.parse().map_err(|_| Field::Value)?;
        if libm::fabs(value) >= SPECIAL_FROM {
            return match value {
                v if v == NOT_A_NUMBER => Ok(State::NoValue),
                v if libm::fabs(v) == INFINITY => Ok(State::overload(v < 0.0)),
                _ => Err(Field::Value),
            };
        }
        let number = Decimal::parse(text).map_err(|_| Field::Value)?;
        let exponent = i16::from(number.exponent()) + i16::from(self.scale);
        let (mantissa, exponent) = match self.exponent.map(i16::from) {
            Some(last) if last > exponent => {
                let places = u32::from((last - exponent).unsigned_abs());
                (rounded(number.mantissa(), places), last)
            }
            _ => (number.mantissa(), exponent),
        };
        let exponent = i8::try_from(exponent).map_err(|_| Field::Exponent)?;
        Decimal::new(mantissa, exponent).map(State::Value).ok_or(Field::Exponent)
    }
}

/// Without its last `places` digits; halves are rounded away from zero.
fn rounded(mantissa: i64, places: u32) -> i64 {
    let Some(step) = 10_i64.checked_pow(places) else { return 0 };
    mantissa.signum() * (mantissa.saturating_abs().saturating_add(step / 2) / step)
}
