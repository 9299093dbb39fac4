//! What lies beyond a danger's limit, and what is judged of it.
use super::*;
use crate::evaluate::Judged;
use crate::limits::Word;
use crate::rule::{NamedLimit, Point, Source, SourceClass};
use alloc::string::ToString;
use quantity::{DisplayUnit, Unit};

fn header(beyond: Beyond) -> Header {
    let ppm = Unit::parse("ppm").unwrap();
    let point = Point {
        name: "co".into(),
        label: "carbon monoxide".into(),
        display: DisplayUnit { unit: ppm, coupling: None },
        plausible: None,
        open_counts_as: None,
        drift: None,
        line: 1,
    };
    // NIOSH recommended exposure limit, 35 ppm (from memory).
    let source = Source { text: "recommended limit".into(), class: SourceClass::Memory };
    let limit = NamedLimit { name: "leave".into(), value: 35.0, unit: ppm, source, line: 2 };
    let danger = Danger {
        point: 0,
        beyond,
        limit: 0,
        at: 35.0,
        advice: "everybody out".into(),
        ends: Vec::new(),
        line: 3,
    };
    Header { points: [point].into(), limits: [limit].into(), dangers: [danger].into(), ..Header::default() }
}

#[test]
fn a_danger_begins_beyond_its_limit_and_not_at_it() {
    let of = |beyond: Beyond| [34.9, 35.0, 35.1].map(|value| header(beyond).dangers[0].is_past(value));
    assert_eq!(of(Beyond::Above), [false, false, true]);
    assert_eq!(of(Beyond::Below), [true, false, false]);
    assert!(!header(Beyond::Above).dangers[0].is_past(f64::NAN));
}

/// Inside the guard band the word would be conditional (ILAC-G8:09/2019, 4.2.3); a danger does not wait for it.
#[test]
fn it_is_a_fail_with_its_limit_source_and_advice_whatever_the_meter_doubts() {
    for (beyond, value) in [(Beyond::Above, 35.1), (Beyond::Below, 34.9)] {
        let header = header(beyond);
        let judgement = header.dangers[0].judgement(&header, value).unwrap();
        let judged = Judged::danger(judgement, 5.0);
        assert_eq!((judged.word, judged.meter_too_coarse), (Word::Fail, false));
        assert_eq!(judged.advice().as_deref(), Some("everybody out"));
        assert_eq!(&*judged.judgement.name, "danger: carbon monoxide");
        let limit = judged.judgement.low.or(judged.judgement.high);
        assert_eq!(
            (limit, judged.judgement.source.to_string()),
            (Some(35.0), "recommended limit [from memory]".into())
        );
        let conforms = judged.probability_of_conformance;
        assert!((0.4..0.5).contains(&conforms), "{conforms}");
        let at_the_limit = header.dangers[0].judgement(&header, 35.0).unwrap();
        assert_eq!(
            Judged::danger(at_the_limit, 0.0).probability_of_conformance,
            0.0,
            "beyond a meter's range"
        );
    }
    let (other, header) = (Header::default(), header(Beyond::Above));
    assert_eq!(header.dangers[0].judgement(&other, 40.0), None);
}
