//! Where a limit or a default comes from: its class, declared by the first words of the text, and the rest of the
//! text. Does not look for a class anywhere else in the text, and does not verify that the text is true.

use alloc::format;
use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt;

/// Where a limit or a default comes from, as text and as a class. A rule writes both in one text: `standard: IEC
/// 60252-1`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The text after the class.
    pub text: Arc<str>,
    /// The class.
    pub class: SourceClass,
}

/// The weight of a source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SourceClass {
    /// A published standard or regulation.
    Standard,
    /// The unit's nameplate, the part's own label, a maker's sheet.
    Nameplate,
    /// Physics or a definition.
    Physics,
    /// Common practice of the trade; no published source.
    CommonPractice,
    /// What the shop has measured and recorded itself.
    OwnRecords,
    /// A standard or figure quoted from memory, without opening it.
    Memory,
}

impl SourceClass {
    /// Every class, the strongest first. If several sources meet, the one that comes last here counts.
    pub const ALL: [Self; 6] = [
        Self::Standard,
        Self::Nameplate,
        Self::Physics,
        Self::CommonPractice,
        Self::OwnRecords,
        Self::Memory,
    ];

    /// The class as a rule declares it, before the colon.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Standard => "standard",
            Self::Nameplate => "nameplate",
            Self::Physics => "physics",
            Self::CommonPractice => "common practice",
            Self::OwnRecords => "own records",
            Self::Memory => "memory",
        }
    }

    /// The class as verdicts and the history name it: like [`SourceClass::text`], but "from memory".
    #[must_use]
    pub const fn name(self) -> &'static str {
        if let Self::Memory = self { "from memory" } else { self.text() }
    }

    /// The class declared by this text, verbatim.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.text() == text)
    }

    /// The weaker of two, by their order in [`SourceClass::ALL`].
    #[must_use]
    pub fn weaker(self, other: Self) -> Self {
        let place = |class: Self| Self::ALL.iter().position(|known| *known == class);
        if place(self) >= place(other) { self } else { other }
    }
}

/// Why a text is not a source. The message names the classes, and the nearest one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SourceError {
    /// It does not begin with a class and a colon.
    NoClass(String),
    /// Nothing follows the colon.
    NoText(SourceClass),
}

impl Source {
    /// Parses a source as a rule writes it: class, colon, text.
    ///
    /// # Errors
    /// [`SourceError`] if it does not begin with a class, or nothing follows it.
    pub fn parse(text: &str) -> Result<Self, SourceError> {
        let declared =
            text.split_once(':').and_then(|(class, rest)| Some((SourceClass::parse(class)?, rest)));
        let (class, rest) = declared.ok_or_else(|| SourceError::NoClass(text.into()))?;
        match rest.trim() {
            "" => Err(SourceError::NoText(class)),
            rest => Ok(Self { text: rest.into(), class }),
        }
    }

    /// Combines named sources: name, class and text of each, and the weakest class of all. `None` for no parts.
    #[must_use]
    pub fn of_parts<'a>(parts: impl IntoIterator<Item = (&'a str, &'a Self)>) -> Option<Self> {
        let mut class = None;
        let mut said: Vec<String> = Vec::new();
        for (name, source) in parts {
            said.push(format!("{name}: {}, {}", source.class.name(), source.text));
            class = Some(class.map_or(source.class, |other| source.class.weaker(other)));
        }
        Some(Self { text: said.join("; ").as_str().into(), class: class? })
    }
}

/// A source as people read it, from its text and the name of its class: "IEC 60252-1 \[standard\]".
#[must_use]
pub fn source_with_class(text: &str, class: &str) -> String {
    format!("{text} [{class}]")
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&source_with_class(&self.text, self.class.name()))
    }
}

impl fmt::Display for SourceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoText(class) => write!(f, "source \"{}:\" says nothing after its class", class.text()),
            Self::NoClass(text) => {
                write!(f, "source {text:?} does not begin with its class: write one of ")?;
                for (index, class) in SourceClass::ALL.into_iter().enumerate() {
                    let comma = if index == 0 { "" } else { ", " };
                    write!(f, "{comma}{}:", class.text())?;
                }
                f.write_str(" before it")?;
                match near(text) {
                    Some(class) => write!(f, "; did you mean \"{}:\"?", class.text()),
                    None => Ok(()),
                }
            }
        }
    }
}

impl core::error::Error for SourceError {}

/// The most letters that may be wrong, missing or extra for a class still to be recognised as the intended one.
const SLIPS_MAX: usize = 2;

/// The class that was probably meant: named at the beginning without a colon, or misspelled. Never one that merely
/// occurs in the text, except "from memory", so that no hint makes a source stronger than it says.
fn near(text: &str) -> Option<SourceClass> {
    let text = text.trim().to_lowercase();
    if text.contains(SourceClass::Memory.name()) {
        return Some(SourceClass::Memory);
    }
    let begins = |class: &SourceClass| {
        let rest = text.strip_prefix(class.text());
        rest.is_some_and(|rest| !rest.starts_with(char::is_alphanumeric))
    };
    let by_slip = || {
        let head = text.split(':').next().unwrap_or_default();
        let nearest =
            SourceClass::ALL.into_iter().min_by_key(|class| quantity::edit_distance(head, class.text()))?;
        (quantity::edit_distance(head, nearest.text()) <= SLIPS_MAX).then_some(nearest)
    };
    SourceClass::ALL.into_iter().find(begins).or_else(by_slip)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn every_class_is_read_back_from_its_text_and_no_name_is_used_twice() {
        for class in SourceClass::ALL {
            assert_eq!(SourceClass::parse(class.text()), Some(class));
            let names = SourceClass::ALL.iter().filter(|other| other.name() == class.name());
            assert_eq!(names.count(), 1);
            assert_eq!(SourceClass::parse(&class.text().to_uppercase()), None);
        }
    }

    #[test]
    fn the_weakest_class_wins_whatever_the_order() {
        let source = |text: &str| Source::parse(text).unwrap();
        let (memory, standard) = (source("memory: IEC 60252-1"), source("standard: IEC 60252-1"));
        let (practice, plate) = (source("common practice: 6 %"), source("nameplate: as entered"));
        let of = |parts: &[(&str, &Source)]| Source::of_parts(parts.iter().copied()).unwrap();
        assert_eq!(of(&[("a", &memory), ("b", &standard)]).class, SourceClass::Memory);
        assert_eq!(of(&[("b", &standard), ("a", &memory)]).class, SourceClass::Memory);
        assert_eq!(
            of(&[("capacitance", &plate), ("tolerance", &practice)]),
            Source {
                text: "capacitance: nameplate, as entered; tolerance: common practice, 6 %".into(),
                class: SourceClass::CommonPractice
            }
        );
        assert_eq!(Source::of_parts([]), None);
    }

    #[test]
    fn a_hint_never_makes_a_source_stronger() {
        let hint = |text: &str| Source::parse(text).unwrap_err().to_string();
        assert!(hint("standard IEC 60252-1, from memory").ends_with("did you mean \"memory:\"?"));
        assert!(hint("no standard covers this").ends_with("before it"));
        assert!(hint("no standard").ends_with("before it"));
        assert!(hint("standardised by us").ends_with("before it"));
        assert!(hint("").ends_with("before it"));
    }

    #[test]
    fn people_read_the_words_with_the_class() {
        let source = Source::parse("memory: NEMA MG 1, 14.36: derate above 1 %").unwrap();
        assert_eq!(source.to_string(), "NEMA MG 1, 14.36: derate above 1 % [from memory]");
    }

    /// Two slips of the pen still name a class; the hint is the nearest one, with the list of all beside it.
    #[test]
    fn a_slip_is_understood_and_three_are_not() {
        let said = |text: &str| Source::parse(text).unwrap_err().to_string();
        for (text, hint) in [
            ("standart: IEC 60252-1", Some("standard")),
            ("stanard: IEC 60252-1", Some("standard")),
            ("fysics: Ohm", Some("physics")),
            ("fisics: Ohm", None),
            ("memories: a", None),
            ("Physics: Ohm", Some("physics")),
            ("own record: kept since 2019", Some("own records")),
            ("nameplate as entered", Some("nameplate")),
            ("IEC 60252-1, from memory", Some("memory")),
        ] {
            let want = hint.map(|class| format!("did you mean \"{class}:\"?"));
            let text_says = said(text);
            match want {
                Some(want) => assert!(text_says.ends_with(&want), "{text}: {text_says}"),
                None => assert!(text_says.ends_with("before it"), "{text}: {text_says}"),
            }
            let all = "standard:, nameplate:, physics:, common practice:, own records:, memory: before it";
            assert!(text_says.contains(&format!("write one of {all}")), "{text_says}");
        }
        let empty = Source::parse("physics: ");
        assert_eq!(empty, Err(SourceError::NoText(SourceClass::Physics)));
        assert_eq!(empty.unwrap_err().to_string(), "source \"physics:\" says nothing after its class");
    }

    #[test]
    fn of_two_classes_the_one_that_stands_later_is_the_weaker() {
        for (at, class) in SourceClass::ALL.into_iter().enumerate() {
            for (other_at, other) in SourceClass::ALL.into_iter().enumerate() {
                assert_eq!(class.weaker(other), SourceClass::ALL[at.max(other_at)]);
            }
        }
    }
}
