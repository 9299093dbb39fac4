//! Starting other programs: the command is shown, its stdin is closed, a failure names it.
//! Does not decide what a failure means.

use std::ffi::{OsStr, OsString};
use std::io::Read;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, bail};

/// One program call.
pub(crate) struct Run {
    shown: String,
    command: Command,
}

impl Run {
    /// A program with arguments.
    pub(crate) fn new<S: AsRef<OsStr>>(program: impl AsRef<OsStr>, args: &[S]) -> Self {
        let program = program.as_ref();
        let name = Path::new(program).file_name().unwrap_or(program);
        let mut shown = name.to_string_lossy().into_owned();
        for arg in args {
            shown.push(' ');
            shown.push_str(&arg.as_ref().to_string_lossy());
        }
        let mut command = Command::new(program);
        command.args(args).stdin(Stdio::null());
        Self { shown, command }
    }

    /// The cargo that started us.
    pub(crate) fn cargo(args: &[&str]) -> Self {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| OsString::from("cargo"));
        Self::new(cargo, args)
    }

    /// Runs in this directory.
    pub(crate) fn in_dir(mut self, dir: &Path) -> Self {
        self.command.current_dir(dir);
        self
    }

    /// Sets one variable of the environment.
    pub(crate) fn env(mut self, key: &str, value: impl AsRef<OsStr>) -> Self {
        self.command.env(key, value);
        self
    }

    /// Runs with our own stdout and stderr; an exit code other than 0 is an error.
    pub(crate) fn check(mut self) -> Result<()> {
        println!("$ {}", self.shown);
        let status = self.command.status().with_context(|| format!("could not start `{}`", self.shown))?;
        if !status.success() {
            bail!("`{}` ended with {status}", self.shown);
        }
        Ok(())
    }

    /// As [`Self::check`], for programs side by side: what it said is shown as one when it has ended.
    pub(crate) fn check_apart(mut self) -> Result<()> {
        let output = self.command.output().with_context(|| format!("could not start `{}`", self.shown))?;
        let said = [output.stdout, output.stderr].concat();
        println!("$ {}\n{}", self.shown, String::from_utf8_lossy(&said).trim_end());
        if !output.status.success() {
            bail!("`{}` ended with {}", self.shown, output.status);
        }
        Ok(())
    }

    /// Runs silently and gives everything back, whatever the exit code.
    pub(crate) fn output(mut self) -> Result<Output> {
        self.command.output().with_context(|| format!("could not start `{}`", self.shown))
    }

    /// As [`Self::output`], for a program that may never end by itself: `None` when it had to be ended.
    pub(crate) fn output_within(mut self, limit: Duration) -> Result<Option<Output>> {
        let command = self.command.stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().with_context(|| format!("could not start `{}`", self.shown))?;
        let (stdout, stderr) = (read_all(child.stdout.take()), read_all(child.stderr.take()));
        let started = Instant::now();
        let status = loop {
            if let Some(status) = child.try_wait()? {
                break status;
            }
            if started.elapsed() >= limit {
                child.kill()?;
                child.wait()?;
                return Ok(None);
            }
            thread::sleep(Duration::from_millis(10));
        };
        let whole = |reader: JoinHandle<Vec<u8>>| reader.join().unwrap_or_default();
        Ok(Some(Output { status, stdout: whole(stdout), stderr: whole(stderr) }))
    }

    /// Runs silently and gives stdout; an exit code other than 0 is an error with stderr's last lines.
    pub(crate) fn stdout(self) -> Result<String> {
        let shown = self.shown.clone();
        let output = self.output()?;
        if !output.status.success() {
            bail!("`{shown}` ended with {}: {}", output.status, last_lines(&output.stderr, 8));
        }
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    }

    /// Hands out the prepared command, for a child that must be watched while it runs.
    pub(crate) fn into_command(self) -> Command {
        self.command
    }
}

/// As many as the machine has: for work that keeps a processor busy.
pub(crate) fn processors() -> usize {
    thread::available_parallelism().map_or(1, usize::from)
}

/// Does the work for each item, `workers` at a time, and gives what came of it in the items' order.
pub(crate) fn side_by_side<T: Sync, R: Send>(
    items: &[T],
    workers: usize,
    work: impl Fn(&T) -> R + Sync,
) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let mut done: Vec<(usize, R)> = thread::scope(|scope| {
        let one = || {
            let take = || {
                let at = next.fetch_add(1, Ordering::Relaxed);
                items.get(at).map(|item| (at, work(item)))
            };
            std::iter::from_fn(take).collect::<Vec<_>>()
        };
        let threads: Vec<_> = (0..workers).map(|_| scope.spawn(one)).collect();
        let joined = threads.into_iter().map(|thread| thread.join());
        joined.flat_map(|done| done.unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
    });
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

/// Reads a stream to its end, so that whoever writes never waits.
fn read_all(stream: Option<impl Read + Send + 'static>) -> JoinHandle<Vec<u8>> {
    thread::spawn(move || {
        let mut bytes = Vec::new();
        if let Some(mut stream) = stream {
            // What was read until then is all that there is.
            let _ = stream.read_to_end(&mut bytes);
        }
        bytes
    })
}

/// Whether the lists of Debian's packages were fetched in this run.
static LISTS_ARE_NEW: AtomicBool = AtomicBool::new(false);

/// Installs Debian's packages.
pub(crate) fn apt_install(packages: &[&str]) -> Result<()> {
    if !is_installed("apt-get") {
        bail!("no apt-get here to install {}", packages.join(", "));
    }
    let apt = |args: &[&str]| Run::new("apt-get", args).env("DEBIAN_FRONTEND", "noninteractive").check();
    // Once for all steps of a run.
    if !LISTS_ARE_NEW.load(Ordering::Relaxed) {
        apt(&["update", "-qq"])?;
        LISTS_ARE_NEW.store(true, Ordering::Relaxed);
    }
    apt(&[&["install", "-y", "-qq", "--no-install-recommends"], packages].concat())
}

/// Makes sure that Rust's libraries for a target are there.
pub(crate) fn rustup_target(target: &str) -> Result<()> {
    let installed = Run::new("rustup", &["target", "list", "--installed"]).stdout();
    if installed.is_ok_and(|list| list.lines().any(|line| line.trim() == target)) {
        return Ok(());
    }
    let output = Run::new("rustup", &["target", "add", target]).output()?;
    anyhow::ensure!(output.status.success(), "{}", last_lines(&output.stderr, 2));
    Ok(())
}

/// The last lines of what a program said, as one text.
pub(crate) fn last_lines(bytes: &[u8], count: usize) -> String {
    let text = String::from_utf8_lossy(bytes);
    let lines: Vec<&str> = text.lines().filter(|line| !line.trim().is_empty()).collect();
    let from = lines.len().saturating_sub(count);
    lines.get(from..).unwrap_or_default().join("\n")
}

/// Whether a program of this name is on the search path.
pub(crate) fn is_installed(program: &str) -> bool {
    let Some(path) = std::env::var_os("PATH") else { return false };
    std::env::split_paths(&path).any(|dir| dir.join(program).is_file())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_runs_side_by_side_comes_back_in_order_and_each_once() {
        let calls = AtomicUsize::new(0);
        let numbers: Vec<usize> = (0..500).collect();
        let squares = side_by_side(&numbers, 3, |number| {
            calls.fetch_add(1, Ordering::Relaxed);
            number * number
        });
        let want: Vec<usize> = numbers.iter().map(|number| number * number).collect();
        assert_eq!((squares, calls.into_inner()), (want, numbers.len()));
        assert_eq!(side_by_side(&[] as &[usize], 3, |number| *number), Vec::<usize>::new());
    }

    #[test]
    fn a_program_that_does_not_end_is_ended() {
        let hangs = Run::new("sleep", &["600"]).output_within(Duration::ZERO).unwrap();
        assert!(hangs.is_none());
        let ends = Run::new("sh", &["-c", "echo out; echo err >&2; exit 3"]);
        let output = ends.output_within(Duration::from_secs(60)).unwrap().unwrap();
        assert_eq!((output.stdout.as_slice(), output.stderr.as_slice()), (&b"out\n"[..], &b"err\n"[..]));
        assert_eq!(output.status.code(), Some(3));
    }
}
