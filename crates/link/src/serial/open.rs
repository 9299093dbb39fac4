//! Opens one serial port: finds it, takes it for exclusive use, sets the line, flushes its buffer. Turns each failure
//! into an [`Unavailable`] that says what to do.

use std::fmt;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;
use std::{io, panic};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::Mutex;
use tokio::task::{JoinHandle, spawn_blocking};
use tokio::time::timeout;
use tokio_serial::{ClearBuffer, SerialPort as _, SerialStream};

use super::port::SerialPlace;
use super::sys::{self as serial, Source};
use crate::error::Unavailable;
use crate::options::{DataBits, LineSettings, Parity, StopBits};
use crate::supervise::Opener;

/// After this long a pending open is reported; the attempt itself continues.
const OPEN_TIME_MAX: Duration = Duration::from_secs(5);

type Attempt = JoinHandle<Result<OpenPort, Unavailable>>;

/// A control line that a profile may set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ControlLine {
    Dtr,
    Rts,
}

/// Opens the port of one place. Opening runs on a blocking thread, at most one at a time per device, because some
/// drivers block the caller.
pub(crate) struct SerialOpener {
    request: Arc<Request>,
    /// An attempt that has not returned yet.
    pending: Mutex<Option<Attempt>>,
}

struct Request {
    place: SerialPlace,
    line: LineSettings,
    source: Source,
    /// Whether it was reported that a control line cannot be set; that holds for each opening.
    told: AtomicBool,
}

impl SerialOpener {
    pub(crate) fn new(place: SerialPlace, line: LineSettings, source: Source) -> Self {
        let request = Request { place, line, source, told: AtomicBool::new(false) };
        Self { request: Arc::new(request), pending: Mutex::new(None) }
    }
}

impl Opener for SerialOpener {
    type Stream = OpenPort;

    async fn open(&self) -> Result<OpenPort, Unavailable> {
        let mut pending = self.pending.lock().await;
        let request = Arc::clone(&self.request);
        let mut attempt = pending.take().unwrap_or_else(|| spawn_blocking(move || open_now(&request)));
        match timeout(OPEN_TIME_MAX, &mut attempt).await {
            Ok(Ok(result)) => result,
            // The supervisor counts and reports a panic below.
            Ok(Err(error)) if error.is_panic() => panic::resume_unwind(error.into_panic()),
            Ok(Err(_)) => Err(Unavailable::OpenStalled { what: self.request.place.to_string() }),
            Err(_elapsed) => {
                *pending = Some(attempt);
                Err(Unavailable::OpenStalled { what: self.request.place.to_string() })
            }
        }
    }
}

fn open_now(request: &Request) -> Result<OpenPort, Unavailable> {
    let Request { place, line, source, told } = request;
    let found = serial::locate(place, source)?;
    let builder = tokio_serial::new(&found.text, line.baud)
        .data_bits(library_data_bits(line.data_bits))
        .parity(library_parity(line.parity))
        .stop_bits(library_stop_bits(line.stop_bits));
    // The library would throw away what the system says to it.
    let builder = builder.preserve_dtr_on_open();
    let mut port =
        OpenPort(SerialStream::open(&builder).map_err(|error| serial::refused(&error, &found, source))?);
    raise_lines(&mut port.0, line);
    let refused = set_control_lines(line, |which, level| match which {
        ControlLine::Dtr => port.0.write_data_terminal_ready(level),
        ControlLine::Rts => port.0.write_request_to_send(level),
    });
    // A pseudo-terminal has no such lines, and an adapter without them still delivers.
    if !refused.is_empty() && !told.swap(true, Ordering::Relaxed) {
        tracing::warn!(
            "{} does not do what the profile asks for: {}; a cable that takes its supply from there gives no values",
            found.shown,
            refused.join(", ")
        );
    }
    // A pseudo-terminal takes settings and reads back others: nothing to learn there.
    if !found.is_pty
        && let Some(setting) = setting_refused(&port.0, line)
    {
        return Err(Unavailable::SettingRefused { path: found.shown, setting });
    }
    // What came before the settings held is noise or old news.
    let _ = port.0.clear(ClearBuffer::Input);
    Ok(port)
}

/// Sets the requested lines and leaves the others alone; returns what was refused and the system's error text.
pub(crate) fn set_control_lines<E: fmt::Display>(
    line: &LineSettings,
    mut set: impl FnMut(ControlLine, bool) -> Result<(), E>,
) -> Vec<String> {
    let mut refused = Vec::new();
    for (which, name, level) in [(ControlLine::Dtr, "DTR", line.dtr), (ControlLine::Rts, "RTS", line.rts)] {
        let Some(level) = level else { continue };
        if let Err(error) = set(which, level) {
            refused.push(format!("{name} {} ({error})", if level { "on" } else { "off" }));
        }
    }
    refused
}

/// On systems that leave the control lines low, raises those that the profile does not name: cables draw their power
/// from them. A port without control lines still delivers.
fn raise_lines(port: &mut SerialStream, line: &LineSettings) {
    let Some(level) = serial::LEVEL_UNLESS_SET else { return };
    if line.dtr.is_none() {
        let _ = port.write_data_terminal_ready(level);
    }
    if line.rts.is_none() {
        let _ = port.write_request_to_send(level);
    }
}

fn library_data_bits(bits: DataBits) -> tokio_serial::DataBits {
    match bits {
        DataBits::Five => tokio_serial::DataBits::Five,
        DataBits::Six => tokio_serial::DataBits::Six,
        DataBits::Seven => tokio_serial::DataBits::Seven,
        DataBits::Eight => tokio_serial::DataBits::Eight,
    }
}

fn library_parity(parity: Parity) -> tokio_serial::Parity {
    match parity {
        Parity::None => tokio_serial::Parity::None,
        Parity::Odd => tokio_serial::Parity::Odd,
        Parity::Even => tokio_serial::Parity::Even,
    }
}

fn library_stop_bits(bits: StopBits) -> tokio_serial::StopBits {
    match bits {
        StopBits::One => tokio_serial::StopBits::One,
        StopBits::Two => tokio_serial::StopBits::Two,
    }
}

/// The first setting that reads back different from the request. A setting that cannot be read back is not an error.
fn setting_refused(port: &SerialStream, line: &LineSettings) -> Option<&'static str> {
    if port.data_bits().is_ok_and(|bits| bits != library_data_bits(line.data_bits)) {
        Some("data bits")
    } else if port.parity().is_ok_and(|parity| parity != library_parity(line.parity)) {
        Some("parity")
    } else if port.stop_bits().is_ok_and(|bits| bits != library_stop_bits(line.stop_bits)) {
        Some("stop bits")
    } else {
        None
    }
}

/// An open port. On drop, unsent bytes are discarded first, so closing never waits for a device that accepts none.
#[derive(Debug)]
pub(crate) struct OpenPort(SerialStream);

impl Drop for OpenPort {
    fn drop(&mut self) {
        let _ = self.0.clear(ClearBuffer::Output);
    }
}

impl AsyncRead for OpenPort {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_read(cx, buf)
    }
}

impl AsyncWrite for OpenPort {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(cx, buf)
    }

    fn poll_flush(self: Pin<&mut Self>, _cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        // The library's flush waits in the kernel until all is sent; requests need no such wait.
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.poll_flush(cx)
    }
}
