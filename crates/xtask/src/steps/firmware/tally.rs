//! The table of the recordings that were compared, and its sums.
//! Does not compare; `compare` does.

use super::compare::{RunOutput, difference, peak};

/// The sums so far.
#[derive(Debug, Default)]
pub(super) struct Tally {
    recordings: usize,
    refused: usize,
    lines: usize,
    bytes: usize,
    heap_bytes: u64,
    stack_bytes: u64,
    /// A text for each recording that came out otherwise on the board.
    pub(super) differ: Vec<String>,
}

impl Tally {
    /// What stands above the rows.
    pub(super) const HEAD: &str = "recording                                          host  lines   bytes  board           heap peak    stack";

    /// Takes one recording in and gives its row.
    pub(super) fn row(&mut self, recording: &str, here: &RunOutput, board: &RunOutput) -> String {
        let found = difference(here, board);
        let word = match &found {
            Some(_) => "DIFFERS",
            None if here.refused() => "refuses it too",
            None => "the same bytes",
        };
        let peak = peak(&board.stderr).unwrap_or_default();
        let (lines, bytes) = (here.lines(), here.stdout.len());
        self.recordings += 1;
        self.refused += usize::from(here.refused());
        self.lines += lines;
        self.bytes += bytes;
        self.heap_bytes = self.heap_bytes.max(peak.heap_bytes);
        self.stack_bytes = self.stack_bytes.max(peak.stack_bytes);
        self.differ.extend(found.map(|what| format!("{recording}: {what}")));
        let code = here.code.map_or_else(|| "-".to_owned(), |code| format!("exit {code}"));
        let (heap, stack) = (peak.heap_bytes, peak.stack_bytes);
        format!("{recording:<48} {code:>6} {lines:>6} {bytes:>7}  {word:<14} {heap:>10} {stack:>8}")
    }

    /// The sums in a line.
    pub(super) fn words(&self) -> String {
        let Self { recordings, refused, lines, bytes, heap_bytes, stack_bytes, .. } = self;
        format!(
            "{recordings} recordings ({refused} refused by both), {lines} lines, {bytes} bytes the same; at most \
             {heap_bytes} bytes of heap, {stack_bytes} of stack"
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(code: i32, stdout: &str, stderr: &str) -> RunOutput {
        RunOutput { code: Some(code), stdout: stdout.into(), stderr: stderr.into() }
    }

    #[test]
    fn a_difference_stands_in_its_row_and_is_kept() {
        let mut tally = Tally::default();
        let peak = "peak: heap 700 of 1000 bytes, stack 30 bytes\n";
        let row = tally.row("a.jsonl", &said(1, "x\n", ""), &said(0, "x\n", peak));
        assert!(
            row.starts_with("a.jsonl ") && row.contains(" the same bytes ") && row.ends_with(" 30"),
            "{row}"
        );
        let row = tally.row("b.jsonl", &said(2, "", "cliplead: why"), &said(2, "", "why"));
        assert!(row.contains(" refuses it too "), "{row}");
        assert_eq!(tally.differ, Vec::<String>::new());
        let row = tally.row("c.jsonl", &said(1, "x\n", ""), &said(0, "y\n", peak));
        assert!(row.contains(" DIFFERS "), "{row}");
        assert!(tally.differ[0].starts_with("c.jsonl: line 1, byte 1:"), "{:?}", tally.differ);
        let words = "3 recordings (1 refused by both), 2 lines, 4 bytes the same; at most 700 bytes of heap, 30 of stack";
        assert_eq!(tally.words(), words);
    }
}
