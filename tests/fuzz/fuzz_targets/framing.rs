//! What the targets of the framings share: any bytes, in pieces of any size, through the decoder of a meter: no panic,
//! no byte lost from the count. A target that names a kind of packet sends them as the message of a good packet too.

macro_rules! framing {
    ($class:literal $(, packets of $kind:expr)?) => {
        framing!(profile include_str!(concat!("../../../hardware-notes/", $class, "/profile.toml")) $(, packets of $kind)?);
    };
    (profile $text:expr $(, packets of $kind:expr)?) => {
        use libfuzzer_sys::fuzz_target;
        use quantity::Instant;
        use std::sync::LazyLock;
        use wire::{Decoder, Profile};

        static PROFILE: LazyLock<Profile> = LazyLock::new(|| {
            Profile::parse($text).unwrap_or_else(|error| panic!("{error}"))
        });

        fuzz_target!(|data: &[u8]| {
            let Some((size, bytes)) = data.split_first() else { return };
            let mut decoder = Decoder::new(&PROFILE);
            for (i, piece) in (0_i64..).zip(bytes.chunks(usize::from(*size).max(1))) {
                decoder.bytes(Instant::from_micros(i), piece, &mut |_| {});
            }
            $(if let Some(packet) = wire::packet::wrap($kind, size % 4, bytes) {
                decoder.bytes(Instant::from_micros(1_000_000), &packet, &mut |_| {});
            })?
            let c = *decoder.counters();
            assert_eq!(c.bytes, c.frame_bytes + c.dropped_bytes + decoder.held() as u64);
            assert!(decoder.held() < 8192);
        });
    };
}
