//! Where a module stands: in `name.rs`, its parts in the folder `name`. Does not look into the files.

use crate::tidy::Finding;
use crate::tidy::lines::Source;

/// Files that may stand otherwise for the time being. Empty is best.
const AWAITED: &[&str] = &["crates/judge/src/settle/mod.rs"];

/// Checks the crates under `crates/`. In the `tests` folder of a crate cargo takes each file for a test, but not a `mod.rs`.
pub(crate) fn check(sources: &[Source], findings: &mut Vec<Finding>) {
    check_with(AWAITED, sources, findings);
}

fn check_with(awaited: &[&str], sources: &[Source], findings: &mut Vec<Finding>) {
    let is_one = |source: &&Source| {
        source.is_rust() && source.file_name() == "mod.rs" && source.path.contains("/src/")
    };
    let found: Vec<&str> = sources.iter().filter(is_one).map(|source| source.path.as_str()).collect();
    for path in found.iter().filter(|path| !awaited.contains(path)) {
        findings.push(Finding {
            file: (*path).to_owned(),
            line: 0,
            what: "a module in a `mod.rs`".to_owned(),
            why: "a file is found by the name of its module, and no two tabs of an editor are called alike",
            do_this: "move `name/mod.rs` to `name.rs` beside the folder",
        });
    }
    for path in awaited.iter().filter(|path| !found.contains(path)) {
        findings.push(Finding {
            file: (*path).to_owned(),
            line: 0,
            what: "may be a `mod.rs`, and is not there any more".to_owned(),
            why: "an exception that nobody needs hides the next fault",
            do_this: "take it out of AWAITED (crates/xtask/src/tidy/layout.rs)",
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::{file, places};

    #[test]
    fn a_module_has_its_own_name() {
        let found = |awaited: &[&str], path: &str| {
            let mut findings = Vec::new();
            check_with(awaited, &[file(path, "")], &mut findings);
            places(&findings)
        };
        let old = "crates/a/src/b/mod.rs";
        assert_eq!(found(&[], old), [format!("{old}:0 a module in a `mod.rs`")]);
        assert_eq!(found(&[old], old), Vec::<String>::new());
        assert_eq!(found(&[], "crates/a/src/b.rs"), Vec::<String>::new());
        assert_eq!(found(&[], "crates/a/tests/support/mod.rs"), Vec::<String>::new());
        assert_eq!(
            found(&[old], "crates/a/src/b.rs"),
            [format!("{old}:0 may be a `mod.rs`, and is not there any more")]
        );
    }
}
