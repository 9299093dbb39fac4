//! Tests of GATT values against the definitions: the Bluetooth SIG's GATT Specification Supplement and Assigned Numbers,
//! IEEE 11073-20601. Expected values are computed here from the definition, in another way than the code's.

mod described;
mod medical;
mod properties;
mod table;

use super::*;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

/// The lowest bytes of a number, little endian.
fn bytes(raw: i128, width: usize) -> Vec<u8> {
    raw.to_le_bytes()[..width].to_vec()
}

/// The digits as printed, or the state.
fn printed(state: State) -> String {
    match state {
        State::Value(digits) => digits.to_string(),
        other => alloc::format!("{other:?}"),
    }
}

fn shown(measured: Got<Measured>) -> String {
    match measured {
        Ok(measured) => alloc::format!("{} {}", printed(measured.state), measured.unit),
        Err(error) => alloc::format!("{error:?}"),
    }
}

fn by_table(uuid: u16, bytes: &[u8], told: Option<Unit>) -> String {
    shown(measure(Some(uuid), None, bytes, told, None))
}
