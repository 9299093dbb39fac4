//! What follows a verdict as lines for people: the figure, and the amendment. The same follow-up gives the same bytes; words
//! of others stand in them as plain text. Does not decide when either is due.

use std::fmt::Write;

use super::{head, short};
use crate::{FollowUpJson, FollowUpKind, early, plain};

/// What an amendment asks for.
const TO_DO: &str = "measure again before you act";

/// The line of a follow-up.
#[must_use]
pub fn follow_up(of: &FollowUpJson) -> String {
    match of.event {
        FollowUpKind::Completed => completed(of),
        FollowUpKind::Amended => {
            let mut text = head(of.at_s, of.check, [&of.unit, &of.component]);
            let _ = write!(text, "{}: AMENDED  {}", plain(&of.title), amendment(of));
            text
        }
    }
}

/// The figure's line: it refers to its check and has no word.
#[must_use]
pub fn completed(of: &FollowUpJson) -> String {
    let head = head(of.at_s, of.check, [&of.unit, &of.component]);
    format!("{head}{}: {} {}", plain(&of.title), plain(&of.name), value(of, "+-"))
}

/// What was said, what the leads show now, and what to do.
#[must_use]
pub fn amendment(of: &FollowUpJson) -> String {
    let now = of.now.as_deref().unwrap_or("another word").to_uppercase();
    let (said, now) = (plain(&of.said).to_uppercase(), plain(&now).into_owned());
    format!("said {said}; the leads now show {now}: {} {}  -- {TO_DO}", plain(&of.name), value(of, "+-"))
}

/// The figure with its expanded uncertainty, or the ends of an interval: `40.02 +-0.84 uF, settled`. U has two digits, and
/// the figure ends where U does (JCGM 100, 7.2.6).
pub(crate) fn value(of: &FollowUpJson, plus_minus: &str) -> String {
    if let Some(early) = early::words(&of.reading) {
        return early;
    }
    let (value, unit, u) = (of.reading.value, plain(&of.reading.unit), of.expanded_uncertainty);
    if !(u > 0.0 && u.is_finite()) {
        return format!("{} {unit}, settled", short(value));
    }
    // The exponent of U once it is rounded to two digits: 0.996 is 1.0.
    let two = format!("{u:.1e}");
    let exponent = two.split_once('e').and_then(|(_, exponent)| exponent.parse::<i32>().ok()).unwrap_or(0);
    let decimals = usize::try_from(1_i32.saturating_sub(exponent)).unwrap_or(0);
    format!("{value:.decimals$} {plus_minus}{u:.decimals$} {unit}, settled")
}
