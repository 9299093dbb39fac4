//! Unit conversions against published definitions.
use super::*;
use alloc::string::ToString;

fn close(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs(), "got {got}, want {want}");
}

#[test]
fn every_spelling_is_unique_and_parses_back() {
    let mut seen: Vec<&str> = Vec::new();
    for unit in Unit::ALL {
        assert_eq!(Unit::parse(unit.symbol()).unwrap(), *unit);
        for spelling in core::iter::once(&unit.row().symbol).chain(unit.row().aliases) {
            assert!(!seen.contains(spelling), "{spelling:?} stands twice in the table");
            seen.push(spelling);
        }
    }
}

#[test]
fn every_kind_has_a_base_unit_or_only_scaled_ones() {
    for kind in Kind::ALL {
        assert!(Unit::ALL.iter().any(|u| u.kind() == kind), "no unit for {kind}");
    }
}

#[test]
fn conversions_match_published_factors() {
    // NIST SP 811 (2008) appendix B.8; inch of water as UCUM defines it (see shared device-bridge notes, section 8).
    for (value, from, to, want) in [
        (1.0, Unit::PSI, Unit::PASCAL, 6_894.757_293_168),
        (1.0, Unit::INCH_WATER, Unit::PASCAL, 249.088_91),
        (1.0, Unit::CFM, Unit::CUBIC_METRE_PER_SECOND, 4.719_474_432e-4),
        (1.0, Unit::BTU_PER_HOUR, Unit::WATT, 0.293_071_070_172),
        (1.0, Unit::HORSEPOWER, Unit::WATT, 745.699_871_582),
        (212.0, Unit::FAHRENHEIT, Unit::CELSIUS, 100.0),
        (-40.0, Unit::CELSIUS, Unit::FAHRENHEIT, -40.0),
        (18.0, Unit::FAHRENHEIT_DIFFERENCE, Unit::KELVIN_DIFFERENCE, 10.0),
        (1.0, Unit::POUND, Unit::KILOGRAM, 0.453_592_37),
        (3600.0, Unit::RPM, Unit::RPM, 3600.0),
    ] {
        close(from.convert(value, to).unwrap(), want, 1e-11);
    }
}

#[test]
fn powers_of_ten_lose_nothing() {
    assert_eq!(Unit::MICROFARAD.convert(44.7, Unit::F).unwrap(), 44.7e-6);
    assert_eq!(Unit::F.convert(4.472e-5, Unit::MICROFARAD).unwrap(), 44.72);
    assert_eq!(Unit::MILLIVOLT.convert(45.0, Unit::VOLT).unwrap(), 0.045);
}

#[test]
fn a_difference_is_not_a_temperature_and_gauge_is_not_absolute() {
    assert!(Unit::FAHRENHEIT.convert(10.0, Unit::FAHRENHEIT_DIFFERENCE).is_err());
    let error = Unit::PSIG.convert(118.0, Unit::PSIA).unwrap_err();
    assert!(error.to_string().contains("gauge pressure"), "{error}");
    assert_eq!(Unit::FAHRENHEIT.convert_span(1.8, Unit::CELSIUS).unwrap(), 1.0);
}

#[test]
fn a_slip_gets_a_hint() {
    for (typed, hint) in [("uf", "uF"), ("PSIG", "psig"), ("hz", "Hz"), ("C", "°C"), ("ohmm", "ohm")] {
        let text = Unit::parse(typed).unwrap_err().to_string();
        assert!(text.contains(hint), "{typed}: {text}");
    }
    assert_eq!(Unit::parse("parsec").unwrap_err().to_string(), "unknown unit \"parsec\"");
}

proptest::proptest! {
    #[test]
    fn there_and_back_is_the_same_value(i in 0..Unit::ALL.len(), j in 0..Unit::ALL.len(), v in -1e6..1e6_f64) {
        let (a, b) = (Unit::ALL[i], Unit::ALL[j]);
        match a.convert(v, b) {
            Ok(there) => {
                let back = b.convert(there, a).unwrap();
                proptest::prop_assert!((back - v).abs() <= 1e-9 * (1.0 + v.abs()), "{v} {a} -> {there} {b} -> {back}");
            }
            Err(_) => proptest::prop_assert!(a.kind() != b.kind()),
        }
    }

    #[test]
    fn parsing_never_panics(text in ".{0,30}") {
        let _ = Unit::parse(&text);
    }
}
