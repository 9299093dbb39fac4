//! Bluetooth: adapter, radio switches, service, bus, and the permission to talk to the service. Reads the kernel's
//! files and greets the bus; talks to no device.

use super::accounts::groups;
use super::bus;
use super::{Finding, Machine, State};
use crate::{Remedy, RunPolicy};

/// Where the bus keeps its policy for BlueZ, the stronger first.
const POLICIES: [&str; 2] =
    ["etc/dbus-1/system.d/bluetooth.conf", "usr/share/dbus-1/system.d/bluetooth.conf"];

/// Examines everything between the program and a Bluetooth meter. Without an adapter, reports only that.
#[must_use]
pub fn bluetooth(machine: &Machine) -> Vec<Finding> {
    let adapter = adapter(machine);
    let there = adapter.state == State::Fine;
    let mut findings = vec![adapter];
    findings.extend(radios(machine));
    if there {
        findings.extend([service(machine), bus::system_bus(machine), policy(machine)]);
    }
    findings
}

fn adapter(machine: &Machine) -> Finding {
    const TOPIC: &str = "Bluetooth adapter";
    const WHAT: &str = "/sys/class/bluetooth";
    const WHY: &str = "A meter without a cable is heard through the Bluetooth adapter.";
    // `hci0` is an adapter, `hci0:64` a connection.
    let names = machine.names(WHAT).unwrap_or_default();
    let adapters: Vec<String> =
        names.into_iter().filter(|name| name.starts_with("hci") && !name.contains(':')).collect();
    if adapters.is_empty() {
        return if machine.has("sys/class") {
            Finding::new(TOPIC, WHAT, State::Missing, "the kernel has none", WHY)
                .with(Remedy::advice("plug one in; `sudo dmesg` says if its firmware is missing"))
        } else {
            Finding::new(TOPIC, WHAT, State::Unknown, "/sys cannot be read", WHY)
        };
    }
    Finding::new(TOPIC, WHAT, State::Fine, adapters.join(", "), WHY)
}

fn radios(machine: &Machine) -> Vec<Finding> {
    const TOPIC: &str = "Bluetooth radio";
    const WHY: &str = "A radio that is switched off hears nothing.";
    let names = machine.names("sys/class/rfkill").unwrap_or_default();
    let mut findings = Vec::new();
    for name in names.iter().filter(|name| name.starts_with("rfkill")) {
        let read = |what: &str| {
            machine.text(&format!("sys/class/rfkill/{name}/{what}")).map(|text| text.trim().to_owned())
        };
        if read("type").as_deref() != Some("bluetooth") {
            continue;
        }
        let what = format!("/sys/class/rfkill/{name}");
        let finding = match (read("hard").as_deref(), read("soft").as_deref()) {
            (Some("1"), _) => Finding::new(
                TOPIC,
                what,
                State::Blocked,
                "switched off by a switch or key of the machine",
                WHY,
            )
            .with(Remedy::advice("use that switch or key (or the firmware's set-up); no program can")),
            (Some("0"), Some("1")) => {
                Finding::new(TOPIC, what, State::Blocked, "switched off by software", WHY).with(Remedy::root(
                    RunPolicy::OnRequest,
                    "switches the Bluetooth radio ON; do not where radios must stay off",
                    &["rfkill", "unblock", "bluetooth"],
                ))
            }
            (Some("0"), Some("0")) => Finding::new(TOPIC, what, State::Fine, "not switched off", WHY),
            _ => Finding::new(TOPIC, what, State::Unknown, "its switches cannot be read", WHY),
        };
        findings.push(finding);
    }
    findings
}

fn service(machine: &Machine) -> Finding {
    const TOPIC: &str = "Bluetooth service";
    const WHAT: &str = "bluetoothd";
    const WHY: &str = "The program talks to the adapter through this service (org.bluez on the system bus).";
    match machine.runs(WHAT) {
        Some(true) => Finding::new(TOPIC, WHAT, State::Fine, "runs", WHY),
        None => Finding::new(TOPIC, WHAT, State::Unknown, "no process can be seen", WHY),
        Some(false) => {
            let is_there =
                ["usr/libexec/bluetooth/bluetoothd", "usr/lib/bluetooth/bluetoothd", "usr/sbin/bluetoothd"];
            if !is_there.iter().any(|path| machine.has(path)) {
                return Finding::new(TOPIC, WHAT, State::Blocked, "does not run and was not found", WHY)
                    .with(Remedy::root(
                        RunPolicy::ByHand,
                        "puts it on the machine",
                        &["apt", "install", "bluez"],
                    ));
            }
            let finding = Finding::new(TOPIC, WHAT, State::Blocked, "does not run", WHY);
            let says = "starts it; it may switch the Bluetooth radio ON by itself";
            if machine.has("run/systemd/system") {
                finding.with(Remedy::root(RunPolicy::OnRequest, says, &["systemctl", "start", "bluetooth"]))
            } else {
                finding.with(Remedy::root(RunPolicy::ByHand, says, &["service", "bluetooth", "start"]))
            }
        }
    }
}

fn policy(machine: &Machine) -> Finding {
    const TOPIC: &str = "Bluetooth right";
    const WHY: &str = "The bus passes messages to the service only for those whom its policy names.";
    let not_seen = |what: &str, why: &str| Finding::new(TOPIC, what, State::Unknown, why, WHY);
    let Some((path, text)) = POLICIES.iter().find_map(|path| Some((*path, machine.text(path)?))) else {
        return not_seen("/etc/dbus-1/system.d/bluetooth.conf", "no policy was found; the bus decides");
    };
    let path = format!("/{path}");
    let Some(account) = &machine.account else {
        return not_seen(&path, "who is to use it cannot be told; name the account with --user");
    };
    let sends = |section: &str| {
        text.split("<policy ")
            .filter(|part| part.starts_with(section))
            .filter_map(|part| part.split("</policy>").next())
            .any(|part| part.contains("<allow send_destination=\"org.bluez\""))
    };
    if account.uid == 0 || sends("context=\"default\"") {
        return Finding::new(TOPIC, path, State::Fine, format!("{} may talk to it", account.shown()), WHY);
    }
    if !sends("group=\"bluetooth\"") {
        return not_seen(&path, "the policy has a form that is not known here; the bus decides");
    }
    let all = groups(machine);
    let Some(group) = all.iter().find(|group| group.name == "bluetooth") else {
        return not_seen(&path, "the policy names the group bluetooth, and the group file has none");
    };
    if account.gids.contains(&group.gid) {
        let seen = format!("{} is in the group bluetooth", account.shown());
        return Finding::new(TOPIC, path, State::Fine, seen, WHY);
    }
    // The bus looks groups up by name, not at the login: no new login is needed, but the bus keeps what it knows.
    let finding = Finding::new(
        TOPIC,
        path,
        State::Likely,
        format!("{} is not in the group bluetooth, which the policy names", account.shown()),
        WHY,
    );
    match &account.name {
        Some(name) if !group.holds(name) => finding
            .with(Remedy::root(
                RunPolicy::OnRequest,
                format!("adds {name} to the group bluetooth"),
                &["usermod", "-aG", "bluetooth", name],
            ))
            .with(Remedy::advice("then log out and in again, or start the service again")),
        _ => finding.with(Remedy::advice("log out and in again; groups count from a login on")),
    }
}
