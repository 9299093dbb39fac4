//! The doctor over made-up port lists such as `link` gives on Windows, and over files of a history. Which name a port has, the
//! tests of `link` show; the identities are our own.

use std::path::PathBuf;

use link::UsbIdentity;

use super::*;

fn usb(text: &str) -> SerialPlace {
    SerialPlace::parse(&format!("usb={text}")).unwrap()
}

/// A port of the list, of this identity (`VVVV:PPPP` or `VVVV:PPPP:SERIAL`).
fn listed(device: &str, identity: Option<&str>, name: Result<&str, Unavailable>) -> NamedPort {
    let usb: Option<UsbIdentity> = identity.map(|text| match usb(text) {
        SerialPlace::Usb(usb) => usb,
        SerialPlace::Path(path) => panic!("{path:?}"),
    });
    NamedPort {
        port: Port { device: PathBuf::from(device), usb, title: None },
        name: name.map(str::to_owned),
    }
}

fn twins() -> Unavailable {
    let paths = vec!["COM7".to_owned(), "COM8".to_owned()];
    Unavailable::Ambiguous { what: "USB serial port 1a86:7523".to_owned(), paths }
}

#[test]
fn the_doctor_says_what_it_saw_and_what_it_could_not() {
    let list = || {
        vec![
            listed("COM1", None, Ok("COM1")),
            listed("COM5", Some("0403:6001:A702TB52A"), Ok("usb=0403:6001:A702TB52A")),
            listed("COM7", Some("1a86:7523"), Err(twins())),
            listed("COM8", Some("1a86:7523"), Err(twins())),
        ]
    };
    let seen = |named: Option<&[SerialPlace]>| -> Vec<(String, State)> {
        ports(Ok(list()), named, "").into_iter().map(|finding| (finding.what, finding.state)).collect()
    };
    let want = |twins: State| {
        let pair = |what: &str, state| (what.to_owned(), state);
        vec![
            pair("COM1", State::Fine),
            pair("COM5", State::Fine),
            pair("COM7", twins),
            pair("COM8", twins),
            pair("all ports", State::Unknown),
            pair("all ports", State::Unknown),
        ]
    };
    assert_eq!(seen(None), want(State::Blocked));
    assert_eq!(seen(Some(&[usb("0403:6001")])), want(State::Note));
    assert_eq!(seen(Some(&[usb("1a86:7523")])), want(State::Blocked));
    let none = ports(Ok(Vec::new()), None, "look there");
    assert_eq!(none[0].state, State::Missing);
    assert!(none[0].remedies.iter().any(|remedy| remedy.says == "look there"), "{none:?}");
    assert_eq!(port_of(&usb("0403:6001:A702TB52A"), Ok(Ok(()))).state, State::Fine);
    let finding = port_of(&usb("1a86:7523"), Ok(Err(twins())));
    assert_eq!(finding.state, State::Blocked);
    assert!(finding.finding.contains("matches 2 devices (COM7, COM8)"), "{finding:?}");
    assert!(bluetooth(&Machine::here(None)).iter().all(|one| one.state == State::Unknown));
}

#[test]
fn a_system_without_a_list_is_said_and_not_taken_for_empty() {
    let findings = ports(Err("no list".to_owned()), None, "");
    assert_eq!((findings.len(), findings[0].state), (1, State::Unknown), "{findings:?}");
    assert_eq!(port_of(&usb("1a86:7523"), Err("no list".to_owned())).state, State::Unknown);
}

#[test]
fn the_doctor_looks_at_the_history_without_writing() {
    let dir = std::env::temp_dir().join(format!("cliplead-doctor-history-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let state = |name: &str| storage(&Machine, &dir.join(name)).state;
    std::fs::write(dir.join("history"), "").unwrap();
    std::fs::write(dir.join("marked"), "").unwrap();
    let mut marked = std::fs::metadata(dir.join("marked")).unwrap().permissions();
    marked.set_readonly(true);
    std::fs::set_permissions(dir.join("marked"), marked).unwrap();
    std::fs::create_dir_all(dir.join("folder")).unwrap();
    assert_eq!((state("history"), state("new")), (State::Unknown, State::Unknown));
    assert_eq!(
        (state("marked"), state("folder"), state("no/history")),
        (State::Blocked, State::Blocked, State::Blocked)
    );
    std::fs::remove_dir_all(dir).unwrap();
}
