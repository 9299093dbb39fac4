//! The lines of a recording (JSON Lines, versions 1 to 3): the header and one line per event. Translates to and from
//! the pipeline's events. Does not read files; see `reader.rs`. demo-data/README.md describes the format.

use alloc::borrow::{Cow, ToOwned};
use alloc::boxed::Box;
use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use pipeline::Event;
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use site::{entered_text, kind_of, plan};
use visit::act::{Act, By};
use visit::round::{self, Line, Plan, Slot, Supply};
use wire::Profile;
use wire::script::ScriptCompiler;

use crate::act::{ActJson, act_of};
use crate::recalled::RecalledLine;

/// The version this program writes.
pub const VERSION: u32 = 3;
/// The oldest version it reads. Version 2 brought `stores` in the header and the events `stored` and `unwatched`; version 3 what
/// supplies the unit, where the component stands in it, who did an act, and visits from before.
pub(crate) const VERSION_OLDEST: u32 = 1;

/// The first line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordingHeader {
    /// Format version.
    pub cliplead_recording: u32,
    /// The program that wrote it.
    #[serde(default)]
    pub program: String,
    /// The site.
    #[serde(default)]
    pub site: String,
    /// Hash of the rule set in force; for information. The replay reports when it differs.
    #[serde(default)]
    pub rules: String,
    /// `guarded` or `simple`; default guarded.
    #[serde(default = "guarded")]
    pub decision: String,
    /// k of the guard band; default 2.
    #[serde(default = "two")]
    pub coverage_factor: f64,
    /// Accepted risk of settling; default 0.001.
    #[serde(default = "risk")]
    pub risk: f64,
    /// Verdicts were stored, each with a line of its own. Default false: each counts at once.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub stores: bool,
    /// When it began, for people; empty and not written if unknown.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub started: String,
    /// Where the data come from, measured or synthesised, for people.
    #[serde(default)]
    pub note: String,
}

fn guarded() -> String {
    "guarded".to_owned()
}
fn two() -> f64 {
    2.0
}
fn risk() -> f64 {
    1e-3
}

impl RecordingHeader {
    /// The settings of the round.
    ///
    /// # Errors
    /// A sentence if `decision` is unknown or a number is out of range.
    pub fn settings(&self) -> Result<round::Settings, String> {
        let (decision, factor) = (self.decision.as_str(), self.coverage_factor);
        let settings = site::settings(Some(decision), Some(factor), Some(self.risk))?;
        Ok(round::Settings { verdicts_are_stored: self.stores, ..settings })
    }

    /// The header of a recording made under these settings.
    #[must_use]
    pub fn of(settings: &round::Settings) -> Self {
        let (decision, coverage_factor) = site::decision_words(settings.decision);
        Self {
            cliplead_recording: VERSION,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            site: String::new(),
            rules: String::new(),
            decision: decision.to_owned(),
            coverage_factor,
            risk: settings.risk,
            stores: settings.verdicts_are_stored,
            started: String::new(),
            note: String::new(),
        }
    }
}

/// One event of a recording. `t` is the time in microseconds since the start.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", tag = "event", rename_all = "snake_case", deny_unknown_fields)]
#[allow(missing_docs)] // the keys are described in demo-data/README.md
pub enum LineEvent {
    /// A device joins, with the text of its profile. Without one, or with `typed`, its bytes are typed lines; the
    /// profile then only supplies its accuracy.
    Joined {
        t: i64,
        device: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        profile: Option<String>,
        #[serde(default, skip_serializing_if = "core::ops::Not::not")]
        typed: bool,
    },
    /// Bytes as received: `text` if all are printable, otherwise `hex`.
    Bytes {
        t: i64,
        device: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        text: Option<String>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        hex: Option<String>,
    },
    /// Bytes were lost, or the link was.
    Gap { t: i64, device: String },
    /// A check is armed.
    Arm {
        t: i64,
        unit: String,
        component: String,
        rule: String,
        #[serde(default)]
        plate: BTreeMap<String, String>,
        /// Point = "device" or "device/channel".
        #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
        bind: BTreeMap<String, String>,
        /// What supplies the unit: `single phase` or `three phase`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        supply: Option<String>,
        #[serde(default, skip_serializing_if = "core::ops::Not::not")]
        separate_control: bool,
        #[serde(default, skip_serializing_if = "core::ops::Not::not")]
        capacitor_bus: bool,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        circuit: Option<String>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        serves: Option<String>,
    },
    /// A person does something.
    #[serde(skip)]
    Act { t: i64, act: Act, by: By },
    /// A visit that was open before goes on.
    Recalled(RecalledLine),
    /// Other rules came into force; the replay keeps those it was given and reports it.
    Rules { t: i64, hash: String },
    /// A verdict is stored; what it shows counts for other checks from here on (`stores` in the header).
    Stored { t: i64, verdict: u64 },
    /// Nobody watched until now: the machine slept, or the program was suspended.
    Unwatched { t: i64 },
    /// The end: deadlines up to here are processed.
    End { t: i64 },
}

/// Like the derived implementation, except for acts: [`visit::act`] defines which there are and what is written of
/// each.
impl Serialize for LineEvent {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Act { t, act, by } => ActJson { key: "event", t: Some(*t), act, by }.serialize(serializer),
            other => Self::serialize(other, serializer),
        }
    }
}

impl<'de> Deserialize<'de> for LineEvent {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let value = serde_json::Value::deserialize(deserializer)?;
        let word = value.get("event").and_then(serde_json::Value::as_str).unwrap_or_default().to_owned();
        match value {
            serde_json::Value::Object(mut object) if is_written(&word) => {
                object.remove("event");
                let t = object.remove("t").ok_or_else(|| D::Error::missing_field("t"))?;
                let t = i64::deserialize(t).map_err(D::Error::custom)?;
                let by =
                    object.remove("by").map(String::deserialize).transpose().map_err(D::Error::custom)?;
                let by = by.as_deref().map(By::of_word).transpose().map_err(D::Error::custom)?;
                let act = act_of(&word, object).map_err(D::Error::custom)?;
                Ok(Self::Act { t, act, by: by.unwrap_or_default() })
            }
            value => Self::deserialize(value).map_err(D::Error::custom),
        }
    }
}

/// Whether recordings contain the act with this word. Instead of a step on the route they contain the check that it
/// armed.
fn is_written(word: &str) -> bool {
    Act::is_word(word) && !Act::is_word_of_the_route(word)
}

impl LineEvent {
    /// Its time in microseconds.
    #[must_use]
    pub fn time_us(&self) -> i64 {
        match self {
            Self::Joined { t, .. }
            | Self::Bytes { t, .. }
            | Self::Gap { t, .. }
            | Self::Arm { t, .. }
            | Self::Act { t, .. }
            | Self::Recalled(RecalledLine { t, .. })
            | Self::Rules { t, .. }
            | Self::Stored { t, .. }
            | Self::Unwatched { t }
            | Self::End { t } => *t,
        }
    }

    /// The line for bytes.
    #[must_use]
    pub fn bytes(t: i64, device: &str, data: &[u8]) -> Self {
        let printable = data.iter().all(|b| matches!(b, b' '..=b'~' | b'\r' | b'\n' | b'\t'));
        let (text, hex) = match core::str::from_utf8(data) {
            Ok(text) if printable => (Some(text.to_owned()), None),
            _ => (None, Some(data.iter().map(|b| format!("{b:02x}")).collect())),
        };
        Self::Bytes { t, device: device.to_owned(), text, hex }
    }

    /// The line for a check that is armed.
    #[must_use]
    pub fn arm(t: i64, plan: &Plan) -> Self {
        Self::Arm {
            t,
            unit: plan.unit_tag.clone(),
            component: plan.component.clone(),
            rule: plan.rule.clone(),
            plate: plan.plate.iter().map(|(name, entered)| (name.clone(), entered_text(entered))).collect(),
            bind: plan.bindings.iter().map(|b| (b.point.clone(), b.from.to_string())).collect(),
            supply: plan.supply.line.word().map(ToOwned::to_owned),
            separate_control: plan.supply.separate_control,
            capacitor_bus: plan.supply.capacitor_bus,
            circuit: plan.slot.circuit.clone(),
            serves: plan.slot.serves.clone(),
        }
    }

    /// The line for a pipeline event at `t`; `None` for events that a recording does not need (ticks, which the
    /// replay generates, and readings, which come from bytes).
    #[must_use]
    pub fn of(t: i64, event: &Event) -> Option<Self> {
        Some(match event {
            // The caller writes joins itself: only it has the profile's text.
            Event::Joined { .. } => return None,
            Event::Bytes { device, data } => Self::bytes(t, device, data),
            Event::Gap { device } => Self::Gap { t, device: device.clone() },
            Event::Round(event) => match event {
                round::Event::Arm(plan) => Self::arm(t, plan),
                // The check that it arms is a line of its own.
                round::Event::Act { act, .. } if act.moves_on_the_route() => return None,
                round::Event::Act { act, by } => Self::Act { t, act: act.clone(), by: by.clone() },
                round::Event::Rules(set) => Self::Rules { t, hash: set.hash().to_owned() },
                round::Event::Stored { verdict } => Self::Stored { t, verdict: *verdict },
                round::Event::Recall(recall) => Self::Recalled(RecalledLine::of(t, recall)),
                round::Event::Unwatched => Self::Unwatched { t },
                round::Event::Reading { .. }
                | round::Event::Gap { .. }
                | round::Event::Rejoined { .. }
                | round::Event::Tick => return None,
            },
        })
    }

    /// The pipeline event of this line; `None` for [`LineEvent::Rules`]. `scripts` compiles the decode script of a
    /// profile.
    ///
    /// # Errors
    /// A sentence that says which value is wrong and why.
    pub fn event(&self, scripts: &dyn ScriptCompiler) -> Result<Option<Event>, String> {
        Ok(Some(match self {
            Self::Joined { device, profile, typed, .. } => {
                let parse = |text| Profile::parse_with(text, scripts);
                let profile = profile.as_deref().map(parse).transpose();
                let profile = profile.map_err(|e| format!("profile: {e}"))?;
                let kind = kind_of(profile, *typed);
                Event::Joined { device: device.clone(), kind }
            }
            Self::Bytes { device, text, hex, .. } => {
                Event::Bytes { device: device.clone(), data: data(text.as_deref(), hex.as_deref())? }
            }
            Self::Gap { device, .. } => Event::Gap { device: device.clone() },
            Self::Arm {
                unit,
                component,
                rule,
                plate,
                bind,
                supply,
                separate_control,
                capacitor_bus,
                circuit,
                serves,
                ..
            } => {
                let line = supply.as_deref().map(Line::parse).transpose()?.unwrap_or_default();
                let (separate_control, capacitor_bus) = (*separate_control, *capacitor_bus);
                let plan = Plan {
                    supply: Supply { line, separate_control, capacitor_bus },
                    slot: Slot { circuit: circuit.clone(), serves: serves.clone() },
                    ..plan(unit, component, rule, plate, bind)?
                };
                Event::Round(round::Event::Arm(Box::new(plan)))
            }
            Self::Act { act, by, .. } => Event::Round(round::Event::Act { act: act.clone(), by: by.clone() }),
            Self::Rules { .. } => return Ok(None),
            Self::Stored { verdict, .. } => Event::Round(round::Event::Stored { verdict: *verdict }),
            Self::Recalled(line) => Event::Round(round::Event::Recall(Box::new(line.recall()?))),
            Self::Unwatched { .. } => Event::Round(round::Event::Unwatched),
            Self::End { .. } => Event::Round(round::Event::Tick),
        }))
    }
}

/// A line of bytes, borrowed from its text: nearly all lines of a recording are of this kind.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BytesLine<'a> {
    pub(crate) t: i64,
    event: &'a str,
    #[serde(borrow)]
    device: Cow<'a, str>,
    #[serde(borrow)]
    text: Option<Words<'a>>,
    #[serde(borrow)]
    hex: Option<Words<'a>>,
}

/// A text that is borrowed if it contains no escape.
#[derive(Deserialize)]
struct Words<'a>(#[serde(borrow)] Cow<'a, str>);

impl<'a> BytesLine<'a> {
    /// The line, if it is one of bytes in plain form. `None` only means that it needs the general parser.
    pub(crate) fn parse(text: &'a str) -> Option<Self> {
        // An array would be taken for the fields in order.
        if !text.trim_start().starts_with('{') {
            return None;
        }
        serde_json::from_str(text).ok().filter(|line: &Self| line.event == "bytes")
    }

    pub(crate) fn event(&self) -> Result<Event, String> {
        fn words<'w>(words: &'w Option<Words<'_>>) -> Option<&'w str> {
            words.as_ref().map(|words| &*words.0)
        }
        Ok(Event::Bytes { device: self.device.to_string(), data: data(words(&self.text), words(&self.hex))? })
    }
}

fn data(text: Option<&str>, hex: Option<&str>) -> Result<Vec<u8>, String> {
    match (text, hex) {
        (Some(text), None) => Ok(text.as_bytes().to_vec()),
        (None, Some(hex)) => {
            let digits: Vec<u8> = hex.bytes().filter(|b| !b.is_ascii_whitespace()).collect();
            if !digits.len().is_multiple_of(2) {
                return Err("hex has an odd number of digits".to_owned());
            }
            let nibble = |b: &u8| char::from(*b).to_digit(16).and_then(|n| u8::try_from(n).ok());
            let pairs = digits.chunks_exact(2).map(|pair| match pair {
                [high, low] => Some(nibble(high)? << 4 | nibble(low)?),
                _ => None,
            });
            pairs
                .collect::<Option<Vec<u8>>>()
                .ok_or_else(|| "hex holds something other than 0-9, a-f".to_owned())
        }
        _ => Err("bytes need exactly one of \"text\" and \"hex\"".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A key says something or is not there.
    #[test]
    fn the_start_is_written_when_it_is_known() {
        let mut header = RecordingHeader::of(&round::Settings::default());
        assert!(!crate::to_line(&header).contains("started"));
        header.started = "2026-03-02 09:15".to_owned();
        let line = crate::to_line(&header);
        assert!(line.contains("\"started\":\"2026-03-02 09:15\""), "{line}");
        assert_eq!(serde_json::from_str::<RecordingHeader>(&line).unwrap(), header);
    }
}
