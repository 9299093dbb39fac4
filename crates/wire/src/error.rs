//! Errors of the profile loader: always a line, a column and a message that says what to do. Faults of the running
//! stream are [`crate::Fault`]s.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;
use core::ops::Range;

/// Why a profile was refused, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProfileError {
    /// Line in the file, from 1.
    pub line: usize,
    /// Character in the line, from 1.
    pub column: usize,
    /// What is wrong, why, and what to do next.
    pub message: String,
}

impl ProfileError {
    /// At a byte range of the profile's text.
    pub(crate) fn at(text: &str, span: &Range<usize>, message: String) -> Self {
        let before = text.get(..span.start.min(text.len())).unwrap_or_default();
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        Self {
            line: before.matches('\n').count() + 1,
            column: before.get(line_start..).unwrap_or_default().chars().count() + 1,
            message,
        }
    }
}

impl fmt::Display for ProfileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: {}", self.line, self.column, self.message)
    }
}

impl core::error::Error for ProfileError {}

/// ` Did you mean "x"?` when a candidate is near, else the list of what is known.
pub(crate) fn suggest(given: &str, known: &[&str]) -> String {
    match nearest(given, known) {
        Some(near) => alloc::format!("did you mean {near:?}?"),
        None => alloc::format!("known here: {}", known.join(", ")),
    }
}

/// The known word nearest to `given`, if at most a third of it differs (two letters at most).
pub(crate) fn nearest<'a>(given: &str, known: &[&'a str]) -> Option<&'a str> {
    let allowed = (given.chars().count() / 3).clamp(1, 2);
    known
        .iter()
        .map(|word| (distance(given, word), *word))
        .min_by_key(|(d, _)| *d)
        .and_then(|(d, word)| (d <= allowed).then_some(word))
}

/// The number of single-letter edits; swapping two neighbours counts as one (optimal string alignment). Capped at 32
/// letters, which bounds the cost for hostile keys.
fn distance(a: &str, b: &str) -> usize {
    let a: Vec<char> = a.chars().take(32).map(|c| c.to_ascii_lowercase()).collect();
    let b: Vec<char> = b.chars().take(32).map(|c| c.to_ascii_lowercase()).collect();
    let cell = |row: &[usize], at: usize| row.get(at).copied().unwrap_or(usize::MAX / 2);
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.iter().enumerate() {
        let mut row = alloc::vec![i + 1];
        for (j, cb) in b.iter().enumerate() {
            let mut best =
                (cell(&last, j) + usize::from(ca != cb)).min(cell(&last, j + 1) + 1).min(cell(&row, j) + 1);
            let swapped = i > 0 && j > 0 && a.get(i - 1) == Some(cb) && b.get(j - 1) == Some(ca);
            if swapped {
                best = best.min(cell(&before, j - 1) + 1);
            }
            row.push(best);
        }
        before = core::mem::replace(&mut last, row);
    }
    cell(&last, b.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_a_slip_but_no_stranger() {
        let known = ["length", "sync", "check", "kind"];
        assert_eq!(nearest("lenght", &known), Some("length"));
        assert_eq!(nearest("snyc", &known), Some("sync"));
        assert_eq!(nearest("Kind", &known), Some("kind"));
        assert_eq!(nearest("colour", &known), None);
    }

    #[test]
    fn counts_lines_and_characters() {
        let text = "a = 1\nµ = 2\n";
        let error = ProfileError::at(text, &(11..12), String::new());
        assert_eq!((error.line, error.column), (2, 5));
        let past = ProfileError::at(text, &(99..99), String::new());
        assert_eq!(past.line, 3);
    }
}
