//! Words that may not stand in the tree: hidden tests, sleeping tests, paths and documents outside the repository, rhai
//! outside its crate, an `allow` without its reason.
//! Does not parse; each check looks at one line and its neighbours.

use crate::tidy::Finding;
use crate::tidy::lines::{Source, code_part, has_word, rust_code};

/// Checks one file.
pub(crate) fn check(source: &Source, findings: &mut Vec<Finding>) {
    outside_paths(source, findings);
    outside_documents(source, findings);
    if source.is_rust() {
        hidden_tests(source, findings);
        reasons(source, findings);
        rhai_outside_script(source, findings);
    }
    sleeping_tests(source, findings);
}

fn finding(
    source: &Source,
    line: usize,
    what: impl Into<String>,
    why: &'static str,
    do_this: &'static str,
) -> Finding {
    Finding { file: source.path.clone(), line, what: what.into(), why, do_this }
}

fn outside_paths(source: &Source, findings: &mut Vec<Finding>) {
    let workplace = concat!("/wo", "rk/");
    for (line, _) in source.lines().filter(|(_, text)| text.contains(workplace)) {
        let why = "the repository builds and tests wherever it is cloned";
        let do_this = "use a path inside the repository";
        findings.push(finding(source, line, format!("names {workplace}"), why, do_this));
    }
}

/// A source is named by itself: a reader has no other document than the published ones.
fn outside_documents(source: &Source, findings: &mut Vec<Finding>) {
    let neighbour = concat!("../sha", "red");
    let book = concat!("hand", "book");
    let published = concat!("ashrae hand", "book");
    let why = "a reader has the repository and what is published, nothing else";
    let do_this = "name the source itself, or write \"common practice, no source\"";
    for (line, text) in source.lines() {
        if text.contains(neighbour) {
            findings.push(finding(source, line, format!("names {neighbour}"), why, do_this));
        }
        if text.to_lowercase().replace(published, "").contains(book) {
            findings.push(finding(source, line, format!("names a {book}"), why, do_this));
        }
    }
}

fn hidden_tests(source: &Source, findings: &mut Vec<Finding>) {
    let ignored = concat!("#[ig", "nore");
    let panics = concat!("#[should", "_panic");
    for (line, text) in source.lines() {
        let text = text.trim_start();
        if text.starts_with(ignored) {
            let why = "a test that is not run reads as one that passes";
            findings.push(finding(source, line, "an ignored test", why, "make it run, or remove it"));
        }
        if text.starts_with(panics) {
            let why = "nothing here panics on input, and any panic would satisfy it";
            findings.push(finding(
                source,
                line,
                "a test that wants a panic",
                why,
                "return the error and compare it",
            ));
        }
    }
}

fn sleeping_tests(source: &Source, findings: &mut Vec<Finding>) {
    let calls: &[&str] = if source.is_rust() {
        &["thread::sleep(", "time::sleep("]
    } else if source.has_extension("py") && source.path.starts_with("tests/") {
        &["time.sleep("]
    } else {
        return;
    };
    let lines: Vec<&str> = source.text.lines().collect();
    for (line, text) in source.lines() {
        let test = source.has_extension("py") || source.is_test_line(line);
        let code = if source.is_rust() { rust_code(text) } else { code_part(text, "#").to_owned() };
        if !test || !calls.iter().any(|call| code.contains(call)) {
            continue;
        }
        let above = lines.get(line.wrapping_sub(2)).copied().unwrap_or_default();
        let reason = [text, above].iter().any(|l| has_reason(l, "tidy: allow-sleep"));
        if reason || (!code.contains("thread::sleep(") && in_paused_time(&lines, line)) {
            continue;
        }
        let why = "a sleep makes a test slow on a fast machine and false on a slow one";
        let do_this = "wait for the event, use paused time, or write `tidy: allow-sleep REASON` in a comment";
        findings.push(finding(source, line, "a test sleeps", why, do_this));
    }
}

/// Whether the test that holds this line runs in tokio's paused time, where a sleep takes none.
fn in_paused_time(lines: &[&str], line: usize) -> bool {
    let above = lines.get(..line).unwrap_or_default();
    let attribute = above.iter().rev().find(|l| l.trim_start().starts_with("#[") && l.contains("test"));
    attribute.is_some_and(|attribute| attribute.contains("start_paused = true"))
}

/// Whether the line holds the marker with a reason of some length after it.
fn has_reason(line: &str, marker: &str) -> bool {
    line.split_once(marker).is_some_and(|(_, reason)| reason.trim().len() >= 8)
}

fn reasons(source: &Source, findings: &mut Vec<Finding>) {
    let lines: Vec<&str> = source.text.lines().collect();
    for (line, text) in source.lines().filter(|(line, _)| !source.is_test_line(*line)) {
        let code = text.trim_start();
        let opens =
            code.starts_with("#[allow(") || code.starts_with("#![allow(") || code.starts_with("#[expect(");
        if !opens {
            continue;
        }
        let from = line.saturating_sub(2);
        let near = lines.get(from..(line + 3).min(lines.len())).unwrap_or_default();
        let above_or_here = near.iter().take(line - from).any(|l| l.contains("// "));
        let attribute: String = near.iter().skip(line - from - 1).copied().collect();
        let inside = attribute.split(")]").next().is_some_and(|a| a.contains("reason ="));
        if !above_or_here && !inside {
            let why = "a lint is switched off for a reason, and the next reader needs it";
            findings.push(finding(
                source,
                line,
                "an `allow` without a reason",
                why,
                "add `reason = \"...\"`, or take it away",
            ));
        }
    }
}

fn rhai_outside_script(source: &Source, findings: &mut Vec<Finding>) {
    let in_script = source.path.starts_with("crates/script/");
    let why = "rhai stays replaceable only while one crate knows it";
    let imported = imported_from_rhai(source);
    for (line, text) in source.lines() {
        let code = rust_code(text);
        if !in_script && code.contains("rhai::") && has_word(&code, "rhai") {
            findings.push(finding(
                source,
                line,
                "names a rhai type",
                why,
                "let `script` offer what is needed",
            ));
        }
        let public = code.trim_start().starts_with("pub ");
        let named = || code.contains("rhai::") || imported.iter().any(|name| has_word(&code, name));
        if in_script && public && !source.is_test_line(line) && named() {
            let do_this = "make it `pub(crate)`, or wrap the type";
            findings.push(finding(source, line, "a rhai type in a public signature", why, do_this));
        }
    }
}

/// The names a file brings in by `use rhai::...;`.
fn imported_from_rhai(source: &Source) -> Vec<String> {
    let mut names = Vec::new();
    for statement in source.text.split("use rhai::").skip(1) {
        let list = statement.split(';').next().unwrap_or_default();
        let words = list.split(|c: char| !c.is_alphanumeric() && c != '_');
        let types = words.filter(|word| word.starts_with(char::is_uppercase));
        names.extend(types.map(str::to_owned));
    }
    names
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
    fn each_check_finds_its_line() {
        let lib = "crates/a/src/lib.rs";
        let script = "crates/script/src/lib.rs";
        let test = "crates/a/tests/it.rs";
        for (path, text, want) in [
            (test, concat!("\n#[ig", "nore]\nfn a() {}"), "2 an ignored test"),
            (test, concat!("#[should", "_panic(expected = \"x\")]"), "1 a test that wants a panic"),
            (test, "std::thread::sleep(d);", "1 a test sleeps"),
            (test, "tokio::time::sleep(d).await;", "1 a test sleeps"),
            (test, "#[tokio::test(start_paused = true)]\nstd::thread::sleep(d);", "2 a test sleeps"),
            (test, "#[tokio::test]\ntokio::time::sleep(d).await;", "2 a test sleeps"),
            (test, "// tidy: allow-sleep\nthread::sleep(d);", "2 a test sleeps"),
            (lib, "fn a() {}\n#[cfg(test)]\nmod tests {\nthread::sleep(d);\n}", "4 a test sleeps"),
            ("tests/browser/t.py", "time.sleep(1)", "1 a test sleeps"),
            (lib, "#[allow(clippy::panic)]\nfn a() {}", "1 an `allow` without a reason"),
            (lib, "fn a(e: rhai::Engine) {}", "1 names a rhai type"),
            (
                script,
                "use rhai::{Dynamic, AST};\npub fn a(d: &Dynamic) {}",
                "2 a rhai type in a public signature",
            ),
            (script, "pub use rhai::Engine;", "1 a rhai type in a public signature"),
            ("README.md", concat!("cd /wo", "rk/main"), concat!("1 names /wo", "rk/")),
            ("tests/x.py", concat!("open('../sha", "red/a.csv')"), concat!("1 names ../sha", "red")),
            (lib, concat!("// figures: ../sha", "red/x.csv"), concat!("1 names ../sha", "red")),
            ("rules/a.cases.toml", concat!("# the Hand", "book, 4"), concat!("1 names a hand", "book")),
        ] {
            assert_eq!(found(path, text), [format!("{path}:{want}")], "{text}");
        }
    }

    #[test]
    fn what_is_allowed_is_not_found() {
        let test = "crates/a/tests/it.rs";
        let lib = "crates/a/src/lib.rs";
        for (path, text) in [
            (lib, "thread::sleep(d);"),
            ("tests/it/a.rs", "// tidy: allow-sleep the far side needs a real clock\nthread::sleep(d);"),
            (test, "#[tokio::test(start_paused = true)]\nasync fn a() {\ntokio::time::sleep(d).await;\n}"),
            (lib, "#[allow(clippy::panic)] // the caller checked\nfn a() {}"),
            (lib, "#[allow(\n    clippy::panic,\n    reason = \"checked\"\n)]\nfn a() {}"),
            (lib, "#![cfg_attr(test, allow(clippy::float_cmp))]"),
            (lib, concat!("// ASHRAE Hand", "book, Fundamentals")),
            (lib, "/// rhai::Engine is not known here"),
            ("crates/script/src/lib.rs", "use rhai::Dynamic;\npub(crate) fn a(d: Dynamic) {}"),
            ("crates/script/src/lib.rs", "use rhai::AST;\npub fn compiled() {}"),
        ] {
            assert_eq!(found(path, text), Vec::<String>::new(), "{text}");
        }
    }
}
