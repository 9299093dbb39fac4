//! The one system call of the history: whether a name still means the file that is open. The same function on every
//! system; the rest of the crate makes no system calls.

use std::path::Path;

/// Identifies a file for as long as it exists.
pub(crate) type Identity = (u64, u64);

/// Device and inode.
#[cfg(unix)]
pub(crate) fn identity(path: &Path) -> Option<Identity> {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).ok().map(|meta| (meta.dev(), meta.ino()))
}

/// SQLite opens files on Windows without letting others delete or rename them (no FILE_SHARE_DELETE in its
/// `winOpen`), so a name that exists means the open file.
#[cfg(not(unix))]
pub(crate) fn identity(path: &Path) -> Option<Identity> {
    std::fs::metadata(path).ok().map(|_| (0, 0))
}
