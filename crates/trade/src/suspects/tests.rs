//! Each row of the usual pattern table (common practice, no source) names its suspect first, and nothing is accused on nothing.

use super::*;
use Level::{High, Low, Normal, Unknown};

fn first(metering: Metering, levels: [Level; 4]) -> Option<Suspect> {
    let [superheat, subcooling, suction, head] = levels;
    rank(Pattern { metering, superheat, subcooling, suction, head })[0].map(|ranked| ranked.suspect)
}

#[test]
fn the_table_is_read_as_it_stands() {
    for (metering, levels, suspect) in [
        (Metering::FixedOrifice, [High, Low, Low, Low], Suspect::Undercharge),
        (Metering::Valve, [High, Low, Low, Low], Suspect::Undercharge),
        (Metering::FixedOrifice, [Low, High, High, High], Suspect::Overcharge),
        (Metering::Valve, [Normal, High, Normal, High], Suspect::Overcharge),
        (Metering::Valve, [High, High, Low, Low], Suspect::Restriction),
        (Metering::Valve, [High, High, Low, Normal], Suspect::Restriction),
        (Metering::Valve, [Low, Normal, Low, Low], Suspect::LowAirflow),
        (Metering::FixedOrifice, [Low, High, Low, Low], Suspect::LowAirflow),
        (Metering::Valve, [Normal, Low, High, High], Suspect::Condenser),
        (Metering::Valve, [Normal, Normal, High, High], Suspect::Condenser),
        (Metering::Valve, [Normal, High, High, High], Suspect::NonCondensables),
        (Metering::FixedOrifice, [Normal, Low, High, Low], Suspect::WeakCompressor),
        (Metering::Valve, [Low, Low, High, Low], Suspect::ValveOpen),
    ] {
        assert_eq!(first(metering, levels), Some(suspect), "{metering:?} {levels:?}");
    }
}

#[test]
fn nothing_is_accused_on_nothing() {
    for metering in [Metering::FixedOrifice, Metering::Valve] {
        assert_eq!(first(metering, [Normal; 4]), None);
        assert_eq!(first(metering, [Unknown; 4]), None);
        assert_eq!(first(metering, [High, Unknown, Unknown, Unknown]), None, "one reading is no pattern");
    }
    assert_eq!(
        first(Metering::FixedOrifice, [Low, Low, High, Low]),
        Some(Suspect::WeakCompressor),
        "an orifice has no valve"
    );
}

#[test]
fn a_reading_that_is_not_taken_never_raises_a_suspect() {
    let all = [Low, Normal, High];
    let weight = |levels: [Level; 4], suspect: Suspect| {
        let [superheat, subcooling, suction, head] = levels;
        let ranked = rank(Pattern { metering: Metering::Valve, superheat, subcooling, suction, head });
        ranked.into_iter().flatten().find(|r| r.suspect == suspect).map_or(0, |r| r.fits)
    };
    for a in all {
        for b in all {
            for c in all {
                for d in all {
                    for suspect in Suspect::ALL {
                        for missing in 0..4 {
                            let whole = [a, b, c, d];
                            let mut less = whole;
                            less[missing] = Unknown;
                            let (with, without) = (weight(whole, suspect), weight(less, suspect));
                            assert!(without <= 3 && (with == 0 || without <= with), "{whole:?} {suspect:?}");
                        }
                    }
                }
            }
        }
    }
}
