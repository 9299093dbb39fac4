//! The step that measures what makes the product fit a small board: packages, binaries of the default and of the slim build
//! (their sizes, and that they hold no path of the machine), idle memory.
//! Does not measure the busy daemon.

use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, bail};

use crate::context::Context;
use crate::process::Run;
use crate::steps::rust::{SLIM, packages};
use crate::summary::Outcome;

const PACKAGES_MAX: usize = 230;
/// 14 MB.
const BINARY_BYTES_MAX: u64 = 14_000_000;
/// 9 MB, for the build for the smallest boards.
const SLIM_BYTES_MAX: u64 = 9_000_000;
/// 16 MiB.
const IDLE_KIB_MAX: u64 = 16 * 1024;
/// How long the idle daemon is watched; the largest figure counts.
const WATCHED: Duration = Duration::from_secs(4);

pub(crate) fn run(context: &Context) -> Result<Outcome> {
    let packages = packages(context, &[])?;
    // First, so that the default build is what lies there in the end.
    let (_, slim_bytes) = built(context, SLIM)?;
    let (binary, bytes) = built(context, &[])?;
    let idle_kib = idle_memory(context, &binary);
    let idle_text = match &idle_kib {
        Ok(kib) => format!("idle daemon {kib} KiB resident (at most {IDLE_KIB_MAX})"),
        Err(error) => format!("idle daemon not measured: {error:#}"),
    };
    let figures = format!(
        "{packages} packages (at most {PACKAGES_MAX}), binary {bytes} bytes (at most {BINARY_BYTES_MAX}), slim build \
         {slim_bytes} bytes (at most {SLIM_BYTES_MAX}), {idle_text}"
    );
    let within = packages <= PACKAGES_MAX
        && bytes <= BINARY_BYTES_MAX
        && slim_bytes <= SLIM_BYTES_MAX
        && idle_kib.is_ok_and(|kib| kib <= IDLE_KIB_MAX);
    if !within {
        bail!("over the budget: {figures}");
    }
    Ok(Outcome::Passed(figures))
}

/// The stripped release binary with these features, and its size.
fn built(context: &Context, features: &[&str]) -> Result<(PathBuf, u64)> {
    let binary = crate::release::build(context, features)?;
    let bytes = std::fs::metadata(&binary).context("no release binary")?.len();
    Ok((binary, bytes))
}

/// The daemon's configuration for the idle measurement: no device, the shop's rules, history, and the dashboard on a
/// port of the system's choice.
const IDLE_CONFIG: &str = include_str!("../../idle.toml");

/// Starts the daemon with nothing to do and gives the most memory it held while it was watched, in KiB.
fn idle_memory(context: &Context, binary: &Path) -> Result<u64> {
    let folder = context.target.join("idle");
    if folder.exists() {
        std::fs::remove_dir_all(&folder)?;
    }
    std::fs::create_dir_all(&folder)?;
    let rules = context.root.join("rules").to_string_lossy().into_owned();
    let config = folder.join("idle.toml");
    std::fs::write(&config, IDLE_CONFIG.replace("RULES", &rules))?;
    let talk = std::fs::File::create(folder.join("stderr.txt"))?;
    let args = [Path::new("run"), config.as_path()];
    let mut command = Run::new(binary, &args).in_dir(&folder).into_command();
    let mut daemon =
        command.stdout(Stdio::null()).stderr(talk).spawn().context("the daemon did not start")?;
    let watched = watch(&mut daemon);
    // It may have ended by itself, which `watch` has told; then there is nothing left to end.
    let _ = daemon.kill();
    daemon.wait()?;
    watched.with_context(|| {
        let said = std::fs::read_to_string(folder.join("stderr.txt")).unwrap_or_default();
        format!("`cliplead run` said: {}", said.trim())
    })
}

fn watch(daemon: &mut Child) -> Result<u64> {
    let started = Instant::now();
    let mut most = 0;
    while started.elapsed() < WATCHED {
        if let Some(status) = daemon.try_wait()? {
            bail!("the idle daemon ended by itself with {status}");
        }
        let status = std::fs::read_to_string(format!("/proc/{}/status", daemon.id()))
            .context("idle memory is read from /proc, which is Linux's")?;
        most = resident_kib(&status).unwrap_or(0).max(most);
        std::thread::sleep(Duration::from_millis(100));
    }
    if most == 0 {
        bail!("the system told no resident memory");
    }
    Ok(most)
}

/// `VmRSS` of a `/proc/PID/status`.
fn resident_kib(status: &str) -> Option<u64> {
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    line.trim().strip_suffix("kB")?.trim().parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_resident_memory() {
        let status = "Name:\tcliplead\nVmHWM:\t   20000 kB\nVmRSS:\t   10448 kB\nThreads:\t3\n";
        assert_eq!(resident_kib(status), Some(10_448));
        assert_eq!(resident_kib("Name:\tx\n"), None);
    }
}
