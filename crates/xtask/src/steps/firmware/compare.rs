//! What the product said on this machine against what the board said.
//! Does not run either.

use std::process::Output;

/// What came of one recording.
#[derive(Debug)]
pub(super) struct RunOutput {
    pub(super) code: Option<i32>,
    pub(super) stdout: Vec<u8>,
    pub(super) stderr: String,
}

/// The most that the board needed, by its own account.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Peak {
    pub(super) heap_bytes: u64,
    pub(super) stack_bytes: u64,
}

impl RunOutput {
    pub(super) fn of(output: Output) -> Self {
        let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
        Self { code: output.status.code(), stdout: output.stdout, stderr }
    }

    /// Whether the recording was not played: exit code 2, here and on the board.
    pub(super) fn refused(&self) -> bool {
        self.code == Some(2)
    }

    /// Verdicts and what follows them.
    pub(super) fn lines(&self) -> usize {
        self.stdout.iter().filter(|byte| **byte == b'\n').count()
    }
}

/// What the two said otherwise. The product's exit code tells of the verdicts too (1 a fail, 3 no verdict); the board's does
/// not.
pub(super) fn difference(host: &RunOutput, board: &RunOutput) -> Option<String> {
    let ran = |code| if matches!(code, Some(0 | 1 | 3)) { Some(0) } else { code };
    if ran(host.code) != board.code || !matches!(board.code, Some(0 | 2)) {
        let said = board.stderr.trim_end();
        return Some(format!("exit {:?} here, {:?} on the board, which said: {said}", host.code, board.code));
    }
    if let Some(what) = first_difference(&host.stdout, &board.stdout) {
        return Some(what);
    }
    // Why a recording is refused is read from the same lines.
    let why = board.stderr.lines().next().unwrap_or_default();
    (host.refused() && !host.stderr.contains(why))
        .then(|| format!("refused here: {}; on the board: {why}", host.stderr.trim_end()))
}

/// The first byte that differs, by line and place in it, with what stands around it.
fn first_difference(host: &[u8], board: &[u8]) -> Option<String> {
    if host == board {
        return None;
    }
    let same = host.iter().zip(board).take_while(|(a, b)| a == b).count();
    let before = host.get(..same).unwrap_or_default();
    let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
    let start = before.iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1);
    let around = |bytes: &[u8]| {
        let until = bytes.len().min(same + AROUND_BYTES);
        let from = start.max(same.saturating_sub(AROUND_BYTES));
        String::from_utf8_lossy(bytes.get(from..until).unwrap_or_default()).into_owned()
    };
    let place = same - start + 1;
    Some(format!("line {line}, byte {place}:\n  here:  {:?}\n  board: {:?}", around(host), around(board)))
}

/// Bytes shown on each side of a difference.
const AROUND_BYTES: usize = 60;

/// Reads the board's last line.
pub(super) fn peak(stderr: &str) -> Option<Peak> {
    let line = stderr.lines().rev().find_map(|line| line.strip_prefix("peak: heap "))?;
    let (heap, rest) = line.split_once(" of ")?;
    let stack = rest.rsplit_once("stack ")?.1.strip_suffix(" bytes")?;
    Some(Peak { heap_bytes: heap.parse().ok()?, stack_bytes: stack.parse().ok()? })
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINES: &str = "{\"word\":\"pass\",\"value\":44.7}\n{\"word\":\"fail\",\"value\":31.25}\n";

    fn said(code: i32, stdout: &str, stderr: &str) -> RunOutput {
        RunOutput { code: Some(code), stdout: stdout.into(), stderr: stderr.into() }
    }

    fn found(host: &RunOutput, board: &RunOutput) -> String {
        difference(host, board).unwrap_or_default()
    }

    #[test]
    fn the_same_bytes_are_no_difference_whatever_the_verdicts() {
        for code in [0, 1, 3] {
            assert_eq!(found(&said(code, LINES, "talk"), &said(0, LINES, "peak: ...")), "");
        }
        assert_eq!(found(&said(3, "", "x: no verdict"), &said(0, "", "")), "");
    }

    /// Each byte changed, each byte left out, and each shortened or lengthened end is found.
    #[test]
    fn a_planted_difference_is_found_wherever_it_stands() {
        let host = said(1, LINES, "");
        for at in 0..LINES.len() {
            let mut changed = said(0, LINES, "");
            changed.stdout[at] ^= 1;
            assert!(found(&host, &changed).starts_with("line "), "changed at {at}");
            let mut without = said(0, LINES, "");
            without.stdout.remove(at);
            assert!(found(&host, &without).starts_with("line "), "without {at}");
            assert!(
                found(&host, &said(0, LINES.get(..at).unwrap(), "")).starts_with("line "),
                "ends at {at}"
            );
        }
        assert!(found(&host, &said(0, &format!("{LINES}\n"), "")).starts_with("line 3, byte 1:"));
        let last_digit = LINES.replace("31.25", "31.26");
        let text = found(&host, &said(0, &last_digit, ""));
        assert!(
            text.starts_with("line 2, byte 28:") && text.contains("31.26") && text.contains("31.25"),
            "{text}"
        );
    }

    #[test]
    fn a_board_that_ends_otherwise_is_a_difference() {
        for (host, board) in [(0, 2), (2, 0), (0, 3), (2, 3), (1, 1), (101, 0), (101, 101)] {
            let text = found(&said(host, LINES, ""), &said(board, LINES, "why"));
            assert!(text.starts_with("exit "), "{host} and {board}: {text}");
        }
        let killed = RunOutput { code: None, stdout: LINES.into(), stderr: String::new() };
        assert!(found(&said(0, LINES, ""), &killed).starts_with("exit "));
    }

    #[test]
    fn both_refuse_for_the_same_reason() {
        let host = said(2, "", "cliplead: a.jsonl: line 4: time runs backwards\n");
        assert_eq!(found(&host, &said(2, "", "a.jsonl: line 4: time runs backwards\npeak: ...")), "");
        let other = said(2, "", "a.jsonl: line 1: time runs backwards\npeak: ...");
        assert!(found(&host, &other).starts_with("refused here: cliplead: a.jsonl: line 4"));
    }

    #[test]
    fn reads_what_the_board_needed() {
        let said = "x: left out\npeak: heap 627364 of 1048576 bytes, stack 23292 bytes\n";
        assert_eq!(peak(said), Some(Peak { heap_bytes: 627_364, stack_bytes: 23_292 }));
        assert_eq!(peak("panicked at src/main.rs\n"), None);
    }
}
