//! A slow disk: every flush takes seconds (strace delays its return), and presses on the page come while a verdict is
//! being stored. The order of events is checked; the times are printed and judge nothing.

use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::mpsc::{Receiver, channel};
use std::time::Instant;

use checks::{Daemon, Folder, HANG, Invocation, Stream};
use history::History;
use serde_json::json;

use crate::site;

/// What each flush takes longer, in microseconds. Long beside any press, so that a busy machine changes no order.
const DELAY_US: u32 = 2_000_000;
/// Presses, each while one verdict is being stored.
const PRESSES: usize = 4;

/// Strace's log, followed while it is written: one message for each flush that began.
struct Flushes(Receiver<()>);

impl Flushes {
    fn follow(fifo: PathBuf) -> Self {
        let (begun, flushes) = channel();
        std::thread::spawn(move || {
            let mut log = std::fs::File::open(fifo).expect("strace opens its log");
            let (mut seen, mut bytes) = (Vec::new(), [0; 4096]);
            while let Ok(count @ 1..) = log.read(&mut bytes) {
                seen.extend_from_slice(&bytes[..count]);
                // Written when the call begins; the rest of the line follows when it ends.
                while let Some(at) = seen.windows(5).position(|part| part == b"sync(") {
                    seen.drain(..at + 5);
                    if begun.send(()).is_err() {
                        return;
                    }
                }
            }
        });
        Self(flushes)
    }

    /// Forgets those that began so far.
    fn forget(&self) {
        while self.0.try_recv().is_ok() {}
    }

    fn wait_for_one(&self) {
        self.0.recv_timeout(HANG).expect("a flush begins");
    }
}

/// `cliplead run` with flushes that take long.
fn slowed(site: &Path, fifo: &Path) -> (Flushes, Daemon) {
    let made = Command::new("mkfifo").arg(fifo).status().expect("mkfifo from coreutils");
    assert!(made.success());
    let flushes = Flushes::follow(fifo.to_owned());
    let run = Invocation::new(["run", &site.display().to_string(), "--format", "json"]).command();
    let mut strace = Command::new("strace");
    // -D: the process that was started is the program itself, with strace beside it.
    strace.args(["-D", "-f", "--seccomp-bpf", "-e", "trace=fsync,fdatasync", "-e", "signal=none", "-e"]);
    strace.arg(format!("inject=fsync,fdatasync:delay_exit={DELAY_US}")).arg("-o").arg(fifo);
    strace.arg(run.get_program()).args(run.get_args());
    if let Some(folder) = run.get_current_dir() {
        strace.current_dir(folder);
    }
    strace.env_remove("CLIPLEAD_LOG").envs(run.get_envs().filter_map(|(name, value)| Some((name, value?))));
    let daemon = Daemon::start(strace);
    daemon.wait(Stream::Err, "Ctrl-C ends");
    (flushes, daemon)
}

/// A press is answered while the disk still works on a verdict, so before that verdict is shown.
#[test]
fn a_press_does_not_wait_for_the_disk() {
    let folder = Folder::new("slow");
    let site = site::write(&folder, site::TYPED, PRESSES + 1);
    // Made beforehand: a new file has many flushes of its own.
    drop(History::open(&folder.join("history.sqlite")).unwrap());
    let (flushes, mut daemon) = slowed(&site, &folder.join("flushes"));
    let page = daemon.page();
    let (mut answered_ms, mut late) = (Vec::new(), Vec::new());
    for number in 1..=PRESSES {
        page.confirm(&site::HOLD_POINTS);
        flushes.forget();
        daemon.type_line("capacitance=12.3uF; 1.9% + 2");
        flushes.wait_for_one();
        let pressed = Instant::now();
        page.done(&json!({"do": "next"}));
        answered_ms.push(pressed.elapsed().as_millis());
        if daemon.verdicts().len() >= number {
            late.push(number);
        }
        daemon.wait_data(number);
    }
    let (code, printed) = daemon.terminate();
    println!("each flush {} ms longer: presses answered after {answered_ms:?} ms", DELAY_US / 1_000);
    assert_eq!(code, Some(0));
    // To begin the round takes flushes too: the first verdict may have been shown before it was stored, and says so.
    let unmarked = |line: &String| line.replacen("\"unsaved\":true,", "", 1);
    let shown: Vec<String> = printed.iter().map(unmarked).collect();
    assert_eq!(site::stored(&folder.join("history.sqlite")), shown);
    assert_eq!(printed[1..], shown[1..], "from the second on each is shown after its commit");
    assert!(late.is_empty(), "presses {late:?} were answered when the verdict was stored, not before");
}
