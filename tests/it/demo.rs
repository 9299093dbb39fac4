//! One run of `cliplead demo` for several checks: a live run equals its own replay, and what was shown is stored.

use std::path::PathBuf;

use checks::{Ended, Folder, Invocation, copy_tree, root};

use crate::site;

struct Visit {
    folder: Folder,
    ended: Ended,
}

impl Visit {
    fn recording(&self) -> PathBuf {
        self.folder.join("visit.jsonl")
    }

    fn replay(&self, more: &[&str]) -> Ended {
        let recording = self.recording().display().to_string();
        Invocation::new(["replay", &recording, "--format", "json"].iter().chain(more).copied()).run()
    }
}

/// One visit for all checks below: it takes most of a minute, and a test runner may give each test its own process.
#[test]
fn one_visit_ends_as_meant_replays_to_the_same_bytes_and_is_stored() {
    let folder =
        Folder::at(PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("demo-{}", std::process::id())));
    let path = |name: &str| folder.join(name).display().to_string();
    let (recording, history) = (path("visit.jsonl"), path("history.sqlite"));
    let args = ["demo", "--format", "json", "--record", &recording, "--history", &history];
    let ended = Invocation::new(args).run();
    let visit = Visit { folder, ended };
    the_round_ends_as_meant(&visit);
    the_replay_prints_what_the_live_run_printed(&visit);
    two_replays_are_the_same_bytes(&visit);
    a_copy_of_the_rules_gives_the_same_bytes(&visit);
    what_was_shown_is_stored(&visit);
}

/// The round has good, marginal, bad, wrong-terminal, in-circuit and lead-fault parts and ends by
/// itself; each scene as it was meant, or the exit code is 1.
fn the_round_ends_as_meant(visit: &Visit) {
    let ended = &visit.ended;
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let words = site::words(&ended.lines());
    for word in ["pass", "conditional pass", "fail", "no verdict"] {
        assert!(words.iter().any(|got| got == word), "no {word} among {words:?}");
    }
    assert!(ended.err.contains("the page: http://127.0.0.1:"), "{}", ended.err);
    assert!(ended.err.contains("CAUTION"), "{}", ended.err);
    assert!(!ended.out.contains('\x1b') && !ended.err.contains('\x1b'));
}

/// Replaying the recording gives the same verdicts as the live run did, byte for byte.
fn the_replay_prints_what_the_live_run_printed(visit: &Visit) {
    let replayed = visit.replay(&[]);
    assert!(visit.ended.lines().len() >= 9, "{}", visit.ended.err);
    for (number, (live, again)) in visit.ended.lines().iter().zip(replayed.lines()).enumerate() {
        assert_eq!(*live, again, "verdict {}", number + 1);
    }
    assert_eq!(visit.ended.out, replayed.out);
    // The round has fails, so the replay's exit code is 1 (crates/cliplead/README.md, "Exit codes").
    assert_eq!(replayed.code, Some(1), "{}", replayed.err);
    assert_eq!(replayed.err, "");
}

/// Same stream, same rules, same bytes.
fn two_replays_are_the_same_bytes(visit: &Visit) {
    let (first, second) = (visit.replay(&[]), visit.replay(&[]));
    assert!(!first.out.is_empty());
    assert_eq!(first.out, second.out);
    let expected = visit.folder.write("expected.jsonl", &first.out).display().to_string();
    assert_eq!(visit.replay(&["--expect", &expected]).code, Some(0));
}

/// The rules of a folder are the rules: where they lie changes no byte of a verdict.
fn a_copy_of_the_rules_gives_the_same_bytes(visit: &Visit) {
    let copy = visit.folder.join("rules-copy");
    copy_tree(&root().join("rules"), &copy);
    let copied = visit.replay(&["--rules", &copy.display().to_string()]);
    assert!(!copied.out.is_empty());
    assert_eq!(visit.replay(&[]).out, copied.out);
}

/// Invariant I6: what was shown is stored, as it was shown.
fn what_was_shown_is_stored(visit: &Visit) {
    let stored = site::stored(&visit.folder.join("history.sqlite"));
    assert!(!stored.is_empty());
    assert_eq!(visit.ended.lines(), stored);
}
