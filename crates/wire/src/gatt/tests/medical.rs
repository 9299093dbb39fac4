//! SFLOAT and FLOAT of IEEE 11073-20601, and the thermometer that carries one.

use super::*;
use crate::gatt::raw::Raw;

/// The definition, in doubles: two's complement mantissa times ten to a two's complement exponent.
fn by_definition(mantissa: u32, bits: u32, exponent: u32, exponent_bits: u32) -> f64 {
    let twos = |raw: u32, bits: u32| {
        let raw = f64::from(raw);
        if raw >= 2_f64.powi(bits as i32 - 1) { raw - 2_f64.powi(bits as i32) } else { raw }
    };
    twos(mantissa, bits) * 10_f64.powf(twos(exponent, exponent_bits))
}

/// IEEE 11073-20601: NaN, NRes, +infinity, -infinity, and one reserved, all with exponent 0.
const RESERVED: [(u32, u32, &str); 5] = [
    (0x07FF, 0x007F_FFFF, "NoValue"),
    (0x0800, 0x0080_0000, "NoValue"),
    (0x07FE, 0x007F_FFFE, "Overload(Positive)"),
    (0x0802, 0x0080_0002, "Overload(Negative)"),
    (0x0801, 0x0080_0001, "NoValue"),
];

#[test]
fn every_sfloat() {
    for pattern in 0..=u16::MAX {
        let reserved = RESERVED.iter().find(|(short, ..)| *short == u32::from(pattern));
        match (Wire::Sfloat.read(&pattern.to_le_bytes()).unwrap(), reserved) {
            (Raw::State(state), Some((_, _, want))) => assert_eq!(printed(state), *want, "{pattern:04X}"),
            (Raw::Digits(digits), None) => {
                let want = by_definition(u32::from(pattern & 0xFFF), 12, u32::from(pattern >> 12), 4);
                assert!((digits.to_f64() - want).abs() <= want.abs() * 1e-12, "{pattern:04X}: {digits}");
            }
            (got, _) => panic!("{pattern:04X}: {got:?}"),
        }
    }
}

#[test]
fn floats() {
    for (_, pattern, want) in RESERVED {
        let Ok(Raw::State(state)) = Wire::Float.read(&pattern.to_le_bytes()) else { panic!("{pattern:08X}") };
        assert_eq!(printed(state), want, "{pattern:08X}");
    }
    for exponent in -20_i8..=20 {
        for mantissa in [0_i32, 1, -1, 364, -4470, 0x7F_FFFD, -0x7F_FFFD] {
            let low = mantissa.to_le_bytes();
            let pattern = [low[0], low[1], low[2], exponent.to_le_bytes()[0]];
            let Ok(Raw::Digits(digits)) = Wire::Float.read(&pattern) else { panic!("{mantissa} {exponent}") };
            assert_eq!((digits.mantissa(), digits.exponent()), (i64::from(mantissa), exponent));
            let raw = u32::from_le_bytes(pattern);
            let want = by_definition(raw & 0xFF_FFFF, 24, raw >> 24, 8);
            assert!((digits.to_f64() - want).abs() <= want.abs() * 1e-12);
        }
    }
    // No display has 10^30.
    assert_eq!(Wire::Float.read(&[1, 0, 0, 30]), Err(GattError::TooManyDigits));
}

#[test]
fn carbon_monoxide_is_an_sfloat() {
    // 12 x 10^-6 kg/m3: mantissa 0x00C, exponent -6 = 0xA.
    let row = Characteristic::find(0x2BD0).unwrap();
    assert_eq!(printed(row.digits(&[0x0C, 0xA0]).unwrap()), "0.000012");
}

/// Flags: bit 0 degF, bit 1 time stamp of 7 bytes, bit 2 type; then 21.5 = 215 x 10^-1.
#[test]
fn temperature_measurement() {
    let value = [0xD7, 0x00, 0x00, 0xFF];
    let stamp = [0xEA, 0x07, 11, 25, 13, 5, 59];
    for flags in 0_u8..=7 {
        let mut sent = alloc::vec![flags];
        sent.extend(value);
        if flags & 2 != 0 {
            sent.extend(stamp);
        }
        if flags & 4 != 0 {
            sent.push(6);
        }
        let got = thermometer(&sent).unwrap();
        let want = if flags & 1 == 0 { "21.5 °C" } else { "21.5 °F" };
        assert_eq!(shown(Ok(got.temperature)), want);
        let wanted = Stamp { year: 2026, month: 11, day: 25, hours: 13, minutes: 5, seconds: 59 };
        assert_eq!(got.stamp, (flags & 2 != 0).then_some(wanted));
        assert_eq!(got.site, (flags & 4 != 0).then_some(6));
        let kept = sent.len();
        assert!(matches!(thermometer(&sent[..kept - 1]), Err(GattError::Length { .. })));
        sent.push(0);
        assert!(matches!(thermometer(&sent), Err(GattError::Length { .. })));
    }
    assert_eq!(thermometer(&[]), Err(GattError::Length { want: 5, found: 0 }));
    let state = thermometer(&[0, 0xFF, 0xFF, 0x7F, 0]).unwrap().temperature.state;
    assert_eq!(state, State::NoValue);
    assert_eq!(thermometer(&[2, 0xD7, 0, 0, 0xFF, 0xEA, 7, 13, 1, 0, 0, 0]), Err(GattError::Prohibited));
    // Colder than nothing: -300 degC.
    assert_eq!(thermometer(&[0, 0xD4, 0xFE, 0xFF, 0]), Err(GattError::Impossible));
}
