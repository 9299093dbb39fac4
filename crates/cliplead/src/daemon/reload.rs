//! Watches the rules folder and hands changed sets to the core: a good set replaces the old one as a whole, a bad one is
//! told and changes nothing. Polls, since that works on every file system.

use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use tokio::sync::mpsc;

use super::Input;
use crate::rules;

/// How often the folder is looked at.
const EVERY: Duration = Duration::from_secs(2);

/// Path, time of change and size of every rule file.
type Fingerprint = Vec<(PathBuf, Option<SystemTime>, u64)>;

/// Follows the folder until the core is gone. `in_force` is the hash of the set that was loaded at the start; the first
/// look always loads again, so that a change between that and now is not missed. A set that is in force already is no news.
pub(super) async fn watch(folder: PathBuf, in_force: String, inputs: mpsc::Sender<Input>) {
    let mut known = None;
    let mut in_force = Some(in_force);
    loop {
        tokio::time::sleep(EVERY).await;
        let now = Some(fingerprint(&folder));
        if now == known {
            continue;
        }
        known = now;
        let result = rules::texts(Some(&folder))
            .map_err(|error| format!("{error:#}"))
            .and_then(|texts| rules::load(&texts).map_err(|problems| summary(&problems)));
        let hash = result.as_ref().ok().map(|loaded| loaded.set.hash().to_owned());
        if hash.is_some() && hash == in_force {
            continue;
        }
        // After a refusal the next good set is news, even when it is the old one again.
        in_force = hash;
        if inputs.send(Input::Rules(result.map(|loaded| loaded.set))).await.is_err() {
            return;
        }
    }
}

/// The first error and how many more there are.
fn summary(problems: &[script::Diagnostic]) -> String {
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
