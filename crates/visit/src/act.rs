//! Acts: what a person does. One enum, with its written form beside it: a word and fields, which recordings and the page write
//! as JSON, and the line that a person types. What an act does stands in [`crate::round::Round`].
//!
//! When an act is done is the time of the step that takes it. Does not know JSON, nor what the armed check expects.

use alloc::borrow::ToOwned;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt;

use quantity::{Accuracy, AccuracyError, Coupling, ParseError, Typed, parse_typed};

/// One act.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// Confirms a hold point.
    Confirm {
        /// Its name.
        hold_point: String,
    },
    /// Takes a confirmation back.
    Withdraw {
        /// Its name.
        hold_point: String,
    },
    /// Types a value for a point.
    Type {
        /// The point's name.
        point: String,
        /// What the meter shows.
        value: Display,
        /// The meter's accuracy, where it is typed too; else that of the meter that is read off counts, and without one only
        /// the rounding of the typed digits.
        accuracy: Option<Accuracy>,
    },
    /// Answers a question. One that is no longer asked is refused.
    Answer {
        /// The number of the question, as [`crate::round::Output::Asked`] told it. `None`, as in recordings that are older
        /// than the numbers: the question that is open.
        question: Option<u32>,
        /// Yes: the value is right as it stands.
        yes: bool,
    },
    /// Names the live source on which the tester is proved.
    Source {
        /// What it is: something that the unit under test does not feed.
        what: String,
    },
    /// Names the pair that the leads go on next; no reading from before counts for it.
    On {
        /// Its name; `None`: the pair that is asked for.
        pair: Option<String>,
    },
    /// Takes the armed check's readings again; hold points that still stand are kept.
    Again {
        /// Work was done since: what is read from now on is as left.
        as_left: bool,
    },
    /// Goes on to the next check of the route.
    Next,
    /// Goes back to the check before on the route.
    Back,
    /// Goes to a unit of the route: to its first check without a verdict.
    Unit {
        /// Its tag.
        tag: String,
    },
    /// Goes to a check of a unit.
    Check {
        /// The unit's tag; `None`: the unit under work.
        unit: Option<String>,
        /// Its component, its rule, or both as `COMPONENT / RULE`.
        name: String,
    },
    /// Leaves the armed check without a verdict, for a reason, and goes on to the next one.
    Skip {
        /// The reason.
        why: String,
    },
    /// Ends the armed check; without a verdict so far it ends with `no verdict` and the reason.
    Finish,
    /// Interrupts the visit: every hold point is open again, and nothing is measured until it is resumed.
    Pause,
    /// Goes on after a pause.
    Resume,
    /// Notes what eyes saw at the unit.
    Finding {
        /// In words.
        text: String,
        /// It was left so; otherwise found so.
        as_left: bool,
    },
    /// Says that something that was taken off, opened or forced is back as it was.
    Restored {
        /// The hold point that took it off, or what is owed in words.
        what: String,
    },
    /// Says that the unit under work has power again; without an armed check any unit may have, so all of them count as such.
    Energised,
    /// Ends the visit at the unit under work.
    Close {
        /// Why it ends although something is not in order.
        why: Option<String>,
    },
    /// Takes over the visit that another machine has open at a unit.
    TakeOver {
        /// The unit's tag.
        tag: String,
    },
}

/// What a person reads off a meter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Display {
    /// Digits; without a unit the point's own unit is meant.
    Value(Typed),
    /// Overload with both leads on.
    Open,
}

/// Who does an act, as far as it is known: the way on which it came.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum By {
    /// Nobody said it; recordings do not.
    #[default]
    Unsaid,
    /// Somebody at the page.
    Page,
    /// Somebody who types at the device of this name.
    Device(String),
}

impl By {
    /// The written form; `None` where nobody said it.
    #[must_use]
    pub fn word(&self) -> Option<String> {
        match self {
            Self::Unsaid => None,
            Self::Page => Some("page".to_owned()),
            Self::Device(name) => Some(["device ", name].concat()),
        }
    }

    /// Reads the written form.
    ///
    /// # Errors
    /// That nobody is written so.
    pub fn of_word(word: &str) -> Result<Self, ActError> {
        match word.strip_prefix("device ") {
            Some(name) => Ok(Self::Device(name.to_owned())),
            None if word == "page" => Ok(Self::Page),
            None => Err(ActError::Nobody(word.to_owned())),
        }
    }
}

/// One field of a written act.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Field {
    /// A text.
    Text(String),
    /// A whole number.
    Number(u32),
    /// Yes or no.
    Flag(bool),
    /// There, and empty.
    Empty,
    /// Nothing that an act can have.
    Other,
}

/// The word of each act, as it is written.
const WORDS: [&str; 20] = [
    "confirm",
    "withdraw",
    "typed",
    "answer",
    "source",
    "on",
    "again",
    "next",
    "back",
    "unit",
    "check",
    "skip",
    "finish",
    "pause",
    "resume",
    "finding",
    "restored",
    "energised",
    "close",
    "take_over",
];

/// What a person may type beside values, for whoever typed something else.
pub const LINES: &str = "confirm NAME, withdraw NAME, yes, no (or yes 3 for question 3), source WHAT, on PAIR, on, again, again as left, finish, next, back, \
    unit TAG, check NAME, skip WHY, pause, resume, finding TEXT, as left TEXT, restored WHAT, power back, close, \
    close WHY, take over TAG";

impl Act {
    /// Whether it only moves on the route. Recordings hold the check that it armed instead.
    #[must_use]
    pub const fn moves_on_the_route(&self) -> bool {
        matches!(self, Self::Next | Self::Back | Self::Unit { .. } | Self::Check { .. })
    }

    /// Whether an act that only moves on the route is written with this word.
    #[must_use]
    pub fn is_word_of_the_route(word: &str) -> bool {
        matches!(word, "next" | "back" | "unit" | "check")
    }

    /// Whether an act is written with this word.
    #[must_use]
    pub fn is_word(word: &str) -> bool {
        WORDS.contains(&word)
    }

    /// The written form: its word, and its fields by key.
    #[must_use]
    pub fn written(&self) -> (&'static str, Vec<(&'static str, Field)>) {
        let hold_point = |name: &str| ("hold_point", Field::Text(name.to_owned()));
        match self {
            Self::Confirm { hold_point: name } => ("confirm", Vec::from([hold_point(name)])),
            Self::Withdraw { hold_point: name } => ("withdraw", Vec::from([hold_point(name)])),
            Self::Type { point, value, accuracy } => {
                let accuracy = accuracy.map(|accuracy| ("accuracy", Field::Text(accuracy.to_string())));
                let (point, value) = (Field::Text(point.clone()), Field::Text(value.to_string()));
                ("typed", [("point", point), ("value", value)].into_iter().chain(accuracy).collect())
            }
            Self::Answer { question, yes } => {
                let question = question.map(|number| ("question", Field::Number(number)));
                ("answer", question.into_iter().chain([("yes", Field::Flag(*yes))]).collect())
            }
            Self::Source { what } => ("source", Vec::from([("what", Field::Text(what.clone()))])),
            Self::On { pair } => {
                ("on", pair.iter().map(|pair| ("pair", Field::Text(pair.clone()))).collect())
            }
            Self::Again { as_left } => {
                ("again", as_left.then_some(("as_left", Field::Flag(true))).into_iter().collect())
            }
            Self::Next => ("next", Vec::new()),
            Self::Back => ("back", Vec::new()),
            Self::Unit { tag } => ("unit", Vec::from([("tag", Field::Text(tag.clone()))])),
            Self::Check { unit, name } => {
                let unit = unit.iter().map(|unit| ("unit", Field::Text(unit.clone())));
                ("check", unit.chain([("name", Field::Text(name.clone()))]).collect())
            }
            Self::Skip { why } => ("skip", Vec::from([("why", Field::Text(why.clone()))])),
            Self::Finish => ("finish", Vec::new()),
            Self::Pause => ("pause", Vec::new()),
            Self::Resume => ("resume", Vec::new()),
            Self::Finding { text, as_left } => {
                let fields = [("text", Field::Text(text.clone())), ("as_left", Field::Flag(*as_left))];
                ("finding", Vec::from(fields))
            }
            Self::Restored { what } => ("restored", Vec::from([("what", Field::Text(what.clone()))])),
            Self::Energised => ("energised", Vec::new()),
            Self::Close { why } => {
                ("close", why.iter().map(|why| ("why", Field::Text(why.clone()))).collect())
            }
            Self::TakeOver { tag } => ("take_over", Vec::from([("tag", Field::Text(tag.clone()))])),
        }
    }

    /// Reads the written form.
    ///
    /// # Errors
    /// [`ActError`] when the word is none of an act, a field is missing, unknown or of another sort, or its text no value.
    pub fn read<K: Into<String>>(
        word: &str,
        fields: impl IntoIterator<Item = (K, Field)>,
    ) -> Result<Self, ActError> {
        let mut given = Fields(fields.into_iter().map(|(key, field)| (key.into(), field)).collect());
        let act = match word {
            "confirm" => Self::Confirm { hold_point: given.text("hold_point")? },
            "withdraw" => Self::Withdraw { hold_point: given.text("hold_point")? },
            "typed" => {
                let (point, value) = (given.text("point")?, given.text("value")?);
                let accuracy = given.text_if_any("accuracy")?;
                given.end()?;
                return Self::typed(&point, &value, accuracy.as_deref());
            }
            "answer" => Self::Answer { question: given.number_if_any("question")?, yes: given.flag("yes")? },
            "source" => Self::Source { what: given.text("what")? },
            "on" => Self::On { pair: given.text_if_any("pair")? },
            "again" => Self::Again { as_left: given.flag_if_any("as_left")?.unwrap_or_default() },
            "next" => Self::Next,
            "back" => Self::Back,
            "unit" => Self::Unit { tag: given.text("tag")? },
            "check" => Self::Check { unit: given.text_if_any("unit")?, name: given.text("name")? },
            "skip" => Self::Skip { why: given.text("why")? },
            "finish" => Self::Finish,
            "pause" => Self::Pause,
            "resume" => Self::Resume,
            "finding" => Self::Finding { text: given.text("text")?, as_left: given.flag("as_left")? },
            "restored" => Self::Restored { what: given.text("what")? },
            "energised" => Self::Energised,
            "close" => Self::Close { why: given.text_if_any("why")? },
            "take_over" => Self::TakeOver { tag: given.text("tag")? },
            _ => return Err(ActError::NoAct(word.to_owned())),
        };
        given.end()?;
        Ok(act)
    }

    /// Reads a typed line: `POINT=VALUE`, `POINT=OL`, `POINT=VALUE; ACCURACY`, or a word such as `confirm locked out`, `yes 3`.
    ///
    /// # Errors
    /// [`ActError::NoLine`], or what is wrong with the value or its accuracy.
    pub fn of_line(line: &str) -> Result<Self, ActError> {
        if let Some(act) = Self::of_words(line) {
            return Ok(act);
        }
        let (point, rest) = line.split_once('=').ok_or_else(|| ActError::NoLine(line.to_owned()))?;
        let (value, accuracy) = match rest.split_once(';') {
            Some((value, accuracy)) => (value, Some(accuracy)),
            None => (rest, None),
        };
        Self::typed(point.trim(), value, accuracy)
    }

    fn of_words(line: &str) -> Option<Self> {
        let (first, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        let (first, rest) = (first.to_ascii_lowercase(), rest.trim());
        match (first.as_str(), rest) {
            ("confirm", name) if !name.is_empty() => Some(Self::Confirm { hold_point: name.into() }),
            ("withdraw", name) if !name.is_empty() => Some(Self::Withdraw { hold_point: name.into() }),
            ("yes" | "no", "") => Some(Self::Answer { question: None, yes: first == "yes" }),
            ("yes" | "no", number) => {
                Some(Self::Answer { question: Some(number.parse().ok()?), yes: first == "yes" })
            }
            // Without a name it is refused where it is known what it would be for.
            ("source", what) => Some(Self::Source { what: what.into() }),
            ("on", pair) => Some(Self::On { pair: (!pair.is_empty()).then(|| pair.into()) }),
            ("unit", tag) if !tag.is_empty() => Some(Self::Unit { tag: tag.into() }),
            ("check", name) if !name.is_empty() => Some(Self::Check { unit: None, name: name.into() }),
            ("skip", why) if !why.is_empty() => Some(Self::Skip { why: why.into() }),
            ("finding", text) if !text.is_empty() => {
                Some(Self::Finding { text: text.into(), as_left: false })
            }
            ("as", text) => {
                let text = text.strip_prefix("left").map(str::trim).filter(|text| !text.is_empty())?;
                Some(Self::Finding { text: text.into(), as_left: true })
            }
            ("again", text) if text.eq_ignore_ascii_case("as left") => Some(Self::Again { as_left: true }),
            ("restored", what) if !what.is_empty() => Some(Self::Restored { what: what.into() }),
            ("power", "back") => Some(Self::Energised),
            ("take", text) => {
                let tag =
                    text.strip_prefix("over").filter(|tag| tag.starts_with(char::is_whitespace))?.trim();
                (!tag.is_empty()).then(|| Self::TakeOver { tag: tag.into() })
            }
            ("close", why) if !why.is_empty() => Some(Self::Close { why: Some(why.into()) }),
            ("again" | "next" | "back" | "finish" | "pause" | "resume" | "energised" | "close", "") => {
                Self::read::<String>(&first, []).ok()
            }
            _ => None,
        }
    }

    /// A typed value, with an accuracy where one stands beside it.
    ///
    /// # Errors
    /// What is wrong with the value or its accuracy.
    pub fn typed(point: &str, value: &str, accuracy: Option<&str>) -> Result<Self, ActError> {
        let value = if reads_open(value) {
            // Overload has no accuracy; what stands there says nothing.
            return Ok(Self::Type { point: point.to_owned(), value: Display::Open, accuracy: None });
        } else {
            Display::Value(parse_typed(value).map_err(ActError::Value)?)
        };
        let accuracy = accuracy.map(Accuracy::parse).transpose().map_err(ActError::Accuracy)?;
        Ok(Self::Type { point: point.to_owned(), value, accuracy })
    }
}

/// Whether a typed text says that the meter shows overload: `OL` or `open`.
#[must_use]
pub fn reads_open(text: &str) -> bool {
    let text = text.trim();
    text.eq_ignore_ascii_case("ol") || text.eq_ignore_ascii_case("open")
}

impl From<Typed> for Display {
    fn from(typed: Typed) -> Self {
        Self::Value(typed)
    }
}

impl fmt::Display for Display {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self::Value(typed) = self else { return f.write_str("OL") };
        write!(f, "{}", typed.number)?;
        if let Some(unit) = typed.unit {
            write!(f, " {unit}")?;
        }
        match typed.coupling {
            Some(Coupling::Ac) => f.write_str(" ac"),
            Some(Coupling::Dc) => f.write_str(" dc"),
            None => Ok(()),
        }
    }
}

/// The fields that nobody has asked for yet.
struct Fields(Vec<(String, Field)>);

impl Fields {
    fn take(&mut self, key: &'static str) -> Option<Field> {
        let at = self.0.iter().position(|(of, _)| of == key)?;
        let field = self.0.remove(at).1;
        (field != Field::Empty).then_some(field)
    }

    fn text_if_any(&mut self, key: &'static str) -> Result<Option<String>, ActError> {
        match self.take(key) {
            None => Ok(None),
            Some(Field::Text(text)) => Ok(Some(text)),
            Some(_) => Err(ActError::Sort(key, "a text")),
        }
    }

    fn text(&mut self, key: &'static str) -> Result<String, ActError> {
        self.text_if_any(key)?.ok_or(ActError::Missing(key))
    }

    fn number_if_any(&mut self, key: &'static str) -> Result<Option<u32>, ActError> {
        match self.take(key) {
            None => Ok(None),
            Some(Field::Number(number)) => Ok(Some(number)),
            Some(_) => Err(ActError::Sort(key, "a whole number")),
        }
    }

    fn flag_if_any(&mut self, key: &'static str) -> Result<Option<bool>, ActError> {
        match self.take(key) {
            None => Ok(None),
            Some(Field::Flag(flag)) => Ok(Some(flag)),
            Some(_) => Err(ActError::Sort(key, "true or false")),
        }
    }

    fn flag(&mut self, key: &'static str) -> Result<bool, ActError> {
        self.flag_if_any(key)?.ok_or(ActError::Missing(key))
    }

    fn end(self) -> Result<(), ActError> {
        self.0.into_iter().next().map_or(Ok(()), |(key, _)| Err(ActError::Unknown(key)))
    }
}

/// Why something written is no act.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ActError {
    /// No act has this word.
    NoAct(String),
    /// The line is neither a value nor a known word.
    NoLine(String),
    /// Nobody is written so.
    Nobody(String),
    /// A field is missing.
    Missing(&'static str),
    /// A field is of another sort than it must be.
    Sort(&'static str, &'static str),
    /// A field that this act does not have.
    Unknown(String),
    /// The value is wrong.
    Value(ParseError),
    /// The accuracy is wrong.
    Accuracy(AccuracyError),
}

impl ActError {
    /// The form is right, and what it holds cannot be taken.
    #[must_use]
    pub const fn is_of_value(&self) -> bool {
        matches!(self, Self::Value(_) | Self::Accuracy(_))
    }
}

impl fmt::Display for ActError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoAct(word) => write!(f, "{word:?} is no act; there are {}", WORDS.join(", ")),
            Self::NoLine(line) => write!(
                f,
                "{line:?} is not taken: write POINT=VALUE, for example capacitance=39.4uF, or one of: {LINES}"
            ),
            Self::Nobody(word) => {
                write!(f, "{word:?} does nothing: an act is by \"page\" or \"device NAME\"")
            }
            Self::Missing(key) => write!(f, "missing field `{key}`"),
            Self::Sort(key, wanted) => write!(f, "the field `{key}` must be {wanted}"),
            Self::Unknown(key) => write!(f, "unknown field `{key}`"),
            Self::Value(error) => error.fmt(f),
            Self::Accuracy(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for ActError {}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> Vec<Act> {
        let typed = |text: &str, accuracy: Option<&str>| Act::typed("c", text, accuracy).unwrap();
        Vec::from([
            Act::Confirm { hold_point: "locked out".into() },
            Act::Withdraw { hold_point: "locked out".into() },
            typed("39.40 uF", None),
            typed("ol", None),
            typed("230 V ac", Some("1% + 2")),
            Act::Answer { question: Some(5), yes: false },
            Act::Answer { question: None, yes: true },
            Act::Source { what: "proving unit".into() },
            Act::On { pair: Some("L1-L2".into()) },
            Act::On { pair: None },
            Act::Again { as_left: false },
            Act::Again { as_left: true },
            Act::Next,
            Act::Back,
            Act::Unit { tag: "RTU-31".into() },
            Act::Check { unit: None, name: "supply".into() },
            Act::Check { unit: Some("RTU-31".into()), name: "supply".into() },
            Act::Skip { why: "roof hatch locked".into() },
            Act::Finish,
            Act::Pause,
            Act::Resume,
            Act::Finding { text: "coil fouled".into(), as_left: false },
            Act::Finding { text: "coil washed".into(), as_left: true },
            Act::Restored { what: "one lead off".into() },
            Act::Energised,
            Act::Close { why: None },
            Act::Close { why: Some("part on order".into()) },
            Act::TakeOver { tag: "RTU-31".into() },
        ])
    }

    #[test]
    fn every_act_comes_back_from_its_written_form_and_every_word_has_one() {
        let mut words: Vec<&str> = Vec::new();
        for act in all() {
            let (word, fields) = act.written();
            assert_eq!(Act::is_word_of_the_route(word), act.moves_on_the_route(), "{word}");
            assert_eq!(Act::read(word, fields), Ok(act));
            words.push(word);
        }
        words.dedup();
        assert_eq!(words, WORDS);
        assert!(words.iter().all(|word| Act::is_word(word)) && !Act::is_word("burn"));
    }

    #[test]
    fn every_act_can_be_typed() {
        for (line, act) in [
            ("confirm locked out", Act::Confirm { hold_point: "locked out".into() }),
            ("source receptacle beside RTU-12", Act::Source { what: "receptacle beside RTU-12".into() }),
            ("source", Act::Source { what: String::new() }),
            ("on L1 to G", Act::On { pair: Some("L1 to G".into()) }),
            ("On", Act::On { pair: None }),
            ("Next", Act::Next),
            ("back", Act::Back),
            ("unit RTU-31", Act::Unit { tag: "RTU-31".into() }),
            (
                "check condenser fan 1 capacitor",
                Act::Check { unit: None, name: "condenser fan 1 capacitor".into() },
            ),
            ("skip  roof hatch locked", Act::Skip { why: "roof hatch locked".into() }),
            ("pause", Act::Pause),
            ("resume", Act::Resume),
            ("finding coil fouled", Act::Finding { text: "coil fouled".into(), as_left: false }),
            ("as left coil washed", Act::Finding { text: "coil washed".into(), as_left: true }),
            ("restored one lead off", Act::Restored { what: "one lead off".into() }),
            ("power back", Act::Energised),
            ("close", Act::Close { why: None }),
            ("close part on order", Act::Close { why: Some("part on order".into()) }),
            ("take over RTU-31", Act::TakeOver { tag: "RTU-31".into() }),
        ] {
            assert_eq!(Act::of_line(line), Ok(act), "{line}");
        }
        for line in [
            "skip",
            "unit",
            "check",
            "finding",
            "as left",
            "as it was",
            "restored",
            "power",
            "pause now",
            "take",
            "take over",
            "take overalls",
        ] {
            assert_eq!(Act::of_line(line), Err(ActError::NoLine(line.into())), "{line}");
        }
    }

    #[test]
    fn other_forms_are_refused_by_what_is_wrong() {
        let text = |text: &str| Field::Text(text.into());
        for (word, fields, why) in [
            ("burn", Vec::new(), ActError::NoAct("burn".into())),
            ("confirm", Vec::new(), ActError::Missing("hold_point")),
            (
                "confirm",
                Vec::from([("hold_point", Field::Number(7))]),
                ActError::Sort("hold_point", "a text"),
            ),
            ("confirm", Vec::from([("hold_point", Field::Empty)]), ActError::Missing("hold_point")),
            (
                "withdraw",
                Vec::from([("hold_point", text("a")), ("more", Field::Number(1))]),
                ActError::Unknown("more".into()),
            ),
            ("answer", Vec::from([("question", Field::Number(5))]), ActError::Missing("yes")),
            (
                "answer",
                Vec::from([("question", text("5")), ("yes", Field::Flag(true))]),
                ActError::Sort("question", "a whole number"),
            ),
            ("next", Vec::from([("check", Field::Number(1))]), ActError::Unknown("check".into())),
        ] {
            assert_eq!(Act::read(word, fields), Err(why), "{word}");
        }
        let no_value = Act::read("typed", [("point", text("c")), ("value", text("much"))]).unwrap_err();
        assert!(no_value.is_of_value(), "{no_value}");
    }
}
