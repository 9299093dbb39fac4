//! Manual entry: an entry becomes exactly one line.
#![cfg(feature = "manual")]

use proptest::prelude::*;

use super::{bytes, until};
use crate::{Adapter, EntryField, EntryRefused, LinkState, ManualAdapter, OpenError, OpenOptions};

#[tokio::test]
async fn an_entry_is_one_line() {
    let adapter = ManualAdapter::new();
    let entry = adapter.entry("");
    assert_eq!(entry.enter("C to S", "39.4 uF"), Err(EntryRefused::NotOpen));
    let selector = "manual:".parse().unwrap();
    let mut link = adapter.open(&selector, &OpenOptions::default()).unwrap();
    until(&mut *link, &LinkState::Syncing).await;
    entry.enter(" C to S ", "39.4 uF").unwrap();
    assert_eq!(bytes(&mut *link, 15).await, b"C to S=39.4 uF\n");
    let twice = adapter.open(&selector, &OpenOptions::default());
    assert!(matches!(twice, Err(OpenError::AlreadyOpen { .. })), "{twice:?}");
    drop(link);
    assert_eq!(entry.enter("C to S", "39.4 uF"), Err(EntryRefused::NotOpen));
    assert!(adapter.open(&selector, &OpenOptions::default()).is_ok());
}

#[tokio::test]
async fn what_could_break_the_line_is_refused_whole() {
    let adapter = ManualAdapter::new();
    let _link = adapter.open(&"manual:a".parse().unwrap(), &OpenOptions::default()).unwrap();
    let entry = adapter.entry("a");
    let (point, value) = (EntryField::Point, EntryField::Value);
    for (p, v, expected) in [
        ("", "1", EntryRefused::Empty { part: point }),
        ("x", " ", EntryRefused::Empty { part: value }),
        ("x", "1\ny=2", EntryRefused::Character { part: value }),
        ("x\ry", "1", EntryRefused::Character { part: point }),
        ("x=y", "1", EntryRefused::Character { part: point }),
        ("x", "1\u{2028}2", EntryRefused::Character { part: value }),
        ("x", "1\u{85}2", EntryRefused::Character { part: value }),
        ("x", "1\0", EntryRefused::Character { part: value }),
    ] {
        assert_eq!(entry.enter(p, v), Err(expected), "{p:?} {v:?}");
    }
    assert_eq!(entry.enter(&"x".repeat(65), "1"), Err(EntryRefused::TooLong { part: point }));
}

#[tokio::test]
async fn entries_that_nobody_reads_are_refused_not_lost() {
    let adapter = ManualAdapter::new();
    let mut link = adapter.open(&"manual:".parse().unwrap(), &OpenOptions::default()).unwrap();
    let mut taken = 0;
    while adapter.entry("").enter("point", "1234567890").is_ok() {
        taken += 1;
        assert!(taken < 100_000, "never full");
    }
    assert_eq!(adapter.entry("").enter("point", "1"), Err(EntryRefused::Full));
    assert_eq!(bytes(&mut *link, taken * 17).await, b"point=1234567890\n".repeat(taken));
    assert_eq!(link.counters().dropped_bytes, 0);
}

proptest! {
    #[test]
    fn any_entry_gives_exactly_one_line_or_none(point in any::<String>(), value in any::<String>()) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        runtime.block_on(async {
            let adapter = ManualAdapter::new();
            let mut link = adapter.open(&"manual:".parse().unwrap(), &OpenOptions::default()).unwrap();
            if adapter.entry("").enter(&point, &value).is_ok() {
                let wanted = format!("{}={}\n", point.trim(), value.trim());
                let got = String::from_utf8(bytes(&mut *link, wanted.len()).await).unwrap();
                assert_eq!(got.lines().count(), 1);
                assert_eq!(got.split_once('='), Some((point.trim(), format!("{}\n", value.trim()).as_str())));
            }
        });
    }
}
