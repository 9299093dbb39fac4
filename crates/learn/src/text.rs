//! Lines of text in a recording: how they are cut, with or without a checksum, and how their tokens are laid out.
//! Does not decide whether the bytes are lines, or what they mean.

use std::ops::Range;

use quantity::Instant;

use wire::ChecksumKind;
use wire::analysis::trim;
use wire::stream::Recording;

/// Lines of one width, found in a recording.
pub(crate) struct Text {
    /// Whole lines of the usual width, without their checksum, with the times of their ends.
    pub(crate) lines: Vec<(Instant, Vec<u8>)>,
    pub(crate) width: usize,
    pub(crate) checksum: Option<&'static str>,
    pub(crate) damaged: usize,
    /// The lines are tokens, laid out in columns.
    pub(crate) tokens: Option<Tokens>,
}

/// How lines consist of tokens.
pub(crate) struct Tokens {
    /// The separator between them; `None`: blanks.
    pub(crate) separator: Option<u8>,
    /// The column of each, in the laid-out line.
    pub(crate) columns: Vec<Range<usize>>,
}

impl Tokens {
    /// The shape, for people.
    pub(crate) fn words(&self) -> String {
        let between = self.separator.map_or("blanks".into(), |mark| format!("{:?}", char::from(mark)));
        format!("of changing width, {} tokens between {between}", self.columns.len())
    }

    /// The separator between tokens in the profile's pattern.
    pub(crate) fn mark(&self) -> &'static str {
        match self.separator {
            Some(b',') => ",",
            Some(b';') => ";",
            Some(b'|') => "|",
            Some(_) => "\t",
            None => " ",
        }
    }

    /// The profile's line that says how lines are split.
    pub(crate) fn setting(&self) -> &'static str {
        match self.separator {
            Some(b',') => "separator = \",\"\n",
            Some(b';') => "separator = \";\"\n",
            Some(b'|') => "separator = \"|\"\n",
            Some(_) => "separator = \"\\t\"\n",
            None => "loose = true                    # tokens between blanks; weaker than fixed places\n",
        }
    }

    /// The column of the numbers found at `place`, if each is a token of its own.
    pub(crate) fn column_of(&self, place: &Range<usize>, lines: &[&[u8]]) -> Result<Range<usize>, String> {
        let holds = |column: &&Range<usize>| column.start <= place.start && place.end <= column.end;
        let column = self.columns.iter().find(holds).ok_or("the numbers shown stand in different places")?;
        let alone = |line: &&[u8]| {
            line.get(column.clone())
                .map(trim)
                .and_then(|text| quantity::Decimal::parse(std::str::from_utf8(text).ok()?).ok())
                .is_some()
        };
        if lines.iter().all(alone) {
            Ok(column.clone())
        } else {
            Err("number and unit stand together without a blank; a profile for such lines of changing width is \
                 written by hand"
                .into())
        }
    }
}

/// Whether a line contains no control characters.
pub(crate) fn printable(line: &[u8]) -> bool {
    line.iter().all(|b| (0x20..0x7F).contains(b) || *b >= 0x80)
}

/// Printable lines of any length: five in six lines, and nearly all bytes in them.
pub(crate) fn changing_width(recording: &Recording) -> bool {
    let all = cut(recording);
    let text = |line: &[u8]| line.iter().all(|b| (0x20..0x7F).contains(b));
    let good = || all.iter().filter(|(_, line)| text(line));
    // With CR and LF.
    let bytes: usize = good().map(|(_, line)| line.len() + 2).sum();
    all.len() >= 4 && good().count() * 6 >= all.len() * 5 && bytes * 10 >= recording.len() * 8
}

/// The line without its checksum, if that matches.
pub(crate) fn checked(line: &[u8], kind: ChecksumKind) -> Option<&[u8]> {
    let (body, tail) = line.split_at_checked(line.len().checked_sub(3)?)?;
    let digits = tail.strip_prefix(b"*")?;
    let stored = u8::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()?;
    kind.holds(body, &[stored]).then_some(body)
}

/// Whole lines; the first of a run began before the recording did.
pub(crate) fn cut(recording: &Recording) -> Vec<(Instant, Vec<u8>)> {
    let (mut found, mut line, mut whole) = (Vec::new(), Vec::new(), false);
    for (at, bytes) in recording.chunks() {
        let Some(bytes) = bytes else {
            line.clear();
            whole = false;
            continue;
        };
        for byte in bytes {
            if matches!(byte, b'\r' | b'\n') {
                if whole && !line.is_empty() {
                    found.push((at, std::mem::take(&mut line)));
                }
                line.clear();
                whole = true;
            } else if line.len() <= wire::analysis::LINE_BYTES_MAX {
                line.push(*byte);
            }
        }
    }
    found
}
