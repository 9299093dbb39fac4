//! Steps that run the product on its own rules and demo data.
//! Does not know what a rule or a recording holds.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, bail, ensure};

use crate::context::Context;
use crate::process::{Run, last_lines};
use crate::summary::Outcome;

pub(crate) fn build(context: &Context) -> Result<Outcome> {
    context.build_cliplead()?;
    Ok(Outcome::passed())
}

/// `rules check` and `rules test` are content and say so, and `rules list` names every rule file: a command that does
/// nothing does not pass.
pub(crate) fn rules(context: &Context) -> Result<Outcome> {
    let cliplead = context.build_cliplead()?;
    let say = |word: &str| {
        let output = Run::new(&cliplead, &["rules", word, "rules"]).in_dir(&context.root).output()?;
        let said = [output.stdout, output.stderr].concat();
        print!("{}", String::from_utf8_lossy(&said));
        ensure!(output.status.success(), "`cliplead rules {word} rules` ended with {}", output.status);
        ensure!(!said.is_empty(), "`cliplead rules {word} rules` said nothing at all");
        Ok(String::from_utf8_lossy(&said).into_owned())
    };
    say("check")?;
    let tested = say("test")?;
    let listed = say("list")?;
    let stems = rule_files(&context.root.join("rules"))?;
    ensure!(!stems.is_empty(), "rules holds no rule (*.rhai)");
    for stem in &stems {
        ensure!(listed.contains(stem.as_str()), "`cliplead rules list rules` does not name {stem}");
    }
    let last = tested.lines().last().unwrap_or_default().trim();
    Ok(Outcome::Passed(format!("{} rules; {last}", stems.len())))
}

/// The stems of the rule files in a folder and the folders below it.
fn rule_files(folder: &Path) -> Result<Vec<String>> {
    let mut stems = Vec::new();
    for entry in std::fs::read_dir(folder).context("the folder rules cannot be read")? {
        let path = entry?.path();
        if path.is_dir() {
            stems.extend(rule_files(&path)?);
        } else if path.extension().is_some_and(|extension| extension == "rhai")
            && !path.to_string_lossy().ends_with(".d.rhai")
        {
            stems.extend(path.file_stem().map(|stem| stem.to_string_lossy().into_owned()));
        }
    }
    Ok(stems)
}

/// Every folder of `demo-data` that holds recordings (`*.jsonl`) holds one file `expected.*` with their verdict lines, as
/// text, or as JSON where it is `expected.jsonl`.
pub(crate) fn replay(context: &Context) -> Result<Outcome> {
    let cliplead = context.build_cliplead()?;
    let scenes = scenes(&context.root.join("demo-data"))?;
    ensure!(!scenes.is_empty(), "demo-data holds no recording (*.jsonl)");
    for scene in &scenes {
        println!("replay {}", scene.folder.display());
        replay_scene(context, &cliplead, scene)?;
    }
    Ok(Outcome::Passed(format!("{} scenes", scenes.len())))
}

/// The expected lines come out, and two runs print the same bytes. Without `--expect` the exit code tells of the
/// verdicts (1 a fail, 3 no verdict), so only 2, "could not run", is an error there.
fn replay_scene(context: &Context, cliplead: &Path, scene: &Scene) -> Result<()> {
    let folder = scene.folder.display();
    let mut args = vec![PathBuf::from("replay")];
    args.extend(scene.recordings.clone());
    args.extend(["--rules".into(), "rules".into()]);
    if scene.expected.extension().is_some_and(|extension| extension == "jsonl") {
        args.extend(["--format".into(), "json".into()]);
    }
    let run = |args: &[PathBuf]| Run::new(cliplead, args).in_dir(&context.root).output();
    let first = run(&args)?;
    let said = last_lines(&first.stderr, 20);
    ensure!(
        matches!(first.status.code(), Some(0 | 1 | 3)),
        "{folder}: replay ended with {}:\n{said}",
        first.status
    );
    ensure!(!first.stdout.is_empty(), "{folder}: replay printed no verdict");
    ensure!(run(&args)?.stdout == first.stdout, "{folder}: two replays printed different bytes");
    args.extend(["--expect".into(), scene.expected.clone()]);
    let compared = run(&args)?;
    let said = last_lines(&[compared.stdout, compared.stderr].concat(), 20);
    ensure!(compared.status.success(), "{folder}: not as expected ({}):\n{said}", compared.status);
    Ok(())
}

/// One folder of recordings and what they must give.
#[derive(Debug)]
struct Scene {
    folder: PathBuf,
    recordings: Vec<PathBuf>,
    expected: PathBuf,
}

fn scenes(under: &Path) -> Result<Vec<Scene>> {
    let mut found = Vec::new();
    let mut folders = vec![under.to_owned()];
    while let Some(folder) = folders.pop() {
        let mut recordings = Vec::new();
        let mut expected = Vec::new();
        let listed =
            std::fs::read_dir(&folder).with_context(|| format!("{} cannot be read", folder.display()))?;
        for entry in listed {
            let path = entry?.path();
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if path.is_dir() {
                folders.push(path);
            } else if name.starts_with("expected") {
                expected.push(path);
            } else if name.ends_with(".jsonl") {
                recordings.push(path);
            }
        }
        recordings.sort();
        if recordings.is_empty() && expected.is_empty() {
            continue;
        }
        let one = expected.pop().filter(|_| expected.is_empty() && !recordings.is_empty());
        let Some(expected) = one else {
            bail!("{} needs recordings (*.jsonl) and exactly one file expected.*", folder.display());
        };
        found.push(Scene { folder, recordings, expected });
    }
    found.sort_by(|a, b| a.folder.cmp(&b.folder));
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tree(name: &str, files: &[&str]) -> PathBuf {
        let root = std::env::temp_dir().join(format!("xtask-scenes-{name}-{}", std::process::id()));
        for file in files {
            let path = root.join(file);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, "").unwrap();
        }
        root
    }

    #[test]
    fn a_scene_is_recordings_and_one_expectation() {
        let root = tree("good", &["b/2.jsonl", "b/1.jsonl", "b/expected.jsonl", "b/README.md", "a/x.txt"]);
        let found = scenes(&root).unwrap();
        assert_eq!(found.len(), 1);
        assert!(found[0].recordings[0].ends_with("1.jsonl") && found[0].recordings.len() == 2);
        std::fs::remove_dir_all(root).unwrap();
    }

    #[test]
    fn a_recording_without_expectation_is_refused() {
        for (name, files) in [("none", ["a/1.jsonl", "a/x"]), ("two", ["a/expected.txt", "a/expected.jsonl"])]
        {
            let root = tree(name, &files);
            let Err(error) = scenes(&root) else { panic!("{name} was taken") };
            assert!(error.to_string().contains("exactly one file expected.*"), "{name}: {error}");
            std::fs::remove_dir_all(root).unwrap();
        }
    }
}
