//! Turns a device of a site into a device of the pipeline. Does not know selectors.

use alloc::boxed::Box;

use pipeline::DeviceKind;
use wire::Profile;

/// A device's kind: a meter with its profile, or typed lines.
#[must_use]
pub fn kind_of(profile: Option<Profile>, typed: bool) -> DeviceKind {
    match profile {
        Some(profile) if !typed => pipeline::meter(profile),
        profile => DeviceKind::Manual(profile.map(Box::new)),
    }
}
