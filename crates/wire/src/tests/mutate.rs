//! A seeded mutation runner, in place of a coverage-guided one (those targets are in tests/fuzz): damaged streams and
//! damaged profiles through the whole crate. Same executions every run; no randomness from outside.

use super::*;

/// SplitMix64 (Steele, Lea, Flood 2014; constants from memory).
pub(crate) struct Seeded(pub(crate) u64);

impl Seeded {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(crate) fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % u64::try_from(n.max(1)).unwrap()).unwrap()
    }

    fn damage(&mut self, bytes: &mut Vec<u8>) {
        for _ in 0..=self.below(6) {
            let at = self.below(bytes.len());
            match (self.below(6), bytes.is_empty()) {
                (_, true) => bytes.push(0),
                (0, _) => bytes[at] ^= 1 << self.below(8),
                (1, _) => drop(bytes.remove(at)),
                (2, _) => bytes.insert(at, u8::try_from(self.below(256)).unwrap()),
                (3, _) => bytes[at] = [0, b'\n', 0xFF, b'{', b'9', 0xD7][self.below(6)],
                (4, _) => {
                    let piece = bytes[at..bytes.len().min(at + 30)].to_vec();
                    let to = self.below(bytes.len());
                    bytes.splice(to..to, piece);
                }
                _ => bytes.truncate(at),
            }
        }
    }
}

#[test]
fn damaged_streams_never_panic_and_keep_their_books() {
    let mut seeded = Seeded(1);
    let values: Vec<Reading> = (0..8).map(|i| microfarad(&alloc::format!("38.{i}2"))).collect();
    let counted = |check, agree| small_counted("type = \"u8\", counts = \"payload\"", check, agree);
    for profile in [
        line_profile(),
        small_binary("crc16modbus", 1),
        small_binary("sum8", 2),
        counted("crc16modbus", 1),
        counted("xor8", 1),
        segment_profile(),
        segments_in_fixed(None, 2),
    ] {
        let clean = stream(&profile, &values);
        for _ in 0..2_000 {
            let mut bytes = clean.clone();
            seeded.damage(&mut bytes);
            let run = run(&profile, bytes.chunks(7));
            let c = run.counters;
            assert_eq!(c.bytes, c.frame_bytes + c.dropped_bytes + u64::try_from(run.held).unwrap());
        }
    }
}

#[test]
fn damaged_profiles_load_or_name_a_line_and_what_loads_decodes() {
    let mut seeded = Seeded(2);
    let (mut loaded, mut refused) = (0, 0);
    let demanding =
        cuts::meter_text("xor8", "must = { 7 = 0x5C, 0x05 = 39 }\n", 2) + "ignore = [\"6.3\", \"2.*\"]\n";
    let demanding = demanding.replacen("exponent = { at = 2, type = \"i8\" }", "exponent = -2", 1);
    for text in [LINE, BINARY, COUNTED, SEGMENT, MODBUS, SCPI, &demanding] {
        for _ in 0..1_000 {
            let mut bytes = text.as_bytes().to_vec();
            seeded.damage(&mut bytes);
            let text = String::from_utf8_lossy(&bytes);
            match Profile::parse(&text) {
                Ok(profile) => {
                    loaded += 1;
                    run_whole(
                        &profile,
                        b"\r\nCAP   38.52 uF    A   \r\n\xD7\x2B\x06\xFE\x77\x11\0\0\xE7\0\x62\x9A\x3C\xB1\x01\x03\0\x04\xA0\0\xA7\
                          \x1F\x24\x3F\x47\x5D\x6E\x7B\x85\x98\xA0\xB2\xC2\xD0\
                          \xAA\x01\0\x0F\xAA\x27\0\x5C\x75\xAA\x01\0\x0F\xAA\x27\0\x5C\x75",
                    );
                }
                Err(error) => {
                    refused += 1;
                    assert!(error.line >= 1 && error.line <= text.matches('\n').count() + 1, "{error}");
                    assert!(!error.message.is_empty());
                }
            }
        }
    }
    assert!(loaded > 100 && refused > 100, "{loaded} loaded, {refused} refused: the mutations miss");
}

/// Damage between packet and decoder, and inside the message behind a good checksum of the packet: nothing panics, and
/// the books hold.
#[test]
fn damaged_answers_never_panic_and_keep_their_books() {
    let mut seeded = Seeded(4);
    let modbus: &[u8] = &[3, 0, 0, 0, 5, 3, 10, 0x42, 0x04, 0x7A, 0xE1, 0x17, 0x70, 0, 0xD7, 0, 0];
    let (mut readings, mut refused) = (0, 0);
    for (text, message) in [(MODBUS, modbus), (SCPI, b"READ?\n239.62,+6.0001E+01")] {
        let profile = Profile::parse(text).unwrap();
        for _ in 0..3_000 {
            let mut message = message.to_vec();
            if seeded.below(3) == 0 {
                seeded.damage(&mut message);
            }
            let index = [u8::from(text == SCPI), 0, 9][usize::from(seeded.below(20) == 0)];
            let packet = crate::packet::wrap(crate::packet::PacketKind::Reply, index, &message).unwrap();
            let mut bytes = packet.repeat(3);
            if seeded.below(3) == 0 {
                seeded.damage(&mut bytes);
            }
            let run = run(&profile, bytes.chunks(7));
            let c = run.counters;
            assert_eq!(c.bytes, c.frame_bytes + c.dropped_bytes + u64::try_from(run.held).unwrap());
            readings += c.readings;
            refused += c.faults();
        }
    }
    assert!(readings > 5_000 && refused > 2_000, "{readings} readings, {refused} faults");
}
