//! The doctor's findings on the site's file: whether it loads, its devices are there, its rules load, its history can
//! be kept, and its page's address is free. Opens no device; connects once to each serial server that the file names.

use std::net::{SocketAddr, TcpListener};
use std::path::Path;

use doctor::{Finding, Machine, Remedy, State};
use site::{Device, Site};

use crate::config;
use crate::{daemon, rules, sys};

/// What the devices of a site use.
#[derive(Default)]
pub(crate) struct Uses {
    /// The schemes of their selectors.
    pub(crate) schemes: Vec<String>,
    /// The serial ports they name.
    #[cfg(feature = "serial")]
    pub(crate) ports: Vec<link::SerialPlace>,
}

impl Uses {
    fn add(&mut self, selector: &str) {
        let Some((scheme, _rest)) = selector.split_once(':') else { return };
        self.schemes.push(scheme.to_owned());
        #[cfg(feature = "serial")]
        if scheme == "serial" {
            // One that cannot be read is told with its device.
            self.ports.extend(link::SerialPlace::parse(_rest).ok());
        }
    }
}

/// The findings, and what the devices of the site use; `None` if its file cannot be read.
pub(crate) fn look(machine: &Machine, path: &Path) -> (Vec<Finding>, Option<Uses>) {
    const TOPIC: &str = "site's file";
    const WHY: &str = "The daemon does not start with a file it cannot use.";
    let what = path.display().to_string();
    let site = match config::read(path) {
        Ok(site) => site,
        Err(error) => {
            let finding = Finding::new(TOPIC, what, State::Blocked, format!("{error:#}"), WHY)
                .with(Remedy::advice("mend the line it names; `cliplead run --help` shows the form"));
            return (vec![finding], None);
        }
    };
    let mut findings = vec![Finding::new(TOPIC, what, State::Fine, "loads, its profiles too", WHY)];
    let registry = daemon::registry();
    let mut uses = Uses::default();
    for one in &site.devices {
        findings.push(device(machine, &registry, one));
        uses.add(&one.selector);
    }
    findings.push(rule_set(&site));
    if let Some(history) = &site.history {
        findings.push(doctor::storage(machine, history));
        findings.push(space(history));
    }
    if let Some(address) = site.dashboard {
        findings.push(page(address));
    }
    (findings, Some(uses))
}

#[cfg_attr(
    not(feature = "serial"),
    allow(unused_variables, reason = "only serial ports are looked for on the machine")
)]
fn device(machine: &Machine, registry: &link::Registry, device: &Device) -> Finding {
    const WHY: &str = "A device that cannot be opened gives no readings; the others go on.";
    let name = format!("{} ({})", device.name, device.selector);
    let found = |state, seen: String| Finding::new("device", name.clone(), state, seen, WHY);
    let selector = match registry.validate(&device.selector) {
        Ok(selector) => selector,
        Err(error) => return found(State::Blocked, error.to_string()),
    };
    let looked_at: Result<Finding, link::SelectorFault> = match selector.scheme() {
        #[cfg(feature = "serial")]
        "serial" => {
            link::SerialPlace::parse(selector.rest()).map(|place| doctor::serial_place(machine, &place))
        }
        #[cfg(feature = "tcp")]
        "tcp" => link::TcpPlace::parse(selector.rest()).map(|place| doctor::tcp(&place)),
        "file" if Path::new(selector.rest()).is_file() => {
            Ok(found(State::Fine, "the file is there".to_owned()))
        }
        "file" => Ok(found(State::Blocked, "there is no such file".to_owned())),
        "stdin" | "manual" => Ok(found(State::Fine, "needs nothing attached".to_owned())),
        _ => Ok(found(
            State::Unknown,
            "the selector is in order; whether the device is near shows only when it is opened".to_owned(),
        )),
    };
    match looked_at {
        Ok(finding) => Finding { what: name, ..finding },
        Err(fault) => found(State::Blocked, fault.to_string()),
    }
}

fn rule_set(site: &Site) -> Finding {
    const WHY: &str = "Without its rules the daemon does not start.";
    let (what, remedy) = match &site.rules {
        Some(folder) => (
            folder.display().to_string(),
            format!("`cliplead rules check {}` names every problem", folder.display()),
        ),
        None => ("built-in rules".to_owned(), "`cliplead rules list` names them".to_owned()),
    };
    let hindered = |seen: String| {
        Finding::new("rules", what.clone(), State::Blocked, seen, WHY).with(Remedy::advice(remedy.clone()))
    };
    let set = match rules::texts(site.rules.as_deref()).map(|texts| rules::load(&texts)) {
        Ok(Ok(loaded)) => loaded.set,
        Ok(Err(problems)) => {
            let first = problems.iter().find(|problem| problem.severity == script::Severity::Error);
            let first = first.map(ToString::to_string).unwrap_or_default();
            return hindered(format!("{} problems, the first: {}", problems.len(), first.replace('\n', " ")));
        }
        Err(error) => return hindered(format!("{error:#}")),
    };
    for plan in &site.route {
        if let Err(error) = rules::must_have(&set, &plan.rule) {
            return hindered(format!("the route: {error}"));
        }
    }
    Finding::new("rules", what, State::Fine, "load, and hold every rule of the route", WHY)
}

/// Below this the disk counts as full: our own choice, some thousand visits.
const SPACE_KIB_MIN: u64 = 64 * 1024;

/// Free space according to the system.
fn space(history: &Path) -> Finding {
    const WHY: &str = "On a full disk no verdict can be stored, so none is shown.";
    let folder =
        history.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    let what = folder.display().to_string();
    match sys::free_kib(&what) {
        None => Finding::new("disk space", what, State::Unknown, sys::SPACE_NOT_SEEN, WHY),
        Some(kib) if kib < SPACE_KIB_MIN => {
            Finding::new("disk space", what, State::Blocked, format!("only {} MiB free", kib / 1024), WHY)
                .with(Remedy::advice("make room, or name another place for the history"))
        }
        Some(kib) => Finding::new("disk space", what, State::Fine, format!("{} MiB free", kib / 1024), WHY),
    }
}

/// Binds the address for a moment.
fn page(address: SocketAddr) -> Finding {
    const WHY: &str = "The daemon does not start when its page's address is taken.";
    let found = |state, seen: String| Finding::new("page's address", address.to_string(), state, seen, WHY);
    if !address.ip().is_loopback() {
        return found(State::Blocked, "is beyond loopback, which the daemon refuses".to_owned())
            .with(Remedy::advice("write 127.0.0.1 and the port"));
    }
    match TcpListener::bind(address) {
        Ok(_) => found(State::Fine, "is free".to_owned()),
        Err(error) => found(State::Blocked, format!("cannot be taken: {error}")).with(Remedy::advice(
            "end the program that has it (a cliplead that runs already?), or write another port",
        )),
    }
}
