//! Acts that a mechanic requests on the page, and the channel that carries the reply back. Validates form and length;
//! the daemon decides whether an act makes sense.

use record::act_of;
use serde_json::{Map, Value};
use tokio::sync::oneshot;
use visit::act::Act;

/// Longest text in an action, in characters.
const TEXT_CHARS_MAX: usize = 200;

/// One act on its way to the daemon.
#[derive(Debug)]
pub struct ActRequest {
    /// The requested act.
    pub act: Act,
    /// `check.number` of the view that the mechanic saw when acting. The daemon refuses an act on a check that is no
    /// longer armed: the page it refers to is gone.
    pub check: Option<u64>,
    /// `Ok`, or a sentence that says why not; the page shows it.
    pub reply: oneshot::Sender<Result<(), String>>,
}

/// An act and the check it is meant for, as parsed from a request body.
#[derive(Debug, PartialEq)]
pub(crate) struct Parsed {
    pub(crate) act: Act,
    pub(crate) check: Option<u64>,
}

/// Why a body was rejected; a sentence for the page.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum ParseError {
    /// It is not an act.
    Form(String),
    /// It is an act, but the typed text is not a value.
    Value(String),
}

/// Parses a body: `{"do": "confirm", "check": 3, "hold_point": "locked out"}`. The words and fields are those of
/// [`visit::act`].
pub(crate) fn parse(body: &[u8]) -> Result<Parsed, ParseError> {
    let (check, word, fields) = form(body).map_err(ParseError::Form)?;
    let act = act_of(&word, fields).map_err(|error| match error.is_of_value() {
        true => ParseError::Value(error.to_string()),
        false => ParseError::Form(format!("the action is not known: {error}")),
    })?;
    match act {
        Act::Answer { question: None, .. } => {
            Err(ParseError::Form("the answer names no question; a page names the one it shows".to_owned()))
        }
        act => Ok(Parsed { act, check }),
    }
}

type Form = (Option<u64>, String, Map<String, Value>);

fn form(body: &[u8]) -> Result<Form, String> {
    let value = serde_json::from_slice(body).map_err(|error| format!("the action is no JSON: {error}"))?;
    let Value::Object(mut fields) = value else { return Err("the action is no JSON object".to_owned()) };
    let check = match fields.remove("check") {
        None | Some(Value::Null) => None,
        Some(number) => Some(number.as_u64().ok_or("the action's \"check\" is no whole number")?),
    };
    let Some(Value::String(mut word)) = fields.remove("do") else {
        return Err("the action is not known: it has no \"do\"".to_owned());
    };
    // As pages wrote it that were opened before an upgrade.
    if word == "type" {
        word = "typed".to_owned();
        if let Some(text) = fields.remove("text") {
            fields.insert("value".to_owned(), text);
        }
    }
    for text in fields.values().filter_map(Value::as_str) {
        if text.trim().is_empty() {
            return Err("nothing was entered; type the value first".to_owned());
        }
        if text.chars().count() > TEXT_CHARS_MAX || text.chars().any(char::is_control) {
            return Err(format!("a text of the action is longer than {TEXT_CHARS_MAX} or not printable"));
        }
    }
    Ok((check, word, fields))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_act_of_the_page_is_read() {
        let name = || "locked out".to_owned();
        let typed = || Act::typed("c", "39.4 uF", None).unwrap();
        for (text, act) in [
            (r#"{"do":"confirm","hold_point":"locked out"}"#, Act::Confirm { hold_point: name() }),
            (r#"{"do":"withdraw","hold_point":"locked out"}"#, Act::Withdraw { hold_point: name() }),
            (r#"{"do":"typed","point":"c","value":"39.4 uF"}"#, typed()),
            (r#"{"do":"type","point":"c","text":"39.4 uF"}"#, typed()),
            (r#"{"do":"answer","question":5,"yes":false}"#, Act::Answer { question: Some(5), yes: false }),
            (r#"{"do":"source","what":"proving unit"}"#, Act::Source { what: "proving unit".to_owned() }),
            (r#"{"do":"on","pair":"L1-L2"}"#, Act::On { pair: Some("L1-L2".to_owned()) }),
            (r#"{"do":"on"}"#, Act::On { pair: None }),
            (r#"{"do":"again"}"#, Act::Again { as_left: false }),
            (r#"{"do":"again","as_left":true}"#, Act::Again { as_left: true }),
            (r#"{"do":"next"}"#, Act::Next),
            (r#"{"do":"finish"}"#, Act::Finish),
            (r#"{"do":"energised"}"#, Act::Energised),
        ] {
            assert_eq!(parse(text.as_bytes()), Ok(Parsed { act, check: None }), "{text}");
        }
        assert_eq!(parse(br#"{"do":"next","check":3}"#).unwrap().check, Some(3));
        let much = parse(br#"{"do":"type","point":"c","text":"much"}"#);
        assert!(matches!(much, Err(ParseError::Value(_))), "{much:?}");
    }

    #[test]
    fn other_forms_are_refused_with_a_sentence() {
        let long = format!(r#"{{"do":"type","point":"c","text":"{}"}}"#, "9".repeat(201));
        for (text, part) in [
            ("", "is no JSON"),
            ("[]", "is no JSON object"),
            ("null", "is no JSON object"),
            ("{}", "it has no \"do\""),
            (r#"{"do":"open"}"#, "\"open\" is no act"),
            (r#"{"do":"confirm"}"#, "missing field `hold_point`"),
            (r#"{"do":"confirm","hold_point":""}"#, "nothing was entered"),
            (r#"{"do":"confirm","hold_point":7}"#, "the field `hold_point` must be a text"),
            (r#"{"do":"confirm","hold_point":"a","more":1}"#, "unknown field `more`"),
            (r#"{"do":"answer","question":5,"yes":"yes"}"#, "the field `yes` must be true or false"),
            (r#"{"do":"answer","yes":true}"#, "the answer names no question"),
            (r#"{"do":"answer","question":-1,"yes":true}"#, "the field `question` must be a whole number"),
            (r#"{"do":"answer","question":"5","yes":true}"#, "the field `question` must be a whole number"),
            (r#"{"do":"next","check":-1}"#, "\"check\" is no whole number"),
            (r#"{"do":"next","check":1.5}"#, "\"check\" is no whole number"),
            (r#"{"do":"type","point":"c","text":"4\u00001"}"#, "not printable"),
            (&long, "longer than 200"),
        ] {
            let Err(ParseError::Form(why)) = parse(text.as_bytes()) else { panic!("{text}") };
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
