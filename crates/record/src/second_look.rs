//! A second look as JSON and in words: a figure that was read before in the same visit, beside the first, and whether the two agree. The
//! same looks give the same bytes; text from outside is made plain. Decides nothing.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::{String, ToString};

use serde::{Deserialize, Serialize};
use visit::looks::{Agreement, Look, SecondLook};

use crate::plain;
use crate::text::short;
use crate::verdict::{rounded, seconds};

/// A reading that was read before, beside the first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct SecondLookJson {
    pub point: String,
    pub label: String,
    pub first: LookJson,
    pub second: LookJson,
    /// Null where work lies between the two, or nobody can say.
    pub agrees: Option<bool>,
    /// By which the two are compared: `repeatability`, `En`, `open`; `as left` or `accuracy unknown` where they are not.
    pub by: String,
    /// How far they are apart, in the unit of the first; only with `repeatability`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub apart: Option<f64>,
    /// How far they may be apart, in the same unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<f64>,
    /// En; only with `En`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub en: Option<f64>,
    /// The device of which the accuracy is unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unknown: Option<String>,
}

/// One of the two.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct LookJson {
    /// The verdict's number in its round.
    pub number: u64,
    pub device: String,
    /// Null where the circuit read open.
    pub value: Option<f64>,
    pub unit: String,
    pub standard_uncertainty: f64,
    pub as_left: bool,
    pub at_s: f64,
}

impl From<&SecondLook> for SecondLookJson {
    fn from(of: &SecondLook) -> Self {
        let json = Self {
            point: of.point.clone(),
            label: of.label.clone(),
            first: LookJson::from(&of.first),
            second: LookJson::from(&of.second),
            agrees: of.agreement.agrees(),
            by: String::new(),
            apart: None,
            within: None,
            en: None,
            unknown: None,
        };
        let by = |by: &str| by.to_owned();
        match &of.agreement {
            Agreement::AsLeft => Self { by: by("as left"), ..json },
            Agreement::Open { .. } => Self { by: by("open"), ..json },
            Agreement::Repeats { apart, within, .. } => Self {
                by: by("repeatability"),
                apart: Some(rounded(*apart)),
                within: Some(rounded(*within)),
                ..json
            },
            Agreement::Meters { en, .. } => Self { by: by("En"), en: Some(rounded(*en)), ..json },
            Agreement::UnknownAccuracy(device) => {
                Self { by: by("accuracy unknown"), unknown: Some(device.clone()), ..json }
            }
        }
    }
}

impl From<&Look> for LookJson {
    fn from(look: &Look) -> Self {
        Self {
            number: look.verdict,
            device: look.device.clone(),
            value: (!look.open).then(|| rounded(look.value)),
            unit: look.display.to_string(),
            standard_uncertainty: rounded(look.standard_uncertainty),
            as_left: look.as_left,
            at_s: seconds(look.at),
        }
    }
}

/// In words: `terminal to terminal 39.42 uF, first 39.50 uF: they agree (0.08 uF apart, one meter repeats within 0.2 uF)`.
#[must_use]
pub fn words(of: &SecondLookJson) -> String {
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
