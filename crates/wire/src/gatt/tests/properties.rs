//! Properties over random bytes: no panic, no number that is not finite or cannot be meant, digits that give back the
//! raw value.

use super::*;
use proptest::collection::vec;
use proptest::prelude::*;

fn is_sound(measured: &Measured) -> bool {
    let State::Value(digits) = measured.state else { return true };
    let row = measured.unit.row();
    let base = (digits.to_f64() + row.shift) * row.factor * 10_f64.powi(i32::from(row.power));
    let bounds = measured.unit.kind().bounds();
    let slack = 1e-9 * (1.0 + base.abs());
    base.is_finite() && base >= bounds.min - slack && base <= bounds.max + slack
}

fn told() -> impl Strategy<Value = Option<Unit>> {
    prop_oneof![Just(None), (0..Unit::ALL.len()).prop_map(|i| Some(Unit::ALL[i]))]
}

proptest! {
    #[test]
    fn the_table_never_panics_or_invents(bytes in vec(any::<u8>(), 0..12), told in told()) {
        for row in TABLE {
            for bytes in [bytes.as_slice(), bytes.get(..row.wire.width()).unwrap_or_default()] {
                for told in [told, row.means, None] {
                    if let Ok(measured) = row.measure(bytes, told, None) {
                        prop_assert!(is_sound(&measured), "{} {bytes:02X?} {measured:?}", row.name);
                    }
                }
            }
        }
        let _ = thermometer(&bytes).map(|t| assert!(is_sound(&t.temperature)));
        for uuid in [0x2AE0, 0x2AE1, 0x2AF1, 0x2B1A] {
            let _ = average(uuid, &bytes).map(|(m, _)| assert!(is_sound(&m)));
            let _ = statistics(uuid, &bytes).map(|s| assert!(is_sound(&s.average) && is_sound(&s.maximum)));
        }
        let _ = text(&bytes);
    }

    #[test]
    fn any_description_of_any_bytes_never_panics_or_invents(
        format in 0_u8..0x20, exponent in any::<i8>(), unit in 0x2700_u16..0x27D0, namespace in 0_u8..3,
        description in any::<u16>(), bytes in vec(any::<u8>(), 32), told in told(),
    ) {
        let [[u0, u1], [d0, d1]] = [unit, description].map(u16::to_le_bytes);
        let descriptor = [format, exponent.to_le_bytes()[0], u0, u1, namespace, d0, d1];
        if let Ok(presentation) = Presentation::parse(&descriptor) {
            let width = presentation.format.wire.width();
            let range = ValidRange::parse(None, Some(&presentation), &bytes[..2 * width]).ok();
            for exponent in [exponent, exponent % 12, 0] {
                let presentation = Presentation { exponent, ..presentation };
                for told in [told, None] {
                    let measured = measure(None, Some(&presentation), &bytes[..width], told, range.as_ref());
                    if let Ok(measured) = measured {
                        prop_assert!(is_sound(&measured), "{presentation:?} {measured:?}");
                        prop_assert!(told.is_none_or(|told| told == measured.unit));
                    }
                }
            }
        }
    }

    #[test]
    fn integers_come_back(raw in -8_388_608_i64..8_388_608, exponent in -9_i8..=3) {
        let descriptor = [0x0F, exponent.to_le_bytes()[0], 0x28, 0x27, 1, 0, 0];
        let presentation = Presentation::parse(&descriptor).unwrap();
        let sent = bytes(i128::from(raw), 3);
        let digits = presentation.digits(&sent).unwrap();
        prop_assert_eq!(digits, State::Value(quantity::Decimal::new(raw, exponent).unwrap()));
    }

    #[test]
    fn floats_come_back(value in prop::num::f32::NORMAL) {
        let presentation = Presentation::parse(&[0x14, 0, 0x28, 0x27, 1, 0, 0]).unwrap();
        if let Ok(State::Value(digits)) = presentation.digits(&value.to_le_bytes()) {
            // Six significant digits: half of the sixth at most.
            prop_assert!((digits.to_f64() - f64::from(value)).abs() <= f64::from(value).abs() * 5.1e-6);
        } else {
            prop_assert!(!(1e-18..1e28).contains(&value.abs()), "{value}");
        }
    }
}
