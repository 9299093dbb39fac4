//! The files of a site: its own, and the profiles it names, from a folder or built in. `site` interprets them. Opens
//! no device.

use std::path::Path;

use anyhow::Context as _;
use site::Site;
use wire::Profile;

use crate::{files, shipped};

/// Reads and validates a site's file.
///
/// # Errors
/// A sentence with the file and, if there is one, the line.
pub(crate) fn read(path: &Path) -> anyhow::Result<Site> {
    let text = files::read_text(path, files::SETTINGS_BYTES_MAX)?;
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    site::parse(&text, folder, |name| profile(name, folder))
        .map_err(anyhow::Error::msg)
        .with_context(|| path.display().to_string())
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

/// The options for opening a device according to a profile's hints and silence time.
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

    #[test]
    fn a_site_may_name_a_built_in_profile_and_is_told_which_there_are() {
        assert!(profile("generic-line-meter", Path::new(".")).is_ok());
        let error = profile("nowhere", Path::new(".")).unwrap_err().to_string();
        assert!(error.contains("built in are: generic-"), "{error}");
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
}
