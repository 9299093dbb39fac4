//! A running daemon: its lines as they come, its page, its end. Does not judge them.

use std::io::{BufRead as _, BufReader, Read};
use std::os::fd::AsFd as _;
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use crate::HANG;
use crate::http::Page;
use crate::program::Invocation;

/// Which stream a line came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stream {
    /// Data.
    Out,
    /// Talk.
    Err,
}

#[derive(Default)]
struct Log {
    lines: Vec<(Stream, String)>,
    closed: usize,
}

type Shared = Arc<(Mutex<Log>, Condvar)>;

/// A daemon that runs until stopped; killed when dropped.
pub struct Daemon {
    child: Child,
    log: Shared,
}

impl Daemon {
    /// `cliplead run SITE --format json` and these further arguments; waits until its page is up.
    #[must_use]
    pub fn run(site: &Path, more: &[&str]) -> Self {
        let mut args = vec!["run".to_owned(), site.display().to_string()];
        args.extend(["--format", "json"].iter().chain(more).map(|arg| (*arg).to_owned()));
        let daemon = Self::start(Invocation::new(args).command());
        daemon.wait(Stream::Err, "Ctrl-C ends");
        daemon
    }

    /// Starts a command and follows it.
    ///
    /// # Panics
    /// When it does not start.
    #[must_use]
    pub fn start(mut command: Command) -> Self {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the daemon starts");
        let log = Shared::default();
        follow(child.stdout.take().expect("stdout"), Stream::Out, Arc::clone(&log));
        follow(child.stderr.take().expect("stderr"), Stream::Err, Arc::clone(&log));
        Self { child, log }
    }

    /// Its process id.
    #[must_use]
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Its page, from the address it told.
    #[must_use]
    pub fn page(&self) -> Page {
        let line = self.wait(Stream::Err, "http://");
        let (_, rest) = line.split_once("http://").expect("an address");
        let address = rest.split('/').next().expect("an address");
        Page::at(address.parse().expect("an address with a port"))
    }

    /// Writes to its stdin.
    ///
    /// # Panics
    /// When it reads no more.
    pub fn type_line(&mut self, line: &str) {
        use std::io::Write as _;
        let stdin = self.child.stdin.as_mut().expect("stdin");
        writeln!(stdin, "{line}").expect("the daemon reads its stdin");
        stdin.flush().expect("the daemon reads its stdin");
    }

    /// Writes all of this to its stdin, from a thread of its own: the daemon may take its time.
    ///
    /// # Panics
    /// When its stdin was taken before.
    pub fn type_text(&mut self, text: &str) {
        use std::io::Write as _;
        let mut stdin = self
            .child
            .stdin
            .as_ref()
            .expect("stdin")
            .as_fd()
            .try_clone_to_owned()
            .map(std::fs::File::from)
            .expect("stdin");
        let text = text.to_owned();
        std::thread::spawn(move || {
            // Whoever ends before it has read all of it is no fault here.
            let _ = stdin.write_all(text.as_bytes());
        });
    }

    /// Waits for its end, whatever becomes of its streams; gives the exit code.
    ///
    /// # Panics
    /// When it does not end.
    pub fn code(&mut self) -> Option<i32> {
        let deadline = Instant::now() + HANG;
        loop {
            if let Some(ended) = self.child.try_wait().expect("its end") {
                return ended.code();
            }
            assert!(Instant::now() < deadline, "it does not end; it said:{}", self.told());
            std::thread::park_timeout(std::time::Duration::from_millis(10));
        }
    }

    /// Its stdin, to be written from elsewhere; `type_line` is over then.
    ///
    /// # Panics
    /// When it was taken before.
    #[must_use]
    pub fn take_stdin(&mut self) -> ChildStdin {
        self.child.stdin.take().expect("stdin")
    }

    /// How many lines there are so far; a place to wait from.
    #[must_use]
    pub fn mark(&self) -> usize {
        self.lock().lines.len()
    }

    /// Waits for a line that holds `part`, anywhere since the start.
    #[must_use = "the line"]
    pub fn line(&self, stream: Stream, part: &str) -> String {
        self.wait(stream, part)
    }

    /// Waits for a line that holds `part`, anywhere since the start.
    pub fn wait(&self, stream: Stream, part: &str) -> String {
        self.wait_from(0, stream, part)
    }

    /// Waits for a line that holds `part`, at or behind `mark`.
    ///
    /// # Panics
    /// With everything it said, when the line does not come.
    pub fn wait_from(&self, mark: usize, stream: Stream, part: &str) -> String {
        let deadline = Instant::now() + HANG;
        let mut log = self.lock();
        loop {
            let lines = log.lines.get(mark..).unwrap_or_default();
            if let Some((_, line)) = lines.iter().find(|(of, line)| *of == stream && line.contains(part)) {
                return line.clone();
            }
            assert!(log.closed < 2, "the daemon ended before {part:?} on {stream:?}; it said:{}", told(&log));
            let left = deadline.saturating_duration_since(Instant::now());
            assert!(!left.is_zero(), "no {part:?} on {stream:?} within {HANG:?}; it said:{}", told(&log));
            log = self.log.1.wait_timeout(log, left).unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    /// Waits until stdout has so many verdicts and gives them all. What follows a verdict is not among them.
    ///
    /// # Panics
    /// With everything it said, when they do not come.
    pub fn wait_data(&self, count: usize) -> Vec<String> {
        let deadline = Instant::now() + HANG;
        let mut log = self.lock();
        loop {
            let data = verdicts(of(&log, Stream::Out));
            if data.len() >= count {
                return data;
            }
            let left = deadline.saturating_duration_since(Instant::now());
            assert!(
                log.closed < 2 && !left.is_zero(),
                "{} verdicts on stdout where {count} must come; it said:{}",
                data.len(),
                told(&log)
            );
            log = self.log.1.wait_timeout(log, left).unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    /// The verdicts on stdout so far.
    #[must_use]
    pub fn verdicts(&self) -> Vec<String> {
        verdicts(of(&self.lock(), Stream::Out))
    }

    /// Everything on one stream so far.
    #[must_use]
    pub fn lines(&self, stream: Stream) -> Vec<String> {
        of(&self.lock(), stream)
    }

    /// Everything so far, for a message.
    #[must_use]
    pub fn told(&self) -> String {
        told(&self.lock())
    }

    /// Asks it to end (SIGTERM) and waits for it; gives the exit code and all of stdout.
    ///
    /// # Panics
    /// When it does not end.
    #[must_use]
    pub fn terminate(self) -> (Option<i32>, Vec<String>) {
        self.end_by("TERM")
    }

    /// Sends it this signal and waits for its end; gives the exit code and all of stdout.
    ///
    /// # Panics
    /// When it does not end.
    #[must_use]
    pub fn end_by(mut self, signal: &str) -> (Option<i32>, Vec<String>) {
        self.signal(signal);
        self.ended()
    }

    /// Waits for its end.
    ///
    /// # Panics
    /// When it does not end.
    #[must_use]
    pub fn ended(&mut self) -> (Option<i32>, Vec<String>) {
        let deadline = Instant::now() + HANG;
        let mut log = self.lock();
        while log.closed < 2 {
            let left = deadline.saturating_duration_since(Instant::now());
            assert!(!left.is_zero(), "it does not end; it said:{}", told(&log));
            log = self.log.1.wait_timeout(log, left).unwrap_or_else(PoisonError::into_inner).0;
        }
        let data = of(&log, Stream::Out);
        drop(log);
        (self.child.wait().expect("its end").code(), data)
    }

    /// Ends it at once (SIGKILL); gives all it had printed.
    #[must_use]
    pub fn kill(mut self) -> Vec<String> {
        self.child.kill().expect("kill");
        self.ended().1
    }

    /// Sends it this signal.
    ///
    /// # Panics
    /// When it is gone already.
    pub fn signal(&mut self, name: &str) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args([&format!("-{name}"), &pid]).status().expect("kill");
        assert!(sent.success(), "no signal to {pid}");
    }

    fn lock(&self) -> MutexGuard<'_, Log> {
        self.log.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn of(log: &Log, stream: Stream) -> Vec<String> {
    log.lines.iter().filter(|(of, _)| *of == stream).map(|(_, line)| line.clone()).collect()
}

fn told(log: &Log) -> String {
    log.lines.iter().map(|(stream, line)| format!("\n  {stream:?} {line}")).collect()
}

fn follow(from: impl Read + Send + 'static, stream: Stream, log: Shared) {
    std::thread::spawn(move || {
        for line in BufReader::new(from).lines() {
            let Ok(line) = line else { break };
            log.0.lock().unwrap_or_else(PoisonError::into_inner).lines.push((stream, line));
            log.1.notify_all();
        }
        log.0.lock().unwrap_or_else(PoisonError::into_inner).closed += 1;
        log.1.notify_all();
    });
}

/// Without the lines of figures and amendments, which follow a verdict as they please.
fn verdicts(lines: Vec<String>) -> Vec<String> {
    lines.into_iter().filter(|line| !line.contains("\"event\":\"") && !line.contains(", settled")).collect()
}
