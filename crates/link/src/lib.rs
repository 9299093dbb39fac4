//! `link`: how a meter's bytes reach the program. Holds the adapter trait, the registry, the bounded queue, the
//! supervisor that reopens for ever, and today's adapters: serial, TCP, Bluetooth LE, file, stdin, simulator, manual entry;
//! tracer and fault injector wrap any of them, and so does the asking of devices that speak only when asked.
//!
//! It does not interpret bytes (that is `wire`, which also says what to ask), does not stamp times (the daemon stamps on receipt) and decides nothing.
//!
//! # The contract every adapter keeps
//! 1. An opened link gives [`LinkEvent`]s: bytes in order, gaps, states. It never gives readings.
//! 2. Bytes come only after [`LinkState::Syncing`], which says "open, nothing heard yet".
//! 3. Whatever is lost is told: exactly one [`LinkEvent::Gap`] stands where bytes are missing, before the state that says why.
//! 4. A live source never waits for its reader. A reader that falls behind by more than the queue holds loses the whole
//!    backlog, told as one counted gap, and goes on with the present. Finite sources (file, stdin) wait instead and lose nothing.
//! 5. A device that is absent, busy, forbidden or broken is looked for again for ever, and never delays another.
//! 6. Dropping the link stops its task and frees the device. What has to be said to a device in parting takes some time;
//!    [`Registry::close`] waits for it, and every program calls it before its runtime ends.
//! 7. Listing never opens a device and never fails.
//!
//! `conformance::check` (feature `testing`) proves these for any adapter.

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
mod closing;
#[cfg(any(test, feature = "testing"))]
pub mod conformance;
mod error;
mod event;
#[cfg(any(test, feature = "testing"))]
mod faults;
#[cfg(feature = "file")]
mod file;
mod forward;
mod guard;
#[cfg(feature = "manual")]
mod manual;
mod options;
mod polled;
mod queue;
mod registry;
mod selector;
#[cfg(feature = "serial")]
mod serial;
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

pub use adapter::{Adapter, Found, Link, RequestRefused, Requests, Scanning};
#[cfg(feature = "ble-portable")]
pub use ble::PortableBleAdapter;
#[cfg(feature = "ble")]
pub use ble::{BleAdapter, BlePlace};
pub use closing::{CLOSE_TIME_MAX, Closing, NotLetGo};
pub use error::{Absence, Mend, OpenError, SelectorFault};
pub use event::{Counters, GapReason, LinkEvent, LinkState, Loss};
#[cfg(any(test, feature = "testing"))]
pub use faults::{Fault, FaultCounts, FaultRates, FaultyAdapter, FaultyLink, Injected};
#[cfg(feature = "file")]
pub use file::FileAdapter;
#[cfg(feature = "manual")]
pub use manual::{EntryPart, EntryRefused, ManualAdapter, ManualEntry};
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
