//! The only way to read a whole file: a regular file, up to a size limit, without ever blocking. A pipe, a device, a
//! folder or a huge file is an error that names it. Does not know the content of files.

use std::fmt;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use crate::sys;

/// The most bytes of one rule; the loader's own limit is lower and has a more detailed message.
pub(crate) const RULE_BYTES_MAX: u64 = 256 * 1024;
/// The most bytes of a file of cases, a site's file, a profile.
pub(crate) const SETTINGS_BYTES_MAX: u64 = 1024 * 1024;
/// The most bytes of the lines that a replay is compared with.
pub(crate) const EXPECTATION_BYTES_MAX: u64 = 64 * 1024 * 1024;

/// A character that some editors put before the text. It means nothing in UTF-8.
const BYTE_ORDER_MARK: char = '\u{feff}';

/// Why a file was not read. Each text names the file.
#[derive(Debug)]
pub(crate) enum ReadError {
    /// The system refused it.
    Refused(PathBuf, io::Error),
    /// It is not a regular file.
    NotAFile(PathBuf, &'static str),
    /// It has more bytes than may be read.
    TooLarge(PathBuf, u64),
    /// It is not UTF-8; the first bad line (1-based).
    NotText(PathBuf, usize),
}

impl ReadError {
    /// What is wrong, without the file's name.
    pub(crate) fn why(&self) -> String {
        match self {
            Self::Refused(_, error) => format!("cannot be read: {error}"),
            Self::NotAFile(_, what) => format!("is {what}, not a file; name a regular file"),
            Self::TooLarge(_, limit) => format!("has more than {limit} bytes, the most that is read here"),
            Self::NotText(_, line) => {
                format!("is not UTF-8 text, first in line {line}; save it as UTF-8")
            }
        }
    }

    /// The line at fault, 1-based; 0 if none is.
    pub(crate) fn line(&self) -> usize {
        if let Self::NotText(_, line) = self { *line } else { 0 }
    }

    /// The file.
    pub(crate) fn path(&self) -> &Path {
        match self {
            Self::Refused(path, _)
            | Self::NotAFile(path, _)
            | Self::TooLarge(path, _)
            | Self::NotText(path, _) => path,
        }
    }
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.path().display(), self.why())
    }
}

impl std::error::Error for ReadError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        // The system's words stand in the text already.
        None
    }
}

/// Opens a regular file for reading, without waiting for the other end of a pipe.
///
/// # Errors
/// [`ReadError::Refused`] or [`ReadError::NotAFile`].
pub(crate) fn open(path: &Path) -> Result<File, ReadError> {
    let refused = |error| ReadError::Refused(path.to_owned(), error);
    // Opening some devices does something by itself, so the kind is looked at first; and again when it is open, since
    // the name may lead elsewhere by then.
    if link::is_device_name(path) {
        return Err(ReadError::NotAFile(path.to_owned(), DEVICE));
    }
    must_be_file(path, &path.metadata().map_err(refused)?)?;
    let file = sys::for_reading().open(path).map_err(refused)?;
    must_be_file(path, &file.metadata().map_err(refused)?)?;
    Ok(file)
}

/// Neither a file nor a folder.
const DEVICE: &str = "a pipe, a socket or a device";

fn must_be_file(path: &Path, meta: &std::fs::Metadata) -> Result<(), ReadError> {
    if meta.is_file() {
        return Ok(());
    }
    let what = if meta.is_dir() { "a folder" } else { DEVICE };
    Err(ReadError::NotAFile(path.to_owned(), what))
}

/// All bytes of a regular file with at most `limit` of them. Reads no more than one byte beyond the limit.
///
/// # Errors
/// Any [`ReadError`] but [`ReadError::NotText`].
pub(crate) fn read_bytes(path: &Path, limit: u64) -> Result<Vec<u8>, ReadError> {
    let mut bytes = Vec::new();
    let file = open(path)?;
    let too_large = || ReadError::TooLarge(path.to_owned(), limit);
    if file.metadata().is_ok_and(|meta| meta.len() > limit) {
        return Err(too_large());
    }
    file.take(limit.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(|error| ReadError::Refused(path.to_owned(), error))?;
    if bytes.len() as u64 > limit { Err(too_large()) } else { Ok(bytes) }
}

/// The text of a regular file with at most `limit` bytes, without the byte order mark that may stand before it.
///
/// # Errors
/// Any [`ReadError`].
pub(crate) fn read_text(path: &Path, limit: u64) -> Result<String, ReadError> {
    let mut text = String::from_utf8(read_bytes(path, limit)?).map_err(|error| {
        let before = error.as_bytes().iter().take(error.utf8_error().valid_up_to());
        ReadError::NotText(path.to_owned(), before.filter(|byte| **byte == b'\n').count() + 1)
    })?;
    if text.starts_with(BYTE_ORDER_MARK) {
        text.drain(..BYTE_ORDER_MARK.len_utf8());
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder of its own, gone with the test.
    struct Folder(PathBuf);

    impl Folder {
        fn new(name: &str) -> Self {
            let path = std::env::temp_dir().join(format!("cliplead-files-{}-{name}", std::process::id()));
            let _ = std::fs::remove_dir_all(&path);
            std::fs::create_dir_all(&path).unwrap();
            Self(path)
        }

        fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
            let path = self.0.join(name);
            std::fs::write(&path, bytes).unwrap();
            path
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = std::fs::remove_dir_all(&self.0);
        }
    }

    fn why(path: &Path, limit: u64) -> String {
        read_text(path, limit).unwrap_err().to_string()
    }

    #[test]
    fn a_text_is_read_up_to_its_limit_and_not_beyond() {
        let folder = Folder::new("limit");
        let path = folder.file("a.rhai", b"12345678");
        assert_eq!(read_text(&path, 8).unwrap(), "12345678");
        assert_eq!(
            why(&path, 7),
            format!("{} has more than 7 bytes, the most that is read here", path.display())
        );
        assert_eq!(read_text(&folder.file("empty", b""), 0).unwrap(), "");
    }

    #[test]
    fn a_byte_order_mark_is_no_text() {
        let folder = Folder::new("bom");
        assert_eq!(read_text(&folder.file("a", "\u{feff}title".as_bytes()), 99).unwrap(), "title");
        let only_the_first = folder.file("b", "\u{feff}a\u{feff}".as_bytes());
        assert_eq!(read_text(&only_the_first, 99).unwrap(), "a\u{feff}");
        assert_eq!(read_bytes(&only_the_first, 99).unwrap().len(), 7);
    }

    #[test]
    fn bytes_that_are_no_text_are_named_with_their_line() {
        let folder = Folder::new("utf8");
        let error = read_text(&folder.file("a", b"one\ntwo\n\xff three"), 99).unwrap_err();
        assert_eq!((error.line(), error.why().contains("not UTF-8 text, first in line 3")), (3, true));
        // Cut inside a character.
        assert!(why(&folder.file("b", b"caf\xc3"), 99).contains("not UTF-8 text, first in line 1"));
    }

    #[test]
    fn what_is_not_there_and_folders_are_errors_that_name_them() {
        let folder = Folder::new("kind");
        let system = File::open(folder.0.join("none")).unwrap_err();
        assert!(why(&folder.0.join("none"), 9).ends_with(&format!("none cannot be read: {system}")));
        assert!(why(&folder.0, 9).ends_with("is a folder, not a file; name a regular file"));
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_pipe_without_a_writer_is_refused_at_once() {
        use rustix::fs::{CWD, FileType, Mode, mknodat};
        let folder = Folder::new("fifo");
        let path = folder.0.join("pipe.rhai");
        mknodat(CWD, &path, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).unwrap();
        assert!(why(&path, 9).contains("a pipe, a socket or a device"));
        // Also when the name comes to lead to the pipe between the look and the opening.
        let opened = sys::for_reading().open(&path).unwrap();
        assert!(must_be_file(&path, &opened.metadata().unwrap()).is_err());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_followed_to_a_file_and_no_further() {
        use std::os::unix::fs::symlink;
        let folder = Folder::new("link");
        let (zero, good) = (folder.0.join("zero.rhai"), folder.0.join("good.rhai"));
        symlink("/dev/zero", &zero).unwrap();
        symlink(folder.file("a", b"text"), &good).unwrap();
        assert!(why(&zero, 9).contains("a pipe, a socket or a device"));
        assert_eq!(read_text(&good, 9).unwrap(), "text");
    }

    #[test]
    fn a_huge_file_is_refused_without_reading_it() {
        let folder = Folder::new("huge");
        let path = folder.0.join("x.rhai");
        // A hole: 300 MB that take no room.
        File::create_new(&path).unwrap().set_len(300_000_000).unwrap();
        assert!(matches!(read_bytes(&path, RULE_BYTES_MAX), Err(ReadError::TooLarge(_, RULE_BYTES_MAX))));
    }
}
