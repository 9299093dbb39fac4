//! The site's file (TOML): devices, rules, history, page, units, route. Rejects unknown keys with their line. Does not read
//! the file or open anything it names.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::format;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::string::String;
use std::vec::Vec;

use serde::Deserialize;
use visit::round::{Plan, Settings};
use wire::Profile;

use crate::unit::{Units, WrittenUnit};

/// The machine's name where none is written: the same wherever the file is. A history mostly stays with one machine, and a name
/// that the system gave could change and leave its visits behind; machines that share a history are named in their files.
pub const MACHINE_DEFAULT: &str = "this machine";

/// The file as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    #[serde(default)]
    site: String,
    machine: Option<String>,
    rules: Option<PathBuf>,
    history: Option<PathBuf>,
    dashboard: Option<SocketAddr>,
    #[serde(default)]
    decision: Option<String>,
    coverage_factor: Option<f64>,
    risk: Option<f64>,
    #[serde(default)]
    device: Vec<WrittenDevice>,
    #[serde(default)]
    unit: Vec<WrittenUnit>,
    #[serde(default)]
    check: Vec<WrittenCheck>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenDevice {
    name: String,
    selector: String,
    profile: Option<String>,
    #[serde(default)]
    typed: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenCheck {
    #[serde(default)]
    unit: String,
    #[serde(default)]
    component: String,
    rule: String,
    #[serde(default)]
    plate: BTreeMap<String, String>,
    #[serde(default)]
    bind: BTreeMap<String, String>,
}

/// The parsed and validated file, with paths resolved against its folder.
#[derive(Debug)]
pub struct Site {
    /// The shop's name for it.
    pub site: String,
    /// The name of the machine that runs this, by which it knows its own visits in a history.
    pub machine: String,
    /// The folder of rules; `None` for the built-in ones.
    pub rules: Option<PathBuf>,
    /// The file of the history.
    pub history: Option<PathBuf>,
    /// The page's address.
    pub dashboard: Option<SocketAddr>,
    /// How to judge.
    pub settings: Settings,
    /// In the order of the file.
    pub devices: Vec<Device>,
    /// Its checks, in order.
    pub route: Vec<Plan>,
}

/// A device of the site.
#[derive(Clone, Debug)]
pub struct Device {
    /// The name that people and recordings use.
    pub name: String,
    /// Where to find it.
    pub selector: String,
    /// The profile and its text; `None` for typed values of an unknown meter.
    pub profile: Option<(Profile, String)>,
    /// Its bytes are typed lines; the profile, if any, only supplies its accuracy.
    pub typed: bool,
}

/// Parses the text of a site's file. Paths are relative to `folder`; `profile` returns a profile by its file or name,
/// with its text.
///
/// # Errors
/// A sentence with the device or check, or with the line.
pub fn parse<E: Display>(
    text: &str,
    folder: &Path,
    mut profile: impl FnMut(&str) -> Result<(Profile, String), E>,
) -> Result<Site, String> {
    let written: Written = toml::from_str(text).map_err(|error| {
        let line = error.span().map_or(1, |span| {
            text.as_bytes().iter().take(span.start).filter(|byte| **byte == b'\n').count() + 1
        });
        format!("line {line}: {}", error.message())
    })?;
    let in_folder = |path: PathBuf| if path.is_absolute() { path } else { folder.join(path) };
    let mut devices: Vec<Device> = Vec::new();
    for WrittenDevice { name, selector, profile: named, typed } in written.device {
        if devices.iter().any(|known| known.name == name) {
            return Err(format!("device {name:?} stands twice; names must differ"));
        }
        if name.trim().is_empty() || name.contains('/') {
            return Err(format!("device name {name:?}: it must not be empty or hold a slash"));
        }
        let profile = named.as_deref().map(&mut profile).transpose();
        let profile = profile.map_err(|why| format!("device {name:?}: {why:#}"))?;
        let typed = typed || profile.is_none();
        devices.push(Device { name, selector, profile, typed });
    }
    let units = Units::of(written.unit)?;
    let mut route = Vec::new();
    for (index, check) in written.check.iter().enumerate() {
        let plan = crate::plan(&check.unit, &check.component, &check.rule, &check.plate, &check.bind);
        let plan = plan.and_then(|plan| units.complete(plan));
        route.push(plan.map_err(|why| format!("check {}: {why}", index + 1))?);
    }
    let machine = written.machine.unwrap_or_else(|| MACHINE_DEFAULT.into());
    if machine.trim().is_empty() {
        return Err("machine: it must not be empty; name this machine, or leave the key out".into());
    }
    Ok(Site {
        site: written.site,
        machine,
        rules: written.rules.map(in_folder),
        history: written.history.map(in_folder),
        dashboard: written.dashboard,
        settings: crate::settings(written.decision.as_deref(), written.coverage_factor, written.risk)?,
        devices,
        route,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PROFILE: &str = "profile = 1\nid = \"m\"\n[frame]\nkind = \"line\"\n[decode]\nkind = \"pattern\"\n\
                           pattern = \"{value:6} {unit:3}\"\n[decode.units]\n\"uF\" = \"uF\"\n";

    fn read(text: &str) -> Result<Site, String> {
        parse(text, Path::new("/shop"), |name| match name {
            "m" => Ok((Profile::parse(PROFILE).unwrap(), PROFILE.into())),
            _ => Err(format!("no profile {name}")),
        })
    }

    fn error(text: &str) -> String {
        read(text).unwrap_err()
    }

    #[test]
    fn an_empty_file_is_a_daemon_with_nothing_to_do() {
        let config = read("").unwrap();
        assert_eq!(config.machine, MACHINE_DEFAULT);
        assert_eq!(read("machine = \"van 2\"").unwrap().machine, "van 2");
        assert!(config.devices.is_empty() && config.route.is_empty() && config.dashboard.is_none());
    }

    #[test]
    fn reads_devices_and_route() {
        let text = "site = \"Mill Yard\"\n[[device]]\nname = \"meter\"\nselector = \"serial:usb=1a86:7523\"\n\
                    profile = \"m\"\n[[check]]\nunit = \"RTU-07\"\nrule = \"run-capacitor\"\n\
                    plate = { capacitance = \"12.5 uF\" }\n";
        let config = read(text).unwrap();
        assert_eq!((config.devices.len(), config.route.len()), (1, 1));
        let Device { profile, typed, .. } = &config.devices[0];
        assert_eq!((profile.as_ref().map(|(_, text)| text.as_str()), *typed), (Some(PROFILE), false));
        let visit::round::Entered::Number { number, .. } = &config.route[0].plate[0].1 else { panic!() };
        assert_eq!(format!("{number}"), "12.5");
    }

    #[test]
    fn says_the_line_and_what_is_wrong() {
        assert!(error("site = \"a\"\nsiet = 1\n").contains("line 2: unknown field `siet`"));
        assert!(error("dashboard = \"everywhere\"\n").contains("line 1"));
        assert!(error("decision = \"loose\"\n").contains("guarded"));
        assert!(error("risk = 0.9\n").contains("risk"));
        assert!(error("machine = \" \"\n").contains("machine: it must not be empty"));
        assert_eq!(
            error("[[device]]\nname=\"m\"\nselector=\"stdin:\"\nprofile=\"nowhere\"\n"),
            "device \"m\": no profile nowhere"
        );
        let twice = "[[device]]\nname=\"m\"\nselector=\"stdin:\"\n";
        assert!(error(&format!("{twice}{twice}")).contains("twice"));
        assert!(error("[[check]]\nrule=\"r\"\nplate={c=\"40\"}\n").contains("has no unit"));
    }
}
