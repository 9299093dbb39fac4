//! Second looks: agreement of one meter with itself, of two meters, as left, and what is remembered for how long.
#![allow(clippy::unwrap_used)]

use alloc::format;

use quantity::{Coupling, Decimal, Instant, Quantity, Unit};

use super::*;

fn read(device: &str, shown: &str, u: f64) -> PointReading {
    let shown = Decimal::parse(shown).unwrap();
    PointReading {
        point: "capacitance".into(),
        label: "terminal to terminal".into(),
        device: device.into(),
        quantity: Quantity::new(shown.to_f64(), u, Unit::MICROFARAD).unwrap(),
        shown,
        open: false,
        display: DisplayUnit { unit: Unit::MICROFARAD, coupling: None },
        accuracy_known: true,
        count: 5,
        settled: true,
        at_least: None,
        at_most: None,
        drift: None,
        at: Instant::ZERO,
    }
}

fn place() -> Place<'static> {
    Place::new("RTU-01", "fan capacitor")
}

fn look(looks: &mut Looks, reading: &PointReading, number: u64) -> Option<SecondLook> {
    looks.take((place(), "run-capacitor"), reading, (number, false))
}

fn agreement(first: &PointReading, second: &PointReading) -> Agreement {
    let mut looks = Looks::default();
    assert_eq!(look(&mut looks, first, 1), None, "a first look is none");
    look(&mut looks, second, 2).unwrap().agreement
}

/// Two counts: common practice, no source.
#[test]
fn one_meter_repeats_within_two_counts_of_its_display() {
    let of = |second: &str| agreement(&read("bench", "39.40", 0.4), &read("bench", second, 0.4));
    for (second, agrees) in
        [("39.40", true), ("39.42", true), ("39.38", true), ("39.43", false), ("38.00", false)]
    {
        let found = of(second);
        assert_eq!(found.agrees(), Some(agrees), "{second}: {found:?}");
    }
    // The coarser of the two displays counts.
    assert_eq!(agreement(&read("bench", "39.4", 0.4), &read("bench", "39.58", 0.4)).agrees(), Some(true));
}

/// Scatter widens it: r = 2 sqrt 2 s_r, where both scatter alike (ISO 5725-6:1994, 4.1.4: 2.8 s_r for 95 %). Here s_r is the half-width
/// 0.30 over sqrt 3, 0.1732, so r is 0.4899.
#[test]
fn scatter_widens_what_one_meter_repeats_within() {
    let scattered = |shown: &str| {
        let reading = read("bench", shown, 0.4);
        let value = reading.quantity.value();
        PointReading { at_least: Some(value - 0.30), at_most: Some(value + 0.30), ..reading }
    };
    let of = |second: &str| agreement(&scattered("39.40"), &scattered(second));
    let Agreement::Repeats { within, .. } = of("39.40") else { panic!("{:?}", of("39.40")) };
    assert!((within - 0.4899).abs() < 0.0005, "{within}");
    assert_eq!((of("39.88").agrees(), of("39.90").agrees()), (Some(true), Some(false)));
}

/// En = |x1 - x2| / sqrt(U1^2 + U2^2), satisfactory up to 1 (ISO 13528:2022, 9.7; ISO/IEC 17043).
#[test]
fn two_meters_are_compared_by_en() {
    let of = |second: &str| agreement(&read("bench", "40.00", 0.30), &read("hand", second, 0.40));
    // U = 0.6 and 0.8: the root of the sum of squares is 1.0.
    for (second, expected) in [("40.00", 0.0), ("40.50", 0.5), ("41.00", 1.0), ("38.90", 1.1)] {
        let Agreement::Meters { agrees, en } = of(second) else { panic!("{:?}", of(second)) };
        assert!((en - expected).abs() < 1e-9, "{second}: {en}");
        assert_eq!(agrees, second != "38.90", "{second}");
    }
    let unknown = PointReading { accuracy_known: false, ..read("hand", "40.50", 0.4) };
    assert_eq!(agreement(&read("bench", "40.00", 0.3), &unknown), Agreement::UnknownAccuracy("hand".into()));
}

#[test]
fn a_unit_of_the_same_kind_is_compared_and_an_open_circuit_only_with_another() {
    let nanofarad = PointReading {
        quantity: Quantity::new(39_400.0, 400.0, Unit::parse("nF").unwrap()).unwrap(),
        shown: Decimal::parse("39400").unwrap(),
        display: DisplayUnit { unit: Unit::parse("nF").unwrap(), coupling: None },
        ..read("bench", "39.40", 0.4)
    };
    let mut looks = Looks::default();
    look(&mut looks, &read("bench", "39.40", 0.4), 1);
    let second = look(&mut looks, &nanofarad, 2).unwrap();
    assert!(
        (second.second.value - 39.4).abs() < 1e-9 && second.agreement.agrees() == Some(true),
        "{second:?}"
    );
    let open = PointReading { open: true, ..read("bench", "1000", 0.0) };
    assert_eq!(agreement(&open, &open), Agreement::Open { agrees: true });
    assert_eq!(agreement(&open, &read("bench", "39.40", 0.4)), Agreement::Open { agrees: false });
    let volts = PointReading {
        quantity: Quantity::new(230.0, 1.0, Unit::VOLT).unwrap(),
        display: DisplayUnit { unit: Unit::VOLT, coupling: Some(Coupling::Ac) },
        ..read("bench", "230", 1.0)
    };
    assert_eq!(look(&mut looks, &volts, 3), None, "volts are no look at microfarads");
}

#[test]
fn only_figures_are_looks() {
    let mut looks = Looks::default();
    let moving = PointReading { settled: false, ..read("bench", "39.00", 0.4) };
    assert_eq!(look(&mut looks, &moving, 1), None);
    assert_eq!(look(&mut looks, &read("bench", "39.40", 0.4), 2), None, "the first figure is the first look");
    assert_eq!(look(&mut looks, &moving, 3), None);
}

#[test]
fn as_left_stands_beside_as_found_and_is_then_compared_with_itself() {
    let mut looks = Looks::default();
    let mut take = |shown: &str, number: u64, as_left: bool| {
        looks.take((place(), "run-capacitor"), &read("bench", shown, 0.4), (number, as_left))
    };
    assert_eq!(take("31.20", 1, false), None);
    let left = take("40.10", 2, true).unwrap();
    assert_eq!(
        (left.agreement.clone(), left.first.verdict, left.second.as_left),
        (Agreement::AsLeft, 1, true)
    );
    let again = take("40.11", 3, true).unwrap();
    assert_eq!((again.agreement.agrees(), again.first.verdict), (Some(true), 2));
    assert!(looks.is_left(place(), "run-capacitor") && !looks.is_left(place(), "residual-voltage"));
}

#[test]
fn figures_are_of_their_check_and_go_with_the_visit() {
    let mut looks = Looks::default();
    look(&mut looks, &read("bench", "39.40", 0.4), 1);
    let elsewhere = Place::new("RTU-01", "compressor capacitor");
    assert_eq!(looks.take((elsewhere, "run-capacitor"), &read("bench", "39.40", 0.4), (2, false)), None);
    assert_eq!(looks.take((place(), "residual-voltage"), &read("bench", "39.40", 0.4), (3, false)), None);
    looks.leave("RTU-02");
    assert!(look(&mut looks, &read("bench", "39.40", 0.4), 4).is_some());
    looks.leave("RTU-01");
    assert_eq!(look(&mut looks, &read("bench", "39.40", 0.4), 5), None);
}

#[test]
fn they_are_bounded_and_the_oldest_goes_first() {
    let mut looks = Looks::default();
    let reading = read("bench", "39.40", 0.4);
    for number in 0..=FIGURES_MAX {
        let component = format!("part {number}");
        let place = Place::new("RTU-01", &component);
        looks.take((place, "run-capacitor"), &reading, (u64::try_from(number).unwrap(), false));
    }
    assert_eq!(looks.figures.len(), FIGURES_MAX);
    let mut again = |component: &str| {
        looks.take((Place::new("RTU-01", component), "run-capacitor"), &reading, (1_000_000, false)).is_some()
    };
    assert!(again("part 1"));
    assert!(!again("part 0"), "the oldest is forgotten");
}
