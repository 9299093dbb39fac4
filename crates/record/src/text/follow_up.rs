//! What follows a verdict, as lines for people: the figure, and the amendment. The same follow-up gives the same
//! bytes; text from outside is made plain. Does not decide when either is due.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::String;
use core::fmt::Write;

use super::{head, second_look, short};
use crate::verdict::JudgementJson;
use crate::{FollowUpJson, FollowUpKind, early, plain};

/// What an amendment asks the reader to do.
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

/// The figure's line. It refers to its check and has no word; what is derived from the figure comes after it.
#[must_use]
pub fn completed(of: &FollowUpJson) -> String {
    let head = head(of.at_s, of.check, [&of.unit, &of.component]);
    let mut text = format!("{head}{}: {} {}", plain(&of.title), plain(&of.name), value(of, "+-"));
    for judged in of.worked_out() {
        let _ = write!(text, "; {} {}", plain(&judged.name), worked_out(judged, "+-"));
    }
    if let Some(look) = &of.second_look {
        let _ = write!(text, "; second look: {}", second_look(look));
    }
    text
}

/// What was said, what the leads show now, and what to do.
#[must_use]
pub fn amendment(of: &FollowUpJson) -> String {
    let now = of.now.as_deref().unwrap_or("another word").to_uppercase();
    let (said, now) = (plain(&of.said).to_uppercase(), plain(&now).into_owned());
    let (name, value) = (plain(&of.name), value(of, "+-"));
    let mut text = match (of.is_back(), of.moved) {
        (true, false) => format!("back to {now}: the leads agree with it again: {name} {value}"),
        (true, true) => format!("back to {now}: {name} has since moved to {value}"),
        (false, false) => format!("said {said}; the leads now show {now}: {name} {value}"),
        (false, true) => format!("said {said}; {name} has since moved to {value}, which would be {now}"),
    };
    for judged in of.worked_out() {
        let _ = write!(text, "; {} {}", plain(&judged.name), worked_out(judged, "+-"));
    }
    if of.is_last() {
        let _ = write!(
            text,
            "; the word has changed {} times, later changes are only counted",
            of.changes.unwrap_or_default()
        );
    }
    let _ = write!(text, "  -- {TO_DO}");
    text
}

/// The figure with its expanded uncertainty, or an interval: `40.02 +-0.84 uF, settled`.
pub(crate) fn value(of: &FollowUpJson, plus_minus: &str) -> String {
    let figure = || figure(of.reading.value, of.expanded_uncertainty, &of.reading.unit, plus_minus);
    early::words(&of.reading).unwrap_or_else(|| {
        let how = super::drifts(&of.reading, "it").unwrap_or_else(|| "settled".to_owned());
        format!("{}, {how}", figure())
    })
}

/// A judged value derived from figures: `12.3 +-1.8 K`.
pub(crate) fn worked_out(judged: &JudgementJson, plus_minus: &str) -> String {
    figure(judged.value, judged.expanded_uncertainty, &judged.unit, plus_minus)
}

/// U has two digits, and the figure ends where U does (JCGM 100, 7.2.6).
fn figure(value: f64, u: f64, unit: &str, plus_minus: &str) -> String {
    let unit = plain(unit);
    if !(u > 0.0 && u.is_finite()) {
        return format!("{} {unit}", short(value));
    }
    // The exponent of U once it is rounded to two digits: 0.996 is 1.0.
    let two = format!("{u:.1e}");
    let exponent = two.split_once('e').and_then(|(_, exponent)| exponent.parse::<i32>().ok()).unwrap_or(0);
    let decimals = usize::try_from(1_i32.saturating_sub(exponent)).unwrap_or(0);
    format!("{value:.decimals$} {plus_minus}{u:.decimals$} {unit}")
}
