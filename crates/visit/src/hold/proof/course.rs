//! What a person has named for a proof: the live source, and the pair that is to be read next. Each is named before it is read,
//! so that no reading finds its pair afterwards. Reads nothing.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Instant;

use super::pairs::{PairRead, Pairs};

/// Letters in the name of a source.
const SOURCE_MAX: usize = 80;
/// How people call the circuit that they work on. A source of that name is none.
const THE_CIRCUIT_ITSELF: [&str; 7] =
    ["this unit", "the unit", "same unit", "own line", "own supply", "own disconnect", "unit under test"];
/// Sides of a disconnect; of which one, a number would say ("line side of RTU-12").
const SIDES: [&str; 2] = ["line side", "load side"];

/// What is to be proved dead or discharged.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Subject<'a> {
    pub(crate) unit_tag: &'a str,
    pub(crate) component: &'a str,
}

/// Something that a person has named.
#[derive(Clone, Debug)]
pub(crate) struct Named {
    /// Counts up with each thing that is named.
    pub(crate) number: u32,
    pub(crate) what: String,
    /// No reading from before counts.
    pub(crate) at: Instant,
}

/// What is to be read, and what was named of it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Course {
    pairs: Pairs,
    source: Option<Named>,
    on: Option<Named>,
    count: u32,
}

impl Course {
    /// One with these pairs.
    pub(crate) fn of(pairs: Pairs) -> Self {
        Self { pairs, ..Self::default() }
    }

    pub(crate) fn pairs(&self) -> &Pairs {
        &self.pairs
    }

    /// The live source.
    pub(crate) fn source(&self) -> Option<&Named> {
        self.source.as_ref()
    }

    /// The pair that was named last.
    pub(super) fn on(&self) -> Option<&Named> {
        self.on.as_ref()
    }

    /// Whether a pair is named.
    pub(crate) fn is_on_pair(&self) -> bool {
        self.on.is_some()
    }

    /// How many things were named.
    pub(super) fn count(&self) -> u32 {
        self.count
    }

    /// Nothing that was named counts any more.
    pub(crate) fn forget(&mut self) {
        (self.source, self.on) = (None, None);
    }

    fn named(&mut self, what: String, at: Instant) -> Named {
        self.count = self.count.saturating_add(1);
        Named { number: self.count, what, at }
    }

    /// A person names a live source; everything begins anew with it.
    ///
    /// # Errors
    /// Why it is none, and what to do.
    pub(crate) fn name_source(
        &mut self,
        words: &str,
        subject: Subject<'_>,
        at: Instant,
    ) -> Result<(), String> {
        let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
        if words.is_empty() {
            return Err(
                "a live source needs a name: say what it is, for example source proving unit".to_string()
            );
        }
        if words.chars().count() > SOURCE_MAX {
            return Err(format!("the source has a name of more than {SOURCE_MAX} letters: say it in fewer"));
        }
        if is_the_subject(&words, subject) {
            return Err(format!(
                "{words:?} names the circuit under test: what is to read dead cannot prove the tester. Name a source that {} does \
                 not feed, such as a proving unit or a receptacle of another circuit",
                if subject.unit_tag.is_empty() { "this unit" } else { subject.unit_tag }
            ));
        }
        (self.source, self.on) = (Some(self.named(words, at)), None);
        Ok(())
    }

    /// A person names the pair that is read next; without words the one that comes next. `read` are those that were read.
    ///
    /// # Errors
    /// Which pairs there are.
    pub(crate) fn name_pair(&mut self, words: &str, read: &[PairRead], at: Instant) -> Result<&str, String> {
        let pair = match (words.trim(), self.pairs.next(read)) {
            ("", Some(next)) => next,
            ("", None) => {
                return Err(
                    "every pair that is needed was read; name another one, such as on L2-L3".to_string()
                );
            }
            (words, _) => self.pairs.find(words, read)?,
        };
        let named = self.named(pair, at);
        Ok(&self.on.insert(named).what)
    }
}

/// Whether these words say the unit or the part that is under test.
fn is_the_subject(words: &str, subject: Subject<'_>) -> bool {
    let said = tokens(words);
    let says = |phrase: &str| {
        let phrase = tokens(phrase);
        !phrase.is_empty() && said.windows(phrase.len()).any(|window| window == phrase)
    };
    let bare = ["unit", "line", "disconnect", "supply"].iter().any(|word| words.eq_ignore_ascii_case(word));
    bare || says(subject.unit_tag)
        || tokens(subject.component) == said
        || THE_CIRCUIT_ITSELF.iter().any(|phrase| says(phrase))
        || !words.contains(|c: char| c.is_ascii_digit()) && SIDES.iter().any(|side| says(side))
}

/// The words of a text without regard to capitals and to what stands between them: RTU-07 is "rtu", "07".
fn tokens(text: &str) -> Vec<String> {
    let words = text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    words.map(str::to_lowercase).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SUBJECT: Subject<'_> = Subject { unit_tag: "RTU-1", component: "C1" };

    fn named(words: &str) -> Result<(), String> {
        Course::default().name_source(words, SUBJECT, Instant::ZERO)
    }

    #[test]
    fn a_source_is_something_else_than_the_circuit_under_test() {
        for fine in [
            "proving unit",
            "receptacle beside RTU-12",
            "line side of RTU-12",
            "line of the crane",
            "outlet C 12",
        ] {
            assert_eq!(named(fine), Ok(()), "{fine}");
        }
        for own in [
            "RTU-1",
            "rtu 1",
            "line side of RTU-1",
            "receptacle on rtu-1, roof",
            "This Unit's line",
            "own line",
            "the unit",
            "unit",
            "line",
            "load side of the disconnect",
            "c1",
        ] {
            let why = named(own).unwrap_err();
            assert!(
                why.contains("names the circuit under test") && why.contains("RTU-1 does not feed"),
                "{own}: {why}"
            );
        }
        for empty in ["", "  \t "] {
            assert!(named(empty).unwrap_err().contains("needs a name"));
        }
        assert!(named(&"x".repeat(81)).unwrap_err().contains("more than 80"));
    }

    #[test]
    fn the_next_pair_needs_no_name_and_another_source_forgets_the_pair() {
        let mut course = Course::of(Pairs::of_terminals(&[]));
        assert_eq!(course.name_pair("", &[], Instant::ZERO), Ok("1-2"));
        assert_eq!(course.name_pair(" case to 2", &[], Instant::ZERO), Ok("2-case"));
        assert!(course.name_pair("1-3", &[], Instant::ZERO).is_err());
        assert_eq!(course.on().map(|on| (on.number, on.what.as_str())), Some((2, "2-case")));
        course.name_source("proving unit", SUBJECT, Instant::ZERO).unwrap();
        assert!(course.on().is_none() && course.source().is_some_and(|source| source.number == 3));
    }
}
