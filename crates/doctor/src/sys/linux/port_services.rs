//! Services that open or probe new serial ports: the modem service and the braille service, by their Debian names.

use super::serial::{ports, udev_data};
use super::{Finding, Machine, State};
use crate::{Remedy, RunPolicy};

/// Where udev looks for rules, the one with the highest priority first (udev(7)).
const RULE_FOLDERS: [&str; 4] =
    ["etc/udev/rules.d", "run/udev/rules.d", "usr/lib/udev/rules.d", "lib/udev/rules.d"];

/// The place for a shop's own lines, so that our rule can be replaced. After ours, before 73-seat-late.rules of
/// systemd.
pub(super) const OWN_RULE_PATH: &str = "/etc/udev/rules.d/71-cliplead-own.rules";

/// Both services.
pub(crate) fn port_services(machine: &Machine) -> Vec<Finding> {
    vec![modem(machine), braille(machine)]
}

fn modem(machine: &Machine) -> Finding {
    const TOPIC: &str = "modem service";
    const WHAT: &str = "ModemManager";
    const WHY: &str =
        "It may open a new port to look for a modem: the port is then busy, and the meter gets its bytes.";
    match machine.runs(WHAT) {
        None => return Finding::new(TOPIC, WHAT, State::Unknown, "no process can be seen", WHY),
        Some(false) => return Finding::new(TOPIC, WHAT, State::Fine, "does not run", WHY),
        Some(true) => {}
    }
    let ports = ports(machine);
    let usb: Vec<_> = ports.iter().filter_map(|port| Some((port, port.usb.as_ref()?))).collect();
    if usb.is_empty() {
        return Finding::new(TOPIC, WHAT, State::Fine, "runs, and there is no USB port for it to probe", WHY);
    }
    let mut open = Vec::new();
    let mut unseen = 0;
    for (port, usb) in usb {
        match udev_data(machine, port) {
            None => unseen += 1,
            Some(data) if is_left_alone(&data) => {}
            Some(_) => open.push((machine.shown(&port.device), usb)),
        }
    }
    if open.is_empty() {
        return if unseen == 0 {
            Finding::new(TOPIC, WHAT, State::Fine, "runs, and is told to leave every USB port alone", WHY)
        } else {
            let seen = format!(
                "runs; whether it leaves {unseen} USB ports alone cannot be told, udev's data are not there"
            );
            Finding::new(TOPIC, WHAT, State::Unknown, seen, WHY)
        };
    }
    let names: Vec<&str> = open.iter().map(|(name, _)| name.as_str()).collect();
    let seen = format!("runs, and may probe {}", names.join(", "));
    open.iter().fold(Finding::new(TOPIC, WHAT, State::Likely, seen, WHY), |finding, (name, usb)| {
        finding.with(Remedy::advice(format!(
            "if {name} is no modem, write into {}: SUBSYSTEM==\"tty\", ATTRS{{idVendor}}==\"{:04x}\", ATTRS{{idProduct}}==\"{:04x}\", \
             ENV{{ID_MM_PORT_IGNORE}}=\"1\"   then `sudo udevadm control --reload` and plug it in again",
            OWN_RULE_PATH,
            usb.vendor,
            usb.product
        )))
    })
}

/// ModemManager's reference manual, "Common udev tags".
fn is_left_alone(data: &str) -> bool {
    data.lines().any(|line| {
        ["E:ID_MM_PORT_IGNORE=", "E:ID_MM_DEVICE_IGNORE="]
            .iter()
            .any(|key| line.strip_prefix(key).is_some_and(|value| value.trim() != "0"))
    })
}

fn braille(machine: &Machine) -> Finding {
    const TOPIC: &str = "braille service";
    const WHAT: &str = "brltty";
    const WHY: &str =
        "It takes common USB serial chips for a braille display; the port is there and gone within seconds.";
    let rules = |folder: &&str| {
        let names = machine.names(folder).unwrap_or_default();
        names
            .into_iter()
            .filter(|name| name.contains("brltty") && name.ends_with(".rules"))
            .collect::<Vec<_>>()
    };
    let mut names: Vec<String> = RULE_FOLDERS.iter().flat_map(rules).collect();
    names.sort();
    names.dedup();
    // A name that leads to /dev/null in a stronger folder switches the rule off (udev(7)).
    names.retain(|name| {
        let strongest = RULE_FOLDERS
            .iter()
            .map(|folder| machine.at(&format!("{folder}/{name}")))
            .find(|path| std::fs::symlink_metadata(path).is_ok());
        strongest.is_some_and(|path| std::fs::read_link(path).ok().as_deref() != Some("/dev/null".as_ref()))
    });
    let runs = machine.runs(WHAT);
    let seen = match (runs, names.first()) {
        (Some(true), _) => "runs".to_owned(),
        (_, Some(rule)) => format!("is started by udev for new ports (rule {rule})"),
        (None, None) => return Finding::new(TOPIC, WHAT, State::Unknown, "no process can be seen", WHY),
        (Some(false), None) => {
            return Finding::new(TOPIC, WHAT, State::Fine, "does not run and has no udev rule", WHY);
        }
    };
    Finding::new(
        TOPIC,
        WHAT,
        State::Likely,
        format!("{seen}; if your cable has a chip it knows, it takes it"),
        WHY,
    )
    .with(Remedy::root(
        RunPolicy::ByHand,
        "if nobody here needs a braille display: takes it off the machine",
        &["apt", "remove", WHAT],
    ))
    .with(Remedy::advice("if somebody does, leave it, and use a cable with another chip"))
}
