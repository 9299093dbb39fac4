//! A danger as the page shows it, first of all: what to do, what was read, and where its limit comes from. Decides nothing.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::String;

use judge::rule::source_with_class;
use serde_json::{Value, json};

use super::PLUS_MINUS;
use crate::text;
use crate::verdict::VerdictJson;

/// Said once the leads no longer show it.
const GONE: &str = "The reading is gone. That does not say that the danger is over.";

/// The danger of a verdict; it stays until the check is taken again or another is armed.
pub(super) fn of(verdict: &VerdictJson, live: bool, unsaved: bool) -> Option<Value> {
    let judged = verdict.judgements.first().filter(|_| verdict.danger)?;
    let what = text::figure(verdict, judged);
    let what = what.strip_prefix("danger: ").unwrap_or(&what).replace("+-", PLUS_MINUS);
    let source = source_with_class(&judged.source, &judged.source_class);
    Some(json!({
        "word": text::DANGER,
        "advice": judged.advice.as_deref().map(crate::plain),
        "what": what,
        "source": format!("limit: {}", crate::plain(&source)),
        "gone": if live { String::new() } else { GONE.to_owned() },
        "unsaved": unsaved,
    }))
}
