//! Characteristics described by 0x2904, their label and valid range, and units at odds.

use super::*;

fn presentation(format: u8, exponent: i8, unit: u16) -> Presentation {
    let [low, high] = unit.to_le_bytes();
    Presentation::parse(&[format, exponent.to_le_bytes()[0], low, high, 1, 0, 0]).unwrap()
}

fn by_format(format: u8, exponent: i8, unit: u16, bytes: &[u8], told: Option<Unit>) -> String {
    shown(measure(None, Some(&presentation(format, exponent, unit)), bytes, told, None))
}

#[test]
fn a_capacitance_described_by_the_device() {
    // Ran against a real bluetoothd: raw 4472, format 6, exponent -8, unit 0x2729 -> 4.472e-05 F.
    assert_eq!(by_format(6, -8, 0x2729, &[0x78, 0x11], None), "0.00004472 F");
    assert_eq!(by_format(6, -8, 0x2729, &[0x78, 0x11], Some(Unit::MICROFARAD)), "44.72 uF");
}

/// Assigned Numbers, format types: code, size, and whether the exponent counts.
#[test]
fn every_format() {
    let integers: [(u8, u32, usize, bool); 19] = [
        (0x01, 1, 1, false),
        (0x02, 2, 1, false),
        (0x03, 4, 1, false),
        (0x04, 8, 1, false),
        (0x05, 12, 2, false),
        (0x06, 16, 2, false),
        (0x07, 24, 3, false),
        (0x08, 32, 4, false),
        (0x09, 48, 6, false),
        (0x0A, 64, 8, false),
        (0x0B, 128, 16, false),
        (0x0C, 8, 1, true),
        (0x0D, 12, 2, true),
        (0x0E, 16, 2, true),
        (0x0F, 24, 3, true),
        (0x10, 32, 4, true),
        (0x11, 48, 6, true),
        (0x12, 64, 8, true),
        (0x13, 128, 16, true),
    ];
    for (code, bits, size, signed) in integers {
        let of = presentation(code, -2, 0x2728);
        let value_bits = bits.min(40) - u32::from(signed && bits <= 40);
        let most = (1_i128 << value_bits) - 1;
        let least = if signed { -most - 1 } else { 0 };
        for raw in [least, -1, 0, 1, most].into_iter().filter(|raw| *raw >= least) {
            let State::Value(digits) = of.digits(&bytes(raw, size)).unwrap() else { panic!("{code:02X}") };
            let exponent = if code >= 4 { -2 } else { 0 };
            let want = (i64::try_from(raw).unwrap(), exponent);
            assert_eq!((digits.mantissa(), digits.exponent()), want, "{code:02X}");
        }
        assert!(matches!(of.digits(&alloc::vec![0; size + 1]), Err(GattError::Length { .. })), "{code:02X}");
    }
    // Exponent not looked at: floats carry their own scale.
    assert_eq!(by_format(0x14, 5, 0x2728, &24.08_f32.to_le_bytes(), None), "24.0800 V");
    assert_eq!(by_format(0x15, 5, 0x2728, &24.08_f64.to_le_bytes(), None), "24.0800000000000 V");
    assert_eq!(by_format(0x16, 5, 0x2728, &[0x10, 0xEA], None), "-15.20 V");
    assert_eq!(by_format(0x17, 5, 0x2728, &[0x68, 0x09, 0, 0xFE], None), "24.08 V");
    for (code, bytes) in [(0x14_u8, f32::NAN.to_le_bytes().to_vec()), (0x15, f64::NAN.to_le_bytes().to_vec())]
    {
        assert_eq!(by_format(code, 0, 0x2728, &bytes, None), "NoValue V");
    }
    assert_eq!(by_format(0x14, 0, 0x2728, &f32::NEG_INFINITY.to_le_bytes(), None), "Overload(Negative) V");
    let refused = |code: u8| Presentation::parse(&[code, 0, 0x28, 0x27, 1, 0, 0]);
    for code in 0x18..=0x1C {
        assert_eq!(refused(code), Err(GattError::NotANumber(code)));
    }
    for code in core::iter::once(0).chain(0x1D..=0xFF) {
        assert_eq!(refused(code), Err(GattError::FormatReserved(code)));
    }
    assert_eq!(Presentation::parse(&[6, 0, 0x28, 0x27, 1, 0]), Err(GattError::Length { want: 7, found: 6 }));
}

#[test]
fn bits_beyond_the_number_are_refused() {
    for (code, bytes) in
        [(0x01, &[2][..]), (0x02, &[4]), (0x03, &[0x10]), (0x05, &[0, 0x10]), (0x0D, &[0, 0x18])]
    {
        assert_eq!(by_format(code, 0, 0x2728, bytes, None), "Padding", "{code:02X}");
    }
    // A negative of 12 bits with and without its sign copied into the other four.
    assert_eq!(by_format(0x0D, -1, 0x2728, &[0x85, 0x0F], None), "-12.3 V");
    assert_eq!(by_format(0x0D, -1, 0x2728, &[0x85, 0xFF], None), "-12.3 V");
    assert_eq!(by_format(0x0A, 0, 0x2728, &[0xFF; 8], None), "TooManyDigits");
    assert_eq!(by_format(0x06, 100, 0x2728, &[1, 0], None), "TooManyDigits");
}

#[test]
fn a_unit_at_odds_is_an_error() {
    assert_eq!(validate_unit(0x2729, Unit::MICROFARAD), Ok(()));
    assert_eq!(validate_unit(0x2724, Unit::KPAA), Ok(()));
    assert_eq!(validate_unit(0x27A5, Unit::PSIG), Ok(()));
    for (device, profile) in [
        (0x2729, Unit::OHM),
        (0x2728, Unit::AMPERE),
        (0x272F, Unit::FAHRENHEIT),
        (0x27AC, Unit::CELSIUS),
        (0x2724, Unit::PSIG),
        (0x272F, Unit::KELVIN_DIFFERENCE),
        (0x27A8, Unit::HERTZ),
    ] {
        assert_eq!(validate_unit(device, profile), Err(GattError::UnitContradicts { device, profile }));
    }
    assert_eq!(validate_unit(0x272D, Unit::F), Err(GattError::UnitUnused(0x272D)));
    assert_eq!(validate_unit(0x2FFF, Unit::F), Err(GattError::UnitUnknown(0x2FFF)));
    assert_eq!(by_format(6, 0, 0x27A5, &[1, 0], None), "UnitNotSaid(10149)");
    assert_eq!(by_format(6, -1, 0x27A5, &[0x4C, 0x04], Some(Unit::PSIG)), "110.0 psig");
    // The table stands above the descriptor, and a descriptor at odds with it makes both doubtful.
    let volts = presentation(6, 0, 0x2728);
    assert_eq!(shown(measure(Some(0x2B18), Some(&volts), &[0, 0x1E], None, None)), "120.00 V");
    let amps = presentation(6, 0, 0x2704);
    let odds = measure(Some(0x2B18), Some(&amps), &[0, 0x1E], None, None);
    assert_eq!(odds, Err(GattError::TableContradicts { table: 0x2728, descriptor: 0x2704 }));
}

#[test]
fn units_have_the_size_that_their_names_say() {
    // Assigned Numbers, units by name; sizes from NIST SP 811, appendix B, in the base unit of the kind.
    for (uuid, told, size) in [
        (0x2724, Some(Unit::PASCAL), 1.0),
        (0x2724, Some(Unit::KPAG), 1.0),
        (0x2780, Some(Unit::BARG), 1e5),
        (0x27A5, Some(Unit::PSI), 6_894.757_293_168),
        (0x27AB, None, 3.6e6),
        (0x27AD, Some(Unit::PERCENT_RH), 0.01),
        (0x27AE, Some(Unit::PERCENT), 0.001),
        (0x27C2, None, 1e-3),
        (0x27C4, None, 1e-6),
        (0x27C5, None, 1e-9),
        (0x27A8, None, 1.0 / 60.0),
        (0x2760, None, 60.0),
        (0x2761, None, 3600.0),
        (0x2762, None, 86_400.0),
        (0x27A2, None, 0.0254),
        (0x27A3, None, 0.3048),
        (0x27B8, None, 0.453_592_37),
        (0x2729, None, 1.0),
        (0x272A, None, 1.0),
        (0x27C8, None, 1.0),
    ] {
        let (unit, power) = sig_unit(uuid).unwrap().resolve(told).unwrap();
        let row = unit.row();
        let got = row.factor * 10_f64.powi(i32::from(row.power) + i32::from(power));
        assert!((got / size - 1.0).abs() < 1e-9, "0x{uuid:04X}: {got}, want {size}");
    }
}

#[test]
fn twins_are_told_apart() {
    let position = |namespace, description: u16| {
        let [low, high] = description.to_le_bytes();
        Presentation::parse(&[6, 0, 0x2F, 0x27, namespace, low, high]).unwrap().position
    };
    assert_eq!(position(1, 2), Position::Nth(2));
    assert_eq!(position(1, 0x0100), Position::Named("front"));
    assert_eq!(position(1, 0x010D), Position::Named("left"));
    assert_eq!(position(1, 0x0110), Position::Named("external"));
    assert_eq!(position(1, 0x0111), Position::Other(1, 0x0111));
    assert_eq!(position(2, 2), Position::Other(2, 2));
    assert_eq!(position(1, 0), Position::Unknown);
}

#[test]
fn labels() {
    assert_eq!(text(b"return air"), Ok("return air"));
    assert_eq!(text(b" return air \0\0"), Ok("return air"));
    assert_eq!(text("r\u{e9}gulateur".as_bytes()), Ok("r\u{e9}gulateur"));
    for bad in [&b""[..], b"\0", b"  ", b"a\nb", b"\x1b[2J", b"\xFF\xFE", &[b'a'; 513]] {
        assert_eq!(text(bad), Err(GattError::Text));
    }
}

#[test]
fn what_the_device_calls_invalid_is_refused() {
    // -20.00 to 60.00 degC by the table.
    let range = ValidRange::parse(Some(0x2A6E), None, &[0x30, 0xF8, 0x70, 0x17]).unwrap();
    let measured = |raw: i128| shown(measure(Some(0x2A6E), None, &bytes(raw, 2), None, Some(&range)));
    assert_eq!(measured(-2000), "-20.00 °C");
    assert_eq!(measured(6000), "60.00 °C");
    assert_eq!(measured(-2001), "OutsideRange");
    assert_eq!(measured(6001), "OutsideRange");
    assert_eq!(measured(-0x8000), "NoValue °C");
    // Whatever unit the digits are wanted in.
    let farad = presentation(6, -8, 0x2729);
    let range = ValidRange::parse(None, Some(&farad), &[0x64, 0, 0x10, 0x27]).unwrap();
    let measured =
        |raw: i128| shown(measure(None, Some(&farad), &bytes(raw, 2), Some(Unit::MICROFARAD), Some(&range)));
    assert_eq!([measured(99), measured(100), measured(10_001)], ["OutsideRange", "1.00 uF", "OutsideRange"]);
    let single = presentation(0x14, 0, 0x2728);
    let ends = [0.5_f32.to_le_bytes(), 30.0_f32.to_le_bytes()].concat();
    let range = ValidRange::parse(None, Some(&single), &ends).unwrap();
    let measured = |v: f32| shown(measure(None, Some(&single), &v.to_le_bytes(), None, Some(&range)));
    assert_eq!(
        [measured(0.49), measured(0.5), measured(30.1)],
        ["OutsideRange", "0.500000 V", "OutsideRange"]
    );
    for (bytes, want) in [
        (&[0x70, 0x17, 0x30, 0xF8][..], GattError::RangeBroken),
        (&[0x00, 0x80, 0x70, 0x17], GattError::RangeBroken),
        (&[0x30, 0xF8, 0x70], GattError::Length { want: 4, found: 3 }),
    ] {
        assert_eq!(ValidRange::parse(Some(0x2A6E), None, bytes), Err(want));
    }
    assert_eq!(ValidRange::parse(Some(0x2A29), None, &[0; 4]), Err(GattError::NotDescribed));
}

#[test]
fn every_error_says_what_is_wrong() {
    let errors = [
        (GattError::Length { want: 2, found: 3 }, "3 bytes where the format has 2"),
        (GattError::NotDescribed, "does not say what this characteristic holds"),
        (GattError::FormatReserved(0), "format 0x00 is reserved"),
        (GattError::NotANumber(0x19), "format 0x19 is text or a structure"),
        (GattError::UnitUnknown(1), "unit 0x0001 is not known"),
        (GattError::UnitUnused(0x272D), "unit 0x272D is of a quantity that cliplead does not measure"),
        (GattError::UnitNotSaid(0x2724), "unit 0x2724 leaves open what is meant"),
        (
            GattError::UnitContradicts { device: 0x2728, profile: Unit::F },
            "profile says F, the device says unit 0x2728",
        ),
        (GattError::TableContradicts { table: 0x2728, descriptor: 0x2704 }, "in unit 0x2728 by definition"),
        (GattError::Prohibited, "never has"),
        (GattError::Padding, "beyond the width"),
        (GattError::TooManyDigits, "more digits than a display has"),
        (GattError::Impossible, "cannot be meant in its unit"),
        (GattError::OutsideRange, "outside the range"),
        (GattError::RangeBroken, "range is empty or not two numbers"),
        (GattError::Text, "not UTF-8"),
    ];
    for (error, part) in errors {
        assert!(error.to_string().contains(part), "{error}");
    }
    let words: Vec<String> = errors.iter().map(|(error, _)| error.to_string()).collect();
    assert!(words.iter().all(|w| words.iter().filter(|other| *other == w).count() == 1));
}
