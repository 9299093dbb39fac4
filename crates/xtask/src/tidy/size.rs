//! Opening lines and sizes of Rust files.
//! Does not measure functions: clippy does (`too_many_lines`, 70).

use crate::tidy::Finding;
use crate::tidy::lines::Source;

/// Code lines a file may have before its tests.
const CODE_LINES_MAX: usize = 500;
/// Code lines of a file that is all tests or a benchmark.
const TEST_LINES_MAX: usize = 900;
/// Files that may be longer: path and reason. Empty is best.
const LONGER: &[(&str, &str)] = &[];

/// Checks one file.
pub(crate) fn check(source: &Source, findings: &mut Vec<Finding>) {
    if !source.is_rust() {
        return;
    }
    if !source.text.starts_with("//!") {
        findings.push(Finding {
            file: source.path.clone(),
            line: 1,
            what: "the file does not open with `//!`".to_owned(),
            why: "a reader learns from the first lines what a file holds and what it does not",
            do_this: "write one or two `//!` lines above everything else",
        });
    }
    let all_test = source.is_all_test();
    let max = if all_test { TEST_LINES_MAX } else { CODE_LINES_MAX };
    let until = if all_test { None } else { source.test_module_line() };
    let code = source
        .lines()
        .take_while(|(line, _)| until.is_none_or(|end| *line < end))
        .filter(|(_, text)| !text.trim().is_empty() && !text.trim_start().starts_with("//"));
    let count = code.count();
    if count > max && !LONGER.iter().any(|(path, _)| *path == source.path) {
        findings.push(Finding {
            file: source.path.clone(),
            line: max,
            what: format!("{count} code lines, {max} is the most"),
            why: "a file is read in one sitting",
            do_this: "split it by what it holds, or name it with a reason in LONGER (crates/xtask/src/tidy/size.rs)",
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::{file, places};

    fn found(path: &str, text: &str) -> Vec<String> {
        let mut findings = Vec::new();
        check(&file(path, text), &mut findings);
        places(&findings)
    }

    #[test]
    fn the_first_line_is_an_inner_doc_comment() {
        assert_eq!(found("crates/a/src/lib.rs", "//! Holds a.\n"), Vec::<String>::new());
        assert_eq!(found("crates/a/src/lib.rs", "// a\n").len(), 1);
        assert_eq!(found("tests/src/lib.rs", "").len(), 1);
        assert_eq!(found("demo-data/x.rs", "").len(), 0);
    }

    #[test]
    fn only_code_lines_before_the_tests_count() {
        let code = "let a = 1;\n".repeat(CODE_LINES_MAX);
        let noise = "// c\n\n".repeat(300);
        let tests = format!("#[cfg(test)]\nmod tests {{\n{}}}\n", "let a = 1;\n".repeat(500));
        let text = format!("//! a\n{noise}{code}{tests}");
        assert_eq!(found("crates/a/src/lib.rs", &text), Vec::<String>::new());
        let longer = format!("//! a\nlet b = 1;\n{code}{tests}");
        assert_eq!(
            found("crates/a/src/lib.rs", &longer),
            ["crates/a/src/lib.rs:500 501 code lines, 500 is the most"]
        );
    }

    #[test]
    fn test_files_have_a_larger_bound() {
        let text = |lines| format!("//! a\n{}", "a();\n".repeat(lines));
        assert_eq!(found("crates/a/src/tests.rs", &text(900)), Vec::<String>::new());
        assert_eq!(found("crates/a/src/tests.rs", &text(901)).len(), 1);
    }
}
