//! The doctor on made-up machines: a table of trees and what must be found in each, rubbish, and the kernel's own word
//! on rights. To add a case, add it to `cases.txt`.

mod tree;

use std::fs;
use std::os::unix::fs::{PermissionsExt as _, symlink};

use self::tree::{Case, Tree, parse};
use super::*;
use crate::{Remedy, RunPolicy};

/// What the program would have built in.
const RULE: &str = "# a rule\n";

fn all(tree: &Tree) -> Vec<Finding> {
    let machine = &tree.machine;
    let mut findings = serial(machine, tree.named.as_deref());
    findings.extend(tree.history.as_ref().map(|path| storage(machine, path)));
    findings.extend(udev_rule(machine, RULE));
    findings.extend(bluetooth(machine));
    findings
}

/// One line a finding, then one a remedy, as `cases.txt` writes them.
fn written(findings: &[Finding]) -> Vec<String> {
    let mut lines = Vec::new();
    for finding in findings {
        lines.push(format!(
            "{} | {} | {}: {}",
            finding.state.text(),
            finding.topic,
            finding.what,
            finding.finding
        ));
        for remedy in &finding.remedies {
            lines.push(match &remedy.step {
                None => format!("{} > {}", finding.topic, remedy.says),
                Some(step) => {
                    let by = if step.run == RunPolicy::OnRequest { "$" } else { "by hand $" };
                    format!("{} {by} {}", finding.topic, step.shell_text())
                }
            });
        }
    }
    lines
}

#[test]
fn made_up_machines() {
    let cases: Vec<Case> = parse(include_str!("tests/cases.txt"));
    assert!(cases.len() > 20, "{} cases", cases.len());
    let mut wrong = String::new();
    for case in &cases {
        let tree = Tree::plant(case);
        let found = written(&all(&tree));
        for want in &case.wants {
            if !found.iter().any(|line| line.contains(want.as_str())) {
                wrong.push_str(&format!(
                    "\n{}: no line holds {want:?} in\n  {}\n",
                    case.name,
                    found.join("\n  ")
                ));
            }
        }
        for unwanted in &case.unwanted {
            if let Some(line) = found.iter().find(|line| line.contains(unwanted.as_str())) {
                wrong.push_str(&format!("\n{}: {unwanted:?} stands in {line}\n", case.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

/// Files that no kernel writes: endless links, pipes that nobody fills, folders for files, megabytes, bytes that are no text.
#[test]
fn rubbish_neither_panics_nor_hangs() {
    let places = [
        "etc/group",
        "etc/passwd",
        "etc/udev/rules.d/70-cliplead-serial.rules",
        "etc/dbus-1/system.d/bluetooth.conf",
        "proc/self/status",
        "proc/locks",
        "proc/77/comm",
        "proc/77/fd",
        "run/udev/data/c188:0",
        "run/dbus/system_bus_socket",
        "sys/class/bluetooth",
        "sys/class/rfkill/rfkill0/type",
        "sys/class/rfkill/rfkill0/hard",
        "sys/class/tty/ttyUSB0/dev",
        "sys/class/tty/ttyUSB0/device",
        "sys/class/tty/ttyUSB0/type",
        "dev/ttyUSB0",
        "dev/serial/by-id",
        "sys/devices/usb/idVendor",
        "sys/devices/usb/serial",
        "sys/class/tty",
        "proc",
    ];
    let good = "usb ttyUSB0 1234 5678 SN\naccount 4000 bench 4000\nrun ModemManager 77\nfile run/udev/data/c188:0 E:X=1\n\
                file sys/class/bluetooth/hci0/x y\nfile sys/class/rfkill/rfkill0/type bluetooth\n";
    let mut findings = 0;
    for (kind, place) in (0..6).flat_map(|kind| places.iter().map(move |place| (kind, *place))) {
        let case = &parse(&format!("== rubbish\n{good}want x\n"))[0];
        let mut tree = Tree::plant(case);
        let path = tree.root.join(place);
        tree::remove(&path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        match kind {
            0 => symlink(&path, &path).unwrap(),
            1 => {
                let made = std::process::Command::new("mkfifo").arg(&path).status().unwrap();
                assert!(made.success());
            }
            2 => fs::write(&path, vec![0xff_u8; 300 << 10]).unwrap(),
            3 => {
                fs::write(&path, ":::,,,\n\0\u{1b}[2J::x:99999999999999999999:\n-rf:x:0:bench\n".repeat(500))
                    .unwrap()
            }
            4 => fs::create_dir_all(path.join("deeper/still")).unwrap(),
            _ => {
                fs::write(&path, "secret").unwrap();
                fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).unwrap();
            }
        }
        tree.look_again();
        for finding in all(&tree) {
            findings += 1;
            let text = format!("{finding:?}");
            assert!(!finding.finding.chars().any(char::is_control), "{text}");
            assert!(!finding.finding.is_empty() && text.len() < 4096, "{text}");
        }
    }
    assert!(findings > 500, "{findings}");
}

/// The rights told from the mode are those that the kernel grants, for all 512 modes. Run as root it shows root's right
/// to everything; run as another account (`setpriv --reuid 65534 --regid 65534 --clear-groups`), the rest.
#[test]
fn the_kernel_grants_what_the_mode_says() {
    let tree = Tree::plant(&parse("== kernel\ndir dev\nwant x\n")[0]);
    let here = Machine::here(None);
    let account = here.account.as_ref().expect("this process");
    let path = tree.root.join("dev/port");
    fs::write(&path, "").unwrap();
    for mode in 0..0o1000 {
        fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
        let rights = here.rights(&path).unwrap();
        let opens = fs::OpenOptions::new().read(true).write(true).open(&path).is_ok();
        assert_eq!(account.may_read_and_write(rights), opens, "mode {mode:03o}, {account:?}");
    }
}

/// What the kernel says of a real process: it has this device open, and no longer when it is gone.
#[test]
fn a_real_holder_is_named() {
    use std::process::{Command, Stdio};
    // `cat` waits for its input, so it is there for as long as we hold the other end.
    let mut child = Command::new("cat")
        .stdin(Stdio::piped())
        .stdout(fs::File::create("/dev/null").unwrap())
        .spawn()
        .unwrap();
    let meta = fs::metadata("/dev/null").unwrap();
    let held = || holders::Holders::scan(&Machine::here(None)).of("/dev/null", &meta);
    let ours = format!("({})", child.id());
    let named = held();
    assert!(named.iter().any(|name| name.ends_with(&ours)), "{named:?}");
    drop(child.stdin.take());
    assert!(child.wait().unwrap().success());
    let named = held();
    assert!(!named.iter().any(|name| name.ends_with(&ours)), "{named:?}");
}

/// What a person copies into a shell must come out as the same words. Checked by `sh` itself.
#[test]
fn typed_commands_mean_the_same_words_to_a_shell() {
    for word in ["plain", "two words", "it's", "$HOME", "`id`", "a;b", "", "*", "-x=\"y\"", "ü"] {
        let Some(step) = Remedy::root(RunPolicy::ByHand, "", &["printf", "%s", word]).step else {
            panic!("a step")
        };
        let out = std::process::Command::new("sh").arg("-c").arg(step.shell_text()).output().unwrap();
        assert_eq!(String::from_utf8_lossy(&out.stdout), word);
    }
}

/// A bus that answers, one that refuses, one that says nothing and one that is gone. The first line of the exchange is
/// that of the D-Bus specification, "Authentication examples".
#[test]
fn the_bus_is_greeted_and_never_waited_for() {
    use std::io::{BufRead as _, BufReader, Read as _, Write as _};
    use std::os::unix::net::UnixListener;
    let text = "== bus\naccount 4000 bench 4000\ndir run/dbus\nwant x\n";
    for (answer, state, says) in [
        (Some("OK 0123456789abcdef0123456789abcdef\r\n"), State::Fine, "answers"),
        (Some("REJECTED EXTERNAL\r\n"), State::Blocked, "does not let us in: REJECTED"),
        (None, State::Blocked, "does not answer"),
    ] {
        let tree = Tree::plant(&parse(text)[0]);
        let listener = UnixListener::bind(tree.root.join("run/dbus/system_bus_socket")).unwrap();
        let server = std::thread::spawn(move || {
            let (stream, _) = listener.accept().unwrap();
            let mut reader = BufReader::new(stream.try_clone().unwrap());
            let mut line = String::new();
            reader.read_line(&mut line).unwrap();
            // Without an answer: until the other side gives up, which is what is checked.
            match answer {
                Some(answer) => (&stream).write_all(answer.as_bytes()).unwrap(),
                None => drop(reader.read(&mut [0]).unwrap()),
            }
            line
        });
        let finding = bus::system_bus(&tree.machine);
        assert_eq!(finding.state, state, "{finding:?}");
        assert!(finding.finding.contains(says), "{finding:?}");
        // "4000" in hex digits of its characters.
        assert_eq!(server.join().unwrap(), "\0AUTH EXTERNAL 34303030\r\n");
        let again = bus::system_bus(&tree.machine);
        assert_eq!(again.state, State::Blocked, "the listener is gone: {again:?}");
    }
}

#[cfg(feature = "tcp")]
#[test]
fn a_server_takes_the_connection_or_it_is_said_why() {
    use link::TcpPlace;
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let place = TcpPlace::parse(&listener.local_addr().unwrap().to_string()).unwrap();
    assert_eq!(crate::tcp(&place).state, State::Fine);
    drop(listener);
    let gone = crate::tcp(&place);
    assert_eq!(gone.state, State::Blocked);
    assert!(gone.finding.contains("refused"), "{gone:?}");
    // RFC 6761, 6.4: names under "invalid" never have an address.
    let nameless = crate::tcp(&TcpPlace::parse("meter.invalid:4001").unwrap());
    assert_eq!(nameless.state, State::Blocked);
    assert!(nameless.finding.contains("name"), "{nameless:?}");
}

#[test]
fn a_selector_names_one_port_none_or_too_many() {
    let case = "== two\nusb ttyUSB0 1234 5678 SN1\nusb ttyUSB1 1234 5678 SN2\nwant x\n";
    let tree = Tree::plant(&parse(case)[0]);
    let state = |rest: &str| serial_place(&tree.machine, &link::SerialPlace::parse(rest).unwrap()).state;
    assert_eq!(state("usb=1234:5678:SN2"), State::Fine);
    assert_eq!(state("usb=1234:5678"), State::Blocked);
    assert_eq!(state("usb=1234:5678:SN3"), State::Blocked);
    assert_eq!(state("/dev/serial/by-id/usb-SN1"), State::Fine);
    assert_eq!(state("/dev/serial/by-id/usb-SN9"), State::Blocked);
}
