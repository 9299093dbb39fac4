//! The program's system calls: the clock, signals, its own streams, files that must not block, free space, and texts
//! for each system. Every system provides the same items; the rest of the crate makes no system calls. Re-exports
//! only.

#[cfg(target_os = "linux")]
mod linux;
#[cfg(target_os = "macos")]
mod macos;
#[cfg(all(unix, not(any(target_os = "linux", target_os = "macos"))))]
mod other_unix;
#[cfg(unix)]
mod unix;
#[cfg(windows)]
mod windows;

#[cfg(target_os = "linux")]
pub(crate) use linux::*;
#[cfg(target_os = "macos")]
pub(crate) use macos::*;
#[cfg(all(unix, not(any(target_os = "linux", target_os = "macos"))))]
pub(crate) use other_unix::*;
#[cfg(unix)]
pub(crate) use unix::*;
#[cfg(windows)]
pub(crate) use windows::*;

/// Carries the bytes of the demo's meter (`link::SimulatedMeter`).
#[cfg(all(feature = "demo", unix))]
macro_rules! meter_line {
    () => {
        "on a real pseudo-terminal"
    };
}
#[cfg(all(feature = "demo", not(unix)))]
macro_rules! meter_line {
    () => {
        "in memory"
    };
}
#[cfg(feature = "demo")]
pub(crate) use meter_line;

/// A serial port for the examples of `--help`.
#[cfg(target_os = "linux")]
macro_rules! port_example {
    () => {
        "serial:/dev/serial/by-id/usb-..."
    };
}
#[cfg(not(target_os = "linux"))]
macro_rules! port_example {
    () => {
        "serial:usb=VVVV:PPPP:SERIAL"
    };
}
pub(crate) use port_example;

/// The same, for a port of any kind.
#[cfg(target_os = "linux")]
macro_rules! any_port {
    () => {
        "serial:/dev/serial/by-id/..."
    };
}
#[cfg(not(target_os = "linux"))]
macro_rules! any_port {
    () => {
        port_example!()
    };
}
pub(crate) use any_port;
