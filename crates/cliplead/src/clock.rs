//! The daemon's clock: it runs on while the machine sleeps, so that what was shown before a nap grows old in it. Handed in, so
//! that tests play any course of time. Knows no calendar.

use std::sync::Arc;
use std::time::Duration;

/// A point in time: the span since a start that stays the same while the program runs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Moment(pub(crate) Duration);

impl Moment {
    /// The span since `earlier`; nothing when that is later.
    pub(crate) fn since(self, earlier: Self) -> Duration {
        self.0.saturating_sub(earlier.0)
    }
}

/// Tells the time.
pub(crate) type Clock = Arc<dyn Fn() -> Moment + Send + Sync>;

/// The machine's clock. On Linux and Android it counts from boot, time asleep included (CLOCK_BOOTTIME); on Apple's systems
/// CLOCK_MONOTONIC does. Elsewhere it is the standard library's, which on Windows runs on in sleep too.
pub(crate) fn system() -> Clock {
    #[cfg(unix)]
    {
        use rustix::time::{ClockId, clock_gettime};
        #[cfg(any(target_os = "linux", target_os = "android"))]
        const ID: ClockId = ClockId::Boottime;
        #[cfg(not(any(target_os = "linux", target_os = "android")))]
        const ID: ClockId = ClockId::Monotonic;
        Arc::new(|| {
            let now = clock_gettime(ID);
            let seconds = u64::try_from(now.tv_sec).unwrap_or(0);
            Moment(Duration::new(seconds, u32::try_from(now.tv_nsec).unwrap_or(0)))
        })
    }
    #[cfg(not(unix))]
    {
        let start = std::time::Instant::now();
        Arc::new(move || Moment(start.elapsed()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_goes_on_and_never_back() {
        let clock = system();
        let first = clock();
        let later = std::iter::repeat_with(|| clock()).find(|now| *now > first).unwrap();
        assert!(later.since(first) > Duration::ZERO);
        assert_eq!(first.since(later), Duration::ZERO);
    }

    /// The first line of /proc/uptime is the time since boot, sleep included (proc(5)).
    #[cfg(target_os = "linux")]
    #[test]
    fn it_is_the_time_since_boot_sleep_included() {
        let uptime = |text: &str| text.split(' ').next().and_then(|s| s.parse::<f64>().ok()).unwrap();
        let before = uptime(&std::fs::read_to_string("/proc/uptime").unwrap());
        let now = system()().0.as_secs_f64();
        let after = uptime(&std::fs::read_to_string("/proc/uptime").unwrap());
        assert!((before - 0.02..=after + 0.02).contains(&now), "{before} {now} {after}");
    }
}
