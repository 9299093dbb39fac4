//! What a replay gave beside what was expected of it. Does not replay; `record` does.

use std::fmt::Write as _;

/// Where these lines differ from the expected ones, blank lines and remarks (`# `) left out; empty when nowhere. `name`
/// begins each place.
///
/// # Errors
/// When the expectation has no line.
pub fn difference(name: &str, expectation: &str, lines: &[String]) -> anyhow::Result<String> {
    let expected: Vec<&str> =
        expectation.lines().filter(|line| !line.trim().is_empty() && !line.starts_with("# ")).collect();
    if expected.is_empty() {
        anyhow::bail!("{name} expects nothing: an expectation needs at least one line");
    }
    let mut report = String::new();
    for index in 0..expected.len().max(lines.len()) {
        let (want, got) = (expected.get(index).copied(), lines.get(index).map(String::as_str));
        if want != got {
            let _ = writeln!(report, "{name}: line {}", index + 1);
            let _ = writeln!(report, "  expected: {}", want.unwrap_or("(nothing)"));
            let _ = writeln!(report, "  got:      {}", got.unwrap_or("(nothing)"));
        }
    }
    Ok(report)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_lines_that_differ_are_reported() {
        let lines = ["a".to_owned(), "b".to_owned()];
        assert_eq!(difference("x", "# remark\na\n\nb\n", &lines).unwrap(), "");
        let want =
            "x: line 2\n  expected: c\n  got:      b\nx: line 3\n  expected: d\n  got:      (nothing)\n";
        assert_eq!(difference("x", "a\nc\nd\n", &lines).unwrap(), want);
        let nothing = difference("x", "# remark\n", &[]).unwrap_err().to_string();
        assert_eq!(nothing, "x expects nothing: an expectation needs at least one line");
    }
}
