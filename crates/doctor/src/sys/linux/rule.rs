//! The udev rule: whether it is installed, and whether it is this program's current one.

use super::port_services::OWN_RULE_PATH;
use super::{Finding, Machine, State};
use crate::{Remedy, RunPolicy};

/// Where the rule goes.
const RULE_PATH: &str = "/etc/udev/rules.d/70-cliplead-serial.rules";

const TOPIC: &str = "udev rule";
const WHY: &str =
    "It lets whoever sits at the machine open USB ports, and keeps the modem service off the listed cables.";

/// Looks for the rule with the text `current`, and at the services that the rule keeps away.
#[must_use]
pub fn udev_rule(machine: &Machine, current: &str) -> Vec<Finding> {
    let mut findings = vec![rule(machine, current)];
    findings.extend(super::port_services::port_services(machine));
    findings
}

fn rule(machine: &Machine, current: &str) -> Finding {
    if !machine.has("run/udev") {
        let seen = "udev does not run here (a container, perhaps), so no rule has an effect";
        return Finding::new(TOPIC, RULE_PATH, State::Unknown, seen, WHY)
            .with(Remedy::advice("look on the machine itself, where the cable is plugged in"));
    }
    let name = RULE_PATH.trim_start_matches("/etc/");
    let places = [RULE_PATH.to_owned(), format!("/usr/lib/{name}"), format!("/lib/{name}")];
    let found = places.iter().find(|place| machine.has(place));
    let Some(place) = found else {
        return installed(
            Finding::new(TOPIC, RULE_PATH, State::Missing, "is not in place", WHY),
            current,
            RunPolicy::OnRequest,
        );
    };
    match machine.text(place) {
        None => Finding::new(TOPIC, place, State::Unknown, "cannot be read", WHY),
        Some(text) if text == current => {
            Finding::new(TOPIC, place, State::Fine, "is in place, as this program has it", WHY)
        }
        // It may hold somebody's own lines; those are not written over.
        Some(_) => installed(
            Finding::new(TOPIC, place, State::Missing, "is in place, but older, or changed by hand", WHY)
                .with(Remedy::advice(format!(
                    "lines of your own go into {OWN_RULE_PATH}; move them before you replace it"
                ))),
            current,
            RunPolicy::ByHand,
        ),
    }
}

fn installed(finding: Finding, current: &str, run: RunPolicy) -> Finding {
    let install = ["install", "-D", "-m", "0644", "/dev/stdin", RULE_PATH];
    finding
        .with(Remedy::root(run, "puts the rule in place", &install).with_input(current))
        .with(Remedy::root(run, "lets udev read its rules again", &["udevadm", "control", "--reload"]))
        .with(Remedy::root(
            run,
            "lets udev go over the ports that are there",
            &["udevadm", "trigger", "--subsystem-match=tty"],
        ))
}
