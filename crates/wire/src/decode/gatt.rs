//! Values of GATT characteristics, decoded by the channels of a profile or by their own descriptors. Does not cut
//! packets from bytes or hold the SIG's tables; `gatt` does.

use alloc::string::String;
use alloc::vec::Vec;

use quantity::{State, Unit};

use super::fields::{ChannelDecode, Select, Sequence};
use super::{Decoded, Fit, Numbered};
use crate::counters::Field;
use crate::gatt::packet::{INSTANCE_UNKNOWN, Message};
use crate::gatt::{
    Characteristic, GattError, Measured, Presentation, Uuid, ValidRange, average, measure, statistics, text,
    thermometer, validate_unit,
};
use crate::packet::{PacketKind, open};
use crate::unit_spec::UnitSpec;

/// Selects one of several characteristics with the same UUID.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum InstanceSelector {
    /// By the order of the handles, from 1.
    Instance(u8),
    /// Not specified: the first, or the only one where no order is known.
    Sole,
    /// By its User Description.
    Label(String),
}

/// One value of a statistics characteristic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Statistic {
    Average,
    Minimum,
    Maximum,
}

impl Statistic {
    pub(crate) const WORDS: [(&'static str, Self); 3] =
        [("average", Self::Average), ("minimum", Self::Minimum), ("maximum", Self::Maximum)];
}

/// How a value becomes a reading.
#[derive(Clone, Debug)]
pub(crate) enum Format {
    /// By the SIG's table, otherwise by the device's descriptors.
    Auto { unit: Option<UnitSpec>, figure: Statistic },
    /// Numbers at fixed places of the value.
    Fields(ChannelDecode),
}

/// Selects one characteristic.
#[derive(Clone, Debug)]
pub(crate) struct CharacteristicSelector {
    pub(crate) service: Option<Uuid>,
    pub(crate) characteristic: Uuid,
    pub(crate) which: InstanceSelector,
}

/// One channel of a profile.
#[derive(Clone, Debug)]
pub(crate) struct GattChannel {
    pub(crate) number: u8,
    pub(crate) named: CharacteristicSelector,
    pub(crate) format: Format,
    /// The sequence number that the device gives its values.
    pub(crate) sequence: Option<Sequence>,
}

/// The channels. If empty, every characteristic that describes itself, numbered by the packets' index.
#[derive(Clone, Debug)]
pub(crate) struct GattDecode {
    pub(crate) channels: Vec<GattChannel>,
}

const AUTO: Format = Format::Auto { unit: None, figure: Statistic::Average };

impl GattDecode {
    pub(crate) fn frame(&self, frame: &[u8], out: &mut dyn FnMut(Result<Decoded, Field>)) -> Fit {
        let Some((index, message)) = message(frame) else { return Fit::Foreign };
        if self.channels.is_empty() {
            return match AUTO.decode(index, &message) {
                Err(GattError::NotDescribed) => Fit::Ignored,
                decoded => {
                    out(decoded.map_err(field));
                    Fit::Fits
                }
            };
        }
        let Some(channel) = self.channels.iter().find(|channel| channel.named.is(&message)) else {
            if self.channels.iter().any(|channel| channel.named.may_be(&message)) {
                out(Err(Field::Instance));
                return Fit::Fits;
            }
            return Fit::Ignored;
        };
        out(channel.format.decode(channel.number, &message).map_err(field));
        Fit::Fits
    }

    /// The channel of this value and the device's name for it.
    pub(crate) fn label<'f>(&self, frame: &'f [u8]) -> Option<(u8, Option<&'f str>)> {
        let (index, message) = message(frame)?;
        let channel = match self.channels.iter().find(|channel| channel.named.is(&message)) {
            Some(channel) => channel.number,
            None => index,
        };
        Some((channel, message.label.and_then(|bytes| text(bytes).ok())))
    }

    /// The sequence number of this value and the channel it counts.
    pub(crate) fn numbered(&self, frame: &[u8]) -> Option<Numbered> {
        if self.channels.iter().all(|channel| channel.sequence.is_none()) {
            return None;
        }
        let (_, message) = message(frame)?;
        let channel = self.channels.iter().find(|channel| channel.named.is(&message))?;
        let sequence = channel.sequence?;
        Some(Numbered { source: channel.number, sequence, number: sequence.read(message.value)? })
    }
}

/// A value with the index of its packet; `None` if it is not a value packet.
pub(crate) fn message(frame: &[u8]) -> Option<(u8, Message<'_>)> {
    let packet = open(PacketKind::Gatt, frame)?;
    Some((packet.index, Message::read(packet.message)?))
}

impl InstanceSelector {
    /// Whether both select the same one.
    pub(crate) fn same(&self, other: &Self) -> bool {
        let first = |which: &Self| matches!(which, Self::Sole | Self::Instance(1));
        self == other || (first(self) && first(other))
    }
}

impl CharacteristicSelector {
    /// Whether the value may be the selected one, where the transport cannot tell.
    pub(crate) fn may_be(&self, message: &Message<'_>) -> bool {
        message.instance == INSTANCE_UNKNOWN
            && matches!(self.which, InstanceSelector::Instance(_))
            && self.is(&Message { instance: self.instance(), ..message.clone() })
    }

    /// Its place among those of its UUIDs, from 1.
    pub(crate) const fn instance(&self) -> u8 {
        match self.which {
            InstanceSelector::Instance(instance) => instance,
            InstanceSelector::Sole | InstanceSelector::Label(_) => 1,
        }
    }

    pub(crate) fn is(&self, message: &Message<'_>) -> bool {
        self.characteristic == message.characteristic
            && self.service.is_none_or(|service| service == message.service)
            && match &self.which {
                InstanceSelector::Instance(instance) => *instance == message.instance,
                InstanceSelector::Sole => matches!(message.instance, 1 | INSTANCE_UNKNOWN),
                InstanceSelector::Label(label) => {
                    message.label.and_then(|bytes| text(bytes).ok()) == Some(label)
                }
            }
    }
}

impl Format {
    fn decode(&self, number: u8, message: &Message<'_>) -> Result<Decoded, GattError> {
        let presentation = presentation(message)?;
        match self {
            Self::Fields(channel) => by_fields(channel, message, presentation.as_ref()),
            Self::Auto { unit, figure } => {
                let told = unit.map(|word| word.unit);
                let measured = by_description(message, presentation.as_ref(), told, *figure)?;
                Ok(Decoded {
                    channel: number,
                    unit: measured.unit,
                    coupling: unit.and_then(|word| word.coupling),
                    state: measured.state,
                    flags: measured.flags,
                    accuracy: measured.accuracy,
                })
            }
        }
    }
}

/// What the device says the value is. Several formats on one characteristic describe several numbers: no single one.
fn presentation(message: &Message<'_>) -> Result<Option<Presentation>, GattError> {
    match *message.presentations.as_slice() {
        [] => Ok(None),
        [one] => Presentation::parse(one).map(Some),
        _ => Err(GattError::NotANumber(0x1B)),
    }
}

fn by_fields(
    channel: &ChannelDecode,
    message: &Message<'_>,
    presentation: Option<&Presentation>,
) -> Result<Decoded, GattError> {
    let decoded = channel.decode_whole(message.value).map_err(|field| match field {
        Field::Unit | Field::Mode => GattError::NotDescribed,
        Field::Exponent => GattError::TooManyDigits,
        _ => GattError::Impossible,
    })?;
    let by_table = message.characteristic.short().and_then(Characteristic::find).map(|row| row.unit);
    let said = presentation.map(|presentation| presentation.unit);
    for device in by_table.into_iter().chain(said) {
        validate_unit(device, decoded.unit)?;
    }
    Ok(decoded)
}

fn by_description(
    message: &Message<'_>,
    presentation: Option<&Presentation>,
    told: Option<Unit>,
    figure: Statistic,
) -> Result<Measured, GattError> {
    let uuid = message.characteristic.short();
    let value = message.value;
    let measured = match uuid {
        Some(uuid @ (0x2AE0 | 0x2AE1)) => same_unit(average(uuid, value)?.0, told)?,
        Some(uuid @ (0x2AF1 | 0x2B1A)) => {
            let figures = statistics(uuid, value)?;
            let figure = match figure {
                Statistic::Average => figures.average,
                Statistic::Minimum => figures.minimum,
                Statistic::Maximum => figures.maximum,
            };
            same_unit(figure, told)?
        }
        Some(0x2A1C) => same_unit(thermometer(value)?.temperature, told)?,
        _ => {
            let range =
                message.range.map(|bytes| ValidRange::parse(uuid, presentation, bytes)).transpose()?;
            measure(uuid, presentation, value, told, range.as_ref())?
        }
    };
    // What the device says besides must not contradict what its kind lays down.
    if let Some(said) = presentation {
        validate_unit(said.unit, measured.unit)?;
    }
    Ok(measured)
}

/// These are handed out in the unit they have, and no other. A thermometer says degC or degF in each value; one that is
/// switched over is not believed under the old unit.
fn same_unit(measured: Measured, told: Option<Unit>) -> Result<Measured, GattError> {
    let codes = [(Unit::VOLT, 0x2728), (Unit::AMPERE, 0x2704), (Unit::FAHRENHEIT, 0x27AC)];
    let device = codes.iter().find(|(unit, _)| *unit == measured.unit).map_or(0x272F, |(_, code)| *code);
    match told {
        Some(profile) if profile != measured.unit => Err(GattError::UnitContradicts { device, profile }),
        _ => Ok(measured),
    }
}

/// What of the packet was not understood.
const fn field(error: GattError) -> Field {
    match error {
        GattError::UnitUnknown(_)
        | GattError::UnitUnused(_)
        | GattError::UnitNotSaid(_)
        | GattError::UnitContradicts { .. }
        | GattError::TableContradicts { .. } => Field::Unit,
        GattError::NotDescribed | GattError::FormatReserved(_) | GattError::NotANumber(_) => Field::Mode,
        GattError::TooManyDigits => Field::Exponent,
        _ => Field::Value,
    }
}

/// What a simulated device can send: the value bytes of a state by the SIG's table.
pub(crate) fn raw_of(characteristic: &Characteristic, state: State, power: i8) -> Option<Vec<u8>> {
    let State::Value(shown) = state else { return None };
    let scale = characteristic.scale;
    if scale.times != 1 || scale.two != 0 || shown.exponent().checked_sub(power) != Some(scale.ten) {
        return None;
    }
    let (width, least, most) = match characteristic.wire {
        crate::gatt::Wire::Unsigned(bits @ (8 | 16 | 24 | 32)) => (bits / 8, 0, (1_i64 << bits) - 1),
        crate::gatt::Wire::Signed(bits @ (8 | 16 | 24 | 32)) => {
            (bits / 8, -(1_i64 << (bits - 1)), (1_i64 << (bits - 1)) - 1)
        }
        _ => return None,
    };
    let raw = shown.mantissa();
    let bytes = raw.to_le_bytes();
    (least..=most).contains(&raw).then(|| bytes.iter().take(usize::from(width)).copied().collect())
}

impl GattChannel {
    /// The fixed unit of a fields channel, for the simulator.
    pub(crate) fn fields(&self) -> Option<&ChannelDecode> {
        match &self.format {
            Format::Fields(channel) => Some(channel),
            Format::Auto { .. } => None,
        }
    }

    /// Whether the unit of a fields channel could ever agree with the SIG's table.
    pub(crate) fn contradicts_table(&self) -> Option<u16> {
        let row = Characteristic::find(self.named.characteristic.short()?)?;
        let unit = match &self.format {
            Format::Auto { unit, .. } => unit.map(|word| word.unit),
            Format::Fields(ChannelDecode { select: Select::Fixed(function), .. }) => Some(function.unit.unit),
            Format::Fields(_) => None,
        };
        unit.filter(|unit| {
            row.means.map_or_else(|| validate_unit(row.unit, *unit).is_err(), |m| m.kind() != unit.kind())
        })
        .map(|_| row.unit)
    }
}
