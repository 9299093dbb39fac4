//! Finding ports in a made-up kernel tree, rights, and the words for each refusal. Opens nothing.

use std::fs;
use std::io;
use std::os::unix::fs::symlink;
use std::path::Path;

use super::access::group_name;
use super::{Source, absence};
use crate::tests::TestDir;
use crate::{Adapter, SerialAdapter, Unavailable, UsbIdentity};

/// One USB adapter as the kernel shows it: `class/NAME/device` leads below a directory with the identity.
pub(crate) fn plug_usb(
    root: &Path,
    name: &str,
    identity: (&str, &str, Option<&str>),
    leads_to: Option<&Path>,
) {
    let usb = root.join("devices/usb1").join(name);
    fs::create_dir_all(usb.join("interface").join(name)).unwrap();
    fs::write(usb.join("idVendor"), format!("{}\n", identity.0)).unwrap();
    fs::write(usb.join("idProduct"), format!("{}\n", identity.1)).unwrap();
    fs::write(usb.join("product"), "Test Cable\n").unwrap();
    if let Some(serial) = identity.2 {
        fs::write(usb.join("serial"), format!("{serial}\n")).unwrap();
    }
    fs::create_dir_all(root.join("class").join(name)).unwrap();
    symlink(usb.join("interface").join(name), root.join("class").join(name).join("device")).unwrap();
    fs::create_dir_all(root.join("dev/serial/by-id")).unwrap();
    match leads_to {
        Some(device) => symlink(device, root.join("dev").join(name)).unwrap(),
        None => fs::write(root.join("dev").join(name), "").unwrap(),
    }
}

pub(crate) fn unplug_usb(root: &Path, name: &str) {
    fs::remove_dir_all(root.join("class").join(name)).unwrap();
    fs::remove_file(root.join("dev").join(name)).unwrap();
}

pub(crate) fn adapter(root: &Path) -> SerialAdapter {
    SerialAdapter::on(Source { dev: root.join("dev"), tty_class: root.join("class") })
}

#[test]
fn ports_are_listed_by_their_best_name() {
    let dir = TestDir::new();
    let root = dir.path();
    plug_usb(root, "ttyUSB0", ("1a86", "7523", None), None);
    plug_usb(root, "ttyUSB1", ("0403", "6001", Some("BENCH01")), None);
    plug_usb(root, "ttyUSB2", ("0403", "6001", Some("A B")), None);
    symlink(root.join("dev/ttyUSB2"), root.join("dev/serial/by-id/usb-Test_Cable-if00")).unwrap();
    // A UART that is not fitted, a console, and an entry without a device file.
    fs::create_dir_all(root.join("class/ttyS7")).unwrap();
    fs::write(root.join("class/ttyS7/type"), "0\n").unwrap();
    symlink(root.join("devices"), root.join("class/ttyS7/device")).unwrap();
    fs::write(root.join("dev/ttyS7"), "").unwrap();
    fs::create_dir_all(root.join("class/tty1")).unwrap();
    plug_usb(root, "ttyACM9", ("0403", "6001", None), None);
    fs::remove_file(root.join("dev/ttyACM9")).unwrap();

    let listed = adapter(root).list();
    let selectors: Vec<Option<String>> =
        listed.iter().map(|f| f.selector.as_ref().map(ToString::to_string)).collect();
    let by_id = format!("serial:{}", root.join("dev/serial/by-id/usb-Test_Cable-if00").display());
    assert_eq!(selectors, [None, Some("serial:usb=0403:6001:BENCH01".to_owned()), Some(by_id)]);
    assert!(matches!(listed[0].hindrance, Some(Unavailable::NotStable { .. })), "{:?}", listed[0]);
    assert!(listed[1].description.contains("Test Cable (USB 0403:6001:BENCH01), now "), "{:?}", listed[1]);
}

#[test]
fn a_machine_without_such_a_tree_lists_nothing() {
    let dir = TestDir::new();
    assert_eq!(adapter(dir.path()).list(), Vec::new());
    // This machine, whatever it has: no panic.
    let _ = SerialAdapter::new().list();
}

#[test]
fn identities_match() {
    let id = |serial: Option<&str>| UsbIdentity { vendor: 1, product: 2, serial: serial.map(str::to_owned) };
    assert!(id(None).matches(&id(Some("a"))) && id(Some("a")).matches(&id(Some("a"))));
    assert!(!id(Some("a")).matches(&id(None)) && !id(Some("a")).matches(&id(Some("b"))));
}

#[test]
fn each_refusal_has_its_own_words() {
    use tokio_serial::{Error, ErrorKind};
    let group = || "dialout".to_owned();
    // Kinds as measured on Linux, recomputed on a pty in `serial_pty` where that is possible.
    for (kind, words) in [
        (
            ErrorKind::Io(io::ErrorKind::PermissionDenied),
            "belongs to group dialout; run: sudo usermod -aG dialout \"$USER\"",
        ),
        (ErrorKind::NoDevice, "/dev/x is in use by another program"),
        (ErrorKind::Io(io::ErrorKind::NotFound), "/dev/x is not there; plug it in"),
        (ErrorKind::InvalidInput, "/dev/x is not a serial port"),
        (ErrorKind::Unknown, "cannot open /dev/x: what the system said"),
    ] {
        let told = absence(&Error::new(kind, "what the system said"), "/dev/x", group).to_string();
        assert!(told.contains(words), "{told:?} lacks {words:?}");
    }
}

#[test]
fn the_group_of_a_port_has_a_name() {
    assert_eq!(group_name("root:x:0:\ndialout:x:20:ann\nbroken\n", 20).as_deref(), Some("dialout"));
    assert_eq!(group_name("root:x:0:\n", 20), None);
}
