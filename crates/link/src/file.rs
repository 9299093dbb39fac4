//! `file:PATH`: recorded raw bytes, at full speed or paced, every byte once and in order. Does not know recording
//! formats (JSON Lines is the app's business) and drops nothing: it waits for its reader.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::time::Duration;

use tokio::task::spawn_blocking;
use tokio::time::sleep;

use crate::adapter::{Adapter, Found, Link};
use crate::catch_panic::{Panicked, catch_panic};
use crate::error::{OpenError, SelectorFault};
use crate::event::{Disconnect, LinkState};
use crate::options::CHUNK_BYTES_MAX;
use crate::options::{OpenOptions, Pace};
use crate::queue::Sender;
use crate::selector::Selector;
use crate::task::TaskLink;

/// Reads recorded bytes.
#[derive(Debug, Clone, Copy, Default)]
pub struct FileAdapter;

impl Adapter for FileAdapter {
    fn scheme(&self) -> &'static str {
        "file"
    }

    /// Empty: files are named, not discovered.
    fn list(&self) -> Vec<Found> {
        Vec::new()
    }

    fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
        if selector.rest().is_empty() { Err(selector.refuse(SelectorFault::RestMissing)) } else { Ok(()) }
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        self.validate(selector)?;
        let file = open_regular(Path::new(selector.rest()))?;
        let pace = options.pace;
        let link = TaskLink::start(selector, options, |sender| async move {
            if catch_panic(play(file, pace, &sender)).await == Err(Panicked) {
                sender.lost(Disconnect::Panicked);
            }
            sender.end();
        })?;
        Ok(Box::new(link))
    }
}

/// Looks at the file type before opening: opening a named pipe would wait for its writer.
fn open_regular(path: &Path) -> Result<File, OpenError> {
    let unreadable = |error: io::Error| OpenError::Unreadable { path: path.to_owned(), kind: error.kind() };
    if crate::is_device_name(path) || !path.metadata().map_err(unreadable)?.is_file() {
        return Err(OpenError::NotAFile { path: path.to_owned() });
    }
    File::open(path).map_err(unreadable)
}

async fn play(mut file: File, pace: Pace, sender: &Sender) {
    sender.state(LinkState::Syncing);
    let (chunk_bytes, rest) = match pace {
        Pace::Whole => (CHUNK_BYTES_MAX, None),
        Pace::BytesPerSecond(rate) => paced(rate),
    };
    let mut buffer = vec![0_u8; chunk_bytes];
    while !sender.reader_gone() {
        sender.room().await;
        let read = spawn_blocking(move || {
            let got = read_some(&mut file, &mut buffer);
            (file, buffer, got)
        });
        let Ok((file_back, buffer_back, got)) = read.await else {
            return sender.lost(Disconnect::Panicked);
        };
        (file, buffer) = (file_back, buffer_back);
        match got {
            Ok(0) => return,
            Ok(n) => sender.bytes(buffer.get(..n).unwrap_or_default()),
            Err(error) => return sender.lost(Disconnect::Io(error.kind())),
        }
        if let Some(rest) = rest {
            sleep(rest).await;
        }
    }
}

fn read_some(file: &mut File, buffer: &mut [u8]) -> io::Result<usize> {
    loop {
        match file.read(buffer) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            other => return other,
        }
    }
}

/// Chunk size and pause for a rate: about 20 chunks per second, at least one byte each.
fn paced(rate: u32) -> (usize, Option<Duration>) {
    let rate = rate.max(1);
    let chunk = (rate / 20).clamp(1, 4096);
    (chunk as usize, Some(Duration::from_secs_f64(f64::from(chunk) / f64::from(rate))))
}
