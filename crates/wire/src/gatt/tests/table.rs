//! Characteristics that the SIG defines: worked values, every special value, allowed ranges, statistics.

use super::*;

/// UUID, bytes, signed, step and unit UUID, as the GATT Specification Supplement words them ("with a resolution of"),
/// not as M, d and b.
const RESOLUTIONS: &[(u16, usize, bool, f64, u16)] = &[
    (0x2A19, 1, false, 1.0, 0x27AD),
    (0x2A6D, 4, false, 0.1, 0x2724),
    (0x2A6E, 2, true, 0.01, 0x272F),
    (0x2A6F, 2, false, 0.01, 0x27AD),
    (0x2A70, 2, false, 0.01, 0x2712),
    (0x2A72, 2, false, 0.01, 0x2712),
    (0x2A7B, 1, true, 1.0, 0x272F),
    (0x2AEE, 2, false, 0.01, 0x2704),
    (0x2AF2, 3, false, 1.0, 0x27AB),
    (0x2B02, 2, false, 1.0, 0x27C1),
    (0x2B05, 3, false, 0.1, 0x2726),
    (0x2B0D, 1, true, 0.5, 0x272F),
    (0x2B18, 2, false, 1.0 / 64.0, 0x2728),
    (0x2B1B, 2, false, 0.001, 0x27C2),
    (0x2B8A, 3, false, 0.1, 0x27C8),
    (0x2B8C, 2, false, 1.0, 0x27C4),
    (0x2BA8, 4, false, 0.001, 0x27AB),
    (0x2BDF, 2, true, 0.5, 0x272F),
    (0x2BE0, 3, false, 1.0 / 64.0, 0x2728),
    (0x2BE8, 2, false, 1.0, 0x2722),
    (0x2C07, 4, true, 0.001, 0x2723),
    (0x2C09, 4, true, 1.0, 0x27A8),
    (0x2C0B, 4, true, 0.01, 0x2741),
];

#[test]
fn every_row_is_checked_and_stands_once() {
    for row in TABLE {
        assert_eq!(TABLE.iter().filter(|other| other.uuid == row.uuid).count(), 1, "{}", row.name);
        // Carbon monoxide is SFLOAT and has no resolution; checked in `medical`.
        let listed = RESOLUTIONS.iter().any(|(uuid, ..)| *uuid == row.uuid);
        assert!(listed || row.uuid == 0x2BD0, "{}", row.name);
        assert!(sig_unit(row.unit).is_ok(), "{}", row.name);
    }
}

/// All raw values of up to 16 bits, and a comb over the wider ones.
#[test]
fn digits_are_raw_times_resolution() {
    for (uuid, width, signed, step, unit) in RESOLUTIONS {
        let row = Characteristic::find(*uuid).unwrap();
        assert_eq!(row.unit, *unit, "{}", row.name);
        let span = 1_i128 << (8 * width);
        let first = if *signed { -span / 2 } else { 0 };
        let comb = usize::try_from(span / 65_536).unwrap().max(1);
        let mut numbers = 0;
        for raw in (first..first + span).step_by(comb) {
            let state = row.digits(&bytes(raw, *width));
            let Ok(State::Value(digits)) = state else { continue };
            numbers += 1;
            let exact = raw as f64 * step;
            // Rounded to the shown digit at most: the digit is a step, or finer than one.
            let off = (digits.to_f64() - exact).abs();
            assert!(off <= digits.resolution() / 2.0 + exact.abs() * 1e-15, "{} {raw}: {digits}", row.name);
            assert!(digits.resolution() <= *step * 1.000_001, "{} {raw}: {digits}", row.name);
        }
        assert!(numbers >= 100, "{}: only {numbers} are numbers", row.name);
    }
}

#[test]
fn worked_values() {
    for (uuid, raw, told, want) in [
        (0x2A6E, 2149, None, "21.49 °C"),
        (0x2A6E, -1, None, "-0.01 °C"),
        (0x2A6E, -27315, None, "-273.15 °C"),
        (0x2A6F, 4830, None, "48.30 %RH"),
        (0x2A6D, 1_013_250, Some(Unit::KPAA), "101.3250 kPaa"),
        (0x2A6D, 1_013_250, Some(Unit::PASCAL), "101325.0 Pa"),
        (0x2A6D, 1_013_250, Some(Unit::BARG), "1.013250 barg"),
        (0x2A70, 412, None, "4.12 m/s"),
        (0x2AEE, 327, None, "3.27 A"),
        (0x2AEE, 327, Some(Unit::MILLIAMPERE), "3270 mA"),
        (0x2B05, 21_505, None, "2150.5 W"),
        (0x2B05, 21_505, Some(Unit::KILOWATT), "2.1505 kW"),
        (0x2BA8, 12_345, None, "12.345 kWh"),
        (0x2B8C, 850, None, "850 ppm"),
        (0x2B1B, 1500, None, "1.500 L/s"),
        (0x2BE8, 60, None, "60 Hz"),
        // 1541/64 = 24.078125, 120 V is 7680/64; 8/64 = 0.125 is a half and rounds away from zero.
        (0x2B18, 1541, None, "24.08 V"),
        (0x2B18, 7680, None, "120.00 V"),
        (0x2B18, 8, None, "0.13 V"),
        (0x2BE0, 16_777_214, None, "262143.97 V"),
        (0x2B0D, -37, None, "-18.5 °C"),
        (0x2BDF, 43, None, "21.5 °C"),
        (0x2A7B, -6, None, "-6 °C"),
        (0x2A19, 87, None, "87 %"),
    ] {
        let width = Characteristic::find(uuid).unwrap().wire.width();
        let got = by_table(uuid, &bytes(raw, width), told);
        // A decimal whose power of ten is above 0 prints with it; the value is the same.
        let same = got.split_once(' ').is_some_and(|(digits, unit)| {
            let (want, want_unit) = want.split_once(' ').unwrap();
            let number = |text: &str| text.parse::<f64>().ok();
            unit == want_unit && (digits == want || digits.contains('e') && number(digits) == number(want))
        });
        assert!(same, "0x{uuid:04X} {raw}: {got}, want {want}");
    }
}

/// GATT Specification Supplement: "represents value is not known", "is not valid", "or greater", "DC power supply".
#[test]
fn every_special_value_is_a_state() {
    let (none, more, less) = ("NoValue", "Overload(Positive)", "Overload(Negative)");
    for (uuid, raw, want) in [
        (0x2A6E, 0x8000, none),
        (0x2BDF, 0x8000, none),
        (0x2BDF, 0x8001, none),
        (0x2B0D, 0x7F, none),
        (0x2A6F, 0xFFFF, none),
        (0x2B1B, 0xFFFF, none),
        (0x2B02, 0xFFFF, none),
        (0x2B18, 0xFFFF, none),
        (0x2B18, 0, less),
        (0x2B18, 1022 * 64, more),
        (0x2B18, 0xFFFE, more),
        (0x2BE0, 0xFF_FFFF, none),
        (0x2AEE, 0xFFFF, none),
        (0x2B05, 0xFF_FFFE, none),
        (0x2B05, 0xFF_FFFF, none),
        (0x2B8A, 0xFF_FFFE, none),
        (0x2B8A, 0xFF_FFFF, none),
        (0x2AF2, 0xFF_FFFF, none),
        (0x2BA8, 0xFFFF_FFFE, none),
        (0x2BA8, 0xFFFF_FFFF, none),
        (0x2BE8, 0, none),
        (0x2BE8, 0xFFFE, none),
        (0x2BE8, 0xFFFF, none),
        (0x2B8C, 0xFFFE, more),
        (0x2B8C, 0xFFFF, none),
        (0x2C07, 0x7FFF_FFFF, none),
        (0x2C09, 0x7FFF_FFFF, none),
        (0x2C0B, 0x7FFF_FFFF, none),
        (0x2BD0, 0x07FF, none),
        (0x2BD0, 0x0800, none),
    ] {
        let row = Characteristic::find(uuid).unwrap();
        let state = row.digits(&bytes(raw, row.wire.width())).unwrap();
        assert_eq!(printed(state), want, "{} 0x{raw:X}", row.name);
    }
}

#[test]
fn prohibited_and_impossible_values_are_refused() {
    for (uuid, raw) in [(0x2A6E, -27316), (0x2A6F, 10_001), (0x2A19, 101), (0x2BDF, -547)] {
        let row = Characteristic::find(uuid).unwrap();
        assert_eq!(row.digits(&bytes(raw, row.wire.width())), Err(GattError::Prohibited), "{}", row.name);
    }
    // Counter-clockwise has no meaning for a speed here; a wind of 655 m/s is no wind.
    assert_eq!(by_table(0x2C09, &bytes(-900, 4), None), "Impossible");
    assert_eq!(by_table(0x2A70, &[0xFF, 0xFF], None), "Impossible");
    for row in TABLE {
        let width = row.wire.width();
        for wrong in (0..=2 * width).filter(|n| *n != width) {
            let wrong = row.digits(&alloc::vec![1; wrong]);
            assert!(matches!(wrong, Err(GattError::Length { .. })), "{}", row.name);
        }
    }
}

#[test]
fn a_step_coarser_than_the_digit_shows_in_the_uncertainty() {
    let measured = measure(Some(0x2B18), None, &bytes(1541, 2), None, None).unwrap();
    let reading = quantity::Reading {
        at: quantity::Instant::ZERO,
        seq: 0,
        channel: 0,
        display: quantity::DisplayUnit { unit: measured.unit, coupling: None },
        state: measured.state,
        flags: measured.flags,
        accuracy: measured.accuracy,
        timing: quantity::Timing::default(),
    };
    // JCGM 100, F.2.2.1: a step d gives d/sqrt(12); the wire's 1/64 V and the shown 0.01 V are independent roundings.
    let (wire, digit) = (1.0 / 64.0 / 12_f64.sqrt(), 0.01 / 12_f64.sqrt());
    let u = reading.quantity().unwrap().unwrap().standard_uncertainty();
    assert!((u - wire.hypot(digit)).abs() < 1e-12 && u > wire, "{u}");
    // A step of 0.5 degC shows tenths; a step of a hundredth is its own digit.
    let half = measure(Some(0x2BDF), None, &bytes(43, 2), None, None).unwrap().accuracy.unwrap();
    assert_eq!(half.fixed, Some((0.25, Unit::CELSIUS)));
    assert!(measure(Some(0x2A6E), None, &bytes(43, 2), None, None).unwrap().accuracy.is_none());
    let milli = measure(Some(0x2B18), None, &bytes(1541, 2), Some(Unit::MILLIVOLT), None).unwrap();
    assert!((milli.accuracy.unwrap().fixed.unwrap().0 - 7.8125).abs() < 1e-9);
}

#[test]
fn voltages_that_differ_on_the_wire_differ_on_the_display() {
    let row = Characteristic::find(0x2B18).unwrap();
    let digits: Vec<i64> = (1..1022 * 64)
        .map(|raw| match row.digits(&bytes(raw, 2)) {
            Ok(State::Value(digits)) => digits.mantissa(),
            other => panic!("{raw}: {other:?}"),
        })
        .collect();
    assert!(digits.windows(2).all(|pair| pair[0] < pair[1]));
}

#[test]
fn what_is_not_measured_here_or_not_said_is_refused() {
    assert_eq!(by_table(0x2A6D, &[0; 4], None), "UnitNotSaid(10020)");
    assert_eq!(by_table(0x2B02, &[1, 0], None), "UnitUnused(10177)");
    assert_eq!(by_table(0x2BD0, &[1, 0], None), "UnitUnused(10005)");
    assert_eq!(by_table(0x2A29, b"maker", None), "NotDescribed");
    let contradicts = |uuid, told| {
        matches!(
            measure(Some(uuid), None, &[1, 0], Some(told), None),
            Err(GattError::UnitContradicts { profile, .. }) if profile == told
        )
    };
    assert!(contradicts(0x2A6E, Unit::FAHRENHEIT));
    assert!(contradicts(0x2A6F, Unit::PERCENT));
    assert!(contradicts(0x2B18, Unit::AMPERE));
}

/// Average and statistics: values of 2 bytes each, then Time Exponential 8, 1.1^(N - 64) s.
#[test]
fn statistics_are_stored_figures_over_a_time() {
    let (average, over) = average(0x2AE1, &[0x00, 0x1E, 64]).unwrap();
    assert_eq!((printed(average.state).as_str(), over), ("120.00", Span::Seconds(1.0)));
    assert!(average.flags.min_max && !average.flags.is_live());
    let figures = [327_u16, 12, 301, 355].map(u16::to_le_bytes).concat();
    let all = statistics(0x2AF1, &[figures.as_slice(), &[100]].concat()).unwrap();
    let each = [all.average, all.deviation, all.minimum, all.maximum];
    assert_eq!(each.map(|m| printed(m.state)), ["3.27", "0.12", "3.01", "3.55"]);
    assert!(each.iter().all(|m| m.flags.min_max && m.unit == Unit::AMPERE));
    let Span::Seconds(seconds) = all.over else { panic!("{:?}", all.over) };
    assert!((seconds - 1.1_f64.powi(36)).abs() < 1e-9 * seconds);
    let over = |code| statistics(0x2B1A, &[1, 0, 1, 0, 1, 0, 1, 0, code]).unwrap().over;
    assert_eq!([over(0), over(0xFE), over(0xFF)], [Span::Seconds(0.0), Span::DeviceLife, Span::Unknown]);
    // The supplement's greatest figure, N = 0xFD: 66560641 s.
    assert!(matches!(over(0xFD), Span::Seconds(s) if (s - 66_560_641.0).abs() < 1.0));
    assert_eq!(statistics(0x2B18, &[0; 9]), Err(GattError::NotDescribed));
    assert_eq!(statistics(0x2B1A, &[0; 8]), Err(GattError::Length { want: 9, found: 8 }));
}
