//! Names that Windows treats as devices in any folder. Makes no system calls, so its test runs everywhere.

use std::path::Path;

/// Names without a number (Microsoft's documentation, "Naming Files, Paths, and Namespaces").
const PLAIN: [&str; 6] = ["CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"];
/// Names with a number from 1 to 9.
const NUMBERED: [&str; 2] = ["COM", "LPT"];

/// Whether a path is a device by its name, whatever is on the disk. Opening one could block forever.
#[must_use]
pub fn is_device_name(path: &Path) -> bool {
    let text = path.to_string_lossy();
    if text.starts_with(r"\\.\") || text.starts_with("//./") {
        return true;
    }
    let name = text.rsplit(['/', '\\']).next().unwrap_or_default();
    let stem = name.split(['.', ':']).next().unwrap_or_default().trim_end().to_ascii_uppercase();
    let number = |start: &&str| {
        stem.strip_prefix(*start)
            .is_some_and(|rest| rest.len() == 1 && matches!(rest.as_bytes(), [b'1'..=b'9']))
    };
    PLAIN.contains(&stem.as_str()) || NUMBERED.iter().any(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn devices_are_told_from_files_by_name() {
        for name in
            ["con", r"C:\rules\NUL.rhai", "rules/com1.toml", r"\\.\COM12", "aux .txt", "CONIN$", "LPT9"]
        {
            assert!(is_device_name(Path::new(name)), "{name}");
        }
        for name in
            ["console.toml", "com10.toml", "COM0", "rules/nullable.rhai", "a.con", r"C:\site.toml", ""]
        {
            assert!(!is_device_name(Path::new(name)), "{name}");
        }
    }
}
