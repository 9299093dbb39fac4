//! Selector and line-setting texts: what is accepted, what is rejected, and the error texts.

use std::time::Duration;

use proptest::prelude::*;

use crate::{
    LineSettings, OpenError, OpenOptions, OptionFault, Pace, Parity, Registry, Selector, SelectorFault,
    StopBits,
};

fn fault(text: &str) -> SelectorFault {
    let registry = registry();
    match registry.validate(text) {
        Err(OpenError::BadSelector { fault, .. }) => fault,
        other => panic!("{text:?} gave {other:?}"),
    }
}

fn registry() -> Registry {
    let registry = Registry::new();
    #[cfg(feature = "file")]
    let registry = registry.with(crate::FileAdapter);
    #[cfg(feature = "stdin")]
    let registry = registry.with(crate::StdinAdapter::reading(std::io::empty()));
    #[cfg(feature = "manual")]
    let registry = registry.with(crate::ManualAdapter::new());
    #[cfg(feature = "sim")]
    let registry = registry.with(crate::SimAdapter::new());
    #[cfg(all(feature = "serial", unix))]
    let registry = registry.with(crate::SerialAdapter::new());
    #[cfg(feature = "tcp")]
    let registry = registry.with(crate::TcpAdapter::new());
    registry
}

#[test]
fn refused_in_any_build() {
    for (text, expected) in [
        ("", SelectorFault::NoScheme),
        ("meter", SelectorFault::NoScheme),
        ("/dev/ttyUSB0", SelectorFault::BarePath),
        ("./bytes.raw", SelectorFault::BarePath),
        (":x", SelectorFault::BadScheme),
        ("C:/x", SelectorFault::BadScheme),
        ("9p:x", SelectorFault::BadScheme),
        ("a-scheme-too-long-by-far:x", SelectorFault::BadScheme),
        ("file:a\nb", SelectorFault::ControlCharacter),
    ] {
        assert_eq!(fault(text), expected, "{text:?}");
    }
    assert_eq!(fault(&format!("file:{}", "x".repeat(1100))), SelectorFault::TooLong);
}

#[test]
#[cfg(all(feature = "serial", unix))]
fn serial_places() {
    for text in [
        "serial:/dev/serial/by-id/usb-Maker_Cable_BENCH01-if00-port0",
        "serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0",
        "serial:/dev/meter-bench",
        "serial:/dev/pts/3",
        "serial:/tmp/demo/meter",
        "serial:usb=1a86:7523",
        "serial:usb=1A86:7523:SER:IAL",
    ] {
        assert_eq!(registry().validate(text).map(|s| s.to_string()), Ok(text.to_owned()));
    }
    for (text, expected) in [
        ("serial:", SelectorFault::RestMissing),
        ("serial:/dev/ttyUSB0", SelectorFault::NumberedName),
        ("serial:/dev//ttyACM1", SelectorFault::NumberedName),
        ("serial:/dev/./ttyS0", SelectorFault::NumberedName),
        ("serial:/dev/rfcomm0", SelectorFault::NumberedName),
        ("serial:/dev/char/188:0", SelectorFault::NumberedName),
        ("serial:ttyUSB0", SelectorFault::NumberedName),
        ("serial:COM3", SelectorFault::NumberedName),
        ("serial:/dev/serial/../ttyUSB0", SelectorFault::PathNotPlain),
        ("serial:relative/meter", SelectorFault::PathNotPlain),
        ("serial:usb=", SelectorFault::BadUsb),
        ("serial:usb=1a86", SelectorFault::BadUsb),
        ("serial:usb=1a86:75", SelectorFault::BadUsb),
        ("serial:usb=+a86:7523", SelectorFault::BadUsb),
        ("serial:usb=1a86:7523:", SelectorFault::BadUsb),
    ] {
        assert_eq!(fault(text), expected, "{text}");
    }
    let words = registry().validate("serial:/dev/ttyUSB0").unwrap_err().to_string();
    for part in
        ["/dev/ttyUSB0", "can change when the adapter is plugged in again", "write serial:/dev/serial/by-id/"]
    {
        assert!(words.contains(part), "{words:?} lacks {part:?}");
    }
}

#[test]
#[cfg(all(feature = "manual", feature = "sim", feature = "stdin", feature = "file"))]
fn other_places() {
    for text in ["manual:", "manual:bench-2", "sim:unit_1.a", "stdin:", "file:a b/c:d.raw"] {
        assert_eq!(registry().validate(text).map(|s| s.to_string()), Ok(text.to_owned()));
    }
    for (text, expected) in [
        ("manual:a b", SelectorFault::BadName),
        ("sim:", SelectorFault::RestMissing),
        ("sim:a/b", SelectorFault::BadName),
        ("stdin:x", SelectorFault::RestNotEmpty),
        ("file:", SelectorFault::RestMissing),
    ] {
        assert_eq!(fault(text), expected, "{text}");
    }
    let unknown = registry().validate("morse:x").unwrap_err();
    assert!(
        matches!(&unknown, OpenError::UnknownScheme { known, .. } if known.contains(&"manual")),
        "{unknown}"
    );
}

#[test]
fn line_settings_text() {
    let settings: LineSettings = "19200 7E2".parse().unwrap();
    assert_eq!((settings.baud, settings.parity, settings.stop_bits), (19200, Parity::Even, StopBits::Two));
    for good in ["9600 8N1", "50 5O2", "4000000 6N1"] {
        assert_eq!(good.parse::<LineSettings>().map(|s| s.to_string()), Ok(good.to_owned()));
    }
    for bad in [
        "",
        "9600",
        "8N1",
        "9600 8N",
        "9600 8N11",
        "9600 4N1",
        "9600 8X1",
        "9600 8N3",
        "+9600 8N1",
        "96oo 8N1",
    ] {
        assert!(matches!(bad.parse::<LineSettings>(), Err(OptionFault::LineText { .. })), "{bad:?}");
    }
    for baud in [0_u32, 49, 4_000_001] {
        assert_eq!(format!("{baud} 8N1").parse::<LineSettings>(), Err(OptionFault::Baud { baud }));
    }
}

#[test]
fn options_out_of_range_say_their_range() {
    let good = OpenOptions::default();
    assert_eq!(good.validate(), Ok(()));
    let silence = Duration::from_millis(49);
    for (options, words) in [
        (OpenOptions { silence: Some(silence), ..good.clone() }, "50 ms to 1 h"),
        (OpenOptions { queue_bytes: 8191, ..good.clone() }, "8192 bytes to 16 MiB"),
        (OpenOptions { pace: Pace::BytesPerSecond(0), ..good.clone() }, "1 to 10000000"),
        (
            OpenOptions { line: LineSettings { baud: 0, ..LineSettings::default() }, ..good.clone() },
            "50 to 4000000",
        ),
    ] {
        let told = options.validate().unwrap_err().to_string();
        assert!(told.contains(words), "{told:?} lacks {words:?}");
    }
}

proptest! {
    #[test]
    fn any_text_is_taken_as_written_or_refused(text in ".{0,60}") {
        if let Ok(selector) = text.parse::<Selector>() {
            prop_assert_eq!(selector.to_string(), text.clone());
            prop_assert_eq!(format!("{}:{}", selector.scheme(), selector.rest()), text.clone());
        }
        let _ = registry().validate(&text).map_err(|error| error.to_string());
    }

    #[test]
    fn any_serial_text(rest in "(/dev/|usb=|)[/a-zA-Z0-9:._=-]{0,30}") {
        // Nothing that the registry takes names a kernel-numbered port.
        if let Ok(selector) = registry().validate(&format!("serial:{rest}")) {
            let plain: std::path::PathBuf = std::path::Path::new(selector.rest()).components().collect();
            prop_assert!(!plain.starts_with("/dev") || !plain.to_string_lossy().starts_with("/dev/tty"));
        }
    }

    #[test]
    fn any_line_text(text in ".{0,20}") {
        if let Ok(settings) = text.parse::<LineSettings>() {
            prop_assert_eq!(settings.to_string().parse::<LineSettings>(), Ok(settings));
        }
    }
}
