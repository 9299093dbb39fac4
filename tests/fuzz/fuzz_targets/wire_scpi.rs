//! The framing of the generic scpi meter; what is asserted stands in `framing.rs`.
#![no_main]

#[macro_use]
mod framing;

framing!("generic-scpi-meter", packets of wire::packet::PacketKind::Reply);
