//! The framing of the generic modbus meter; what is asserted stands in `framing.rs`.
#![no_main]

#[macro_use]
mod framing;

framing!("generic-modbus-meter", packets of wire::packet::PacketKind::Reply);
