//! A folder of a test's own, removed at its end, and copies of trees into it.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

/// The root of the repository.
#[must_use]
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().expect("the repository's root")
}

/// A fresh folder among the temporary files, removed when dropped.
#[derive(Debug)]
pub struct Folder(PathBuf);

impl Folder {
    /// Makes one; `name` is for people who look at what is left after a crash.
    #[must_use]
    pub fn new(name: &str) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("cliplead-it-{}-{count}-{name}", std::process::id()));
        fs::create_dir_all(&path).expect("a folder among the temporary files");
        Self(path)
    }

    /// An empty folder at this path, whatever stood there before: for what several checks share, since a static is never
    /// dropped.
    #[must_use]
    pub fn at(path: PathBuf) -> Self {
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).expect("a folder of the checks");
        Self(path)
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.0
    }

    /// A path in it.
    #[must_use]
    pub fn join(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// Writes a file and gives its path.
    pub fn write(&self, name: &str, text: impl AsRef<[u8]>) -> PathBuf {
        let path = self.join(name);
        fs::create_dir_all(path.parent().expect("a folder")).expect("the folder of a file");
        fs::write(&path, text).expect("a file of a test");
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Copies a folder with everything in it.
pub fn copy_tree(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder for the copy");
    for entry in fs::read_dir(from).expect("the folder to copy") {
        let path = entry.expect("an entry").path();
        let target = to.join(path.file_name().expect("a name"));
        if path.is_dir() {
            copy_tree(&path, &target);
        } else {
            fs::copy(&path, &target).expect("a copied file");
        }
    }
}
