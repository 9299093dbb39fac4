//! The last good rules, stored with the history: the fallback if the folder does not load at start. Does not validate
//! rules; `script` does.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::files;
use crate::rules::Texts;

/// The most bytes of the file: some thousand rules.
const BYTES_MAX: u64 = 64 * 1024 * 1024;

/// Where they are stored.
#[derive(Clone, Debug)]
pub(crate) struct LastGood {
    path: PathBuf,
}

#[derive(Serialize, Deserialize)]
struct File {
    /// A description of this file, for whoever opens it.
    about: String,
    rules: Vec<(String, String)>,
}

impl LastGood {
    /// In the folder of this history.
    pub(crate) fn beside(history: &Path) -> Self {
        let mut name = OsString::from(history);
        name.push(".rules.json");
        Self { path: name.into() }
    }

    /// The file.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// Replaces the stored texts. If the disk refuses, that costs a log message and nothing else.
    pub(crate) fn keep(&self, texts: &Texts) {
        if let Err(error) = self.write(texts) {
            tracing::warn!(
                "the last good rules are not kept: {} cannot be written: {error}",
                self.path.display()
            );
        }
    }

    fn write(&self, texts: &Texts) -> std::io::Result<()> {
        let about = "cliplead: the last rules that loaded; written by the program, not meant to be edited";
        let text = serde_json::to_string(&File { about: about.to_owned(), rules: texts.files.clone() })?;
        if files::read_text(&self.path, BYTES_MAX).is_ok_and(|old| old == text) {
            return Ok(());
        }
        // Whole or not at all: a cut in the middle leaves the old file.
        let mut fresh = OsString::from(&self.path);
        fresh.push(".new");
        let file = std::fs::File::create(&fresh)?;
        std::io::Write::write_all(&mut &file, text.as_bytes())?;
        file.sync_all()?;
        std::fs::rename(&fresh, &self.path)
    }

    /// The texts, if there are any.
    pub(crate) fn texts(&self) -> Option<Texts> {
        let text = files::read_text(&self.path, BYTES_MAX).ok()?;
        serde_json::from_str::<File>(&text).ok().map(|file| Texts::of(file.rules))
    }
}
