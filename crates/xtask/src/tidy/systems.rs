//! Code of one system stands in files that say so: a `cfg` on a system, or a path into `std::os`, is for `sys` and for files
//! and folders named after a system. Tests and build scripts may ask; manifests have sections of their own.
//! Does not look at what a crate of one system brings in: compiling for the others does (step `systems`).

use crate::tidy::Finding;
use crate::tidy::lines::{Source, has_word, rust_code};

/// What opens a condition.
const CONDITIONS: [&str; 3] = ["cfg(", "cfg!(", "cfg_attr("];
/// What in a condition asks for a system.
const SYSTEMS: [&str; 5] = ["unix", "windows", "target_os", "target_family", "target_vendor"];
/// Paths that only some systems have.
const PATHS: [&str; 5] = ["std::os::", "os::unix::", "os::windows::", "os::linux::", "os::fd::"];
/// Files and folders that say by their name, or a word of it, that they are of one system, or hold what differs.
const NAMES: [&str; 6] = ["sys", "linux", "unix", "windows", "macos", "android"];

/// What may stand elsewhere for the time being: file, what its line holds, and why. Empty is best.
const AWAITED: &[(&str, &str, &str)] = &[];

/// Checks the product's and the automation's Rust files.
pub(crate) fn check(sources: &[Source], findings: &mut Vec<Finding>) {
    check_with(AWAITED, sources, findings);
}

fn check_with(awaited: &[(&str, &str, &str)], sources: &[Source], findings: &mut Vec<Finding>) {
    let mut used = vec![false; awaited.len()];
    for source in sources.iter().filter(|source| source.is_rust() && !may_ask(source)) {
        for (line, text, what) in asks(source) {
            let allowed =
                awaited.iter().position(|(file, holds, _)| *file == source.path && text.contains(holds));
            match allowed.and_then(|at| used.get_mut(at)) {
                Some(used) => *used = true,
                None => findings.push(Finding {
                    file: source.path.clone(),
                    line,
                    what,
                    why: "whoever ports the program finds all that differs between systems in one place, and nowhere else",
                    do_this: "give it the same function on every system in the crate's `sys` module, or move it into a file \
                              named after the system",
                }),
            }
        }
    }
    for ((file, holds, _), _) in awaited.iter().zip(used).filter(|(_, used)| !used) {
        findings.push(Finding {
            file: (*file).to_owned(),
            line: 0,
            what: format!("a line with `{holds}` may ask for a system, and none does any more"),
            why: "an exception that nobody needs hides the next fault",
            do_this: "take it out of AWAITED (crates/xtask/src/tidy/systems.rs)",
        });
    }
}

/// Whether a file may ask for the system: tests, build scripts, and what is named so.
fn may_ask(source: &Source) -> bool {
    let named = |part: &str| part.split(['_', '.']).any(|word| NAMES.contains(&word));
    source.is_all_test() || source.file_name() == "build.rs" || source.path.split('/').any(named)
}

/// The lines outside tests that ask for a system: number, text, what they do.
fn asks(source: &Source) -> Vec<(usize, &str, String)> {
    let mut found = Vec::new();
    // Conditions can go over several lines; this counts the brackets that are open.
    let mut depth = 0_usize;
    for (line, text) in source.lines().take_while(|(line, _)| !source.is_test_line(*line)) {
        let code = rust_code(text);
        let condition = condition(&code, &mut depth);
        if let Some(system) = SYSTEMS.iter().find(|word| has_word(&condition, word)) {
            found.push((line, text, format!("a condition on the system (`{system}`)")));
        } else if let Some(path) = PATHS.iter().find(|path| code.contains(*path)) {
            found.push((line, text, format!("a path that only some systems have (`{path}`)")));
        }
    }
    found
}

/// What of this line stands in a condition. `depth` is how many brackets of one are open, before and after.
fn condition(code: &str, depth: &mut usize) -> String {
    let mut inside = String::new();
    let mut rest = code;
    loop {
        if *depth == 0 {
            let opens = CONDITIONS.iter().filter_map(|word| Some((rest.find(word)?, word.len()))).min();
            let Some((at, length)) = opens else { return inside };
            *depth = 1;
            rest = rest.get(at + length..).unwrap_or_default();
        }
        let mut end = rest.len();
        for (at, c) in rest.char_indices() {
            match c {
                '(' => *depth += 1,
                ')' => *depth -= 1,
                _ => {}
            }
            if *depth == 0 {
                end = at;
                break;
            }
        }
        let (condition, after) = rest.split_at(end);
        inside.push_str(condition);
        inside.push(' ');
        if *depth > 0 {
            return inside;
        }
        rest = after;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::{file, places};

    fn found(path: &str, text: &str) -> Vec<String> {
        let mut findings = Vec::new();
        check_with(&[], &[file(path, text)], &mut findings);
        places(&findings)
    }

    #[test]
    fn a_condition_on_the_system_is_found_wherever_it_stands() {
        for (text, line, what) in [
            ("#[cfg(unix)]\nfn a() {}", 1, "unix"),
            ("a();\n#[cfg(not(windows))]", 2, "windows"),
            ("if cfg!(target_os = \"linux\") {}", 1, "target_os"),
            ("#[cfg(all(feature = \"a\", target_family = \"unix\"))]", 1, "target_family"),
            ("#[cfg_attr(target_vendor = \"apple\", allow(dead_code))]", 1, "target_vendor"),
            (
                "#![cfg_attr(\n    not(all(\n        feature = \"a\",\n        target_os = \"linux\",\n    )),\n)]",
                4,
                "target_os",
            ),
            ("#[cfg(feature = \"a\")] #[cfg(unix)]", 1, "unix"),
            ("let a = (cfg!(test), cfg!(windows));", 1, "windows"),
        ] {
            let want = format!("crates/a/src/lib.rs:{line} a condition on the system (`{what}`)");
            assert_eq!(found("crates/a/src/lib.rs", text), [want], "{text}");
        }
    }

    #[test]
    fn a_path_that_some_systems_lack_is_found() {
        for (text, path) in [
            ("use std::os::unix::fs::symlink;", "std::os::"),
            ("use std::{io, os::unix::net::UnixStream};", "os::unix::"),
            ("    let fd = std::os::fd::AsFd::as_fd(&a);", "std::os::"),
        ] {
            let want = format!("crates/a/src/b.rs:1 a path that only some systems have (`{path}`)");
            assert_eq!(found("crates/a/src/b.rs", text), [want], "{text}");
        }
    }

    #[test]
    fn files_that_say_so_tests_and_build_scripts_may_ask() {
        let text = "#[cfg(unix)]\nuse std::os::unix::fs::symlink;\n";
        for path in [
            "crates/a/src/sys.rs",
            "crates/a/src/sys/mod.rs",
            "crates/a/src/sys/linux/serial/ports.rs",
            "crates/a/src/windows_names.rs",
            "crates/a/src/pty_unix.rs",
            "crates/a/build.rs",
            "crates/a/src/x/tests.rs",
            "crates/a/src/tests/x.rs",
            "crates/a/tests/it.rs",
            "tests/it/main.rs",
            "README.md",
        ] {
            assert_eq!(found(path, text), Vec::<String>::new(), "{path}");
        }
        let in_tests = format!("fn a() {{}}\n#[cfg(test)]\nmod tests {{\n{text}}}\n");
        assert_eq!(found("crates/a/src/lib.rs", &in_tests), Vec::<String>::new());
        // `sys` inside another word says nothing.
        assert_eq!(found("crates/a/src/system.rs", text).len(), 2);
    }

    #[test]
    fn other_conditions_and_words_are_no_matter() {
        for text in [
            "#[cfg(feature = \"unix\")]",
            "#[cfg(test)]",
            "for pair in bytes.windows(2) {}",
            "let windows = 3; // cfg(unix)",
            "/// On unix: cfg(unix)",
            "#[cfg(debug_assertions)] fn unix() {}",
            "use tokio::net::windows;",
        ] {
            assert_eq!(found("crates/a/src/lib.rs", text), Vec::<String>::new(), "{text}");
        }
    }

    #[test]
    fn an_exception_holds_for_its_line_and_ends_with_it() {
        let awaited = [("crates/a/src/lib.rs", "feature = \"b\"", "not yet")];
        let check = |text: &str| {
            let mut findings = Vec::new();
            check_with(&awaited, &[file("crates/a/src/lib.rs", text)], &mut findings);
            places(&findings)
        };
        assert_eq!(check("#[cfg(all(feature = \"b\", unix))]\n"), Vec::<String>::new());
        let others = check("#[cfg(all(feature = \"b\", unix))]\n#[cfg(unix)]\n");
        assert_eq!(others, ["crates/a/src/lib.rs:2 a condition on the system (`unix`)"]);
        let gone = check("fn a() {}\n");
        assert_eq!(
            gone,
            [
                "crates/a/src/lib.rs:0 a line with `feature = \"b\"` may ask for a system, and none does any more"
            ]
        );
    }
}
