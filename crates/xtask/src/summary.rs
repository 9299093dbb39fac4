//! What became of each step, and the closing lines of a run.
//! Does not run steps.

use std::time::Duration;

/// What a step that did not fail has to say.
#[derive(Debug)]
pub(crate) enum Outcome {
    /// It ran and found nothing wrong; the text holds figures worth a line, or nothing.
    Passed(String),
    /// It did not run, or not in full; the text says why. Never counted as passed.
    NotRun(String),
}

impl Outcome {
    /// Ran, and nothing needs saying.
    pub(crate) const fn passed() -> Self {
        Self::Passed(String::new())
    }
}

/// One line of the summary.
pub(crate) struct Line {
    pub(crate) step: &'static str,
    pub(crate) took: Duration,
    pub(crate) result: Result<Outcome, String>,
}

/// The lines of a run in order.
#[derive(Default)]
pub(crate) struct Summary {
    lines: Vec<Line>,
    left_out: Vec<&'static str>,
}

impl Summary {
    pub(crate) fn push(&mut self, line: Line) {
        self.lines.push(line);
    }

    /// A step that was not asked for; it counts as not run.
    pub(crate) fn leave_out(&mut self, step: &'static str) {
        self.left_out.push(step);
    }

    /// Steps that failed.
    pub(crate) fn failed(&self) -> usize {
        self.lines.iter().filter(|line| line.result.is_err()).count()
    }

    /// The summary as text. Its last line is the plain count that runners of this project read.
    pub(crate) fn render(&self) -> String {
        let mut text = String::from("\nSummary\n");
        let (mut passed, mut not_run) = (0, self.left_out.len());
        for line in &self.lines {
            let (word, note) = match &line.result {
                Ok(Outcome::Passed(note)) => {
                    passed += 1;
                    ("passed", note)
                }
                Ok(Outcome::NotRun(why)) => {
                    not_run += 1;
                    ("NOT RUN", why)
                }
                Err(why) => ("FAILED", why),
            };
            let seconds = line.took.as_secs_f64();
            let note = note.replace('\n', "\n                                   ");
            let row = format!("  {:<10} {word:<8} {seconds:>7.1} s  {note}", line.step);
            text.push_str(row.trim_end());
            text.push('\n');
        }
        if !self.left_out.is_empty() {
            text.push_str(&format!("  left out by --only: {}\n", self.left_out.join(", ")));
        }
        text.push_str(&format!("\n{passed} passed, {} failed", self.failed()));
        if not_run > 0 {
            text.push_str(&format!(", {not_run} skipped"));
        }
        text.push('\n');
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_that_did_not_run_is_not_counted_as_passed() {
        let mut summary = Summary::default();
        let took = Duration::from_millis(1500);
        summary.push(Line { step: "fmt", took, result: Ok(Outcome::passed()) });
        summary.push(Line { step: "thumb", took, result: Ok(Outcome::NotRun("no target".into())) });
        summary.push(Line { step: "test", took, result: Err("two tests".into()) });
        summary.leave_out("doc");
        let text = summary.render();
        assert!(text.contains("thumb      NOT RUN      1.5 s  no target\n"), "{text}");
        assert!(text.contains("test       FAILED       1.5 s  two tests\n"), "{text}");
        assert_eq!(text.lines().last(), Some("1 passed, 1 failed, 2 skipped"));
        assert_eq!(summary.failed(), 1);
    }

    #[test]
    fn the_last_line_is_the_plain_count() {
        let mut summary = Summary::default();
        summary.push(Line { step: "fmt", took: Duration::ZERO, result: Ok(Outcome::passed()) });
        assert_eq!(summary.render().lines().last(), Some("1 passed, 0 failed"));
    }
}
