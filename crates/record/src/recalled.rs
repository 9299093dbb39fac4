//! The line of a visit that goes on: what is remembered of it, so that a recording of a resumed day replays to the same verdicts.
//! demo-data/README.md describes the keys.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use visit::round::{Owed, Recall, Service};

/// A visit that goes on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)] // the keys are described in demo-data/README.md
pub struct RecalledLine {
    pub t: i64,
    pub unit: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub owed: Vec<OwedLine>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub judged: Vec<JudgedLine>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub failed: Vec<JudgedLine>,
    #[serde(default, skip_serializing_if = "is_zero")]
    pub findings: u32,
    /// `locked out`, `power back` or `ran`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub service: Option<String>,
    /// It is closed, and only what it left undone counts.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub closed: bool,
}

/// Something that must be put back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)] // as above
pub struct OwedLine {
    /// Empty where it is of the whole unit.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub component: String,
    pub hold_point: String,
    pub what: String,
}

/// A check that has a verdict.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)] // as above
pub struct JudgedLine {
    pub component: String,
    pub rule: String,
}

#[allow(clippy::trivially_copy_pass_by_ref)] // serde hands in a reference
const fn is_zero(count: &u32) -> bool {
    *count == 0
}

impl RecalledLine {
    pub(crate) fn of(t: i64, recall: &Recall) -> Self {
        let owed = |owed: &Owed| OwedLine {
            component: owed.component.clone(),
            hold_point: owed.hold_point.clone(),
            what: owed.what.clone(),
        };
        let judged = |(component, rule): &(String, String)| JudgedLine {
            component: component.clone(),
            rule: rule.clone(),
        };
        Self {
            t,
            unit: recall.unit_tag.clone(),
            owed: recall.owed.iter().map(owed).collect(),
            judged: recall.judged.iter().map(judged).collect(),
            failed: recall.failed.iter().map(judged).collect(),
            findings: recall.findings,
            service: recall.service.word().map(ToOwned::to_owned),
            closed: recall.closed,
        }
    }

    pub(crate) fn recall(&self) -> Result<Recall, String> {
        let service = match &self.service {
            None => Service::Untouched,
            Some(word) => Service::of_word(word)
                .ok_or_else(|| format!("no service {word:?}; write locked out, power back or ran"))?,
        };
        let owed = |owed: &OwedLine| Owed {
            unit_tag: self.unit.clone(),
            component: owed.component.clone(),
            hold_point: owed.hold_point.clone(),
            what: owed.what.clone(),
        };
        let checks =
            |lines: &[JudgedLine]| lines.iter().map(|of| (of.component.clone(), of.rule.clone())).collect();
        Ok(Recall {
            unit_tag: self.unit.clone(),
            owed: self.owed.iter().map(owed).collect(),
            judged: checks(&self.judged),
            failed: checks(&self.failed),
            findings: self.findings,
            service,
            closed: self.closed,
        })
    }
}

#[cfg(test)]
mod tests {
    use alloc::boxed::Box;

    use pipeline::Event;
    use visit::round;

    use super::*;
    use crate::line::LineEvent;

    fn recall() -> Recall {
        Recall {
            unit_tag: "RTU-07".to_owned(),
            owed: Vec::from([Owed {
                unit_tag: "RTU-07".to_owned(),
                component: "C1".to_owned(),
                hold_point: "one lead off".to_owned(),
                what: "wires back on".to_owned(),
            }]),
            judged: Vec::from([("C1".to_owned(), "run-capacitor".to_owned())]),
            failed: Vec::from([("C1".to_owned(), "run-capacitor".to_owned())]),
            findings: 2,
            service: Service::LockedOut,
            closed: false,
        }
    }

    fn there_and_back(recall: &Recall) -> (String, Recall) {
        let event = Event::Round(round::Event::Recall(Box::new(recall.clone())));
        let text = crate::to_line(&LineEvent::of(7, &event).unwrap());
        let LineEvent::Recalled(line) = serde_json::from_str(&text).unwrap() else { panic!("{text}") };
        (text, line.recall().unwrap())
    }

    #[test]
    fn a_recalled_visit_comes_back_from_its_line() {
        let (text, back) = there_and_back(&recall());
        assert_eq!(back, recall());
        assert_eq!(
            text,
            r#"{"event":"recalled","t":7,"unit":"RTU-07","owed":[{"component":"C1","hold_point":"one lead off","what":"wires back on"}],"judged":[{"component":"C1","rule":"run-capacitor"}],"failed":[{"component":"C1","rule":"run-capacitor"}],"findings":2,"service":"locked out"}"#
        );
        let bare = Recall { unit_tag: "RTU-08".to_owned(), ..Recall::default() };
        assert_eq!(there_and_back(&bare), (r#"{"event":"recalled","t":7,"unit":"RTU-08"}"#.to_owned(), bare));
    }

    #[test]
    fn what_no_visit_has_is_refused() {
        let read = |text: &str| serde_json::from_str::<LineEvent>(text);
        assert!(read(r#"{"event":"recalled","t":1,"unit":"a","hold_points":["locked out"]}"#).is_err());
        let line = RecalledLine { service: Some("new".to_owned()), ..RecalledLine::of(1, &recall()) };
        assert_eq!(line.recall().unwrap_err(), "no service \"new\"; write locked out, power back or ran");
    }
}
