//! The framing of a made-up meter whose checksum holds for frames cut at a wrong place, with demanded bytes; what is asserted
//! stands in `framing.rs`.
#![no_main]

#[macro_use]
mod framing;

framing!(profile "profile = 1\nid = \"sums\"\nagree = 1\n[frame]\nkind = \"counted\"\nsync = [0xAA]\n\
    length = { at = 1, type = \"u8\", counts = \"whole\" }\nmin_bytes = 8\nmax_bytes = 16\nmust = { 5 = 0xAA }\n\
    check = { kind = \"xor8\", from = 0 }\n[decode]\nkind = \"fields\"\n[[decode.channel]]\nunit = \"uF\"\n\
    exponent = -2\nvalue = { at = 2, type = \"u16be\" }\n[decode.channel.flags]\nhold = \"4.0\"\nignore = \"6.*\"\n");
