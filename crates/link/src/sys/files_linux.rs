//! Small plain files on Linux: bounded reads. Does not know their content.

use std::fs;
use std::io::Read as _;
use std::path::Path;

/// The most bytes read of one file.
const FILE_BYTES_MAX: u64 = 256 * 1024;

/// The first 256 KiB of a plain file as text; bytes that are no text are replaced.
#[must_use]
pub fn small_text(path: &Path) -> Option<String> {
    // Looked at before it is opened: opening a pipe waits for its other end.
    if !fs::metadata(path).ok()?.is_file() {
        return None;
    }
    let mut bytes = Vec::new();
    fs::File::open(path).ok()?.take(FILE_BYTES_MAX).read_to_end(&mut bytes).ok()?;
    Some(String::from_utf8_lossy(&bytes).into_owned())
}
