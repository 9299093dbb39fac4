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
    // NIST SP 811 (2008) appendix B.8; inch of water as UCUM defines it.
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
    let (from, to) = (Unit::FAHRENHEIT, Unit::FAHRENHEIT_DIFFERENCE);
    assert_eq!(from.convert(10.0, to), Err(UnitError::Kinds { from, to }));
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

fn hint(text: &str) -> Option<&'static str> {
    match Unit::parse(text) {
        Err(UnitError::Unknown { did_you_mean, .. }) => did_you_mean,
        other => panic!("{text}: {other:?}"),
    }
}

#[test]
fn a_slip_is_told_its_unit() {
    for (text, near) in [
        ("uf", "uF"),
        ("UF", "uF"),
        ("C", "°C"),
        ("OHM", "ohm"),
        ("Volts", "volts"),
        ("PSIG", "psig"),
        ("KPA", "kPa"),
        ("kw", "kW"),
        ("ohn", "ohm"),
        ("kohn", "kohm"),
        ("rpmm", "rpm"),
        ("inwcc", "inwc"),
        ("HZ", "Hz"),
        ("amp s", "amps"),
    ] {
        assert_eq!(hint(text), Some(near), "{text}");
    }
}

/// Henries, siemens, teslas, ampere hours: a reading in one must never be taken down in another quantity's unit. The symbols
/// are those of the SI brochure (9th edition, tables 2, 4 and 8); the others are common practice, no source.
#[test]
fn the_unit_of_another_quantity_is_no_slip() {
    for text in [
        "mH", "nH", "pH", "uH", "H", "nS", "pS", "mS", "uS", "S", "mT", "pA", "lm", "lx", "Nm", "kN", "dB",
        "Ah", "mAh", "VAr", "kVAr", "kvar", "PF", "pf", "mol", "cd", "Wb", "Gy", "eV", "pph", "Btu", "BTU",
        "rh", "bar", "mbar", "MPa", "µH", "h-1", "C/W", "ppb", "psid", "k", "f", "H2O",
    ] {
        assert_eq!(hint(text), None, "{text}");
    }
}

/// A prefix or a "per" that the table lacks is no slip either: what is near is another magnitude.
#[test]
fn another_magnitude_is_no_slip() {
    for text in [
        "MHz", "GHz", "MV", "MA", "GV", "fF", "MF", "m3/h", "L/min", "m/h", "km", "cm", "mg", "MW", "mW",
        "us",
    ] {
        assert_eq!(hint(text), None, "{text}");
    }
}

/// Whatever one letter of a symbol is changed, left out or added: the hint is never another quantity's unit.
#[test]
fn no_slip_leads_to_another_kind() {
    let letters = || "aghmkFHSV".chars().map(Some).chain([None]);
    for unit in Unit::ALL {
        let chars: Vec<char> = unit.symbol().chars().collect();
        let places = (0..=chars.len()).flat_map(|at| [(at, 0), (at, 1)]);
        let slips = places.filter(|(at, cut)| at + cut <= chars.len()).flat_map(|(at, cut)| {
            let (before, after) = (&chars[..at], &chars[at + cut..]);
            letters().map(move |put| before.iter().copied().chain(put).chain(after.iter().copied()).collect())
        });
        slips.for_each(|slip: String| hint_is_of_one_kind(slip.trim()));
    }
}

fn hint_is_of_one_kind(slip: &str) {
    let Err(UnitError::Unknown { did_you_mean: Some(near), .. }) = Unit::parse(slip) else { return };
    // Degrees, as the trade writes them.
    if slip == "C" {
        return;
    }
    // A unit as near that measures something else would make the slip ambiguous.
    let lower = slip.to_lowercase();
    let is_near = |known: &str| {
        if near.to_lowercase() == lower {
            known.to_lowercase() == lower
        } else {
            edit_distance(known, slip) <= 1
        }
    };
    let kind = Unit::parse(near).unwrap().kind();
    for other in Unit::ALL {
        let near_too = is_near(other.symbol()) || other.row().aliases.iter().any(|alias| is_near(alias));
        assert!(!near_too || other.kind() == kind, "{slip:?} -> {near:?}, {other}");
    }
}
