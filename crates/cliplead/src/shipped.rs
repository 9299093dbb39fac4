//! What is built into the binary: the shipped rules and the generic device profiles (see build.rs).

include!(concat!(env!("OUT_DIR"), "/shipped.rs"));

/// The text of the shipped profile with this folder name under `hardware-notes`.
pub(crate) fn profile(class: &str) -> Option<&'static str> {
    let path = format!("hardware-notes/{class}/profile.toml");
    PROFILES.iter().find(|(name, _)| *name == path).map(|(_, text)| *text)
}
