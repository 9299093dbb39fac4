//! What is built into the binary: the shipped rules, the generic device profiles and the udev rule (see build.rs).

include!(concat!(env!("OUT_DIR"), "/shipped.rs"));

/// The text of the shipped profile with this folder name under `hardware-notes`.
pub(crate) fn profile(class: &str) -> Option<&'static str> {
    let path = format!("hardware-notes/{class}/profile.toml");
    PROFILES.iter().find(|(name, _)| *name == path).map(|(_, text)| *text)
}

/// The text of the udev rule for serial ports.
pub(crate) fn udev_rule() -> &'static str {
    UDEV_RULES.first().map_or("", |(_, text)| text)
}
