//! Serial ports: whether there are any, have a stable name, may be opened by the account, and are held by another
//! program.

use std::fs;
use std::path::Path;

use super::accounts::{Group, groups};
use super::holders::Holders;
use super::{Finding, Machine, State};
use crate::{Remedy, RunPolicy};
use link::ports::{Source, scan, stable_name};
use link::{Port, SerialPlace};

/// The most ports examined.
const PORTS_MAX: usize = 256;

const WHY_RIGHT: &str = "Without the right to open the port no byte of the meter is read.";
const WHY_NAME: &str = "A number goes by order of plugging in; tomorrow it may be another meter.";
const WHY_USE: &str =
    "Two programs on one port each get a part of the bytes, so a port that is taken is not opened.";

fn source(machine: &Machine) -> Source {
    Source { dev: machine.at("dev"), tty_class: machine.at("sys/class/tty") }
}

/// The ports of the machine.
pub(crate) fn ports(machine: &Machine) -> Vec<Port> {
    let mut ports = scan(&source(machine));
    ports.truncate(PORTS_MAX);
    ports
}

/// Examines every serial port. `named` are the places in the devices of a site, if a site is known: a problem with
/// any other port affects nobody.
#[must_use]
pub fn serial(machine: &Machine, named: Option<&[SerialPlace]>) -> Vec<Finding> {
    const TOPIC: &str = "serial ports";
    const WHY: &str = "A meter on a cable is read through a serial port.";
    if !machine.has("sys/class/tty") {
        let seen = "the folder is not there, so ports cannot be told";
        return vec![Finding::new(TOPIC, "/sys/class/tty", State::Unknown, seen, WHY)];
    }
    let ports = ports(machine);
    if ports.is_empty() {
        let seen = "no serial port with hardware behind it";
        return vec![
            Finding::new(TOPIC, "/sys/class/tty", State::Missing, seen, WHY)
                .with(Remedy::advice("plug the cable in and look again"))
                .with(Remedy::advice("if it stays away, `sudo dmesg` says what the kernel made of it")),
        ];
    }
    let holders = Holders::scan(machine);
    ports
        .iter()
        .flat_map(|port| {
            let all = [right(machine, port), name(machine, port), used(machine, port, &holders)];
            all.map(|finding| match named {
                Some(places) if places.iter().any(|place| is_at(machine, port, place)) => finding,
                Some(_) => spare(finding, "no device of the site names this port"),
                // Somebody plugged a USB port in for something; a built-in one is there in every machine.
                None if port.usb.is_none() => {
                    spare(finding, "it matters only if the meter is on this built-in port")
                }
                None => finding,
            })
        })
        .collect()
}

/// Whether a device names this port.
fn is_at(machine: &Machine, port: &Port, place: &SerialPlace) -> bool {
    match place {
        SerialPlace::Usb(usb) => port.usb.as_ref().is_some_and(|found| usb.matches(found)),
        SerialPlace::Path(path) => {
            let real = |path: &Path| fs::canonicalize(path).ok();
            let named = path.to_str().and_then(|path| real(&machine.at(path)));
            named.is_some() && named == real(&port.device)
        }
    }
}

/// A problem of an unused port is worth a note, no more.
fn spare(mut finding: Finding, why: &str) -> Finding {
    if finding.state == State::Blocked {
        finding.state = State::Note;
        finding.finding.push_str("; ");
        finding.finding.push_str(why);
        // Nobody is to be let in, or a console ended, for a port that is not used.
        for step in finding.remedies.iter_mut().filter_map(|remedy| remedy.step.as_mut()) {
            step.run = RunPolicy::ByHand;
        }
    }
    finding
}

/// Examines the one port denoted by the rest of a selector (after `serial:`).
#[must_use]
pub fn serial_place(machine: &Machine, place: &SerialPlace) -> Finding {
    const TOPIC: &str = "device";
    const WHY: &str = "The daemon waits for this port and reads nothing until it is there.";
    let count = match place {
        SerialPlace::Path(path) => usize::from(path.to_str().is_some_and(|path| machine.has(path))),
        SerialPlace::Usb(usb) => ports(machine)
            .iter()
            .filter(|port| port.usb.as_ref().is_some_and(|found| usb.matches(found)))
            .count(),
    };
    let (state, seen) = match count {
        0 => (State::Blocked, "is not plugged in, or has another name now".to_owned()),
        1 => (State::Fine, "is there".to_owned()),
        many => (State::Blocked, format!("{many} ports answer to it, none is chosen")),
    };
    let finding = Finding::new(TOPIC, place.to_string(), state, seen, WHY);
    match state {
        State::Fine => finding,
        _ => finding.with(Remedy::advice("`cliplead devices list` shows what is there and what to write")),
    }
}

fn right(machine: &Machine, port: &Port) -> Finding {
    const TOPIC: &str = "right to open";
    let what = machine.shown(&port.device);
    let not_seen = |why: &str| Finding::new(TOPIC, what.clone(), State::Unknown, why, WHY_RIGHT);
    let Some(rights) = machine.rights(&port.device) else { return not_seen("owner and mode cannot be read") };
    let Some(account) = &machine.account else {
        return not_seen("who is to use it cannot be told; name the account with --user");
    };
    let all = groups(machine);
    let group = all.iter().find(|group| group.gid == rights.gid);
    let group_shown = group.map_or_else(|| rights.gid.to_string(), |group| group.name.clone());
    let mode = rights.mode & 0o777;
    let who = account.shown();
    if account.may_read_and_write(rights) {
        let caution = if account.uid == 0 {
            "; root also walks into ports that another program has locked, so use an account of its own"
        } else {
            ""
        };
        let seen = format!("{who} may open it (mode {mode:03o}, group {group_shown}){caution}");
        return Finding::new(TOPIC, what, State::Fine, seen, WHY_RIGHT);
    }
    if udev_data(machine, port).is_some_and(|data| data.lines().any(|line| line.ends_with(":uaccess"))) {
        return not_seen(&format!(
            "mode {mode:03o} and group {group_shown} do not let {who} in, but udev gives the port to whoever sits at \
             the machine by an access list, which cannot be seen from here"
        ))
        .with(Remedy::advice(format!("`getfacl {what}` shows the list")));
    }
    let seen = format!("{who} may not open it (mode {mode:03o}, group {group_shown})");
    let finding = Finding::new(TOPIC, what, State::Blocked, seen, WHY_RIGHT);
    // Root's own group opens much more than a port.
    let group = group.filter(|group| group.gid != 0 && mode & 0o060 == 0o060);
    match (group, &account.name) {
        (Some(group), Some(name)) => joined(finding, group, name, account.gids.contains(&group.gid)),
        _ => finding.with(Remedy::advice(
            "no group helps here; the udev rule opens USB ports to whoever sits at the machine (see \"udev rule\")",
        )),
    }
}

/// What helps if a group may open the port: joining it, or just a new login.
fn joined(finding: Finding, group: &Group, name: &str, counts: bool) -> Finding {
    let again =
        Remedy::advice("then log out and in again, or start the service again: groups count from a login on");
    if group.holds(name) && !counts {
        let mut finding = finding;
        finding.finding.push_str(", though the group file has the account in the group: this login is older");
        return finding.with(Remedy::advice("log out and in again; groups count from a login on"));
    }
    finding
        .with(Remedy::root(
            RunPolicy::OnRequest,
            format!("adds {name} to the group {}", group.name),
            &["usermod", "-aG", &group.name, name],
        ))
        .with(again)
}

fn name(machine: &Machine, port: &Port) -> Finding {
    const TOPIC: &str = "lasting name";
    let what = machine.shown(&port.device);
    let named = |folder: &str| {
        let found = stable_name(&port.device, &machine.at(folder))?;
        Some(machine.shown(Path::new(&found)))
    };
    let by_usb = || port.usb.as_ref().filter(|usb| usb.serial.is_some()).map(|usb| format!("usb={usb}"));
    let found = named("dev/serial/by-id").or_else(by_usb).or_else(|| named("dev/cliplead"));
    if let Some(rest) = found {
        return Finding::new(TOPIC, what, State::Fine, format!("write serial:{rest}"), WHY_NAME);
    }
    if let Some(path) = named("dev/serial/by-path") {
        let seen = format!("write serial:{path}; it is the name of the socket, so keep the cable in it");
        return Finding::new(TOPIC, what, State::Fine, seen, WHY_NAME);
    }
    let rule = Remedy::advice("give it one with a udev rule: hardware-notes/attach-serial.md, section 1");
    match port.usb {
        Some(_) => {
            Finding::new(TOPIC, what, State::Blocked, "a USB port without one; does udev run?", WHY_NAME)
        }
        None => Finding::new(TOPIC, what, State::Missing, "a built-in port has none", WHY_NAME),
    }
    .with(rule)
}

fn used(machine: &Machine, port: &Port, holders: &Holders) -> Finding {
    const TOPIC: &str = "in use";
    let what = machine.shown(&port.device);
    let Some(meta) = fs::metadata(&port.device).ok().filter(|_| holders.seen_any) else {
        return Finding::new(TOPIC, what, State::Unknown, "no process can be seen", WHY_USE);
    };
    let held = holders.of(&what, &meta);
    if !held.is_empty() {
        let seen = format!("held by {}", held.join(", "));
        return Finding::new(TOPIC, what, State::Blocked, seen, WHY_USE)
            .with(Remedy::advice("end that program, or let it alone if it is the cliplead that you want"));
    }
    if holders.unseen > 0 {
        let seen = format!(
            "nobody among the programs that can be seen; {} belong to others and cannot be looked into",
            holders.unseen
        );
        let fuser = Remedy::root(RunPolicy::ByHand, "looks into all of them", &["fuser", "-v", &what]);
        return Finding::new(TOPIC, what, State::Unknown, seen, WHY_USE).with(fuser);
    }
    Finding::new(TOPIC, what, State::Fine, "no program has it open or locked", WHY_USE)
}

/// udev's data about the port.
pub(crate) fn udev_data(machine: &Machine, port: &Port) -> Option<String> {
    let name = port.device.file_name()?.to_str()?;
    let number = machine.text(&format!("sys/class/tty/{name}/dev"))?;
    let plain = number.trim().split(':').all(|part| part.parse::<u32>().is_ok());
    machine.text(&format!("run/udev/data/c{}", number.trim())).filter(|_| plain)
}
