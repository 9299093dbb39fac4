//! The actions a mechanic may ask for on the page, their JSON form, and the request that carries the reply back.
//! It checks form and length; whether an action makes sense is the daemon's to say.

use serde::{Deserialize, Serialize};
use tokio::sync::oneshot;

/// Longest text in an action, in characters.
const TEXT_CHARS_MAX: usize = 200;

/// One action. JSON: `{"do": "confirm", "check": 3, "hold_point": "locked out"}`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Action {
    /// The mechanic confirms a hold point.
    Confirm {
        /// Name of the hold point.
        hold_point: String,
    },
    /// A confirmation no longer stands.
    Withdraw {
        /// Name of the hold point.
        hold_point: String,
    },
    /// A reading typed by hand.
    Type {
        /// Name of the point.
        point: String,
        /// Value and unit as typed, `39.4 uF`. The daemon parses it.
        text: String,
    },
    /// The answer to the question on the page. JSON: `{"do": "answer", "check": 3, "question": 5, "yes": true}`.
    Answer {
        /// `check.question_number` of the view that showed the question; an answer to one that is no longer asked is
        /// to be refused.
        question: u32,
        /// True for yes.
        yes: bool,
    },
    /// Measure this check again.
    Again,
    /// Arm the next check.
    Next,
    /// End this check now; without a verdict so far it ends with `no verdict`.
    Finish,
    /// The unit was energised: confirmations about a dead unit no longer stand.
    Energised,
}

/// One action on its way to the daemon.
#[derive(Debug)]
pub struct Asked {
    /// What is asked.
    pub action: Action,
    /// `check.number` of the view that the mechanic had before them when they acted. An action on a check that is
    /// no longer armed is to be refused: the page they saw is gone.
    pub check: Option<u64>,
    /// `Ok`, or a sentence that says why not; the page shows it.
    pub reply: oneshot::Sender<Result<(), String>>,
}

/// An action and the check it was meant for, as read from a request body.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Parsed {
    pub(crate) action: Action,
    pub(crate) check: Option<u64>,
}

/// Reads a body. The error is a sentence for the page.
pub(crate) fn parse(body: &[u8]) -> Result<Parsed, String> {
    let mut value: serde_json::Value =
        serde_json::from_slice(body).map_err(|error| format!("the action is no JSON: {error}"))?;
    let object = value.as_object_mut().ok_or("the action is no JSON object")?;
    let check = match object.remove("check") {
        None | Some(serde_json::Value::Null) => None,
        Some(number) => Some(number.as_u64().ok_or("the action's \"check\" is no whole number")?),
    };
    let action: Action =
        serde_json::from_value(value).map_err(|error| format!("the action is not known: {error}"))?;
    let texts: &[&String] = match &action {
        Action::Confirm { hold_point } | Action::Withdraw { hold_point } => &[hold_point],
        Action::Type { point, text } => &[point, text],
        Action::Answer { .. } | Action::Again | Action::Next | Action::Finish | Action::Energised => &[],
    };
    for text in texts {
        if text.trim().is_empty() {
            return Err("nothing was entered; type the value first".to_owned());
        }
        if text.chars().count() > TEXT_CHARS_MAX || text.chars().any(char::is_control) {
            return Err(format!("a text of the action is longer than {TEXT_CHARS_MAX} or not printable"));
        }
    }
    Ok(Parsed { action, check })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_action_has_one_form() {
        let name = || "locked out".to_owned();
        for (text, action) in [
            (r#"{"do":"confirm","hold_point":"locked out"}"#, Action::Confirm { hold_point: name() }),
            (r#"{"do":"withdraw","hold_point":"locked out"}"#, Action::Withdraw { hold_point: name() }),
            (
                r#"{"do":"type","point":"c","text":"39.4 uF"}"#,
                Action::Type { point: "c".into(), text: "39.4 uF".into() },
            ),
            (r#"{"do":"answer","question":5,"yes":false}"#, Action::Answer { question: 5, yes: false }),
            (r#"{"do":"again"}"#, Action::Again),
            (r#"{"do":"next"}"#, Action::Next),
            (r#"{"do":"finish"}"#, Action::Finish),
            (r#"{"do":"energised"}"#, Action::Energised),
        ] {
            assert_eq!(parse(text.as_bytes()), Ok(Parsed { action: action.clone(), check: None }), "{text}");
            assert_eq!(serde_json::to_string(&action).unwrap(), text);
        }
        assert_eq!(parse(br#"{"do":"next","check":3}"#).unwrap().check, Some(3));
    }

    #[test]
    fn other_forms_are_refused_with_a_sentence() {
        let long = format!(r#"{{"do":"type","point":"c","text":"{}"}}"#, "9".repeat(201));
        for (text, part) in [
            ("", "is no JSON"),
            ("[]", "is no JSON object"),
            ("null", "is no JSON object"),
            ("{}", "missing field `do`"),
            (r#"{"do":"open"}"#, "unknown variant `open`"),
            (r#"{"do":"confirm"}"#, "missing field `hold_point`"),
            (r#"{"do":"confirm","hold_point":""}"#, "nothing was entered"),
            (r#"{"do":"confirm","hold_point":7}"#, "integer `7`, expected a string"),
            (r#"{"do":"confirm","hold_point":"a","more":1}"#, "unknown field `more`"),
            (r#"{"do":"answer","question":5,"yes":"yes"}"#, "expected a boolean"),
            (r#"{"do":"answer","yes":true}"#, "missing field `question`"),
            (r#"{"do":"answer","question":-1,"yes":true}"#, "expected u32"),
            (r#"{"do":"answer","question":"5","yes":true}"#, "expected u32"),
            (r#"{"do":"next","check":-1}"#, "\"check\" is no whole number"),
            (r#"{"do":"next","check":1.5}"#, "\"check\" is no whole number"),
            (r#"{"do":"type","point":"c","text":"4\u00001"}"#, "not printable"),
            (&long, "longer than 200"),
        ] {
            let why = parse(text.as_bytes()).unwrap_err();
            assert!(why.contains(part), "{text}: {why}");
        }
    }

    proptest! {
        #[test]
        fn no_body_panics(body in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = parse(&body);
        }
    }
}
