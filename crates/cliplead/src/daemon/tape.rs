//! The recorder: what the devices send and the people do, written as it happens by a thread of its own. A disk that takes
//! nothing is tried again; what does not fit meanwhile ends the recording, is told, and never stops the measuring.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::Context as _;
use record::{LineEvent, RecordingHeader};

use crate::output::talk;
use crate::writer::Writer;

/// Bytes that wait for the disk at most: some minutes of six fast devices.
const WAITING_BYTES_MAX: usize = 8 * 1024 * 1024;
/// What was shown is on the recording, unless its disk is slower than this.
const PATIENCE: Duration = Duration::from_millis(100);

/// A recording being written.
pub(super) struct Tape {
    path: PathBuf,
    writer: Writer,
    /// A line did not fit: nothing may follow it.
    ended: bool,
    slow: bool,
}

impl Tape {
    /// Makes the file; an existing one is not overwritten.
    ///
    /// # Errors
    /// When it exists or cannot be made.
    pub(super) fn create(path: &Path) -> anyhow::Result<Self> {
        let file = File::create_new(path).with_context(|| {
            format!("recording {}: it must be a new file in a folder that can be written", path.display())
        })?;
        let writer = Writer::start("recording", file, WAITING_BYTES_MAX, false)?;
        Ok(Self { path: path.to_owned(), writer, ended: false, slow: false })
    }

    /// The first line.
    pub(super) fn header(&mut self, header: &RecordingHeader) {
        self.line(&record::to_line(header));
    }

    /// One event.
    pub(super) fn event(&mut self, event: &LineEvent) {
        let t = event.time_us();
        let line = record::to_line(event);
        // Time first: a recording is read by people too.
        let rest = line.strip_prefix('{').unwrap_or(&line).replacen(&format!(",\"t\":{t}"), "", 1);
        self.line(&format!("{{\"t\":{t},{rest}"));
    }

    fn line(&mut self, line: &str) {
        if !self.ended && !self.writer.push(line) {
            self.ended = true;
            talk(&format!(
                "cliplead: recording {} ends here: {}; measuring goes on",
                self.path.display(),
                self.why()
            ));
        }
    }

    /// To the file system; what stands there survives the program. A slow disk is waited for once, not each time.
    pub(super) fn flush(&mut self) {
        let patience = if self.slow { Duration::ZERO } else { PATIENCE };
        self.slow = self.writer.drain(patience) > 0;
    }

    /// The same at the end, where there is time.
    pub(super) fn close(&mut self, at_most: Duration) {
        let left = self.writer.drain(at_most);
        if left > 0 && !self.ended {
            talk(&format!(
                "cliplead: recording {}: the last {left} line(s) are not written: {}",
                self.path.display(),
                self.why()
            ));
        }
    }

    fn why(&self) -> String {
        self.writer.fault().unwrap_or_else(|| "its disk is too slow".to_owned())
    }

    /// What is wrong now.
    pub(super) fn fault(&self) -> Option<String> {
        let path = self.path.display();
        if self.ended {
            return Some(format!("recording {path} has ended early: {}", self.why()));
        }
        self.writer.fault().map(|why| format!("recording {path} cannot be written now, tried again: {why}"))
    }
}
