//! The profile's text for lines: the pattern and its tables. Does not work out what is where; `lines.rs` does.

use std::ops::Range;

use quantity::State;

use crate::draft::{opening, quoted};
use crate::lines::{Part, kind_of, text_of};
use crate::text::{Text, Tokens};
use crate::{Draft, Observation, ProfileHeader};
use wire::analysis::trim;

impl Text {
    pub(crate) fn write(
        &self,
        head: ProfileHeader<'_>,
        seen: &[Observation],
        parts: &[(Range<usize>, Part)],
    ) -> Draft {
        let agree = match (self.checksum.is_some(), self.tokens.is_some()) {
            (true, false) => "",
            (true, true) => "agree = 2                       # the width does not refuse a lost digit\n",
            (false, false) => {
                "agree = 2                       # no checksum: two lines must bear a reading out\n"
            }
            (false, true) => {
                "agree = 3                       # no checksum, no width: three lines must bear a reading out\n"
            }
        };
        let mut toml = opening(head, agree, seen);
        toml.push_str(&format!(
            "[frame]                         # {} lines bear it out, {} do not\nkind = \"line\"\n",
            self.lines.len(),
            self.damaged
        ));
        if let Some(checksum) = self.checksum {
            toml.push_str(&format!("check = \"{checksum}\"\n"));
        }
        let (mut pattern, mut tables) = (String::new(), String::new());
        for (place, part) in parts {
            let Some(width) = self.width_of(place, &mut pattern) else { continue };
            pattern.push_str(&self.piece(part, &width));
            tables.push_str(&table(part));
        }
        toml.push_str(&format!(
            "\n[decode]\nkind = \"pattern\"\nencoding = \"latin1\"\n{}pattern = {}\n",
            self.tokens.as_ref().map_or("", Tokens::setting),
            quoted(&pattern)
        ));
        toml.push_str(&self.words(seen, parts));
        if !parts.iter().any(|(_, part)| matches!(part, Part::Unit(_))) {
            let unit = seen.iter().find_map(|o| o.shown.unit).map(|u| format!("{u}")).unwrap_or_default();
            tables.push_str(&format!(
                "\n[decode.fixed_units]            # no unit is sent\n0 = {}\n",
                quoted(&unit)
            ));
        }
        toml.push_str(&tables);
        Draft::Made { toml, remarks: vec!["words, letters and units that were not shown are refused".into()] }
    }

    /// How a field writes its width: not at all for tokens, which get their mark instead. `None`: the mark between
    /// two.
    fn width_of(&self, place: &Range<usize>, pattern: &mut String) -> Option<String> {
        let Some(tokens) = &self.tokens else { return Some(format!(":{}", place.len())) };
        if !tokens.columns.contains(place) {
            return None;
        }
        if !pattern.is_empty() {
            pattern.push_str(tokens.mark());
        }
        Some(String::new())
    }

    fn piece(&self, part: &Part, width: &str) -> String {
        match part {
            Part::Literal(bytes) if self.tokens.is_some() && trim(bytes).is_empty() => "{skip}".into(),
            Part::Literal(bytes) => {
                let bytes = if self.tokens.is_some() { trim(bytes) } else { bytes };
                let text: String = bytes.iter().map(|b| char::from(*b)).collect();
                text.replace('{', "{{").replace('}', "}}")
            }
            Part::Value => format!("{{value{width}}}"),
            Part::Unit(_) => format!("{{unit{width}}}"),
            Part::Mode(_) => format!("{{mode{width}}}"),
            Part::Flags(_) => format!("{{flags{width}}}"),
        }
    }

    /// The words for overload and no value, as observed.
    fn words(&self, seen: &[Observation], parts: &[(Range<usize>, Part)]) -> String {
        let value =
            parts.iter().find(|(_, part)| matches!(part, Part::Value)).map(|(place, _)| place.clone());
        let Some(value) = value else { return String::new() };
        let mut text = String::new();
        for (key, is) in [("overload", true), ("no_value", false)] {
            let mut words: Vec<String> = Vec::new();
            for o in seen {
                let wanted = match o.shown.state {
                    State::Value(_) => continue,
                    State::Overload(_) => is,
                    State::NoValue => !is,
                };
                let lines = self.showing(o, &value);
                for word in lines.iter().filter_map(|line| text_of(line, &value)).filter(|_| wanted) {
                    let word = quoted(&word.iter().map(|b| char::from(*b)).collect::<String>());
                    if !words.contains(&word) {
                        words.push(word);
                    }
                }
            }
            if !words.is_empty() {
                text.push_str(&format!("{key} = [{}]\n", words.join(", ")));
            }
        }
        text
    }
}

/// The table of words for a field.
fn table(part: &Part) -> String {
    let (mut text, rows): (String, Vec<(String, String)>) = match part {
        Part::Literal(_) | Part::Value => return String::new(),
        Part::Unit(words) => (
            "\n[decode.units]                  # as far as seen\n".into(),
            words.iter().map(|(word, unit)| (word.clone(), format!("{unit}"))).collect(),
        ),
        Part::Mode(words) => (
            "\n[decode.modes]                  # as far as seen\n".into(),
            words.iter().map(|(word, unit)| (word.clone(), kind_of(*unit))).collect(),
        ),
        Part::Flags(letters) => (
            "\n[decode.flags]                  # an unknown letter refuses the line\n".into(),
            letters
                .iter()
                .map(|(letter, flag)| (String::from(char::from(*letter)), (*flag).into()))
                .collect(),
        ),
    };
    for (word, meaning) in rows {
        text.push_str(&format!("{} = {}\n", quoted(&word), quoted(&meaning)));
    }
    text
}
