//! A thread that writes lines to a stream, behind a bounded queue: submitting a line never waits for a reader or a
//! disk. A line that does not fit is dropped and counted. Does not know the content of lines.

use std::collections::VecDeque;
use std::io::{self, Write};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// After a failed write the same line is retried this much later.
const RETRY: Duration = Duration::from_millis(200);

/// The submitting end. Cheap to clone; all clones share one queue.
#[derive(Clone)]
pub(crate) struct Writer {
    shared: Arc<Shared>,
}

struct Shared {
    state: Mutex<State>,
    changed: Condvar,
    bytes_max: usize,
    /// Whether dropped lines are reported in the stream itself, for streams that people read.
    tells: bool,
}

#[derive(Default)]
struct State {
    lines: VecDeque<String>,
    bytes: usize,
    lost: u64,
    untold: u64,
    /// A line is being written right now.
    busy: bool,
    /// Nobody will ever read again.
    gone: bool,
    fault: Option<String>,
}

impl Writer {
    /// Starts the thread. `bytes_max` bounds the queue; `tells`: the stream says how many lines were dropped.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub(crate) fn start(
        name: &str,
        sink: impl Write + Send + 'static,
        bytes_max: usize,
        tells: bool,
    ) -> io::Result<Self> {
        let shared = Arc::new(Shared { state: Mutex::default(), changed: Condvar::new(), bytes_max, tells });
        let of_thread = Arc::clone(&shared);
        // Detached: a write that never comes back must not hold up the end of the program.
        std::thread::Builder::new().name(name.to_owned()).spawn(move || of_thread.work(sink))?;
        Ok(Self { shared })
    }

    /// Submits a line, with or without its line end. False if it was dropped.
    pub(crate) fn push(&self, line: &str) -> bool {
        let mut state = self.shared.lock();
        if state.gone || state.bytes + line.len() >= self.shared.bytes_max {
            state.lost += 1;
            state.untold += 1;
            return false;
        }
        let mut line = line.to_owned();
        if !line.ends_with('\n') {
            line.push('\n');
        }
        state.bytes += line.len();
        state.lines.push_back(line);
        self.shared.changed.notify_all();
        true
    }

    /// Lines dropped.
    pub(crate) fn lost(&self) -> u64 {
        self.shared.lock().lost
    }

    /// What is wrong with the stream now.
    pub(crate) fn fault(&self) -> Option<String> {
        self.shared.lock().fault.clone()
    }

    /// Waits until every line is written, for at most this long. Returns the number of unwritten lines.
    pub(crate) fn drain(&self, at_most: Duration) -> usize {
        let deadline = Instant::now() + at_most;
        let mut state = self.shared.lock();
        loop {
            let left = deadline.saturating_duration_since(Instant::now());
            if (state.lines.is_empty() && !state.busy) || state.gone || left.is_zero() {
                return state.lines.len() + usize::from(state.busy);
            }
            state = self.shared.changed.wait_timeout(state, left).unwrap_or_else(PoisonError::into_inner).0;
        }
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn work(&self, mut sink: impl Write) {
        loop {
            let line = self.next();
            let written = self.write(&mut sink, line.as_bytes());
            let mut state = self.lock();
            state.busy = false;
            state.bytes = state.bytes.saturating_sub(line.len());
            if !written {
                state.gone = true;
                state.lost += 1 + state.lines.len() as u64;
                state.lines.clear();
                state.bytes = 0;
            }
            self.changed.notify_all();
            if !written {
                return;
            }
        }
    }

    fn next(&self) -> String {
        let mut state = self.lock();
        loop {
            if let Some(line) = state.lines.pop_front() {
                state.busy = true;
                return line;
            }
            if self.tells && state.untold > 0 && state.fault.is_none() {
                let line = format!("cliplead: {} lines were dropped here: nobody read them\n", state.untold);
                state.untold = 0;
                state.busy = true;
                state.bytes += line.len();
                return line;
            }
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Writes everything, however long that takes; continues where a failed write stopped. False if nobody will ever
    /// read.
    fn write(&self, sink: &mut impl Write, mut rest: &[u8]) -> bool {
        while !rest.is_empty() {
            let error = match sink.write(rest) {
                Ok(0) => io::Error::from(io::ErrorKind::WriteZero),
                Ok(count) => {
                    rest = rest.get(count..).unwrap_or_default();
                    self.lock().fault = None;
                    continue;
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                Err(error) => error,
            };
            let gone = error.kind() == io::ErrorKind::BrokenPipe;
            let mut state = self.lock();
            state.fault = Some(error.to_string());
            self.changed.notify_all();
            if gone {
                return false;
            }
            drop(self.changed.wait_timeout(state, RETRY));
        }
        let _ = sink.flush();
        true
    }
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc;

    use super::*;

    /// Takes one write for each permit; each gets what the permit says.
    struct Stepped {
        permits: mpsc::Receiver<io::Result<usize>>,
        written: mpsc::Sender<Vec<u8>>,
    }

    impl Write for Stepped {
        fn write(&mut self, data: &[u8]) -> io::Result<usize> {
            let count = self.permits.recv().unwrap_or(Ok(data.len()))?.min(data.len());
            let _ = self.written.send(data[..count].to_vec());
            Ok(count)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn stepped(
        bytes_max: usize,
        tells: bool,
    ) -> (Writer, mpsc::Sender<io::Result<usize>>, mpsc::Receiver<Vec<u8>>) {
        let (permit, permits) = mpsc::channel();
        let (written, seen) = mpsc::channel();
        (Writer::start("t", Stepped { permits, written }, bytes_max, tells).unwrap(), permit, seen)
    }

    fn all(seen: &mpsc::Receiver<Vec<u8>>) -> String {
        String::from_utf8(seen.try_iter().flatten().collect()).unwrap()
    }

    const LONG: Duration = Duration::from_secs(60);

    #[test]
    fn a_reader_that_does_not_read_costs_lines_and_no_time() {
        let (writer, permit, seen) = stepped(100, true);
        let taken = (0..50).filter(|number| writer.push(&format!("line {number:02}"))).count();
        assert!((10..=14).contains(&taken), "{taken} lines of 8 bytes in 100");
        assert_eq!(writer.lost(), 50 - taken as u64);
        assert!(writer.drain(Duration::ZERO) > 0, "nothing was read yet");
        drop(permit); // from now on everything is taken
        assert_eq!(writer.drain(LONG), 0);
        let text: Vec<String> = std::iter::from_fn(|| seen.recv_timeout(LONG).ok())
            .map(|line| String::from_utf8(line).unwrap())
            .take(taken + 1)
            .collect();
        assert_eq!(text[0], "line 00\n");
        assert_eq!(
            text[taken],
            format!("cliplead: {} lines were dropped here: nobody read them\n", 50 - taken)
        );
    }

    #[test]
    fn a_full_disk_keeps_the_line_and_a_half_written_one_is_continued() {
        let (writer, permit, seen) = stepped(1000, false);
        writer.push("a verdict");
        permit.send(Ok(4)).unwrap();
        permit.send(Err(io::Error::from(io::ErrorKind::StorageFull))).unwrap();
        permit.send(Err(io::Error::from(io::ErrorKind::StorageFull))).unwrap();
        drop(permit);
        assert_eq!(writer.drain(LONG), 0);
        assert_eq!(all(&seen), "a verdict\n");
        assert_eq!((writer.lost(), writer.fault()), (0, None));
    }

    #[test]
    fn when_nobody_will_ever_read_all_lines_are_counted() {
        let (writer, permit, _seen) = stepped(1000, true);
        writer.push("one");
        writer.push("two");
        permit.send(Err(io::Error::from(io::ErrorKind::BrokenPipe))).unwrap();
        assert_eq!(writer.drain(LONG), 0);
        assert!(!writer.push("three"));
        assert_eq!(writer.lost(), 3);
        assert!(writer.fault().is_some());
    }
}
