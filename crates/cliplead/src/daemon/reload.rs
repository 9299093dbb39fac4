//! Watches the rules folder on a thread of its own and hands changed sets to the core: a good set replaces the old one as a
//! whole, a bad one is told and changes nothing. A folder that is being written is left alone until two looks in a row
//! agree. Polls, since that works on every file system; a folder that hangs holds up nothing but this thread.

use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use judge::rule::RuleSet;
use tokio::sync::mpsc;

use super::Input;
use crate::last_good::LastGood;
use crate::rules::{self, Texts};

/// How often the folder is looked at.
const EVERY: Duration = Duration::from_secs(2);

/// Path, time of change and size of every rule file.
type Fingerprint = Vec<(PathBuf, Option<SystemTime>, u64)>;

/// What is watched, and what of it is in force.
pub(super) struct Watch {
    pub(super) folder: PathBuf,
    /// The set in force and its texts; no texts when it is not what the folder holds.
    pub(super) set: RuleSet,
    pub(super) texts: Option<Texts>,
    pub(super) last_good: Option<LastGood>,
}

/// Starts the thread; it ends when the core is gone. `refused`: why the folder's rules are not in force at the start.
///
/// # Errors
/// When the system gives no thread.
pub(super) fn start(
    watch: Watch,
    refused: Option<String>,
    inputs: mpsc::Sender<Input>,
) -> std::io::Result<()> {
    std::thread::Builder::new().name("rules".to_owned()).stack_size(8 * 1024 * 1024).spawn(move || {
        let mut looks = Looks { refused, ..Looks::new(watch) };
        loop {
            std::thread::sleep(EVERY);
            if inputs.is_closed() {
                return;
            }
            if let Some(news) = looks.look()
                && inputs.blocking_send(Input::Rules(news)).is_err()
            {
                return;
            }
        }
    })?;
    Ok(())
}

/// What was seen so far.
struct Looks {
    watch: Watch,
    before: Option<Fingerprint>,
    read: Option<Fingerprint>,
    refused: Option<String>,
}

impl Looks {
    fn new(watch: Watch) -> Self {
        Self { watch, before: None, read: None, refused: None }
    }

    /// One look. Gives what has changed since the last news.
    fn look(&mut self) -> Option<Result<RuleSet, String>> {
        let now = fingerprint(&self.watch.folder);
        let steady = self.before.as_ref() == Some(&now);
        self.before = Some(now.clone());
        if !steady || self.read.as_ref() == Some(&now) {
            return None;
        }
        let texts = rules::texts(Some(&self.watch.folder)).map_err(|error| format!("{error:#}"));
        if fingerprint(&self.watch.folder) != now {
            return None; // it changed under our eyes: the next looks will tell
        }
        self.read = Some(now);
        let news = texts.and_then(|texts| self.load(texts));
        match news {
            Ok(None) => None,
            Ok(Some(set)) => Some(Ok(set)),
            Err(why) if self.refused.as_ref() == Some(&why) => None,
            Err(why) => {
                self.refused = Some(why.clone());
                Some(Err(why))
            }
        }
    }

    /// The set of these texts, if it is another one than is in force. Rules whose text is the same are not compiled anew.
    fn load(&mut self, texts: Texts) -> Result<Option<RuleSet>, String> {
        let same = self.watch.texts.as_ref().is_some_and(|known| known.files == texts.files);
        if same && texts.is_whole() && self.refused.is_none() {
            return Ok(None);
        }
        let loaded = rules::load_after(&texts, &self.watch.set).map_err(|problems| summary(&problems))?;
        for warning in &loaded.warnings {
            tracing::warn!("{warning}");
        }
        if let Some(last_good) = &self.watch.last_good {
            last_good.keep(&texts);
        }
        self.refused = None;
        self.watch.set = loaded.set.clone();
        self.watch.texts = Some(texts);
        Ok(Some(loaded.set))
    }
}

/// The first error and how many more there are.
pub(super) fn summary(problems: &[script::Diagnostic]) -> String {
    let errors: Vec<&script::Diagnostic> =
        problems.iter().filter(|problem| problem.severity == script::Severity::Error).collect();
    match errors.as_slice() {
        [] => "refused without a reason; please report this".to_owned(),
        [one] => one.found.to_string(),
        [first, rest @ ..] => format!("{} (and {} more)", first.found, rest.len()),
    }
}

fn fingerprint(folder: &Path) -> Fingerprint {
    rules::files(folder, ".rhai")
        .unwrap_or_default()
        .into_iter()
        .map(|path| {
            let meta = std::fs::metadata(&path).ok();
            let changed = meta.as_ref().and_then(|meta| meta.modified().ok());
            (path, changed, meta.map_or(0, |meta| meta.len()))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULE: &str = "title(\"A\");\nreads(\"ohms\", \"ohm\");\nlimit(\"most\", 5, \"ohm\", \"common practice\");\n\
                        fn judge(m, plate, limit) { at_most(m.ohms, limit.most).name(\"a\") }\n";

    struct Folder(PathBuf);

    impl Folder {
        fn new(name: &str) -> Self {
            let path = std::env::temp_dir().join(format!("cliplead-reload-{name}-{}", std::process::id()));
            let _ = std::fs::remove_dir_all(&path);
            std::fs::create_dir_all(&path).unwrap();
            Self(path)
        }

        fn write(&self, name: &str, text: &str) {
            std::fs::write(self.0.join(name), text).unwrap();
        }

        fn looks(&self) -> Looks {
            Looks::new(Watch {
                folder: self.0.clone(),
                set: RuleSet::default(),
                texts: None,
                last_good: None,
            })
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = std::fs::remove_dir_all(&self.0);
        }
    }

    fn shipped_rule() -> &'static str {
        crate::shipped::RULES.iter().find(|(path, _)| path.ends_with("filter-drop.rhai")).unwrap().1
    }

    #[test]
    fn a_folder_comes_into_force_when_two_looks_agree() {
        let folder = Folder::new("two");
        let mut looks = folder.looks();
        folder.write("filter-drop.rhai", shipped_rule());
        assert!(looks.look().is_none(), "the first look");
        folder.write("broken.rhai", "a half-copied fi");
        assert!(looks.look().is_none(), "it has changed");
        std::fs::remove_file(folder.0.join("broken.rhai")).unwrap();
        assert!(looks.look().is_none(), "it has changed again");
        let set = looks.look().expect("steady now").expect("a good set");
        assert_eq!(set.iter().count(), 1);
        assert!(looks.look().is_none() && looks.look().is_none(), "no news");
    }

    #[test]
    fn a_refusal_is_told_once_and_the_old_set_again_is_news_after_it() {
        let folder = Folder::new("refused");
        let mut looks = folder.looks();
        folder.write("filter-drop.rhai", shipped_rule());
        assert!(looks.look().is_none());
        assert!(looks.look().unwrap().is_ok());
        folder.write("another.rhai", RULE.strip_suffix("}\n").unwrap());
        assert!(looks.look().is_none());
        let why = looks.look().unwrap().unwrap_err();
        assert!(why.contains("another.rhai"), "{why}");
        assert!(looks.look().is_none());
        std::fs::remove_file(folder.0.join("another.rhai")).unwrap();
        assert!(looks.look().is_none());
        assert!(looks.look().expect("news").is_ok());
    }

    #[cfg(unix)]
    #[test]
    fn a_pipe_in_the_folder_is_a_refusal_and_no_wait() {
        let folder = Folder::new("pipe");
        let made = std::process::Command::new("mkfifo").arg(folder.0.join("pipe.rhai")).status().unwrap();
        assert!(made.success());
        let mut looks = folder.looks();
        assert!(looks.look().is_none());
        let why = looks.look().unwrap().unwrap_err();
        assert!(why.contains("pipe.rhai"), "{why}");
    }
}
