//! A simulated meter behind a real pseudo-terminal, so that the serial adapter reads it like any other port. It can
//! be unplugged and replugged behind a stable link, and its script can be changed while it runs. Unix only.

use std::fmt;
use std::fs;
use std::io;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use tokio::io::AsyncWriteExt;
use tokio::runtime::Handle;
use tokio::sync::mpsc;
use tokio::task::AbortHandle;
use tokio::time::{Instant, sleep};
use tokio_serial::{SerialPort as _, SerialStream};

use super::rate::heard;
use crate::options::CHUNK_BYTES_MAX;
use crate::sim::{Script, Step};
use crate::supervise::sleep_until_some;

/// Commands that may wait.
const COMMANDS_MAX: usize = 256;

/// What happens to bytes that nobody reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum WhenFull {
    /// They are lost, as on a real line, and counted.
    #[default]
    Drop,
    /// The meter waits: for tests that need every byte.
    Wait,
}

/// How a simulated meter behaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PtyOptions {
    /// What happens to bytes that nobody reads.
    pub when_full: WhenFull,
    /// The rate at which it sends. Opened at another rate, it delivers what a receiver would hear; `None`: any rate
    /// works.
    pub baud: Option<u32>,
}

/// A command to a pty meter.
enum Command {
    Play(Box<dyn Script>),
    Send(Vec<u8>),
    Unplug,
    Replug,
}

/// The handle of a simulated meter. Dropping it ends the meter and removes its link.
#[derive(Debug)]
pub struct PtyMeter {
    link: PathBuf,
    commands: mpsc::Sender<Command>,
    unread_bytes: Arc<AtomicU64>,
    task: AbortHandle,
}

impl PtyMeter {
    /// Starts a meter behind the link `link`, which must not exist yet or be a link left over. It plays `script`.
    /// The serial adapter opens it as `serial:LINK`. Must be called within a tokio runtime.
    ///
    /// # Errors
    /// The link is taken, or the system gives no pseudo-terminal.
    pub fn spawn(link: &Path, script: impl Script + 'static, options: PtyOptions) -> Result<Self, PtyError> {
        let runtime = Handle::try_current().map_err(|_| PtyError::NoRuntime)?;
        if fs::symlink_metadata(link).is_ok_and(|meta| !meta.file_type().is_symlink()) {
            return Err(PtyError::LinkTaken { link: link.to_owned() });
        }
        let plug = Plug::put_in(link)?;
        let (commands, orders) = mpsc::channel(COMMANDS_MAX);
        let unread_bytes = Arc::new(AtomicU64::new(0));
        let meter = Meter {
            link: link.to_owned(),
            plug: Some(plug),
            script: Some(Box::new(script)),
            when_full: options.when_full,
            baud: options.baud,
            unread_bytes: Arc::clone(&unread_bytes),
        };
        let task = runtime.spawn(meter.run(orders)).abort_handle();
        Ok(Self { link: link.to_owned(), commands, unread_bytes, task })
    }

    /// The stable path, whether plugged in or not.
    #[must_use]
    pub fn link(&self) -> &Path {
        &self.link
    }

    /// The selector that opens it.
    #[must_use]
    pub fn selector(&self) -> String {
        format!("serial:{}", self.link.display())
    }

    /// Plays another script from now on: probe clipped on, lifted, part changed.
    ///
    /// # Errors
    /// The meter is stopped, or takes no commands.
    pub fn play(&self, script: impl Script + 'static) -> Result<(), PtyError> {
        self.order(Command::Play(Box::new(script)))
    }

    /// Sends bytes now, in addition to the script.
    ///
    /// # Errors
    /// As [`PtyMeter::play`].
    pub fn send(&self, bytes: impl Into<Vec<u8>>) -> Result<(), PtyError> {
        self.order(Command::Send(bytes.into()))
    }

    /// Pulls the plug: the terminal is gone and so is the link.
    ///
    /// # Errors
    /// As [`PtyMeter::play`].
    pub fn unplug(&self) -> Result<(), PtyError> {
        self.order(Command::Unplug)
    }

    /// Plugs it in again: a new terminal behind the same link. The script goes on.
    ///
    /// # Errors
    /// As [`PtyMeter::play`].
    pub fn replug(&self) -> Result<(), PtyError> {
        self.order(Command::Replug)
    }

    /// Bytes lost because nobody read them.
    #[must_use]
    pub fn unread_bytes(&self) -> u64 {
        self.unread_bytes.load(Ordering::Relaxed)
    }

    fn order(&self, command: Command) -> Result<(), PtyError> {
        self.commands.try_send(command).map_err(|error| match error {
            mpsc::error::TrySendError::Full(_) => PtyError::Busy,
            mpsc::error::TrySendError::Closed(_) => PtyError::Stopped,
        })
    }
}

impl Drop for PtyMeter {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Both ends of the terminal and the link to it. The far end is kept open so that the near end never reads "hung up".
struct Plug {
    near: SerialStream,
    _far: SerialStream,
    link: PathBuf,
}

impl Plug {
    fn put_in(link: &Path) -> Result<Self, PtyError> {
        let system = |error: io::Error| PtyError::System { kind: error.kind() };
        let (near, far) = SerialStream::pair().map_err(|error| system(error.into()))?;
        let name = far.name().ok_or(PtyError::System { kind: io::ErrorKind::NotFound })?;
        // Made aside and moved into place, so that a reader sees the old link, none, or the new one.
        let aside = link.with_extension("new");
        let _ = fs::remove_file(&aside);
        symlink(name, &aside).map_err(system)?;
        fs::rename(&aside, link).map_err(system)?;
        Ok(Self { near, _far: far, link: link.to_owned() })
    }
}

impl Drop for Plug {
    fn drop(&mut self) {
        // Best effort: a link that is left over leads nowhere.
        let _ = fs::remove_file(&self.link);
    }
}

/// The task's own state.
struct Meter {
    link: PathBuf,
    plug: Option<Plug>,
    script: Option<Box<dyn Script>>,
    when_full: WhenFull,
    baud: Option<u32>,
    unread_bytes: Arc<AtomicU64>,
}

impl Meter {
    async fn run(mut self, mut orders: mpsc::Receiver<Command>) {
        let mut last = Instant::now();
        let mut step = self.next_step();
        let mut request = vec![0_u8; CHUNK_BYTES_MAX];
        loop {
            let due = match &step {
                Some(Step::Send { after, .. }) => Some(last + *after),
                Some(Step::Unplug { .. }) => Some(last),
                None => None,
            };
            tokio::select! {
                biased;
                order = orders.recv() => match order {
                    None => return,
                    Some(Command::Play(script)) => {
                        self.script = Some(script);
                        last = Instant::now();
                        step = self.next_step();
                    }
                    Some(order) => self.obey(order).await,
                },
                asked = read_near(self.plug.as_mut(), &mut request) => {
                    let asked = request.get(..asked).unwrap_or_default();
                    let answer = self.script.as_mut().map(|script| script.reply(asked)).unwrap_or_default();
                    self.write(&answer).await;
                }
                () = sleep_until_some(due) => {
                    last = due.unwrap_or(last);
                    match step.take() {
                        Some(Step::Send { bytes, .. }) => self.write(&bytes).await,
                        Some(Step::Unplug { away }) => {
                            self.plug = None;
                            sleep(away).await;
                            self.plug = Plug::put_in(&self.link).ok();
                            last = Instant::now();
                        }
                        None => {}
                    }
                    step = self.next_step();
                    // A script without waits must not keep the thread.
                    tokio::task::yield_now().await;
                }
            }
        }
    }

    fn next_step(&mut self) -> Option<Step> {
        self.script.as_mut().and_then(|script| script.next_step())
    }

    async fn obey(&mut self, order: Command) {
        match order {
            Command::Send(bytes) => self.write(&bytes).await,
            Command::Unplug => self.plug = None,
            Command::Replug => {
                if self.plug.is_none() {
                    self.plug = Plug::put_in(&self.link).ok();
                }
            }
            Command::Play(script) => self.script = Some(script),
        }
    }

    /// Puts bytes on the line. Unplugged, they are lost like those that nobody reads.
    async fn write(&mut self, bytes: &[u8]) {
        // Both ends of a terminal share its settings, so this is what the program has set.
        let theirs = self.plug.as_ref().and_then(|plug| plug.near.baud_rate().ok());
        let heard = self.baud.zip(theirs).map(|(ours, theirs)| heard(bytes, ours, theirs));
        let bytes = heard.as_deref().unwrap_or(bytes);
        let mut written = 0;
        if let Some(plug) = &mut self.plug {
            match self.when_full {
                WhenFull::Wait => {
                    if plug.near.write_all(bytes).await.is_ok() {
                        written = bytes.len();
                    }
                }
                WhenFull::Drop => {
                    while let Some(rest) = bytes.get(written..).filter(|rest| !rest.is_empty()) {
                        match plug.near.try_write(rest) {
                            Ok(n) if n > 0 => written += n,
                            _ => break,
                        }
                    }
                }
            }
        }
        let lost = bytes.len().saturating_sub(written) as u64;
        self.unread_bytes.fetch_add(lost, Ordering::Relaxed);
    }
}

/// Bytes that the program sent to the meter; waits forever while unplugged.
async fn read_near(plug: Option<&mut Plug>, buffer: &mut [u8]) -> usize {
    use tokio::io::AsyncReadExt as _;
    match plug {
        Some(plug) => match plug.near.read(buffer).await {
            Ok(n) if n > 0 => n,
            // The far end is ours and open, so this does not come; if it does, do not spin.
            _ => std::future::pending().await,
        },
        None => std::future::pending().await,
    }
}

/// Why a simulated meter could not be created or controlled.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum PtyError {
    /// There is something other than a link at the path.
    LinkTaken {
        /// The path.
        link: PathBuf,
    },
    /// The system refused a pseudo-terminal or the link.
    System {
        /// What it said.
        kind: io::ErrorKind,
    },
    /// Too many commands wait.
    Busy,
    /// The meter has ended.
    Stopped,
    /// Called outside a tokio runtime: a defect of the caller.
    NoRuntime,
}

impl fmt::Display for PtyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LinkTaken { link } => write!(
                f,
                "{} exists and is not a link; choose another path for the simulated meter",
                link.display()
            ),
            Self::System { kind } => write!(
                f,
                "no pseudo-terminal for the simulated meter: {kind}; check that /dev/pts is mounted and the folder writable"
            ),
            Self::Busy => f.write_str("the simulated meter has too many commands waiting"),
            Self::Stopped => f.write_str("the simulated meter has ended"),
            Self::NoRuntime => f.write_str(
                "a simulated meter was started outside the async runtime (a defect, please report it)",
            ),
        }
    }
}

impl std::error::Error for PtyError {}
