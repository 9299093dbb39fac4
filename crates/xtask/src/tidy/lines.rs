//! A file as the checks see it: its path, its lines, where its tests begin.
//! Does not parse Rust; it knows comments only as far as the checks need.

/// One file of the tree.
pub(crate) struct Source {
    /// Path relative to the root, with `/`.
    pub(crate) path: String,
    /// Its text; empty for a binary file.
    pub(crate) text: String,
}

impl Source {
    /// Lines with their number from 1.
    pub(crate) fn lines(&self) -> impl Iterator<Item = (usize, &str)> {
        self.text.lines().enumerate().map(|(at, line)| (at + 1, line))
    }

    /// Whether the path ends in `.EXTENSION`.
    pub(crate) fn has_extension(&self, extension: &str) -> bool {
        self.path.rsplit_once('.').is_some_and(|(_, end)| end == extension)
    }

    /// A Rust file of the workspace.
    pub(crate) fn is_rust(&self) -> bool {
        self.has_extension("rs") && (self.path.starts_with("crates/") || self.path.starts_with("tests/"))
    }

    /// The last part of the path.
    pub(crate) fn file_name(&self) -> &str {
        self.path.rsplit('/').next().unwrap_or_default()
    }

    /// A Rust file that is a test, a test module of its own or a benchmark.
    pub(crate) fn is_all_test(&self) -> bool {
        let in_tests = self.path.starts_with("tests/") || self.path.contains("/tests/");
        in_tests || self.file_name() == "tests.rs" || self.path.contains("/benches/")
    }

    /// The line of the first `#[cfg(test)]` that opens a module, if there is one.
    pub(crate) fn test_module_line(&self) -> Option<usize> {
        let lines: Vec<&str> = self.text.lines().map(str::trim).collect();
        let opens = |at: usize| {
            let after = lines.iter().skip(at + 1).find(|line| !line.starts_with("#[") && !line.is_empty());
            after.is_some_and(|line| line.starts_with("mod ") || line.contains(" mod "))
        };
        lines
            .iter()
            .enumerate()
            .position(|(at, line)| line.starts_with("#[cfg(test)]") && opens(at))
            .map(|at| at + 1)
    }

    /// Whether this line of a Rust file is test code.
    pub(crate) fn is_test_line(&self, line: usize) -> bool {
        self.is_all_test() || self.test_module_line().is_some_and(|from| line >= from)
    }
}

/// The part of a line before a comment. `marker` is `//` or `#`. A marker inside a string ends the line early, which
/// only ever hides text from a check of code, and URLs are the usual case.
pub(crate) fn code_part<'a>(line: &'a str, marker: &str) -> &'a str {
    line.split_once(marker).map_or(line, |(code, _)| code)
}

/// A line of Rust without its comment and with its string literals emptied. Literals over several lines are not known.
pub(crate) fn rust_code(line: &str) -> String {
    let mut code = String::new();
    let mut in_string = false;
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '\\' if in_string => drop(chars.next()),
            '"' => {
                in_string = !in_string;
                code.push(c);
            }
            '/' if !in_string && chars.peek() == Some(&'/') => break,
            // The character literal '"' opens no string.
            '\'' if !in_string && chars.peek() == Some(&'"') => drop(chars.next()),
            c if !in_string => code.push(c),
            _ => {}
        }
    }
    code
}

/// Whether `text` holds `word` with no letter, digit or `_` on either side.
pub(crate) fn has_word(text: &str, word: &str) -> bool {
    let part_of_name = |c: char| c.is_alphanumeric() || c == '_';
    text.match_indices(word).any(|(at, _)| {
        let before = text.get(..at).and_then(|t| t.chars().next_back());
        let after = text.get(at + word.len()..).and_then(|t| t.chars().next());
        !before.is_some_and(part_of_name) && !after.is_some_and(part_of_name)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::file;

    #[test]
    fn tests_begin_at_a_cfg_test_module_only() {
        let source = file(
            "crates/a/src/lib.rs",
            "//! a\n#[cfg(test)]\nextern crate std;\nfn a() {}\n#[cfg(test)]\nmod tests;\n",
        );
        assert_eq!(source.test_module_line(), Some(5));
        assert!(!source.is_test_line(4) && source.is_test_line(6));
    }

    #[test]
    fn whole_files_of_tests() {
        for (path, want) in [
            ("crates/a/src/unit/tests.rs", true),
            ("crates/a/benches/b.rs", true),
            ("crates/a/tests/it.rs", true),
            ("tests/src/lib.rs", true),
            ("crates/a/src/lib.rs", false),
        ] {
            assert_eq!(file(path, "").is_all_test(), want, "{path}");
        }
    }

    #[test]
    fn strings_and_comments_are_not_code() {
        for (line, want) in [
            ("a(\"b // c\"); // d", "a(\"\"); "),
            (r#"a("\"b"), c"#, "a(\"\"), c"),
            ("split('\"', a) // b", "split(', a) "),
            ("/// doc", ""),
        ] {
            assert_eq!(rust_code(line), want);
        }
    }

    #[test]
    fn words_are_whole_words() {
        assert!(has_word("use rhai::Engine;", "rhai") && has_word("rhai", "rhai"));
        assert!(!has_word("rhai_like", "rhai") && !has_word("xrhai", "rhai"));
    }
}
