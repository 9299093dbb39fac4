//! The recorder: what the devices send and the people do, written as it happens. A recording that cannot be written is
//! told once and never stops the measuring.

use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use record::{LineEvent, RecordingHeader};

use crate::output::talk;

/// A recording being written.
pub(super) struct Tape {
    path: PathBuf,
    file: Option<BufWriter<File>>,
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
        Ok(Self { path: path.to_owned(), file: Some(BufWriter::new(file)) })
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
        let Some(file) = &mut self.file else { return };
        if let Err(error) = writeln!(file, "{line}") {
            self.give_up(&error);
        }
    }

    /// To the file system; what stands there survives the program.
    pub(super) fn flush(&mut self) {
        let Some(file) = &mut self.file else { return };
        if let Err(error) = file.flush() {
            self.give_up(&error);
        }
    }

    fn give_up(&mut self, error: &std::io::Error) {
        self.file = None;
        talk(&format!("cliplead: recording {} ends here: {error}; measuring goes on", self.path.display()));
    }
}
