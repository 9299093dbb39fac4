//! Puts the shipped rules into the firmware, and tells the linker the memories of the board.
//! Does not check the rules; `cliplead rules check` does.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let here = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default());
    println!("cargo::rerun-if-changed=memory.x");
    println!("cargo::rustc-link-search={}", here.display());
    println!("cargo::rustc-link-arg=-Tlink.x");
    fs::write(out.join("rules.rs"), rules(&here.join("../.."))?)
}

/// Path below the root and text of each rule, in the order of their paths.
fn rules(root: &Path) -> io::Result<String> {
    println!("cargo::rerun-if-changed={}", root.join("rules").display());
    let mut files = Vec::new();
    find(&root.join("rules"), &mut files)?;
    files.sort();
    let mut code = String::from("/// Path below the root of the repository, and text.\n");
    code.push_str("pub(crate) const RULES: &[(&str, &str)] = &[\n");
    for file in files {
        println!("cargo::rerun-if-changed={}", file.display());
        let below = file.strip_prefix(root).unwrap_or(&file).to_string_lossy().replace('\\', "/");
        let full = fs::canonicalize(&file)?;
        let _ = writeln!(code, "    ({below:?}, include_str!({:?})),", full.to_string_lossy());
    }
    code.push_str("];\n");
    Ok(code)
}

fn find(folder: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path.to_string_lossy();
        if path.is_dir() {
            find(&path, files)?;
        } else if name.ends_with(".rhai") && !name.ends_with(".d.rhai") {
            files.push(path);
        }
    }
    Ok(())
}
