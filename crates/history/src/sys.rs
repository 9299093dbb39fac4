//! What the history asks of the system: whether a name still means the file that is open. The same function on every
//! system; the rest of the crate asks for no system.

use std::path::Path;

/// What tells one file from another for as long as it is there.
pub(crate) type Identity = (u64, u64);

/// Device and inode.
#[cfg(unix)]
pub(crate) fn identity(path: &Path) -> Option<Identity> {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).ok().map(|meta| (meta.dev(), meta.ino()))
}

/// SQLite opens its files on Windows without leave for others to delete or rename them (no FILE_SHARE_DELETE in its
/// `winOpen`), so a name that is there means the file that is open.
#[cfg(not(unix))]
pub(crate) fn identity(path: &Path) -> Option<Identity> {
    std::fs::metadata(path).ok().map(|_| (0, 0))
}
