//! Made-up port lists of Windows and macOS: what `devices list` offers, which port a selector means, and with which words
//! the others are refused. Forms of entries as the serial library documents and gives them; the identities are our own.

use std::path::PathBuf;

use tokio_serial::{Error, ErrorKind, SerialPortInfo, SerialPortType, UsbPortInfo};

use super::{Names, Ports, find, list, locate, named, refused};
use crate::Unavailable;
use crate::error::SelectorFault;
use crate::serial::port::{Located, SerialPlace, UsbIdentity};
use crate::serial::sys::macos::MacOs;
use crate::serial::sys::windows::Windows;
use crate::serial::sys::{macos, other, windows};
use crate::sys::{macos as words_macos, other as words_other, windows as words_windows};

/// An entry of the list; `usb` is `VVVV:PPPP` or `VVVV:PPPP:SERIAL`.
fn entry(name: &str, usb: Option<&str>, product: Option<&str>) -> SerialPortInfo {
    let port_type = usb.map_or(SerialPortType::Unknown, |usb| {
        let parts: Vec<&str> = usb.splitn(3, ':').collect();
        SerialPortType::UsbPort(UsbPortInfo {
            vid: u16::from_str_radix(parts[0], 16).unwrap(),
            pid: u16::from_str_radix(parts[1], 16).unwrap(),
            serial_number: parts.get(2).map(|&serial| serial.to_owned()),
            manufacturer: None,
            product: product.map(str::to_owned),
        })
    });
    SerialPortInfo { port_name: name.to_owned(), port_type }
}

fn machine<N: Names>(entries: &[(&str, Option<&str>)]) -> Ports<N> {
    Ports::made_up(entries.iter().map(|(name, usb)| entry(name, *usb, None)).collect())
}

/// What the list offers: a selector, or why there is none.
fn offered<N: Names>(entries: &[(&str, Option<&str>)]) -> Vec<String> {
    let said = |found: crate::Found| match (found.selector, found.hindrance) {
        (Some(selector), None) => selector.to_string(),
        (None, Some(absence)) => format!("{absence:?}"),
        other => panic!("{other:?}"),
    };
    list(&machine::<N>(entries)).into_iter().map(said).collect()
}

fn usb(text: &str) -> SerialPlace {
    SerialPlace::parse(&format!("usb={text}")).unwrap()
}

#[test]
fn windows_ports_are_offered_by_usb_identity_and_others_by_place() {
    let offers = offered::<Windows>(&[
        ("COM10", Some("1a86:7523:5")),
        ("COM9", Some("0403:6001:A702TB52A")),
        ("COM1", None),
        ("LPT1", None),
    ]);
    // The 5 is no serial number: the library gives the first character of a place for an adapter without one.
    assert_eq!(offers, ["serial:COM1", "serial:usb=0403:6001:A702TB52A", "serial:usb=1a86:7523"]);
}

#[test]
fn two_adapters_that_cannot_be_told_apart_are_offered_by_no_name() {
    let twins = [("COM7", Some("1a86:7523:5")), ("COM8", Some("1a86:7523:6"))];
    let want = "Ambiguous { what: \"USB serial port 1a86:7523\", paths: [\"COM7\", \"COM8\"] }";
    assert_eq!(offered::<Windows>(&twins), [want, want]);
    let twins =
        [("/dev/cu.usbserial-1410", Some("1a86:7523")), ("/dev/cu.usbserial-1420", Some("1a86:7523"))];
    assert!(offered::<MacOs>(&twins).iter().all(|said| said.starts_with("Ambiguous")));
}

#[test]
fn a_windows_number_is_taken_only_for_what_is_no_usb_port() {
    let ports = machine::<Windows>(&[("COM3", Some("0403:6001:A702TB52A")), ("COM1", None)]);
    let open = |rest: &str| windows::named(rest).map(|path| locate(&SerialPlace::Path(path), &ports));
    let com1 = Located { text: "COM1".to_owned(), shown: "COM1".to_owned(), is_pty: false };
    assert_eq!(open("com1"), Ok(Ok(com1)));
    assert_eq!(open("COM3"), Ok(Err(Unavailable::NotStable { path: "COM3".to_owned() })));
    assert_eq!(open("COM4"), Ok(Err(Unavailable::NotFound { what: "COM4".to_owned() })));
    for rest in
        ["COM0", "COM03", "COM257", "COM", "COM+1", "LPT1", "ttyUSB0", "/dev/ttyUSB0", r"\\.\COM3", "C:/x"]
    {
        assert_eq!(windows::named(rest), Err(SelectorFault::PathNotPlain), "{rest}");
    }
}

#[test]
fn a_usb_identity_means_one_port_none_or_too_many() {
    let ports = machine::<Windows>(&[
        ("COM3", Some("0403:6010:AB0C1D2EA")),
        ("COM4", Some("0403:6010:AB0C1D2EB")),
        ("COM5", Some("0403:6001:A702TB52A")),
        ("COM6", Some("1a86:7523:7")),
    ]);
    for (wanted, want) in [
        ("0403:6010:AB0C1D2EB", Ok("COM4")),
        // As Linux and macOS name it: Windows puts the letter of the port behind.
        ("0403:6001:A702TB52", Ok("COM5")),
        ("0403:6001:a702tb52a", Ok("COM5")),
        ("0403:6001", Ok("COM5")),
        ("1a86:7523", Ok("COM6")),
        ("1a86:7523:7", Err("is not there")),
        ("0403:6010:AB0C1D2E", Err("matches 2 devices (COM3, COM4)")),
        ("0403:6001:A702TB5", Err("is not there")),
        ("0403:6001:A702TB52E", Err("is not there")),
    ] {
        let found =
            locate(&usb(wanted), &ports).map(|found| found.text).map_err(|absence| absence.to_string());
        match (&found, want) {
            (Ok(text), Ok(want)) => assert_eq!(text, want, "{wanted}"),
            (Err(told), Err(want)) => assert!(told.contains(want), "{wanted}: {told}"),
            _ => panic!("{wanted}: {found:?}"),
        }
    }
    // Of other vendors a letter at the end is part of the number.
    let ports = machine::<Windows>(&[("COM3", Some("10c4:ea60:A702TB52A"))]);
    let other = locate(&usb("10c4:ea60:A702TB52"), &ports).unwrap_err().to_string();
    assert!(other.contains("10c4:ea60:A702TB52 is not there"), "{other}");
}

#[test]
fn macos_lists_each_port_once_and_by_its_usb_identity() {
    let offers = offered::<MacOs>(&[
        ("/dev/cu.usbserial-A702TB52", Some("0403:6001:A702TB52")),
        ("/dev/tty.usbserial-A702TB52", Some("0403:6001:A702TB52")),
        ("/dev/cu.Bluetooth-Incoming-Port", None),
        ("/dev/cu.usbserial-1410", Some("1a86:7523")),
        ("/dev/cu.meter", None),
        // One adapter with two ports: only their names tell them apart.
        ("/dev/cu.usbserial-AB0C1D2E0", Some("0403:6010:AB0C1D2E")),
        ("/dev/cu.usbserial-AB0C1D2E1", Some("0403:6010:AB0C1D2E")),
    ]);
    assert_eq!(
        offers,
        [
            "NotStable { path: \"/dev/cu.meter\" }",
            "serial:usb=1a86:7523",
            "serial:usb=0403:6001:A702TB52",
            "serial:/dev/cu.usbserial-AB0C1D2E0",
            "serial:/dev/cu.usbserial-AB0C1D2E1",
        ]
    );
}

#[test]
fn a_macos_name_is_taken_while_it_carries_the_serial_number() {
    let ports = machine::<MacOs>(&[
        ("/dev/cu.usbserial-A702TB52", Some("0403:6001:A702TB52")),
        ("/dev/cu.usbmodemSN00171", Some("2341:0043:SN0017")),
        ("/dev/cu.usbserial-1410", Some("1a86:7523")),
        ("/dev/cu.usbserial-1420", Some("1a86:55d4:14")),
    ]);
    let open = |rest: &str| macos::named(rest).map(|path| locate(&SerialPlace::Path(path), &ports));
    for rest in ["/dev/cu.usbserial-A702TB52", "/dev//cu.usbmodemSN00171"] {
        assert!(matches!(open(rest), Ok(Ok(_))), "{rest}: {:?}", open(rest));
    }
    for rest in ["/dev/cu.usbserial-1410", "/dev/cu.usbserial-1420"] {
        assert_eq!(open(rest), Ok(Err(Unavailable::NotStable { path: rest.to_owned() })));
    }
    assert_eq!(
        open("/dev/cu.usbserial-GONE"),
        Ok(Err(Unavailable::NotFound { what: "/dev/cu.usbserial-GONE".to_owned() }))
    );
    for (rest, fault) in [
        ("/dev/tty.usbserial-A702TB52", SelectorFault::NumberedName),
        ("/dev/cu.usbserial-", SelectorFault::NumberedName),
        ("/dev/cu.SLAB_USBtoUART", SelectorFault::NumberedName),
        ("/dev/ttys003", SelectorFault::NumberedName),
        ("cu.usbserial-A702TB52", SelectorFault::PathNotPlain),
        ("/tmp/../dev/cu.usbserial-A", SelectorFault::PathNotPlain),
    ] {
        assert_eq!(macos::named(rest), Err(fault), "{rest}");
    }
}

#[test]
fn names_and_texts_of_strangers_are_cleaned() {
    let port = entry("COM3", Some("0403:6001:A702\nTB52"), Some("Made-up Cable (COM3)"));
    let found = list(&Ports::<Windows>::made_up(vec![port]));
    assert_eq!(found[0].description, "Made-up Cable (USB 0403:6001:A702TB52), now COM3");
    let long = format!("0403:6001:{}", "x".repeat(5000));
    assert_eq!(
        offered::<MacOs>(&[("/dev/cu.usbserial-1", Some(&long))])[0].len(),
        "serial:usb=0403:6001:".len() + 80
    );
}

#[test]
fn a_system_without_a_list_is_said_and_not_taken_for_empty() {
    let ports = Ports::<Windows>::unlisted();
    assert_eq!(list(&ports), Vec::new());
    let told = locate(&usb("1a86:7523"), &ports).unwrap_err().to_string();
    assert!(told.contains("gives no list of its ports: no list"), "{told}");
    assert_eq!(named(&ports), Err("no list".to_owned()));
    assert_eq!(find(&usb("1a86:7523"), &ports), Err("no list".to_owned()));
}

#[test]
fn a_port_that_cannot_be_opened_is_taken_or_gone() {
    let here = machine::<Windows>(&[("COM3", Some("0403:6001:A702TB52A"))]);
    let gone = machine::<Windows>(&[]);
    let mac = machine::<MacOs>(&[("COM3", None)]);
    let port = Located { text: "COM3".to_owned(), shown: "COM3".to_owned(), is_pty: false };
    let path = || "COM3".to_owned();
    let denied = || Error::new(ErrorKind::Io(std::io::ErrorKind::PermissionDenied), "denied");
    let none = || Error::new(ErrorKind::NoDevice, "none");
    assert_eq!(refused(&none(), &port, &here), Unavailable::InUse { path: path() });
    assert_eq!(refused(&none(), &port, &gone), Unavailable::NotFound { what: path() });
    assert_eq!(refused(&denied(), &port, &here), Unavailable::InUse { path: path() });
    let right = Unavailable::PermissionDenied { path: path(), group: String::new() };
    assert_eq!(refused(&denied(), &port, &mac), right);
    let odd = refused(&Error::new(ErrorKind::Unknown, "odd"), &port, &here);
    assert!(odd.to_string().contains("cannot open COM3: odd"), "{odd}");
}

/// Nobody is sent to a tool or a folder that the system does not have.
#[test]
fn words_fit_the_system() {
    let windows = [
        words_windows::NUMBERED_NAME.to_owned(),
        words_windows::NOT_A_NAME.to_owned(),
        words_windows::TELL_APART.to_owned(),
        words_windows::IF_IT_STAYS_AWAY.to_owned(),
        words_windows::no_right("COM3", ""),
        words_windows::in_use("COM3"),
        words_windows::not_stable("COM3"),
    ];
    let macos = [
        words_macos::NUMBERED_NAME.to_owned(),
        words_macos::NOT_A_NAME.to_owned(),
        words_macos::TELL_APART.to_owned(),
        words_macos::IF_IT_STAYS_AWAY.to_owned(),
        words_macos::no_right("/dev/cu.a", ""),
        words_macos::in_use("/dev/cu.a"),
        words_macos::not_stable("/dev/cu.a"),
    ];
    let of_linux = ["by-id", "by-path", "usermod", "fuser", "udev", "dmesg", "bluetoothctl", "systemctl"];
    for words in &macos {
        assert!(!of_linux.iter().any(|word| words.contains(word)), "{words}");
    }
    for words in &windows {
        let of_unix = of_linux.iter().chain(&["sudo", "/dev", "lsof", "ls -l"]);
        assert!(!of_unix.copied().any(|word| words.contains(word)), "{words}");
    }
    assert!(words_other::not_stable("/dev/x").contains("serial:usb="));
}

/// What the doctor is given: the list with its names, and where each place leads.
#[test]
fn ports_are_handed_on_with_their_names_or_the_reason() {
    let ports = machine::<Windows>(&[
        ("COM1", None),
        ("COM5", Some("0403:6001:A702TB52A")),
        ("COM7", Some("1a86:7523:5")),
        ("COM8", Some("1a86:7523:6")),
    ]);
    let all = named(&ports).unwrap();
    let devices: Vec<_> = all.iter().filter_map(|one| one.port.device.to_str()).collect();
    assert_eq!(devices, ["COM1", "COM5", "COM7", "COM8"]);
    let paths = vec!["COM7".to_owned(), "COM8".to_owned()];
    let twins = Unavailable::Ambiguous { what: "USB serial port 1a86:7523".to_owned(), paths };
    let names: Vec<_> = all.into_iter().map(|one| one.name).collect();
    let want = [
        Ok("COM1".to_owned()),
        Ok("usb=0403:6001:A702TB52A".to_owned()),
        Err(twins.clone()),
        Err(twins.clone()),
    ];
    assert_eq!(names, want);
    assert_eq!(find(&usb("0403:6001:A702TB52"), &ports), Ok(Ok(())));
    assert_eq!(find(&usb("1a86:7523"), &ports), Ok(Err(twins)));
}

/// Whatever the list holds: nothing panics, and every selector that is offered finds its port again.
#[test]
fn every_offered_name_leads_back_to_its_port() {
    let identities = [
        "1a86:7523",
        "1a86:7523:5",
        "0403:6001:A702TB52",
        "0403:6001:A702TB52A",
        "0403:6001:A702TB52B",
        "10c4:ea60:0001",
    ];
    for one in identities {
        for two in identities {
            for three in identities {
                let entries =
                    [("COM3", Some(one)), ("COM4", Some(two)), ("COM5", Some(three)), ("COM1", None)];
                leads_back(&machine::<Windows>(&entries), windows::named);
                let entries = [
                    ("/dev/cu.usbserial-A702TB52", Some(one)),
                    ("/dev/cu.usbmodem0001", Some(two)),
                    ("/dev/cu.x", Some(three)),
                ];
                leads_back(&machine::<MacOs>(&entries), macos::named);
            }
        }
    }
}

fn leads_back<N: Names>(ports: &Ports<N>, named: fn(&str) -> Result<PathBuf, SelectorFault>) {
    for (found, port) in list(ports).into_iter().zip(ports.scan().unwrap()) {
        let Some(selector) = found.selector else { continue };
        let place = match selector.rest().strip_prefix("usb=") {
            Some(_) => SerialPlace::parse(selector.rest()).unwrap(),
            None => SerialPlace::Path(named(selector.rest()).unwrap()),
        };
        let led = locate(&place, ports).map(|led| PathBuf::from(led.text));
        assert_eq!(led, Ok(port.device), "{selector} of {:?}", ports.scan());
    }
}

#[test]
fn identities_are_told_apart_as_the_system_does() {
    let id = |serial: &str| UsbIdentity { vendor: 0x0403, product: 1, serial: Some(serial.to_owned()) };
    assert!(windows::answers(&id("abc"), &id("ABC")) && !macos::answers(&id("abc"), &id("ABC")));
    assert!(!other::answers(&id("A702TB52"), &id("A702TB52A")));
}

#[cfg(feature = "sim")]
#[tokio::test]
async fn a_meter_in_memory_plays_one_script_after_the_other() {
    use crate::sim::sys::elsewhere::SimulatedMeter;
    use crate::{OpenOptions, Registry, Step, Steps};
    let Ok(meter) = SimulatedMeter::plug_in("nowhere".as_ref(), || Some(Step::send(1, "open")));
    let registry = meter.join(Registry::new());
    let mut link = registry.open(&meter.selector(), &OpenOptions::default()).unwrap();
    assert_eq!(crate::tests::bytes(&mut *link, 8).await, b"openopen");
    let Ok(()) = meter.play(Steps::once(vec![Step::send(1, "39.4 uF")]));
    let mut got = Vec::new();
    while !got.ends_with(b"39.4 uF") {
        got.extend(crate::tests::bytes(&mut *link, 1).await);
    }
}
