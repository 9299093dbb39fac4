//! An act as JSON: its word under a key, with its fields. [`visit::act`] defines the words and fields.

use alloc::string::String;

use serde::ser::{Serialize, SerializeMap, Serializer};
use serde_json::{Map, Value};
use visit::act::{Act, ActError, By, Field};

/// Parses an act from its word and the rest of its object.
///
/// # Errors
/// As for [`Act::read`]; a value that no field of an act can have counts as one of the wrong type.
pub fn act_of(word: &str, rest: Map<String, Value>) -> Result<Act, ActError> {
    Act::read(word, rest.into_iter().map(|(key, value)| (key, field(value))))
}

fn field(value: Value) -> Field {
    match value {
        Value::String(text) => Field::Text(text),
        Value::Bool(flag) => Field::Flag(flag),
        Value::Null => Field::Empty,
        Value::Number(number) => {
            number.as_u64().and_then(|n| u32::try_from(n).ok()).map_or(Field::Other, Field::Number)
        }
        Value::Array(_) | Value::Object(_) => Field::Other,
    }
}

/// An act as a JSON object with its word under `key`.
#[must_use]
pub fn act_json(key: &'static str, act: &Act) -> Value {
    serde_json::to_value(ActJson { key, t: None, act, by: &By::Unsaid }).unwrap_or(Value::Null)
}

/// An act on its way to JSON.
pub(crate) struct ActJson<'a> {
    /// The key of its word.
    pub(crate) key: &'static str,
    /// Its time in microseconds.
    pub(crate) t: Option<i64>,
    pub(crate) act: &'a Act,
    /// Whose it is; not written where nobody said it.
    pub(crate) by: &'a By,
}

impl Serialize for ActJson<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let (word, fields) = self.act.written();
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry(self.key, word)?;
        if let Some(t) = self.t {
            map.serialize_entry("t", &t)?;
        }
        for (key, field) in fields {
            match field {
                Field::Text(text) => map.serialize_entry(key, &text)?,
                Field::Number(number) => map.serialize_entry(key, &number)?,
                Field::Flag(flag) => map.serialize_entry(key, &flag)?,
                Field::Empty | Field::Other => map.serialize_entry(key, &())?,
            }
        }
        if let Some(by) = self.by.word() {
            map.serialize_entry("by", &by)?;
        }
        map.end()
    }
}
