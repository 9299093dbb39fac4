//! `link`: how a meter's bytes reach the program. Holds the adapter trait, the registry, the bounded queue, the
//! supervisor that keeps reopening devices, and the adapters: serial, TCP, Bluetooth LE, file, stdin, simulator,
//! manual entry. A tracer, a fault injector and the poller for devices that speak only when asked can wrap any of
//! them.
//!
//! It does not interpret bytes (`wire` does, and also decides what to send to polled devices), does not time-stamp
//! (the daemon does on receipt) and decides nothing.
//!
//! # The adapter contract
//! 1. An open link delivers [`LinkEvent`]s: bytes in order, gaps, states. It never delivers readings.
//! 2. Bytes come only after [`LinkState::Syncing`], which means "open, nothing received yet".
//! 3. Every loss is reported: exactly one [`LinkEvent::Gap`] marks the place of the missing bytes, before the state
//!    that gives the reason.
//! 4. A live source never waits for its reader. A reader that falls behind by more than the queue holds loses the
//!    whole backlog, reported as one counted gap, and continues with current data. Finite sources (file, stdin) wait
//!    instead and lose nothing.
//! 5. A device that is absent, busy, forbidden or broken is retried forever and never delays another.
//! 6. Dropping the link stops its task and frees the device. Some devices need time to disconnect:
//!    [`Registry::close`] waits for that, and every program calls it before its runtime ends.
//! 7. Listing never opens a device and never fails.
//!
//! `conformance::verify` (feature `testing`) tests all of this for any adapter.

#![cfg_attr(
    not(all(
        feature = "serial",
        feature = "tcp",
        feature = "ble",
        feature = "file",
        feature = "stdin",
        feature = "sim",
        feature = "manual",
    )),
    allow(
        dead_code,
        unused_imports,
        reason = "shared parts serve all adapters; a build with a few leaves some unused"
    )
)]

mod adapter;
mod backoff;
#[cfg(feature = "ble")]
mod ble;
mod catch_panic;
#[cfg(any(test, feature = "testing"))]
pub mod conformance;
mod error;
mod event;
#[cfg(any(test, feature = "testing"))]
mod faults;
#[cfg(feature = "file")]
mod file;
mod forward;
#[cfg(feature = "manual")]
mod manual;
mod options;
mod polled;
mod queue;
mod registry;
mod selector;
#[cfg(feature = "serial")]
mod serial;
mod shutdown;
#[cfg(feature = "sim")]
mod sim;
#[cfg(feature = "stdin")]
mod stdin;
mod supervise;
mod sys;
mod task;
#[cfg(feature = "tcp")]
mod tcp;
#[cfg(any(test, feature = "testing"))]
mod tracer;

pub use adapter::{Adapter, Found, Link, RequestRefused, Requests, ScanFuture};
#[cfg(feature = "ble-portable")]
pub use ble::PortableBleAdapter;
#[cfg(feature = "ble")]
pub use ble::{BleAdapter, BlePlace};
pub use error::{OpenError, Remedy, SelectorFault, Unavailable};
pub use event::{Disconnect, GapReason, LinkCounters, LinkEvent, LinkState};
#[cfg(any(test, feature = "testing"))]
pub use faults::{Fault, FaultCounts, FaultRates, FaultyAdapter, FaultyLink, Injected};
#[cfg(feature = "file")]
pub use file::FileAdapter;
#[cfg(feature = "manual")]
pub use manual::{EntryField, EntryRefused, ManualAdapter, ManualEntry};
pub use options::{
    CHUNK_BYTES_MAX, DataBits, LineSettings, OpenOptions, OptionFault, Pace, Parity, StopBits,
};
pub use polled::PolledAdapter;
pub use registry::Registry;
pub use selector::Selector;
#[cfg(feature = "serial")]
pub use serial::sys::look as ports;
#[cfg(feature = "serial")]
pub use serial::{NamedPort, Port, SerialAdapter, SerialPlace, UsbIdentity};
pub use shutdown::{CLOSE_TIME_MAX, CloseFuture, NotReleased};
#[cfg(all(feature = "serial", feature = "sim"))]
pub use sim::sys::*;
#[cfg(feature = "sim")]
pub use sim::{Script, SimAdapter, Step, Steps};
#[cfg(feature = "stdin")]
pub use stdin::StdinAdapter;
pub use sys::{files, is_device_name};
#[cfg(feature = "tcp")]
pub use tcp::{TcpAdapter, TcpHost, TcpPlace};
#[cfg(any(test, feature = "testing"))]
pub use tracer::{Traced, TracedAdapter, TracedLink};

#[cfg(test)]
mod tests;
