//! Displays sent as segment bits: finds the segments of each digit, the minus, the flags, and which annunciators go
//! with which unit and decimals, from numbers that a person read. Does not guess: a segment is known if exactly one
//! bit follows it through all numbers, and an unseen set of annunciators has no row.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use quantity::{Flags, Instant, Sign, State};

use crate::draft::{opening, quoted};
use crate::{Draft, Hypothesis, Observation, ProfileHeader};
use wire::analysis::UnitSpec;
use wire::analysis::{DIGITS_MAX, GLYPHS, Glyph, SEGMENTS};
use wire::analysis::{FrameEvent, FrameSplitter};
use wire::stream::Recording;

/// A recording of a display whose bytes carry their index.
pub(crate) struct Display {
    length: usize,
    frames: Vec<(Instant, Vec<u8>)>,
    damaged: usize,
}

/// A bit, counted through the data halves of all bytes.
type Place = usize;

/// A displayed text, and the bits that were lit meanwhile.
struct Seen<'s> {
    observation: &'s Observation,
    lit: BTreeSet<Place>,
}

/// Which of several forms a display uses for a digit.
type Forms = BTreeMap<u8, u8>;

/// Bits of the digits, from the right; a narrow one has only b and c.
type Digits = Vec<[Option<Place>; 7]>;

pub(crate) fn find(recording: &Recording) -> Option<Display> {
    let (length, _) = crate::binary::counts_places(recording)?;
    let mut cutter = FrameSplitter::indexed(length);
    let (mut frames, mut damaged) = (Vec::new(), 0);
    for (at, bytes) in recording.chunks() {
        let mut take = |piece: FrameEvent<'_>| match piece {
            FrameEvent::Frame { frame, .. } => frames.push((at, frame.to_vec())),
            FrameEvent::Dropped(_) => damaged += 1,
        };
        match bytes {
            Some(bytes) => cutter.push(bytes, &mut take),
            None => cutter.gap(&mut take),
        }
    }
    (frames.len() >= 4).then_some(Display { length, frames, damaged })
}

impl Display {
    pub(crate) fn hypothesis(&self) -> Hypothesis {
        Hypothesis {
            words: format!(
                "{} bytes that count their own place in their high half: the lit segments of a display",
                self.length
            ),
            intact: self.frames.len(),
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

    fn parts(&self, seen: &[Observation]) -> Result<Parts, String> {
        let all = seen.iter().map(|observation| self.seen(observation)).collect::<Result<Vec<_>, _>>()?;
        let digits = digits(&all)?;
        let taken: BTreeSet<Place> = digits.iter().flatten().flatten().copied().collect();
        let minus = follows(&all, &taken, "minus", |seen| match seen.observation.shown.state {
            State::Value(number) => Some(number.mantissa() < 0),
            State::Overload(sign) => Some(sign == Sign::Negative),
            State::NoValue => None,
        })?;
        let mut flags = Vec::new();
        for (name, is) in FLAGS {
            let bit = follows(&all, &taken, name, |seen| Some(is(seen.observation.shown.flags)))?;
            flags.extend(bit.map(|bit| (name, bit)));
        }
        let not_signs: BTreeSet<Place> =
            taken.iter().copied().chain(minus).chain(flags.iter().map(|(_, bit)| *bit)).collect();
        Ok(Parts { rows: rows(&all, &not_signs)?, digits, minus, flags })
    }

    /// The most frequent frame while this was displayed.
    fn seen<'s>(&self, observation: &'s Observation) -> Result<Seen<'s>, String> {
        let mut times: BTreeMap<&[u8], usize> = BTreeMap::new();
        let during = self.frames.iter().filter(|(at, _)| *at >= observation.from && *at <= observation.to);
        let mut count = 0;
        for (_, frame) in during {
            *times.entry(frame).or_default() += 1;
            count += 1;
        }
        let most = times.into_iter().max_by_key(|(_, times)| *times);
        let Some((frame, _)) = most.filter(|(_, times)| *times >= 2 && *times * 2 >= count) else {
            return Err(format!(
                "no frame came again and again while the display showed {:?}; hold the value steady",
                observation.shown.text()
            ));
        };
        let bits = frame.iter().enumerate().flat_map(|(at, byte)| {
            (0..4).filter(move |bit| byte >> bit & 1 == 1).map(move |bit| at * 4 + bit)
        });
        Ok(Seen { observation, lit: bits.collect() })
    }

    fn write(&self, head: ProfileHeader<'_>, seen: &[Observation], parts: &Parts) -> Draft {
        let agree = "agree = 2                       # no checksum: two frames must bear a reading out\n";
        let mut toml = opening(head, agree, seen);
        toml.push_str(&format!(
            "[frame]                         # {} frames bear it out, {} drops\nkind = \"indexed\"\nlength = {}\n\n\
             [decode]                        # byte.bit, both counted from 0\nkind = \"segments\"\ndigits = [\n",
            self.frames.len(),
            self.damaged,
            self.length
        ));
        for digit in parts.digits.iter().rev() {
            let segments: Vec<String> = SEGMENTS
                .iter()
                .zip(digit)
                .filter_map(|(name, bit)| bit.map(|bit| format!("{name} = {}", written(bit))))
                .collect();
            toml.push_str(&format!("    {{ {} }},\n", segments.join(", ")));
        }
        toml.push_str("]\n");
        if let Some(minus) = parts.minus {
            toml.push_str(&format!("minus = {}\n", written(minus)));
        }
        toml.push_str("# Every other sign, as far as seen: which stand together, and the decimals of the number beside them.\nfunctions = [\n");
        for (lit, (unit, decimals)) in &parts.rows {
            let decimals = decimals.map_or(String::new(), |decimals| format!("decimals = {decimals}, "));
            let lit: Vec<String> = lit.iter().map(|bit| written(*bit)).collect();
            toml.push_str(&format!(
                "    {{ unit = {}, {decimals}lit = [{}] }},\n",
                quoted(&format!("{unit}")),
                lit.join(", ")
            ));
        }
        toml.push_str("]\n");
        if !parts.flags.is_empty() {
            toml.push_str("\n[decode.flags]\n");
            for (name, bit) in &parts.flags {
                toml.push_str(&format!("{name} = {}\n", written(*bit)));
            }
        }
        Draft::Made {
            toml,
            remarks: vec![
                "functions, ranges and signs that were not shown are refused, and so is a digit further to the left than any \
                 that was"
                    .into()
            ],
        }
    }
}

/// The meaning of the bits.
struct Parts {
    digits: Digits,
    minus: Option<Place>,
    flags: Vec<(&'static str, Place)>,
    rows: Rows,
}

/// Sets of annunciators, each with its unit and decimals; without decimals if it was only seen with something that is
/// not a number.
type Rows = BTreeMap<BTreeSet<Place>, (UnitSpec, Option<u8>)>;

/// A flag by its name in profiles.
type FlagWord = (&'static str, fn(Flags) -> bool);

const FLAGS: [FlagWord; 4] = [
    ("hold", |flags| flags.hold),
    ("low_battery", |flags| flags.low_battery),
    ("relative", |flags| flags.relative),
    ("min_max", |flags| flags.min_max),
];

fn written(bit: Place) -> String {
    format!("\"{}.{}\"", bit / 4, bit % 4)
}

/// The digits of a number, from the right.
fn figures(observation: &Observation) -> Option<Vec<u8>> {
    let text = format!("{}", observation.shown.number()?);
    let digits: Vec<u8> = text.bytes().filter(u8::is_ascii_digit).map(|b| b - b'0').rev().collect();
    (digits.len() <= DIGITS_MAX).then_some(digits)
}

/// The segments of all digits, if exactly one bit follows each of them through all numbers.
fn digits(all: &[Seen<'_>]) -> Result<Digits, String> {
    let numbers: Vec<(&Seen<'_>, Vec<u8>)> =
        all.iter().filter_map(|seen| Some((seen, figures(seen.observation)?))).collect();
    let width = numbers.iter().map(|(_, figures)| figures.len()).max();
    let width = width.ok_or("only numbers show where the digits are; show some")?;
    let mut found: Vec<Digits> = Vec::new();
    let mut why = None;
    for forms in forms() {
        let candidates =
            (0..width).map(|digit| segments(&numbers, digit, &forms)).collect::<Result<Vec<_>, _>>();
        match candidates.and_then(settled) {
            Ok(digits) if !found.contains(&digits) => found.push(digits),
            Ok(_) => {}
            // A segment that is merely not distinguished yet is closer to a solution than one that no bit follows.
            Err(unclear) => why = Some(why.map_or(unclear, |known: Unclear| known.max(unclear))),
        }
    }
    let mut only = found.into_iter();
    match (only.next(), only.next(), why) {
        (Some(digits), None, _) => Ok(digits),
        (Some(_), Some(_), _) => {
            Err("6, 7 or 9 can be drawn in two ways here; show numbers with more of them".into())
        }
        (None, _, why) => Err(why.unwrap_or(Unclear::Follows(0)).words(&numbers)),
    }
}

/// Bits that have followed the segments of a digit so far; none for a segment that the digit does not have.
type Candidates = [Option<Vec<Place>>; 7];

/// Each segment has a bit of its own: one with a single candidate removes it from all others, repeatedly.
fn settled(mut all: Vec<Candidates>) -> Result<Digits, Unclear> {
    let mut taken: BTreeSet<Place> = BTreeSet::new();
    loop {
        let before = taken.len();
        for (digit, segments) in all.iter_mut().enumerate() {
            // The two of a narrow digit are alike, and each takes one.
            let narrow = segments.iter().flatten().count() == 2;
            for candidates in segments.iter_mut().flatten() {
                if candidates.len() > 1 {
                    candidates.retain(|bit| !taken.contains(bit));
                }
                match candidates.as_slice() {
                    [] => return Err(Unclear::Follows(digit)),
                    [bit] => drop(taken.insert(*bit)),
                    [first, _] if narrow => {
                        let first = *first;
                        taken.insert(first);
                        candidates.truncate(1);
                    }
                    _ => {}
                }
            }
        }
        if taken.len() == before {
            break;
        }
    }
    let one = |digit: usize, candidates: &Option<Vec<Place>>| match candidates.as_deref() {
        None => Ok(None),
        Some([bit]) => Ok(Some(*bit)),
        Some(_) => Err(Unclear::Many(digit)),
    };
    let mut digits = Digits::new();
    for (digit, segments) in all.iter().enumerate() {
        let mut bits = [None; 7];
        for (bit, candidates) in bits.iter_mut().zip(segments) {
            *bit = one(digit, candidates)?;
        }
        digits.push(bits);
    }
    let wanted = digits.iter().flatten().flatten().count();
    // Two segments that took the same bit at once.
    if taken.len() == wanted { Ok(digits) } else { Err(Unclear::Many(0)) }
}

/// Why the segments of a digit, counted from the right, are unknown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Unclear {
    /// No bit follows it.
    Follows(usize),
    /// More than one does.
    Many(usize),
}

impl Unclear {
    fn words(self, numbers: &[(&Seen<'_>, Vec<u8>)]) -> String {
        let (Self::Follows(digit) | Self::Many(digit)) = self;
        let has_shown = |figure: &u8| numbers.iter().any(|(_, figures)| figures.get(digit) == Some(figure));
        let (shown, missing): (Vec<u8>, Vec<u8>) = (0..10).partition(has_shown);
        let list = |figures: &[u8]| {
            let texts: Vec<String> = figures.iter().map(|figure| format!("{figure}")).collect();
            texts.join(", ")
        };
        let place = digit + 1;
        match (self, missing.as_slice()) {
            (Self::Follows(_), _) => format!(
                "no bits follow the figures of digit {place} from the right, which has shown {}; say every figure as it stands on \
                 the display, zeros before it too, and hold each value steady",
                list(&shown)
            ),
            (Self::Many(_), []) => format!(
                "the bits of digit {place} from the right are not told apart yet; show more numbers, with different figures in each \
                 place"
            ),
            (Self::Many(_), missing) => format!(
                "the bits of digit {place} from the right are not told apart yet; it has not shown {}: show one of them there, and \
                 different figures in the other places",
                list(missing)
            ),
        }
    }
}

/// Every choice of forms for the digits that displays draw in more than one way.
fn forms() -> Vec<Forms> {
    let mut all: Vec<Forms> = vec![Forms::new()];
    for figure in 0..10 {
        let drawn: Vec<u8> =
            GLYPHS.iter().filter(|(_, glyph)| *glyph == Glyph::Digit(figure)).map(|(lit, _)| *lit).collect();
        let with = |forms: &Forms, lit: u8| {
            let mut forms = forms.clone();
            forms.insert(figure, lit);
            forms
        };
        all = all.iter().flat_map(|forms| drawn.iter().map(|lit| with(forms, *lit))).collect();
    }
    all
}

fn segments(numbers: &[(&Seen<'_>, Vec<u8>)], digit: usize, forms: &Forms) -> Result<Candidates, Unclear> {
    let drawn =
        |figures: &[u8]| figures.get(digit).and_then(|figure| forms.get(figure)).copied().unwrap_or(0);
    let lit = |figures: &[u8], segment: usize| drawn(figures) >> segment & 1 == 1;
    let mut bits: Vec<Place> = numbers.iter().flat_map(|(seen, _)| seen.lit.iter().copied()).collect();
    bits.sort_unstable();
    bits.dedup();
    let candidates = |segment: usize| -> Vec<Place> {
        let follows = |bit: &Place| {
            numbers.iter().all(|(seen, figures)| seen.lit.contains(bit) == lit(figures, segment))
        };
        bits.iter().copied().filter(follows).collect()
    };
    // A place that has shown 1 and nothing else lights two bits alike, and which is which says nothing.
    let narrow = numbers.iter().all(|(_, figures)| matches!(figures.get(digit), None | Some(1)));
    let mut found: Candidates = Default::default();
    for (segment, place) in found.iter_mut().enumerate() {
        if narrow && !(segment == 1 || segment == 2) {
            continue;
        }
        // A segment that was never lit is not known.
        if !numbers.iter().any(|(_, figures)| lit(figures, segment)) {
            return Err(Unclear::Many(digit));
        }
        let candidates = candidates(segment);
        if candidates.is_empty() {
            return Err(Unclear::Follows(digit));
        }
        *place = Some(candidates);
    }
    Ok(found)
}

/// The bit that is lit exactly when `is` says so; `None` if it was never lit. Where `is` does not say, either is
/// possible.
fn follows(
    all: &[Seen<'_>],
    taken: &BTreeSet<Place>,
    what: &str,
    is: impl Fn(&Seen<'_>) -> Option<bool>,
) -> Result<Option<Place>, String> {
    let told: Vec<(&Seen<'_>, bool)> = all.iter().filter_map(|seen| Some((seen, is(seen)?))).collect();
    let Some((with, _)) = told.iter().find(|(_, is)| *is) else { return Ok(None) };
    if told.iter().all(|(_, is)| *is) {
        return Err(format!("everything was shown with {what}; show the same without it too"));
    }
    let bits = with.lit.iter().filter(|bit| !taken.contains(bit));
    let fit: Vec<Place> =
        bits.copied().filter(|bit| told.iter().all(|(seen, is)| seen.lit.contains(bit) == *is)).collect();
    match fit.as_slice() {
        [bit] => Ok(Some(*bit)),
        [] => Err(format!("no bit is lit just when {what} was shown; show it with and without")),
        _ => Err(format!(
            "more than one bit is lit just when {what} was shown; show it in another function too"
        )),
    }
}

/// Which annunciators were lit together, and what they mean.
fn rows(all: &[Seen<'_>], not_signs: &BTreeSet<Place>) -> Result<Rows, String> {
    let mut rows = Rows::new();
    // Numbers first: they tell the decimals, and the unit of what was shown without one.
    let (numbers, others): (Vec<_>, Vec<_>) =
        all.iter().partition(|seen| seen.observation.shown.number().is_some());
    for seen in numbers.into_iter().chain(others) {
        let shown = &seen.observation.shown;
        let signs: BTreeSet<Place> = seen.lit.difference(not_signs).copied().collect();
        let decimals = match shown.number() {
            None => None,
            Some(number) => Some(
                u8::try_from(-i16::from(number.exponent()))
                    .map_err(|_| String::from("say the number without an exponent"))?,
            ),
        };
        // Dashes and letters light segments too, so anything but a number is looked up, not distinguished by its
        // annunciators alone.
        match (rows.get(&signs), shown.unit) {
            (Some((unit, known)), said) => {
                let same =
                    said.is_none_or(|said| said == *unit) && (decimals.is_none() || decimals == *known);
                if !same {
                    return Err(format!(
                        "{:?} stands beside the same signs as something else; is it what the display showed?",
                        shown.text()
                    ));
                }
            }
            (None, Some(unit)) => {
                rows.insert(signs, (unit, decimals));
            }
            (None, None) => {
                return Err(format!("{:?} stands beside signs of its own; say its unit too", shown.text()));
            }
        }
    }
    Ok(rows)
}
