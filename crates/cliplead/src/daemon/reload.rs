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

/// Follows the folder until the core is gone.
pub(super) async fn watch(folder: PathBuf, inputs: mpsc::Sender<Input>) {
    let mut known = fingerprint(&folder);
    loop {
        tokio::time::sleep(EVERY).await;
        let now = fingerprint(&folder);
        if now == known {
            continue;
        }
        known = now;
        let result = rules::texts(Some(&folder))
            .map_err(|error| format!("{error:#}"))
            .and_then(|texts| rules::load(&texts).map_err(|problems| summary(&problems)));
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
