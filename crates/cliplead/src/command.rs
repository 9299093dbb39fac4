//! Runs one command: without a shell, with a time limit, with its output kept up to a limit. Decides nothing.

use std::process::Stdio;
use std::time::Duration;

use anyhow::Context as _;
use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWriteExt as _};
use tokio::process::Command;

/// The most bytes kept of each output stream.
const OUTPUT_BYTES_MAX: u64 = 64 * 1024;

/// The result of a command.
#[derive(Debug)]
pub(crate) struct Done {
    pub(crate) success: bool,
    /// What it wrote to stdout.
    pub(crate) out: String,
    /// What it wrote to stderr.
    pub(crate) err: String,
}

/// Runs it and waits, at most for `limit`; then it is killed. Programs are looked for in the folders of `path`.
///
/// # Errors
/// When it cannot be started or does not end in time.
pub(crate) fn run(argv: &[String], path: &str, input: Option<&str>, limit: Duration) -> anyhow::Result<Done> {
    let (program, arguments) = argv.split_first().context("no command")?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let mut child = Command::new(program)
            .args(arguments)
            .env("PATH", path)
            .env("LC_ALL", "C")
            .stdin(if input.is_some() { Stdio::piped() } else { Stdio::null() })
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .with_context(|| format!("{program} cannot be started"))?;
        let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
        let feed = async {
            if let (Some(mut stdin), Some(input)) = (stdin, input) {
                // A command that does not want it all says so by its own end.
                let _ = stdin.write_all(input.as_bytes()).await;
            }
        };
        let work = async { tokio::join!(feed, words(stdout), words(stderr), child.wait()) };
        let ((), out, err, status) = tokio::time::timeout(limit, work)
            .await
            .with_context(|| format!("{program} did not end within {} s and was stopped", limit.as_secs()))?;
        Ok(Done { success: status?.success(), out, err })
    })
}

async fn words(pipe: Option<impl AsyncRead + Unpin>) -> String {
    let mut bytes = Vec::new();
    if let Some(pipe) = pipe {
        // What came before an error is shown; what comes after the limit is not waited for.
        let _ = pipe.take(OUTPUT_BYTES_MAX).read_to_end(&mut bytes).await;
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;
    use crate::sys::PROGRAM_PATH;

    fn words(text: &str) -> Vec<String> {
        text.split(' ').map(str::to_owned).collect()
    }

    #[test]
    fn feeds_keeps_and_tells_the_end() {
        let limit = Duration::from_secs(60);
        let done = run(&words("cat"), PROGRAM_PATH, Some("a rule\n"), limit).unwrap();
        assert!(done.success && done.out == "a rule\n" && done.err.is_empty(), "{done:?}");
        let done = run(&words("cat /nowhere/at/all"), PROGRAM_PATH, None, limit).unwrap();
        assert!(!done.success && done.err.contains("No such file"), "{done:?}");
        let error = run(&words("no-such-program-anywhere"), PROGRAM_PATH, None, limit).unwrap_err();
        assert!(format!("{error:#}").contains("no-such-program-anywhere"), "{error:#}");
        // No shell: a semicolon is a letter like any other.
        assert_eq!(
            run(&words("echo a; echo $HOME"), PROGRAM_PATH, None, limit).unwrap().out,
            "a; echo $HOME\n"
        );
        // A flood ends, and is cut.
        let done = run(&words("yes"), PROGRAM_PATH, None, limit).unwrap();
        assert_eq!(done.out.len() as u64, OUTPUT_BYTES_MAX);
    }

    /// Runs the actual command that installs the udev rule, with another target.
    #[test]
    fn the_rule_is_put_in_place_as_it_is() {
        let folder = std::env::temp_dir().join(format!("cliplead-rule-{}", std::process::id()));
        let path = folder.join("rules.d/70-cliplead-serial.rules");
        let argv = words(&format!("install -D -m 0644 /dev/stdin {}", path.display()));
        let done =
            run(&argv, PROGRAM_PATH, Some(crate::shipped::udev_rule()), Duration::from_secs(60)).unwrap();
        assert!(done.success, "{done:?}");
        assert_eq!(std::fs::read_to_string(&path).unwrap(), crate::shipped::udev_rule());
        std::fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn a_command_that_waits_for_ever_is_stopped() {
        // Its limit is what is checked: `tail -f` never ends by itself.
        let error =
            run(&words("tail -f /dev/null"), PROGRAM_PATH, None, Duration::from_millis(50)).unwrap_err();
        assert!(error.to_string().contains("did not end"), "{error}");
    }
}
