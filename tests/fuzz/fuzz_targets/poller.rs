//! Any bytes at any time to the pollers of both classes that are asked: no panic, little held, the books hold, and what is due
//! is done.
#![no_main]

use libfuzzer_sys::fuzz_target;
use quantity::{Duration, Instant};
use std::sync::LazyLock;
use wire::Profile;
use wire::poll::Poller;

static PROFILES: LazyLock<[Profile; 2]> = LazyLock::new(|| {
    [
        include_str!("../../../hardware-notes/generic-modbus-meter/profile.toml"),
        include_str!("../../../hardware-notes/generic-scpi-meter/profile.toml"),
    ]
    .map(|text| Profile::parse(text).unwrap_or_else(|error| panic!("{error}")))
});

fuzz_target!(|data: &[u8]| {
    for profile in &*PROFILES {
        let mut poller = profile.poller(0).unwrap_or_else(|| panic!("it is asked"));
        let mut now = Instant::ZERO;
        poller.opened(now);
        let mut rest = data;
        // A length and a wait in 4 ms, then so many bytes.
        while let [length, wait, tail @ ..] = rest {
            let (piece, after) = tail.split_at(usize::from(*length).min(tail.len()));
            rest = after;
            now = now + Duration::from_millis(4 * i64::from(*wait));
            poller.received(now, piece, &mut |_| {});
            poller.tick(now, &mut |_| {});
            assert!(poller.held() <= 512);
        }
        let c = poller.counters();
        assert!(c.ignored_bytes <= c.bytes);
    }
});
