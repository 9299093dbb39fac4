//! Tests of the whole path, bytes to readings: faults, damage counted, properties, the folders of hardware-notes.
//! Does not test single modules; those have their tests beside them.

mod counted;
mod cuts;
mod damage;
mod faults;
mod gatt;
pub(crate) mod mutate;
mod notes;
mod numbered;
mod polled;
mod properties;
mod segments;

use crate::{ChecksumKind, Decoder, DecoderCounters, Fault, Item, Profile};
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use quantity::{Coupling, Decimal, Flags, Instant, Reading, State, Unit};

pub(crate) const LINE: &str = include_str!("../../../hardware-notes/generic-line-meter/profile.toml");
pub(crate) const BINARY: &str = include_str!("../../../hardware-notes/generic-binary-meter/profile.toml");
pub(crate) const COUNTED: &str = include_str!("../../../hardware-notes/generic-counted-meter/profile.toml");

pub(crate) const SEGMENT: &str = include_str!("../../../hardware-notes/generic-segment-meter/profile.toml");

pub(crate) const MODBUS: &str = include_str!("../../../hardware-notes/generic-modbus-meter/profile.toml");

pub(crate) const SCPI: &str = include_str!("../../../hardware-notes/generic-scpi-meter/profile.toml");

pub(crate) fn line_profile() -> Profile {
    Profile::parse(LINE).unwrap_or_else(|error| panic!("{error}"))
}

pub(crate) fn binary_profile() -> Profile {
    Profile::parse(BINARY).unwrap_or_else(|error| panic!("{error}"))
}

pub(crate) fn counted_profile() -> Profile {
    Profile::parse(COUNTED).unwrap_or_else(|error| panic!("{error}"))
}

pub(crate) fn segment_profile() -> Profile {
    Profile::parse(SEGMENT).unwrap_or_else(|error| panic!("{error}"))
}

/// The display of the segment meter in frames with sync bytes, and a checksum where one is named.
pub(crate) fn segments_in_fixed(check: Option<&str>, agree: u8) -> Profile {
    let check =
        check.map(|kind| alloc::format!("check = {{ kind = \"{kind}\", from = 0, to = 13, at = 13 }}\n"));
    // The first byte gives way to the sync byte, so its four segments move into the free high halves.
    let text = SEGMENT
        .replacen("kind = \"indexed\"\nlength = 13", "kind = \"fixed\"\nsync = [0xD7]\nlength = 15\n#", 1)
        .replacen("agree = 2", &alloc::format!("agree = {agree}"), 1)
        .replacen(
            "a = \"0.0\", b = \"0.1\", c = \"0.2\", d = \"0.3\"",
            "a = \"1.4\", b = \"1.5\", c = \"1.6\", d = \"1.7\"",
            1,
        )
        .replacen("#\n", &alloc::format!("{}\n", check.unwrap_or_default()), 1);
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// A counted profile of one channel: sync, length, function, power of ten, value, flags, then the check; frames of 16
/// bytes at most.
pub(crate) fn small_counted(length: &str, check: &str, agree: u8) -> Profile {
    let text = alloc::format!(
        "profile = 1\nid = \"counted\"\nagree = {agree}\n[frame]\nkind = \"counted\"\nsync = [0xD7, 0x2B]\n\
         length = {{ at = 2, {length} }}\nmax_bytes = 16\ncheck = {{ kind = \"{check}\", from = 2 }}\n\
         [decode]\nkind = \"fields\"\n[[decode.channel]]\nselect = {{ at = 4, type = \"u8\" }}\n\
         exponent = {{ at = 5, type = \"i8\" }}\nvalue = {{ at = 6, type = \"i16be\" }}\n\
         [decode.channel.functions]\n1 = \"uF\"\n2 = \"V ac\"\n\
         [decode.channel.flags]\nhold = \"8.0\"\noverload = \"8.1\"\n"
    );
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}"))
}

/// A binary profile of one channel, 9 bytes: sync, function, value, flags, then the check.
pub(crate) fn small_binary(check: &str, agree: u8) -> Profile {
    let width = if check.ends_with('8') { 1 } else { 2 };
    let text = alloc::format!(
        "profile = 1\nid = \"small\"\nagree = {agree}\n[frame]\nkind = \"fixed\"\nsync = [0xD7, 0x2B]\nlength = {}\n\
         check = {{ kind = \"{check}\", from = 2, to = 7, at = 7 }}\n[decode]\nkind = \"fields\"\n\
         [[decode.channel]]\nselect = {{ at = 2, type = \"u8\" }}\nexponent = {{ at = 3, type = \"i8\" }}\n\
         value = {{ at = 4, type = \"i16be\" }}\n[decode.channel.functions]\n1 = \"uF\"\n2 = \"V ac\"\n\
         [decode.channel.flags]\nhold = \"6.0\"\noverload = \"6.1\"\n",
        7 + width
    );
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}"))
}

pub(crate) fn reading(text: &str, unit: Unit, coupling: Option<Coupling>) -> Reading {
    Reading {
        at: Instant::ZERO,
        seq: 0,
        channel: 0,
        display: quantity::DisplayUnit { unit, coupling },
        state: State::Value(Decimal::parse(text).unwrap()),
        flags: Flags::default(),
        accuracy: None,
        timing: quantity::Timing::default(),
    }
}

pub(crate) fn microfarad(text: &str) -> Reading {
    reading(text, Unit::MICROFARAD, None)
}

/// What a decoder made of pieces of bytes, 10 ms apart.
pub(crate) struct Run {
    pub(crate) readings: Vec<Reading>,
    pub(crate) faults: Vec<Fault>,
    pub(crate) counters: DecoderCounters,
    pub(crate) held: usize,
}

impl Run {
    pub(crate) fn shown(&self) -> Vec<String> {
        self.readings.iter().map(ToString::to_string).collect()
    }

    /// Without times, which differ with the pieces.
    pub(crate) fn timeless(&self) -> (Vec<Reading>, Vec<Fault>) {
        let timeless = self.readings.iter().map(|r| Reading { at: Instant::ZERO, ..*r }).collect();
        (timeless, self.faults.clone())
    }
}

pub(crate) fn run<'a>(profile: &Profile, pieces: impl IntoIterator<Item = &'a [u8]>) -> Run {
    let mut decoder = Decoder::new(profile);
    let (mut readings, mut faults) = (Vec::new(), Vec::new());
    for (i, piece) in pieces.into_iter().enumerate() {
        let at = Instant::from_micros(10_000 * i64::try_from(i).unwrap());
        decoder.bytes(at, piece, &mut |item| match item {
            Item::Reading(reading) => readings.push(reading),
            Item::Fault(fault) => faults.push(fault),
        });
        assert!(decoder.framer_bytes() <= profile.frame_bytes_max());
    }
    Run { readings, faults, counters: *decoder.counters(), held: decoder.held() }
}

pub(crate) fn run_whole(profile: &Profile, bytes: &[u8]) -> Run {
    run(profile, [bytes])
}

/// Frames of these readings, one after the other; text begins with a line end, so that nothing is lost to joining.
pub(crate) fn stream(profile: &Profile, readings: &[Reading]) -> Vec<u8> {
    let mut bytes = Vec::new();
    if profile.id().contains("line") {
        bytes.extend_from_slice(b"\r\n");
    }
    for reading in readings {
        bytes.extend(crate::simulate::encode(profile, core::slice::from_ref(reading)).unwrap());
    }
    bytes
}
