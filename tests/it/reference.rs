//! What the program writes of itself stands in the folder `rules` as it writes it.

use checks::{Invocation, root};

/// One declaration for each function: the reference and the editors' definitions are made from it. After a change:
/// `UPDATE_EXPECT=1 cargo test -p checks --test it reference`.
#[test]
fn the_reference_and_the_definitions_are_current() {
    for (word, file) in [("reference", "rules/reference.md"), ("definitions", "rules/editor/cliplead.d.rhai")]
    {
        let written = Invocation::new(["calc", word]).run();
        assert_eq!(written.code, Some(0), "{}", written.err);
        let path = root().join(file);
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            std::fs::write(&path, &written.out).unwrap();
        }
        let kept = std::fs::read_to_string(&path).unwrap();
        let differs = kept.lines().zip(written.out.lines()).position(|(a, b)| a != b);
        assert!(kept == written.out, "{file} is not what `cliplead calc {word}` writes (line {differs:?})");
    }
}
