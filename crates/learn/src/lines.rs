//! Lines of text: whether the bytes are lines, and the pattern that follows from the observations. Works with fixed
//! columns; `tokens.rs` turns lines of varying width into such. `line_profile.rs` writes the profile.

use std::collections::BTreeMap;
use std::ops::Range;

use quantity::{Decimal, State, Unit};

use crate::text::{Text, Tokens, checked, cut, printable};
use crate::{Draft, Hypothesis, Observation, ProfileHeader};
use wire::ChecksumKind;
use wire::analysis::UnitSpec;
use wire::analysis::trim;
use wire::stream::Recording;

/// A part of the line, and its content.
pub(crate) enum Part {
    Literal(Vec<u8>),
    Value,
    Unit(BTreeMap<String, UnitSpec>),
    Mode(BTreeMap<String, UnitSpec>),
    Flags(BTreeMap<u8, &'static str>),
}

/// Lines, if the bytes are lines.
pub(crate) fn find(recording: &Recording) -> Option<Text> {
    let all = cut(recording);
    let (good, bad): (Vec<_>, Vec<_>) = all.into_iter().partition(|(_, line)| printable(line));
    let mut widths: BTreeMap<usize, usize> = BTreeMap::new();
    good.iter().for_each(|(_, line)| *widths.entry(line.len()).or_default() += 1);
    let (width, count) = widths.into_iter().max_by_key(|(_, count)| *count)?;
    if count < 4 || width < 3 || count * 10 < (good.len() + bad.len()) * 6 {
        return None;
    }
    let (mut lines, odd): (Vec<_>, Vec<_>) = good.into_iter().partition(|(_, line)| line.len() == width);
    let mut damaged = odd.len() + bad.len();
    let mut checksum = None;
    for (name, kind) in [("sum8", ChecksumKind::Sum8), ("xor8", ChecksumKind::Xor8)] {
        let intact = lines.iter().filter(|(_, line)| checked(line, kind).is_some()).count();
        if intact >= 4 && intact * 10 >= lines.len() * 6 {
            checksum = Some(name);
            damaged += lines.len() - intact;
            lines =
                lines.iter().filter_map(|(at, line)| Some((*at, checked(line, kind)?.to_vec()))).collect();
            break;
        }
    }
    let width = if checksum.is_some() { width - 3 } else { width };
    Some(Text { lines, width, checksum, damaged, tokens: None })
}

impl Text {
    pub(crate) fn hypothesis(&self) -> Hypothesis {
        let checksum =
            self.checksum.map_or_else(|| "no checksum".into(), |name| format!("checksum {name} behind a *"));
        let shape = self.tokens.as_ref().map_or_else(|| format!("of {} bytes", self.width), Tokens::words);
        Hypothesis {
            words: format!("lines of text {shape}, ended by CR or LF, {checksum}"),
            intact: self.lines.len(),
            damaged: self.damaged,
            distinctive: true,
        }
    }

    pub(crate) fn draft(&self, head: ProfileHeader<'_>, seen: &[Observation]) -> Draft {
        match self.parts(seen) {
            Ok(parts) => self.write(head, seen, &parts),
            Err(why) => Draft::Ask(why),
        }
    }

    /// All lines, without those that occurred once where most occurred more than once.
    fn undamaged(&self) -> Vec<&[u8]> {
        repeated(self.lines.iter().map(|(_, line)| line.as_slice()).collect())
    }

    fn during(&self, seen: &Observation) -> impl Iterator<Item = &[u8]> {
        let (from, to) = (seen.from, seen.to);
        self.lines.iter().filter(move |(at, _)| *at >= from && *at <= to).map(|(_, line)| line.as_slice())
    }

    /// The lines that show exactly this; for what is not a number, all lines without one.
    pub(crate) fn showing<'t>(&'t self, seen: &'t Observation, value: &Range<usize>) -> Vec<&'t [u8]> {
        let shows = |line: &&[u8]| match (seen.shown.state, text_of(line, value).map(parse)) {
            (State::Value(number), Some(found)) => found == Some(number),
            (State::Overload(_) | State::NoValue, Some(found)) => found.is_none(),
            (_, None) => false,
        };
        repeated(self.during(seen).filter(shows).collect())
    }

    /// Columns of the number: its position in every line that shows it, and the blanks and digits next to it.
    fn value(&self, seen: &[Observation]) -> Result<Range<usize>, String> {
        let mut place: Option<Range<usize>> = None;
        let mut lines: Vec<&[u8]> = Vec::new();
        for observation in seen {
            let Some(number) = observation.shown.number() else { continue };
            let places: Vec<(&[u8], Vec<Range<usize>>)> = repeated(self.during(observation).collect())
                .into_iter()
                .map(|line| (line, numbers(line, number)))
                .collect();
            let found: Vec<_> = places.iter().filter(|(_, places)| !places.is_empty()).collect();
            if found.len() < 2 || found.len() * 2 < places.len() {
                return Err(format!(
                    "{:?} stands in {} of {} lines of its time; hold the value steady and say all digits",
                    observation.shown.text(),
                    found.len(),
                    places.len()
                ));
            }
            for (line, places) in found {
                let [only] = places.as_slice() else {
                    return Err(
                        "the number shown stands in the line more than once; show another value".into()
                    );
                };
                lines.push(line);
                place = Some(match place {
                    None => only.clone(),
                    Some(p) if only.start < p.end && p.start < only.end => {
                        p.start.min(only.start)..p.end.max(only.end)
                    }
                    Some(_) => return Err("the numbers shown stand in different places of the line".into()),
                });
            }
        }
        let mut place = place.ok_or("only a number shows where the value stands; show one")?;
        if let Some(tokens) = &self.tokens {
            return tokens.column_of(&place, &lines);
        }
        // Blanks before the number belong to it, all but one: a longer number grows to the left.
        let all = self.undamaged();
        let blank =
            |at: usize| all.iter().all(|line| line.get(at).is_some_and(|b| b" +-0123456789.OL".contains(b)));
        while place.start > 1 && blank(place.start - 1) && blank(place.start - 2) {
            place.start -= 1;
        }
        let inside = |line: &&[u8]| text_of(line, &place).is_some_and(|text| parse(text).is_some());
        if lines.iter().all(inside) {
            Ok(place)
        } else {
            Err("the number has no fixed place in the line".into())
        }
    }

    fn parts(&self, seen: &[Observation]) -> Result<Vec<(Range<usize>, Part)>, String> {
        let value = self.value(seen)?;
        let windows: Vec<(&Observation, Vec<&[u8]>)> =
            seen.iter().map(|o| (o, self.showing(o, &value))).collect();
        if let Some((o, _)) = windows.iter().find(|(_, lines)| lines.len() < 2) {
            return Err(format!(
                "while the display showed {:?}, fewer than two lines came that say so",
                o.shown.text()
            ));
        }
        let mut parts = Vec::new();
        let mut at = 0;
        for field in self.segments(&value) {
            if at < field.start {
                parts.push((at..field.start, self.literal(at..field.start, &windows)?));
            }
            at = field.end;
            let part = if field == value { Part::Value } else { part(&field, &windows, self)? };
            parts.push((field, part));
        }
        if at < self.width {
            parts.push((at..self.width, self.literal(at..self.width, &windows)?));
        }
        keep_one_unit(&mut parts, &windows)?;
        Ok(parts)
    }

    /// Columns that do not hold the same blank or mark in every line, in runs, and the value's own.
    fn segments(&self, value: &Range<usize>) -> Vec<Range<usize>> {
        if let Some(tokens) = &self.tokens {
            return tokens.columns.clone();
        }
        let all = self.undamaged();
        let mut found: Vec<Range<usize>> = Vec::new();
        for at in 0..self.width {
            if at == value.start {
                found.push(value.clone());
            }
            // A mark between two fields is no part of either.
            let mark = all
                .first()
                .and_then(|line| line.get(at))
                .filter(|b| !b.is_ascii_alphanumeric() && b.is_ascii());
            let blank = mark.is_some() && all.iter().all(|line| line.get(at) == mark);
            if value.contains(&at) || blank {
                continue;
            }
            match found.last_mut() {
                Some(last) if last.end == at && last != value => last.end += 1,
                _ => found.push(at..at + 1),
            }
        }
        found
    }

    fn literal(&self, place: Range<usize>, windows: &[(&Observation, Vec<&[u8]>)]) -> Result<Part, String> {
        let mut lines = windows.iter().flat_map(|(_, lines)| lines);
        let first = lines.next().and_then(|line| line.get(place.clone())).unwrap_or_default();
        if lines.all(|line| line.get(place.clone()) == Some(first)) {
            Ok(Part::Literal(first.to_vec()))
        } else {
            Err(format!("bytes {} to {} change in a way that was not shown", place.start, place.end - 1))
        }
    }
}

/// Without the lines that occurred once, if more than half occurred more than once: those may be damaged.
fn repeated(lines: Vec<&[u8]>) -> Vec<&[u8]> {
    let mut times: BTreeMap<&[u8], usize> = BTreeMap::new();
    lines.iter().for_each(|line| *times.entry(line).or_default() += 1);
    let often: Vec<&[u8]> =
        lines.iter().copied().filter(|line| times.get(line).is_some_and(|n| *n > 1)).collect();
    if often.len() * 2 > lines.len() { often } else { lines }
}

/// What is in a run of columns next to the value.
fn part(place: &Range<usize>, windows: &[(&Observation, Vec<&[u8]>)], text: &Text) -> Result<Part, String> {
    let mut words: BTreeMap<String, UnitSpec> = BTreeMap::new();
    let (mut steady, mut one_meaning) = (true, true);
    for (seen, lines) in windows {
        let mut here: Vec<&[u8]> = lines.iter().filter_map(|line| text_of(line, place)).collect();
        here.dedup();
        steady &= here.len() == 1;
        let (Some(word), Some(unit)) = (here.first(), seen.shown.unit) else { continue };
        let word: String = word.iter().map(|b| char::from(*b)).collect();
        let known = words.entry(word).or_insert(unit);
        one_meaning &= known.unit == unit.unit;
        if known.coupling != unit.coupling {
            // One word for ac and dc: another place must tell them apart.
            known.coupling = None;
        }
    }
    let same_kind = |a: &UnitSpec, b: &UnitSpec| a.unit.kind() == b.unit.kind() && a.coupling == b.coupling;
    let named = words.iter().all(|(word, unit)| looks_like(word, *unit));
    if steady && one_meaning && named && !words.is_empty() {
        return Ok(Part::Unit(words));
    }
    let told = |seen: &&Observation| seen.shown.flags != quantity::Flags::default();
    let flags = windows.iter().map(|(seen, _)| *seen).any(|seen| told(&seen));
    let varies = windows.iter().flat_map(|(_, lines)| lines).filter_map(|line| text_of(line, place));
    let mut all: Vec<&[u8]> = varies.collect();
    all.sort_unstable();
    all.dedup();
    if all.len() == 1 {
        // The same in every line observed: required literally.
        return text.literal(place.clone(), windows);
    }
    if let Some(letters) = letters(place, windows).filter(|_| flags || !steady) {
        return Ok(Part::Flags(letters));
    }
    let mut by_word: BTreeMap<String, UnitSpec> = BTreeMap::new();
    for (seen, lines) in windows {
        let (Some(word), Some(unit)) = (lines.first().and_then(|line| text_of(line, place)), seen.shown.unit)
        else {
            continue;
        };
        let word: String = word.iter().map(|b| char::from(*b)).collect();
        if by_word.insert(word, unit).is_some_and(|known| !same_kind(&known, &unit)) {
            return Err(format!("bytes {} to {} do not follow what was shown", place.start, place.end - 1));
        }
    }
    if steady && by_word.len() > 1 {
        return Ok(Part::Mode(by_word));
    }
    Err(format!(
        "bytes {} to {} change in a way that was not shown; show what changes (hold, function, range), one at a time",
        place.start,
        place.end - 1
    ))
}

/// Letters that come and go with what was displayed; letters seen outside the observations mean nothing.
fn letters(
    place: &Range<usize>,
    windows: &[(&Observation, Vec<&[u8]>)],
) -> Option<BTreeMap<u8, &'static str>> {
    let mut found: BTreeMap<u8, &'static str> = BTreeMap::new();
    let letters = |lines: &[&[u8]]| -> Vec<u8> {
        let mut all: Vec<u8> = lines
            .iter()
            .filter_map(|line| line.get(place.clone()))
            .flatten()
            .copied()
            .filter(|b| *b != b' ')
            .collect();
        all.sort_unstable();
        all.dedup();
        all
    };
    for (seen, lines) in windows {
        if seen.shown.flags == quantity::Flags::default() {
            for letter in letters(lines) {
                found.insert(letter, "ignore");
            }
        }
    }
    for (seen, lines) in windows {
        let f = seen.shown.flags;
        let told = [
            (f.hold, "hold"),
            (f.low_battery, "low_battery"),
            (f.relative, "relative"),
            (f.min_max, "min_max"),
        ];
        let told: Vec<&'static str> = told.iter().filter(|(set, _)| *set).map(|(_, name)| *name).collect();
        let new: Vec<u8> = letters(lines).into_iter().filter(|l| found.get(l) != Some(&"ignore")).collect();
        match (told.as_slice(), new.as_slice()) {
            ([], []) => {}
            ([flag], [letter]) => {
                if found.insert(*letter, flag).is_some_and(|known| known != *flag) {
                    return None;
                }
            }
            _ => return None,
        }
    }
    (found.len() <= 12).then_some(found)
}

/// One unit field, and modes next to it only if units do not say everything.
fn keep_one_unit(
    parts: &mut [(Range<usize>, Part)],
    windows: &[(&Observation, Vec<&[u8]>)],
) -> Result<(), String> {
    let count = |wanted: fn(&Part) -> bool, parts: &[(Range<usize>, Part)]| {
        parts.iter().filter(|(_, p)| wanted(p)).count()
    };
    let units = count(|p| matches!(p, Part::Unit(_)), parts);
    let modes = count(|p| matches!(p, Part::Mode(_)), parts);
    let flags = count(|p| matches!(p, Part::Flags(_)), parts);
    if units > 1 || modes > 1 || flags > 1 {
        return Err(
            "more than one place of the line follows what was shown; show another function or unit".into()
        );
    }
    let mut shown: Vec<UnitSpec> = Vec::new();
    for unit in windows.iter().filter_map(|(seen, _)| seen.shown.unit) {
        if !shown.contains(&unit) {
            shown.push(unit);
        }
    }
    match (units, modes, shown.len()) {
        (0, 0, 2..) => Err("no place of the line follows the unit that was shown".into()),
        (0, 1, _) => {
            // The only word that follows the function says the unit too.
            for (_, part) in parts.iter_mut() {
                if let Part::Mode(words) = part {
                    if words.len() < shown.len() {
                        return Err("one word stands for several units; this shape is not known".into());
                    }
                    *part = Part::Unit(std::mem::take(words));
                }
            }
            Ok(())
        }
        _ => Ok(()),
    }
}

pub(crate) fn kind_of(unit: UnitSpec) -> String {
    let kind = unit.unit.kind().name();
    unit.coupling.map_or_else(|| kind.into(), |coupling| format!("{kind} {coupling}"))
}

/// True if a device's word names the unit, whatever the coupling.
fn looks_like(word: &str, unit: UnitSpec) -> bool {
    let (head, _) = quantity::Coupling::strip_from(word);
    [word, head].iter().any(|text| Unit::parse(text).is_ok_and(|known| known == unit.unit))
}

pub(crate) fn text_of<'l>(line: &'l [u8], place: &Range<usize>) -> Option<&'l [u8]> {
    line.get(place.clone()).map(trim)
}

fn parse(text: &[u8]) -> Option<Decimal> {
    Decimal::parse(std::str::from_utf8(text).ok()?).ok()
}

/// Where exactly this number is in a line, with its sign.
fn numbers(line: &[u8], number: Decimal) -> Vec<Range<usize>> {
    let part = |b: &u8| b.is_ascii_digit() || b"+-.".contains(b);
    let mut found = Vec::new();
    let mut at = 0;
    while at < line.len() {
        let rest = line.get(at..).unwrap_or_default();
        let len = rest.iter().take_while(|b| part(b)).count();
        if rest.get(..len).and_then(parse) == Some(number) {
            found.push(at..at + len);
        }
        at += len.max(1);
    }
    found
}
