//! Writes GATT packets, one for each reading. Sends what the SIG's table and fixed fields can; no descriptors.

use alloc::vec::Vec;

use quantity::Reading;

use super::{SimulateError, fixed};
use crate::decode::gatt::{GattChannel, GattDecode, InstanceSelector, raw_of};
use crate::gatt::packet::Message;
use crate::gatt::{Characteristic, Uuid, sig_unit};
use crate::packet::{PacketKind, wrap};

pub(super) fn encode(decode: &GattDecode, readings: &[Reading]) -> Result<Vec<u8>, SimulateError> {
    let mut out = Vec::new();
    for reading in readings {
        let channel = decode.channels.iter().find(|channel| channel.number == reading.channel);
        let channel = channel.ok_or(SimulateError::Channel(reading.channel))?;
        let value = value(channel, reading)?;
        let (instance, label) = match &channel.named.which {
            InstanceSelector::Instance(instance) => (*instance, None),
            InstanceSelector::Sole => (1, None),
            InstanceSelector::Label(label) => (1, Some(label.as_bytes())),
        };
        let message = Message {
            service: channel.named.service.unwrap_or(Uuid::from_short(0x181A)),
            characteristic: channel.named.characteristic,
            instance,
            presentations: Vec::new(),
            label,
            range: None,
            value: &value,
        };
        let message = message.write().ok_or(SimulateError::Value)?;
        out.extend(wrap(PacketKind::Gatt, channel.number, &message).ok_or(SimulateError::Value)?);
    }
    Ok(out)
}

fn value(channel: &GattChannel, reading: &Reading) -> Result<Vec<u8>, SimulateError> {
    if let Some(fields) = channel.fields() {
        let mut value = alloc::vec![0; fields.end];
        fixed::write(&mut value, fields, reading)?;
        return Ok(value);
    }
    let row =
        channel.named.characteristic.short().and_then(Characteristic::find).ok_or(SimulateError::Value)?;
    let unit = sig_unit(row.unit).map_err(|_| SimulateError::Unit)?;
    let (_, power) = unit.resolve(Some(reading.display.unit)).map_err(|_| SimulateError::Unit)?;
    if reading.display.coupling.is_some() || reading.flags != quantity::Flags::default() {
        return Err(SimulateError::Flags);
    }
    raw_of(row, reading.state, power).ok_or(SimulateError::Value)
}
