//! The rules a daemon starts with: those of the folder; when they do not load, the last good ones that are kept beside the
//! history; when there are none, those files of the folder that do load. Does not compile rules; `script` does.

use std::path::Path;

use anyhow::{Context as _, bail};
use judge::rule::RuleSet;
use site::Site;

use super::reload::summary;
use crate::last_good::LastGood;
use crate::output::talk;
use crate::rules::{self, Texts};

/// What was chosen.
pub(super) struct StartRules {
    pub(super) set: RuleSet,
    /// The texts of the set, when they are what the folder holds.
    pub(super) texts: Option<Texts>,
    /// Why the folder's rules are not in force.
    pub(super) refused: Option<String>,
}

/// Chooses. `strict`: only the folder's rules will do, and every check of the route must have its rule.
///
/// # Errors
/// When there are no rules at all to start with; with `strict`, when anything is not in order.
pub(super) fn choose(site: &Site, strict: bool) -> anyhow::Result<StartRules> {
    let chosen = match (&site.rules, strict) {
        (Some(folder), false) => lenient(folder, site.history.as_deref())?,
        (folder, _) => StartRules { set: rules::load_or_say(folder.as_deref())?, texts: None, refused: None },
    };
    for plan in &site.route {
        if let Err(why) = rules::must_have(&chosen.set, &plan.rule) {
            if strict || chosen.refused.is_none() {
                return Err(why).context("the route");
            }
            talk(&format!("cliplead: the route: {why:#}; such a check ends with no verdict"));
        }
    }
    Ok(chosen)
}

fn lenient(folder: &Path, history: Option<&Path>) -> anyhow::Result<StartRules> {
    let last_good = history.map(LastGood::beside);
    let (refused, texts) = match rules::texts(Some(folder)) {
        Ok(texts) => match rules::load(&texts) {
            Ok(loaded) => {
                for warning in &loaded.warnings {
                    tracing::warn!("{warning}");
                }
                if let Some(last_good) = &last_good {
                    last_good.keep(&texts);
                }
                return Ok(StartRules { set: loaded.set, texts: Some(texts), refused: None });
            }
            Err(problems) => {
                for problem in &problems {
                    talk(&problem.to_string());
                }
                (summary(&problems), texts)
            }
        },
        Err(error) => (format!("{error:#}"), Texts::default()),
    };
    talk(&format!("cliplead: THE RULES IN {} ARE REFUSED: {refused}", folder.display()));
    if let Some((set, path)) =
        last_good.as_ref().and_then(|kept| Some((loaded(&kept.texts()?)?, kept.path())))
    {
        talk(&format!(
            "cliplead: the last good rules are in force, {} of them, from {}",
            set.iter().count(),
            path.display()
        ));
        return Ok(StartRules { set, texts: None, refused: Some(refused) });
    }
    let Some(set) = without_the_bad(texts) else {
        bail!(
            "the rules in {} are refused, and there are no others to start with: {refused}",
            folder.display()
        )
    };
    talk(&format!("cliplead: only the {} rules that load are in force", set.iter().count()));
    Ok(StartRules { set, texts: None, refused: Some(refused) })
}

fn loaded(texts: &Texts) -> Option<RuleSet> {
    rules::load(texts).ok().map(|loaded| loaded.set)
}

/// The set of those files that have no errors.
fn without_the_bad(texts: Texts) -> Option<RuleSet> {
    let mut texts = Texts::of(texts.files);
    while !texts.files.is_empty() {
        let problems = match rules::load(&texts) {
            Ok(loaded) => return Some(loaded.set),
            Err(problems) => problems,
        };
        let is_bad = |path: &str| {
            problems.iter().any(|of| of.severity == script::Severity::Error && of.found.file == path)
        };
        let before = texts.files.len();
        texts.files.retain(|(path, _)| !is_bad(path));
        if texts.files.len() == before {
            return None;
        }
    }
    None
}
