//! Hostile rules: each of the files in `tests/hostile-rules`, as it is and inside `judge`, ends in an error, in time, and
//! in little memory. Each runs in a child process of its own (this test binary again), on a thread with 2 MiB of stack.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, clippy::print_stdout)] // test code
mod support;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use support::{load, with_header};

const CHILD: &str = "CLIPLEAD_HOSTILE_RULE";
/// The promise: 64 MiB for one rule, whatever it is.
const MEMORY_KIB_MAX: u64 = 64 * 1024;
/// Bounds a hang only; the slowest is reported and lies far below.
const HANG: Duration = Duration::from_secs(60);

fn files() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/hostile-rules");
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "rhai"))
        .collect();
    files.sort();
    files
}

/// The forms in which a hostile text is tried: bare, after a good header, inside `judge`, and before a good answer.
fn forms(hostile: &str) -> [String; 4] {
    let good = "at_most(\"x\", m.x, plate.p)";
    [
        hostile.to_string(),
        with_header(&format!("{hostile}\nfn judge(m, plate) {{ {good} }}")),
        with_header(&format!("fn judge(m, plate) {{ {hostile} }}")),
        with_header(&format!("fn judge(m, plate) {{ {hostile};\n{good} }}")),
    ]
}

/// What a child does: every form must end in an error, at loading or at judging.
fn child(path: &str) {
    let hostile = std::fs::read_to_string(path).unwrap();
    let run = move || {
        for text in forms(&hostile) {
            if let Ok(loaded) = load(&text) {
                let rule = loaded.set.find("test-rule").unwrap();
                assert!(rule.judge(&[1.0, 2.0]).is_err(), "gave an answer:\n{text}");
            }
        }
    };
    let thread = std::thread::Builder::new().stack_size(2 * 1024 * 1024).spawn(run).unwrap();
    thread.join().unwrap();
}

/// Highest resident memory of this process so far, in KiB (Linux).
fn peak_kib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Runs one file in a child; gives its time and its peak memory in KiB.
fn in_child(path: &Path) -> (Duration, u64) {
    let start = Instant::now();
    let mut process = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "no_hostile_rule_hangs_aborts_or_grows", "--nocapture"])
        .env(CHILD, path)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    loop {
        if process.try_wait().unwrap().is_some() {
            break;
        }
        if start.elapsed() > HANG {
            process.kill().unwrap();
            panic!("{} hangs", path.display());
        }
        std::thread::yield_now();
    }
    let took = start.elapsed();
    let output = process.wait_with_output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{}: {}\n{text}\n{errors}", path.display(), output.status);
    let peak = text
        .lines()
        .find_map(|line| line.split_once("peak_kib="))
        .map(|(_, kib)| kib.trim().parse().unwrap());
    (took, peak.unwrap_or_else(|| panic!("the child said nothing of its memory:\n{text}")))
}

#[test]
fn no_hostile_rule_hangs_aborts_or_grows() {
    if let Ok(path) = std::env::var(CHILD) {
        child(&path);
        // Where there is no /proc the memory is not measured, and the parent fails rather than pass unmeasured.
        println!("peak_kib={}", peak_kib().unwrap());
        return;
    }
    let files = files();
    assert_eq!(files.len(), 51);
    let mut slowest = (Duration::ZERO, String::new());
    let mut largest = (0, String::new());
    for path in &files {
        let (took, peak) = in_child(path);
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        assert!(peak < MEMORY_KIB_MAX, "{name}: {peak} KiB");
        slowest = slowest.max((took, name.clone()));
        largest = largest.max((peak, name));
    }
    println!(
        "slowest child: {} ms ({}), largest: {} KiB ({})",
        slowest.0.as_millis(),
        slowest.1,
        largest.0,
        largest.1
    );
}

/// Calls as deep as they may go, each function as deep as it may be nested.
fn deep_rule(levels: usize, depth: usize) -> String {
    let nested = |inner: String| (0..depth).fold(inner, |text, _| format!("(1 + {text})"));
    let calls: String =
        (1..levels).map(|n| format!("fn f{n}(a) {{ {} }}\n", nested(format!("f{}(a)", n + 1)))).collect();
    with_header(&format!(
        "fn judge(m, plate) {{ at_most(\"x\", f1(m.x), plate.p) }}\n{calls}fn f{levels}(a) {{ a }}"
    ))
}

#[test]
fn the_deepest_rule_that_runs_needs_less_than_two_mebibytes_of_stack() {
    let run = || {
        let runs = |levels, depth| {
            load(&deep_rule(levels, depth))
                .is_ok_and(|loaded| loaded.set.find("test-rule").unwrap().judge(&[1.0, 2.0]).is_ok())
        };
        let depth = (1..64).rev().find(|depth| runs(2, *depth)).unwrap();
        let levels = (2..32).rev().find(|levels| runs(*levels, depth)).unwrap();
        (levels, depth)
    };
    let thread = std::thread::Builder::new().stack_size(2 * 1024 * 1024).spawn(run).unwrap();
    let (levels, depth) = thread.join().unwrap();
    println!("deepest rule: {levels} calls deep, {depth} parentheses in each");
    assert!(levels >= 6 && depth >= 10, "{levels} calls, {depth} parentheses");
}
