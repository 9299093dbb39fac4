//! `stdin:`: bytes piped into the process, every byte once and in order; waits for its reader. A read of standard
//! input cannot be cancelled, so it runs on its own thread, which ends with the input or with the process.

use std::io::{self, Read};
use std::sync::{Mutex, PoisonError};
use std::thread;

use tokio::sync::mpsc;

use crate::adapter::{Adapter, Found, Link};
use crate::error::{OpenError, SelectorFault};
use crate::event::{Disconnect, LinkState};
use crate::options::CHUNK_BYTES_MAX;
use crate::options::OpenOptions;
use crate::queue::Sender;
use crate::selector::Selector;
use crate::task::TaskLink;

type Input = Box<dyn Read + Send>;
type Piece = Result<Vec<u8>, io::ErrorKind>;

/// Chunks read ahead of the queue.
const READ_AHEAD: usize = 2;

/// Reads the process's standard input, once.
pub struct StdinAdapter {
    input: Mutex<Option<Input>>,
}

impl Default for StdinAdapter {
    fn default() -> Self {
        Self::new()
    }
}

impl StdinAdapter {
    /// The real standard input.
    #[must_use]
    pub fn new() -> Self {
        Self::reading(io::stdin())
    }

    /// Another input instead.
    pub fn reading(input: impl Read + Send + 'static) -> Self {
        Self { input: Mutex::new(Some(Box::new(input))) }
    }
}

impl std::fmt::Debug for StdinAdapter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("StdinAdapter").finish_non_exhaustive()
    }
}

impl Adapter for StdinAdapter {
    fn scheme(&self) -> &'static str {
        "stdin"
    }

    /// Empty: standard input is named, not discovered.
    fn list(&self) -> Vec<Found> {
        Vec::new()
    }

    fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
        if selector.rest().is_empty() { Ok(()) } else { Err(selector.refuse(SelectorFault::RestNotEmpty)) }
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        self.validate(selector)?;
        let (pieces, incoming) = mpsc::channel(READ_AHEAD);
        let link = TaskLink::start(selector, options, |sender| pass(incoming, sender))?;
        let input = self.input.lock().unwrap_or_else(PoisonError::into_inner).take();
        let Some(input) = input else {
            return Err(OpenError::AlreadyOpen { selector: selector.to_string() });
        };
        thread::Builder::new()
            .name("stdin".to_owned())
            .spawn(move || read_all(input, &pieces))
            .map_err(|error| OpenError::Unreadable { path: "standard input".into(), kind: error.kind() })?;
        Ok(Box::new(link))
    }
}

/// On the thread: ends with the input, with an error, or when nobody reads.
fn read_all(mut input: Input, pieces: &mpsc::Sender<Piece>) {
    let mut buffer = vec![0_u8; CHUNK_BYTES_MAX];
    loop {
        let piece = match input.read(&mut buffer) {
            Ok(0) => return,
            Ok(n) => Ok(buffer.get(..n).unwrap_or_default().to_vec()),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => Err(error.kind()),
        };
        let last = piece.is_err();
        if pieces.blocking_send(piece).is_err() || last {
            return;
        }
    }
}

/// In the task: from the thread to the queue.
async fn pass(mut incoming: mpsc::Receiver<Piece>, sender: Sender) {
    sender.state(LinkState::Syncing);
    loop {
        sender.room().await;
        match incoming.recv().await {
            None => break,
            Some(Ok(bytes)) => sender.bytes(&bytes),
            Some(Err(kind)) => {
                sender.lost(Disconnect::Io(kind));
                break;
            }
        }
    }
    sender.end();
}
