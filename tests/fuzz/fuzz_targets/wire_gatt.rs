//! The framing of the generic gatt meter; what is asserted stands in `framing.rs`.
#![no_main]

#[macro_use]
mod framing;

framing!("generic-gatt-meter", packets of wire::packet::PacketKind::Gatt);
