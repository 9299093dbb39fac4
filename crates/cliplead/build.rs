//! Puts the shipped rules, the generic profiles and the udev rule into the binary, so that it judges from any folder.
//! Does not check them; `cliplead rules check` does.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let root = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default()).join("../..");
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default()).join("shipped.rs");
    let mut code = String::new();
    constant(&mut code, "RULES", &root, "rules", ".rhai")?;
    constant(&mut code, "PROFILES", &root, "hardware-notes", "profile.toml")?;
    constant(&mut code, "UDEV_RULES", &root, "hardware-notes", ".rules")?;
    fs::write(out, code)
}

/// Writes `pub(crate) const NAME: &[(&str, &str)]` with path below the root and text of each file.
fn constant(code: &mut String, name: &str, root: &Path, folder: &str, ending: &str) -> io::Result<()> {
    println!("cargo::rerun-if-changed={}", root.join(folder).display());
    let mut files = Vec::new();
    find(&root.join(folder), ending, &mut files)?;
    files.sort();
    let _ = writeln!(code, "/// Path below the root of the repository, and text.");
    let _ = writeln!(code, "pub(crate) const {name}: &[(&str, &str)] = &[");
    for file in files {
        println!("cargo::rerun-if-changed={}", file.display());
        let below = file.strip_prefix(root).unwrap_or(&file).to_string_lossy().replace('\\', "/");
        let full = fs::canonicalize(&file)?;
        let _ = writeln!(code, "    ({below:?}, include_str!({:?})),", full.to_string_lossy());
    }
    let _ = writeln!(code, "];");
    Ok(())
}

fn find(folder: &Path, ending: &str, files: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            find(&path, ending, files)?;
        } else if path.to_string_lossy().ends_with(ending) && !path.to_string_lossy().ends_with(".d.rhai") {
            files.push(path);
        }
    }
    Ok(())
}
