//! `manual:` and `manual:NAME`: values that a person types, on the page or on the command line. An entry becomes one
//! UTF-8 line `POINT=VALUE` on the link, so it takes the same route as a meter's bytes. Does not decide whether the
//! value makes sense.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::adapter::{Adapter, Found, Link};
use crate::error::OpenError;
use crate::event::LinkState;
use crate::options::OpenOptions;
use crate::queue::Sender;
use crate::selector::Selector;
use crate::task::TaskLink;

/// The longest point name and the longest value, in characters.
const ENTRY_CHARS_MAX: usize = 64;

type OpenLinks = Arc<Mutex<BTreeMap<String, Sender>>>;

/// Opens manual links and hands out the handles for entering values.
#[derive(Debug, Clone, Default)]
pub struct ManualAdapter {
    links: OpenLinks,
}

impl ManualAdapter {
    /// No link open yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The handle for entering values on `manual:NAME`; the empty name is `manual:`. Available before the link is
    /// open.
    #[must_use]
    pub fn entry(&self, name: &str) -> ManualEntry {
        ManualEntry { links: Arc::clone(&self.links), name: name.to_owned() }
    }
}

fn lock(links: &OpenLinks) -> MutexGuard<'_, BTreeMap<String, Sender>> {
    links.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Adapter for ManualAdapter {
    fn scheme(&self) -> &'static str {
        "manual"
    }

    /// Always one entry: anyone can type.
    fn list(&self) -> Vec<Found> {
        vec![Found {
            selector: "manual:".parse().ok(),
            description: "values typed in by hand".to_owned(),
            hindrance: None,
        }]
    }

    fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
        if selector.rest().is_empty() { Ok(()) } else { selector.name().map(|_| ()) }
    }

    /// Refuses a second link of the same name while the first is open.
    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        self.validate(selector)?;
        let mut links = lock(&self.links);
        if links.get(selector.rest()).is_some_and(|sender| !sender.reader_gone()) {
            return Err(OpenError::AlreadyOpen { selector: selector.to_string() });
        }
        let mut desk = None;
        let link = TaskLink::start(selector, options, |sender| {
            sender.state(LinkState::Syncing);
            desk = Some(sender);
            // Entries are pushed from outside; there is nothing to wait for.
            std::future::ready(())
        })?;
        links.retain(|_, sender| !sender.reader_gone());
        links.extend(desk.map(|sender| (selector.rest().to_owned(), sender)));
        Ok(Box::new(link))
    }
}

/// Where a person's entries go in.
#[derive(Debug, Clone)]
pub struct ManualEntry {
    links: OpenLinks,
    name: String,
}

impl ManualEntry {
    /// Enters one value for a point, as typed: `enter("capacitance", "39.4 uF")`.
    ///
    /// # Errors
    /// Rejected whole, never truncated: a name or value that is empty, too long, or could break the line; no open
    /// link; too many waiting entries.
    pub fn enter(&self, point: &str, value: &str) -> Result<(), EntryRefused> {
        let (point, value) = (point.trim(), value.trim());
        check_text(point, EntryField::Point)?;
        check_text(value, EntryField::Value)?;
        if point.contains('=') {
            return Err(EntryRefused::Character { part: EntryField::Point });
        }
        let links = lock(&self.links);
        let Some(sender) = links.get(&self.name).filter(|sender| !sender.reader_gone()) else {
            return Err(EntryRefused::NotOpen);
        };
        if !sender.has_room() {
            return Err(EntryRefused::Full);
        }
        sender.bytes(format!("{point}={value}\n").as_bytes());
        Ok(())
    }
}

fn check_text(text: &str, part: EntryField) -> Result<(), EntryRefused> {
    if text.is_empty() {
        return Err(EntryRefused::Empty { part });
    }
    if text.chars().count() > ENTRY_CHARS_MAX {
        return Err(EntryRefused::TooLong { part });
    }
    // The two Unicode separators also end a line for some readers.
    if text.chars().any(|c| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}')) {
        return Err(EntryRefused::Character { part });
    }
    Ok(())
}

/// A field of an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EntryField {
    /// The name of the point.
    Point,
    /// The value.
    Value,
}

impl fmt::Display for EntryField {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Point => "point",
            Self::Value => "value",
        })
    }
}

/// Why an entry was rejected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum EntryRefused {
    /// Nothing was typed.
    Empty {
        /// Where.
        part: EntryField,
    },
    /// More than 64 characters.
    TooLong {
        /// Where.
        part: EntryField,
    },
    /// A line break, another control character, or `=` in the point.
    Character {
        /// Where.
        part: EntryField,
    },
    /// No manual link of this name is open.
    NotOpen,
    /// Too many entries are waiting; nothing was accepted.
    Full,
}

impl fmt::Display for EntryRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty { part } => write!(f, "the {part} is empty"),
            Self::TooLong { part } => write!(f, "the {part} is longer than {ENTRY_CHARS_MAX} characters"),
            Self::Character { part } => write!(
                f,
                "the {part} holds a character that is not allowed (line break, control character, '=' in a point)"
            ),
            Self::NotOpen => f.write_str("no manual entry is open here; start one with a manual: device"),
            Self::Full => f.write_str("earlier entries are still waiting; try again"),
        }
    }
}

impl std::error::Error for EntryRefused {}
