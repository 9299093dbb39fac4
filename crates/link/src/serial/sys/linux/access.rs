//! Whether this process may open a device, judged by the file's mode without opening it, and the group that may. A
//! hint for people: only opening it tells for certain.

use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::Path;

use crate::error::Unavailable;
use crate::sys::unix_rights::{READ_AND_WRITE, Rights, identity};

/// The usual group of serial ports, if the device's own is unknown: common on Debian and its derivatives.
const GROUP_FALLBACK: &str = "dialout";

/// What prevents opening, as far as the mode shows. Access lists (udev `uaccess`) are not considered, so a device
/// that carries one may be named forbidden here only when the kernel shows no group rights either.
pub(crate) fn hindrance(device: &Path) -> Option<Unavailable> {
    let path = device.display().to_string();
    let Ok(meta) = fs::metadata(device) else { return Some(Unavailable::NotFound { what: path }) };
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let (uid, gids) = identity(&status)?;
    if Rights::of(&meta).let_in(uid, &gids, READ_AND_WRITE) {
        None
    } else {
        Some(Unavailable::PermissionDenied { group: group_of(device), path })
    }
}

/// The name of the group that owns the device.
pub(crate) fn group_of(device: &Path) -> String {
    let groups = fs::read_to_string("/etc/group").unwrap_or_default();
    fs::metadata(device)
        .ok()
        .and_then(|meta| group_name(&groups, meta.gid()))
        // Adding a person to root's group fixes nothing and opens too much.
        .filter(|name| name != "root")
        .unwrap_or_else(|| GROUP_FALLBACK.to_owned())
}

/// The name of a group number in the text of `/etc/group`.
pub(crate) fn group_name(groups: &str, gid: u32) -> Option<String> {
    groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        let number: u32 = fields.nth(1)?.parse().ok()?;
        (number == gid).then(|| name.to_owned())
    })
}
