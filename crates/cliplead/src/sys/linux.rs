//! Linux: the clock since boot, the mask of ignored signals, and its texts. Code common to Unix systems is in `unix`.

use doctor::{Remedy, RunPolicy};
use rustix::time::ClockId;

/// Counts from boot, including sleep (CLOCK_BOOTTIME).
pub(super) const CLOCK: ClockId = ClockId::Boottime;

/// Where `devices list` looked for serial ports.
pub(crate) const SERIAL_LOOKED_FOR: &str = "ports with hardware behind them, in /sys/class/tty: none";

/// Whether whoever started the program wants it to continue without a terminal, as nohup does.
pub(super) fn ignores_hangup() -> bool {
    is_ignored(&std::fs::read_to_string("/proc/self/status").unwrap_or_default())
}

/// Whether the mask of ignored signals includes SIGHUP, number 1 (proc(5), "SigIgn", hexadecimal).
fn is_ignored(status: &str) -> bool {
    status
        .lines()
        .find_map(|line| line.strip_prefix("SigIgn:"))
        .and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok())
        .is_some_and(|mask| mask & 1 != 0)
}

/// How to correct a wrong date.
pub(crate) fn date_remedy() -> Remedy {
    Remedy::root(RunPolicy::ByHand, "sets it from the network", &["timedatectl", "set-ntp", "true"])
}

#[cfg(test)]
mod tests {
    use super::is_ignored;

    #[test]
    fn nohup_is_heeded() {
        assert!(is_ignored("Name:\tcliplead\nSigIgn:\t0000000000001001\nSigCgt:\t0\n"));
        assert!(!is_ignored("Name:\tcliplead\nSigIgn:\t0000000000001000\n"));
        assert!(!is_ignored(""));
    }

    /// The first line of /proc/uptime is the time since boot, sleep included (proc(5)).
    #[test]
    fn the_clock_is_the_time_since_boot_sleep_included() {
        let uptime = |text: &str| text.split(' ').next().and_then(|s| s.parse::<f64>().ok()).unwrap();
        let before = uptime(&std::fs::read_to_string("/proc/uptime").unwrap());
        let now = super::super::clock()().as_secs_f64();
        let after = uptime(&std::fs::read_to_string("/proc/uptime").unwrap());
        assert!((before - 0.02..=after + 0.02).contains(&now), "{before} {now} {after}");
    }
}
