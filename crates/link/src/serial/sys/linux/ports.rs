//! Finds serial ports by reading the kernel's tree under `/sys/class/tty`. Opens nothing; leaves out what cannot be
//! read. Our own scan instead of the library's, which panics if that directory is missing.

use std::fs;
use std::path::{Path, PathBuf};

use super::Source;
use crate::serial::port::{Port, UsbIdentity, hex4};
use crate::sys::files_linux::small_text;

/// How far above a port its USB device is looked for.
const PARENTS_MAX: usize = 8;
/// The longest attribute text kept, in characters.
const ATTRIBUTE_CHARS_MAX: usize = 80;

/// All ports, by device path.
#[must_use]
pub fn scan(source: &Source) -> Vec<Port> {
    let Ok(entries) = fs::read_dir(&source.tty_class) else { return Vec::new() };
    let mut ports: Vec<Port> =
        entries.flatten().filter_map(|entry| port(&entry.path(), &source.dev)).collect();
    ports.sort_by(|a, b| a.device.cmp(&b.device));
    ports
}

/// A terminal with hardware behind it, or `None` for consoles, pseudo-terminals and UARTs that are not fitted.
fn port(class: &Path, dev: &Path) -> Option<Port> {
    let hardware = fs::canonicalize(class.join("device")).ok()?;
    // The kernel keeps entries for UARTs that may exist; type 0 is "unknown", none found.
    if attribute(class, "type").as_deref() == Some("0") {
        return None;
    }
    let device = dev.join(class.file_name()?);
    if !device.exists() {
        return None;
    }
    let usb_dir = hardware.ancestors().take(PARENTS_MAX).find(|dir| dir.join("idVendor").exists());
    let usb = usb_dir.and_then(|dir| {
        Some(UsbIdentity {
            vendor: hex4(&attribute(dir, "idVendor")?)?,
            product: hex4(&attribute(dir, "idProduct")?)?,
            serial: attribute(dir, "serial"),
        })
    });
    let words: Vec<String> = ["manufacturer", "product"]
        .iter()
        .filter_map(|name| usb_dir.and_then(|dir| attribute(dir, name)))
        .collect();
    let title = (!words.is_empty()).then(|| words.join(" "));
    Some(Port { device, usb, title })
}

/// One attribute as clean text; `None` when missing or empty.
fn attribute(dir: &Path, name: &str) -> Option<String> {
    let text = small_text(&dir.join(name))?;
    let clean: String = text.trim().chars().filter(|c| !c.is_control()).take(ATTRIBUTE_CHARS_MAX).collect();
    (!clean.is_empty()).then_some(clean)
}

/// The name in `directory` that leads to `device`, the first by the alphabet.
#[must_use]
pub fn stable_name(device: &Path, directory: &Path) -> Option<String> {
    let target = fs::canonicalize(device).ok()?;
    let entries = fs::read_dir(directory).ok()?;
    let mut names: Vec<PathBuf> = entries
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| fs::canonicalize(path).is_ok_and(|led_to| led_to == target))
        .collect();
    names.sort();
    names.first()?.to_str().map(str::to_owned)
}
