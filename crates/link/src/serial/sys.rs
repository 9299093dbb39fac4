//! Serial ports on each system: the list, the stable names, what opening depends on. Every system provides the same
//! items. Re-exports only.

#[cfg(any(not(target_os = "linux"), test))]
#[cfg_attr(unix, allow(dead_code, unreachable_pub, reason = "compiled for its tests"))]
pub(crate) mod elsewhere;
#[cfg(target_os = "linux")]
pub(crate) mod linux;
pub mod look;
#[cfg(any(target_os = "macos", test))]
#[cfg_attr(not(target_os = "macos"), allow(dead_code, unused_imports, reason = "compiled for its tests"))]
mod macos;
#[cfg(any(not(any(target_os = "linux", target_os = "macos", windows)), test))]
#[cfg_attr(test, allow(dead_code, unused_imports, reason = "compiled to see that it compiles"))]
mod other;
#[cfg(any(windows, test))]
#[cfg_attr(not(windows), allow(dead_code, unused_imports, reason = "compiled for its tests"))]
mod windows;

#[cfg(target_os = "linux")]
use linux as here;
#[cfg(target_os = "macos")]
use macos as here;
#[cfg(not(any(target_os = "linux", target_os = "macos", windows)))]
use other as here;
#[cfg(windows)]
use windows as here;

pub(crate) use here::{LEVEL_UNLESS_SET, Source, answers, list, locate, named, refused};
