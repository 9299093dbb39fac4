//! The site's file (TOML): devices, rules, history, page, route. Unknown keys are refused with their line.
//! Does not open anything it names.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use serde::Deserialize;
use visit::round::{Plan, Settings};
use wire::Profile;

use crate::{files, shipped};

/// The file as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    #[serde(default)]
    site: String,
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

/// The file as meant: paths resolved against its folder, texts read and checked.
#[derive(Debug)]
pub(crate) struct Config {
    pub(crate) site: String,
    pub(crate) rules: Option<PathBuf>,
    pub(crate) history: Option<PathBuf>,
    pub(crate) dashboard: Option<SocketAddr>,
    pub(crate) settings: Settings,
    pub(crate) devices: Vec<DeviceConfig>,
    pub(crate) route: Vec<Plan>,
}

/// A device as meant.
#[derive(Clone, Debug)]
pub(crate) struct DeviceConfig {
    pub(crate) name: String,
    pub(crate) selector: String,
    /// The profile and its text; `None` for typed values of an unknown meter.
    pub(crate) profile: Option<(Profile, String)>,
    /// Its bytes are typed lines; the profile, if any, only lends its accuracy.
    pub(crate) typed: bool,
}

/// Reads and checks a site's file.
///
/// # Errors
/// A sentence with the file and, where there is one, the line.
pub(crate) fn read(path: &Path) -> anyhow::Result<Config> {
    let text = files::read_text(path, files::SETTINGS_BYTES_MAX)?;
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    parse(&text, folder).with_context(|| path.display().to_string())
}

fn parse(text: &str, folder: &Path) -> anyhow::Result<Config> {
    let written: Written = toml::from_str(text).map_err(|error| {
        let line = error.span().map_or(1, |span| {
            text.as_bytes().iter().take(span.start).filter(|byte| **byte == b'\n').count() + 1
        });
        anyhow::anyhow!("line {line}: {}", error.message())
    })?;
    let in_folder = |path: PathBuf| if path.is_absolute() { path } else { folder.join(path) };
    let mut devices: Vec<DeviceConfig> = Vec::new();
    for device in written.device {
        if devices.iter().any(|known| known.name == device.name) {
            bail!("device {:?} stands twice; names must differ", device.name);
        }
        if device.name.trim().is_empty() || device.name.contains('/') {
            bail!("device name {:?}: it must not be empty or hold a slash", device.name);
        }
        let profile = device.profile.as_deref().map(|name| profile(name, folder)).transpose();
        let profile = profile.with_context(|| format!("device {:?}", device.name))?;
        let typed = device.typed || profile.is_none();
        devices.push(DeviceConfig { name: device.name, selector: device.selector, profile, typed });
    }
    let mut route = Vec::new();
    for (index, check) in written.check.iter().enumerate() {
        let plan = record::plan(&check.unit, &check.component, &check.rule, &check.plate, &check.bind);
        route.push(plan.map_err(|why| anyhow::anyhow!("check {}: {why}", index + 1))?);
    }
    Ok(Config {
        site: written.site,
        rules: written.rules.map(in_folder),
        history: written.history.map(in_folder),
        dashboard: written.dashboard,
        settings: settings(written.decision.as_deref(), written.coverage_factor, written.risk)?,
        devices,
        route,
    })
}

fn settings(
    decision: Option<&str>,
    coverage_factor: Option<f64>,
    risk: Option<f64>,
) -> anyhow::Result<Settings> {
    let mut header = record::RecordingHeader::of(&Settings::default());
    if let Some(decision) = decision {
        decision.clone_into(&mut header.decision);
    }
    header.coverage_factor = coverage_factor.unwrap_or(header.coverage_factor);
    header.risk = risk.unwrap_or(header.risk);
    header.settings().map_err(anyhow::Error::msg)
}

/// A profile by file or by the name of a built-in one, with its text.
///
/// # Errors
/// When it is neither, or its text is refused; with the line.
pub(crate) fn profile(name: &str, folder: &Path) -> anyhow::Result<(Profile, String)> {
    let text = match shipped::profile(name) {
        Some(text) => text.to_owned(),
        None => {
            let path = folder.join(name);
            files::read_text(&path, files::SETTINGS_BYTES_MAX).map_err(|error| {
                let built_in: Vec<&str> = shipped::PROFILES
                    .iter()
                    .filter_map(|(path, _)| {
                        path.strip_prefix("hardware-notes/")?.strip_suffix("/profile.toml")
                    })
                    .collect();
                anyhow::anyhow!("profile {error}; built in are: {}", built_in.join(", "))
            })?
        }
    };
    let profile = Profile::parse_with(&text, &script::FrameScripts)
        .map_err(|error| anyhow::anyhow!("profile {name}: {error}"))?;
    Ok((profile, text))
}

/// The open settings that a profile's hints and silence time ask for.
pub(crate) fn open_options(profile: Option<&Profile>) -> anyhow::Result<link::OpenOptions> {
    let mut options = link::OpenOptions::default();
    let Some(profile) = profile else {
        options.silence = None;
        return Ok(options);
    };
    let silence_us = u64::try_from(profile.silence().micros()).unwrap_or(0);
    options.silence = Some(
        std::time::Duration::from_micros(silence_us)
            .clamp(std::time::Duration::from_millis(50), std::time::Duration::from_secs(3600)),
    );
    if let Some(hints) = profile.link() {
        options.line = link::LineSettings::of(hints).context("the profile's [link]")?;
    }
    Ok(options)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn error(text: &str) -> String {
        format!("{:#}", parse(text, Path::new(".")).unwrap_err())
    }

    #[test]
    fn an_empty_file_is_a_daemon_with_nothing_to_do() {
        let config = parse("", Path::new(".")).unwrap();
        assert!(config.devices.is_empty() && config.route.is_empty() && config.dashboard.is_none());
    }

    #[test]
    fn reads_devices_and_route() {
        let text = "site = \"Mill Yard\"\n[[device]]\nname = \"meter\"\nselector = \"serial:usb=1a86:7523\"\n\
                    profile = \"generic-line-meter\"\n[[check]]\nunit = \"RTU-07\"\nrule = \"run-capacitor\"\n\
                    plate = { capacitance = \"12.5 uF\" }\n";
        let config = parse(text, Path::new(".")).unwrap();
        assert_eq!((config.devices.len(), config.route.len()), (1, 1));
        let visit::round::Entered::Number { number, .. } = &config.route[0].plate[0].1 else { panic!() };
        assert_eq!(number.to_string(), "12.5");
    }

    const PROFILE: &str = "profile = 1\nid = \"m\"\n[frame]\nkind = \"line\"\n[decode]\nkind = \"pattern\"\n\
                           pattern = \"{value:6} {unit:3}\"\n[decode.units]\n\"uF\" = \"uF\"\n";

    fn line_of(link: &str) -> link::LineSettings {
        let text = format!("{PROFILE}[link]\nkind = \"serial\"\n{link}\n");
        let profile = Profile::parse(&text).unwrap();
        open_options(Some(&profile)).unwrap().line
    }

    /// Each key of a profile's `[link]`, and what it changes. Both sides are taken apart without `..`: a key that is added
    /// and not handed on does not compile.
    #[test]
    fn every_key_of_a_link_table_reaches_the_options() {
        let all = "baud = 2400\ndata_bits = 7\nparity = \"even\"\nstop_bits = 2\ndtr = true\nrts = false";
        let link::LineSettings { baud, data_bits, parity, stop_bits, dtr, rts } = line_of(all);
        assert_eq!((baud, data_bits), (2400, link::DataBits::Seven));
        assert_eq!((parity, stop_bits), (link::Parity::Even, link::StopBits::Two));
        assert_eq!((dtr, rts), (Some(true), Some(false)));
        let plain = line_of("");
        assert_eq!(plain, link::LineSettings::default());
        for (key, want) in [
            ("baud = 50", link::LineSettings { baud: 50, ..plain }),
            ("baud = 4000000", link::LineSettings { baud: 4_000_000, ..plain }),
            ("data_bits = 5", link::LineSettings { data_bits: link::DataBits::Five, ..plain }),
            ("data_bits = 6", link::LineSettings { data_bits: link::DataBits::Six, ..plain }),
            ("parity = \"odd\"", link::LineSettings { parity: link::Parity::Odd, ..plain }),
            ("parity = \"none\"", plain),
            ("stop_bits = 1", plain),
            ("dtr = false", link::LineSettings { dtr: Some(false), ..plain }),
            ("dtr = true", link::LineSettings { dtr: Some(true), ..plain }),
            ("rts = false", link::LineSettings { rts: Some(false), ..plain }),
            ("rts = true", link::LineSettings { rts: Some(true), ..plain }),
        ] {
            assert_eq!(line_of(key), want, "{key}");
        }
    }

    #[test]
    fn says_the_line_and_what_is_wrong() {
        assert!(error("site = \"a\"\nsiet = 1\n").contains("line 2: unknown field `siet`"));
        assert!(error("dashboard = \"everywhere\"\n").contains("line 1"));
        assert!(error("decision = \"loose\"\n").contains("guarded"));
        assert!(error("risk = 0.9\n").contains("risk"));
        assert!(
            error("[[device]]\nname=\"m\"\nselector=\"stdin:\"\nprofile=\"nowhere\"\n")
                .contains("built in are")
        );
        let twice = "[[device]]\nname=\"m\"\nselector=\"stdin:\"\n";
        assert!(error(&format!("{twice}{twice}")).contains("twice"));
        assert!(error("[[check]]\nrule=\"r\"\nplate={c=\"40\"}\n").contains("has no unit"));
    }
}
