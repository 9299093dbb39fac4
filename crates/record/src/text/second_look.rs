//! A second look in words. The same looks give the same bytes; text from outside is made plain.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::{String, ToString};

use super::short;
use crate::plain;
use crate::second_look::{LookJson, SecondLookJson};

/// In words: `terminal to terminal 39.42 uF, first 39.50 uF: they agree (0.08 uF apart, one meter repeats within 0.2 uF)`.
#[must_use]
pub fn second_look(of: &SecondLookJson) -> String {
    let unit = plain(&of.first.unit);
    let (label, first, second) = (plain(&of.label), value(&of.first), value(&of.second));
    let span = |span: Option<f64>| format!("{} {unit}", short(span.unwrap_or_default()));
    let says = match (of.by.as_str(), of.agrees) {
        ("as left", _) => return format!("{label} {second} as left, {first} as found"),
        ("repeatability", Some(true)) => {
            format!("they agree ({} apart, one meter repeats within {})", span(of.apart), span(of.within))
        }
        ("repeatability", _) => format!(
            "they do NOT agree ({} apart, one meter repeats within {}): a contact, a lead or the part itself has changed; look again \
             before you act",
            span(of.apart),
            span(of.within)
        ),
        ("En", Some(true)) => {
            format!("the two meters agree (En {}, at most 1)", short(of.en.unwrap_or_default()))
        }
        ("En", _) => format!(
            "the two meters do NOT agree (En {}, more than 1): read a known part with both before you act",
            short(of.en.unwrap_or_default())
        ),
        ("open", Some(true)) => "they agree: both open".to_owned(),
        ("open", _) => "they do NOT agree: only one of them is open; look again before you act".to_owned(),
        _ => format!(
            "they cannot be compared: the accuracy of {} is not known",
            of.unknown.as_deref().map_or_else(|| "a meter".to_string(), |device| plain(device).into_owned())
        ),
    };
    format!("{label} {second}, first {first}: {says}")
}

fn value(look: &LookJson) -> String {
    let unit = plain(&look.unit);
    look.value.map_or_else(|| "open".to_owned(), |value| format!("{} {unit}", five_digits(value)))
}

/// A difference of some counts must be seen in the two values.
fn five_digits(value: f64) -> String {
    let rounded: f64 = format!("{value:.4e}").parse().unwrap_or(value);
    format!("{rounded}")
}

#[cfg(test)]
mod tests;
