//! A second look as JSON: a figure that was read before in the same visit, beside the first, and whether the two agree. Decides nothing.

use alloc::borrow::ToOwned;
use alloc::string::{String, ToString};

use serde::{Deserialize, Serialize};
use visit::second_look::{Agreement, Look, SecondLook};

use crate::numbers::{rounded, seconds};

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
