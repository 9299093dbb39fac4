//! Access to parsed TOML that keeps positions: every key and value knows its line. Does not know what the keys mean.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;
use core::fmt::Display;
use core::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::LoadResult;
use crate::error::{ProfileError, suggest};

/// A value of the file with its position.
#[derive(Clone, Copy)]
pub(super) struct Node<'t> {
    text: &'t str,
    value: &'t Spanned<DeValue<'t>>,
}

/// A table of the file. Keys are borrowed; [`Table::only`] rejects unknown ones.
#[derive(Clone)]
pub(super) struct Table<'t> {
    text: &'t str,
    span: Range<usize>,
    name: String,
    entries: &'t DeTable<'t>,
}

/// One `key = value`.
pub(super) struct Entry<'t> {
    pub(super) key: &'t str,
    pub(super) value: Node<'t>,
    text: &'t str,
    span: Range<usize>,
}

impl<'t> Entry<'t> {
    /// An error at the key.
    pub(super) fn error(&self, message: impl Display) -> ProfileError {
        ProfileError::at(self.text, &self.span, format!("{message}"))
    }
}

impl<'t> Table<'t> {
    pub(super) fn root(text: &'t str, root: &'t Spanned<DeTable<'t>>) -> Self {
        Self { text, span: 0..0, name: String::from("the profile"), entries: root.get_ref() }
    }

    /// An error at the head of the table.
    pub(super) fn error(&self, message: impl Display) -> ProfileError {
        ProfileError::at(self.text, &self.span, format!("{message}"))
    }

    /// Every entry, in the order of the file.
    pub(super) fn entries(&self) -> Vec<Entry<'t>> {
        let mut all: Vec<Entry<'t>> = self
            .entries
            .iter()
            .map(|(key, value)| Entry {
                key: key.get_ref().as_ref(),
                value: Node { text: self.text, value },
                text: self.text,
                span: key.span(),
            })
            .collect();
        all.sort_by_key(|entry| entry.span.start);
        all
    }

    /// Rejects every key that is not in `known`; the error names the first in the file, with the nearest known key.
    pub(super) fn only(&self, known: &[&str]) -> LoadResult<()> {
        match self.entries().iter().find(|entry| !known.contains(&entry.key)) {
            None => Ok(()),
            Some(entry) => Err(entry.error(format_args!(
                "unknown key {:?} in {}; {}",
                entry.key,
                self.name,
                suggest(entry.key, known)
            ))),
        }
    }

    pub(super) fn find(&self, key: &str) -> Option<Node<'t>> {
        self.entries.get(key).map(|value| Node { text: self.text, value })
    }

    /// The value of `key`, which is required; the error shows `example`.
    pub(super) fn need(&self, key: &str, example: &str) -> LoadResult<Node<'t>> {
        self.find(key).ok_or_else(|| {
            self.error(format_args!("{} has no {key:?}; add one, for example: {example}", self.name))
        })
    }

    /// A flag, `false` if absent.
    pub(super) fn switch(&self, key: &str) -> LoadResult<bool> {
        self.find(key).map_or(Ok(false), |node| match node.value.get_ref() {
            DeValue::Boolean(b) => Ok(*b),
            _ => Err(node.error("must be true or false")),
        })
    }

    /// The sub-table of `key`, if present.
    pub(super) fn table(&self, key: &str) -> LoadResult<Option<Self>> {
        self.find(key).map(|node| node.table(key)).transpose()
    }
}

impl<'t> Node<'t> {
    /// An error at the value.
    pub(super) fn error(self, message: impl Display) -> ProfileError {
        ProfileError::at(self.text, &self.value.span(), format!("{message}"))
    }

    fn wrong_type(self, wanted: &str) -> ProfileError {
        self.error(format_args!("this is a {}; write {wanted}", self.value.get_ref().type_str()))
    }

    pub(super) fn is_table(self) -> bool {
        self.value.get_ref().is_table()
    }

    pub(super) fn str(self) -> LoadResult<&'t str> {
        self.value.get_ref().as_str().ok_or_else(|| self.wrong_type("a text in quotes"))
    }

    /// Lines of the file before the first of a text between `'''` and `'''`; `None` for any other form of text.
    pub(super) fn lines_before_text(self) -> Option<usize> {
        let span = self.value.span();
        let raw = self.text.get(span.clone())?.strip_prefix("'''")?;
        let begins_below = raw.starts_with('\n') || raw.starts_with("\r\n");
        let before = self.text.get(..span.start)?.matches('\n').count();
        begins_below.then_some(before + 1)
    }

    /// A whole number within `range`.
    pub(super) fn int(self, range: core::ops::RangeInclusive<i64>) -> LoadResult<i64> {
        let DeValue::Integer(digits) = self.value.get_ref() else {
            return Err(self.wrong_type("a whole number"));
        };
        i64::from_str_radix(digits.as_str(), digits.radix()).ok().filter(|n| range.contains(n)).ok_or_else(
            || self.error(format_args!("must be a whole number from {} to {}", range.start(), range.end())),
        )
    }

    /// A time in seconds, above zero and at most an hour.
    pub(super) fn seconds(self) -> LoadResult<f64> {
        let seconds = match self.value.get_ref() {
            DeValue::Float(digits) => digits.as_str().replace('_', "").parse().ok(),
            DeValue::Integer(digits) if digits.radix() == 10 => digits.as_str().replace('_', "").parse().ok(),
            _ => return Err(self.wrong_type("seconds, for example 0.5")),
        };
        seconds
            .filter(|seconds: &f64| *seconds > 0.0 && *seconds <= 3_600.0)
            .ok_or_else(|| self.error("must be seconds above 0 and up to 3600"))
    }

    /// A byte count or offset up to `max`.
    pub(super) fn size(self, min: usize, max: usize) -> LoadResult<usize> {
        let bound = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
        let n = self.int(bound(min)..=bound(max))?;
        usize::try_from(n).map_err(|_| self.error("must not be negative"))
    }

    pub(super) fn table(self, name: &str) -> LoadResult<Table<'t>> {
        match self.value.get_ref() {
            DeValue::Table(entries) => {
                Ok(Table { text: self.text, span: self.value.span(), name: format!("[{name}]"), entries })
            }
            _ => Err(self.wrong_type("a table")),
        }
    }

    pub(super) fn list(self) -> LoadResult<Vec<Self>> {
        match self.value.get_ref() {
            DeValue::Array(items) => Ok(items.iter().map(|value| Node { text: self.text, value }).collect()),
            _ => Err(self.wrong_type("a list in [ ]")),
        }
    }

    /// Every table of a `[[name]]` list.
    pub(super) fn tables(self, name: &str) -> LoadResult<Vec<Table<'t>>> {
        self.list()?.into_iter().map(|node| node.table(name)).collect()
    }

    /// One of a set of words.
    pub(super) fn word<T: Copy>(self, words: &[(&str, T)]) -> LoadResult<T> {
        let given = self.str()?;
        words.iter().find(|(word, _)| *word == given).map(|(_, value)| *value).ok_or_else(|| {
            let known: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
            self.error(format_args!("{given:?} is not known here; {}", suggest(given, &known)))
        })
    }
}
