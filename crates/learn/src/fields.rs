//! From frames and displayed texts to fields: the value, what selects unit and decimals, bits with a meaning, and
//! bits that were never seen set, which then mean "no value". Does not cut frames.

use quantity::{Flags, Sign, State};

use crate::binary::FramingCandidate;
use crate::draft::{opening, quoted};
use crate::numbers::{Place, Window, find};
use crate::{Displayed, Draft, Observation, ProfileHeader};

/// The frames that arrived while a text was displayed, with the bits they share.
struct Seen<'f> {
    shown: &'f Displayed,
    frames: Vec<&'f [u8]>,
    /// Frames without a checksum may be damaged: one in eight is ignored.
    checked: bool,
}

/// A bit with its byte.
type Bit = (usize, u8);

/// What selects the function: position, bytes, mask, and a row for each code seen.
struct Select {
    at: usize,
    width: usize,
    mask: u32,
    rows: Vec<(u32, Row)>,
}

/// Unit and decimals of a displayed number.
type Row = (String, i8);

pub(crate) fn draft(head: ProfileHeader<'_>, cut: &FramingCandidate, observations: &[Observation]) -> Draft {
    match fields(cut, observations) {
        Ok(Fields { must, body, remarks }) => {
            let agree = match cut.checksum_bytes {
                0 => "agree = 2                       # no checksum: two frames must bear a reading out\n",
                1 => {
                    "agree = 2                       # one byte of checksum lets one damaged frame in 256 through\n"
                }
                _ => "",
            };
            let mut toml = opening(head, agree, observations);
            toml.push_str(&format!(
                "# {} frames bear the framing out.\n{}{must}\n{body}",
                cut.frames.len(),
                cut.toml
            ));
            Draft::Made { toml, remarks }
        }
        Err(why) => Draft::Ask(why),
    }
}

/// The text written for the fields.
struct Fields {
    /// The line of `[frame]` with the fixed bytes, or nothing.
    must: String,
    body: String,
    remarks: Vec<String>,
}

fn fields(cut: &FramingCandidate, observations: &[Observation]) -> Result<Fields, String> {
    let mut seen: Vec<Seen<'_>> = observations
        .iter()
        .map(|o| Seen {
            shown: &o.shown,
            checked: cut.checksum_bytes > 0,
            frames: cut
                .frames
                .iter()
                .filter(|(at, _)| *at >= o.from && *at <= o.to)
                .map(|(_, f)| f.as_slice())
                .collect(),
        })
        .collect();
    if let Some(few) = seen.iter().find(|s| s.frames.len() < 2) {
        return Err(format!(
            "fewer than two frames came while the display showed {:?}; record longer",
            few.shown.text()
        ));
    }
    let windows: Vec<Window<'_>> =
        seen.iter().filter_map(|s| Some((s.shown.number()?, s.frames.clone()))).collect();
    let place = value_place(cut, &windows)?;
    for s in &mut seen {
        if let Some(number) = s.shown.number() {
            s.frames.retain(|frame| place.says(frame, number));
        }
    }
    let bits = meanings(cut, &place, &seen)?;
    let select = select(cut, &place, &seen, &bits)?;
    let constants = constants(cut, &place, &bits, select.as_ref());
    let mut guards = guards(cut, &place, &seen, &bits, select.as_ref());
    guards.retain(|(byte, _)| !constants.iter().any(|(at, _)| at == byte));
    let (body, mut remarks) = write(&place, &seen, &bits, select.as_ref(), &guards);
    let must = match constants.as_slice() {
        [] => String::new(),
        all => {
            remarks.push(format!(
                "{} bytes were the same in every frame; a frame in which one differs is refused",
                all.len()
            ));
            let all: Vec<String> = all.iter().map(|(at, byte)| format!("{at} = 0x{byte:02X}")).collect();
            format!("must = {{ {} }}     # as seen in every frame\n", all.join(", "))
        }
    };
    Ok(Fields { must, body, remarks })
}

/// Bytes that are the same in every frame, not zero, and not in a field. Zeros are guarded bit by bit, since a bit
/// that appears there is a mode that was never displayed.
fn constants(
    cut: &FramingCandidate,
    place: &Place,
    bits: &[(Bit, &'static str)],
    select: Option<&Select>,
) -> Vec<(usize, u8)> {
    let selects = |byte: usize| select.is_some_and(|s| s.covers(byte));
    let is_plain = |byte: &usize| !selects(*byte) && !bits.iter().any(|((at, _), _)| at == byte);
    let value = |byte: usize| cut.frames.first().and_then(|(_, frame)| frame.get(byte)).copied();
    control(cut, place)
        .filter(|byte| is_plain(byte) && same_in_all(cut, *byte))
        .filter_map(|byte| value(byte).filter(|value| *value != 0).map(|value| (byte, value)))
        .collect()
}

impl Select {
    fn covers(&self, byte: usize) -> bool {
        (self.at..self.at + self.width).contains(&byte)
    }
}

/// The one position that holds all displayed numbers.
fn value_place(cut: &FramingCandidate, windows: &[Window<'_>]) -> Result<Place, String> {
    let mut numbers: Vec<i64> = windows.iter().map(|(shown, _)| shown.mantissa()).collect();
    numbers.sort_unstable();
    numbers.dedup();
    if numbers.len() < 2 {
        return Err("one number does not tell its place for sure; change the value by a lot and say what is shown then".into());
    }
    let places = find(cut, windows);
    match places.as_slice() {
        [only] => Ok(*only),
        [] => Err("no place in the frames gives all the numbers shown. Either the display moved while it was read (hold \
                   the value steady and say all its digits), or the frames carry the segments of the display, or a \
                   number in a form that is not known here"
            .into()),
        many => {
            let all: Vec<String> = many.iter().map(|p| format!("{} at byte {}", p.name, p.at)).collect();
            Err(format!("more than one place gives the numbers shown: {}; change the value by a lot and say it again", all.join(", ")))
        }
    }
}

impl Seen<'_> {
    /// Bits set in every frame, and bits set in any.
    fn bits(&self, byte: usize) -> (u8, u8) {
        let slack = if self.checked { 0 } else { self.frames.len() / 8 };
        (0..8).fold((0, 0), |(all, any), bit| {
            let set =
                self.frames.iter().filter(|frame| frame.get(byte).is_some_and(|b| b >> bit & 1 == 1)).count();
            let in_all = u8::from(set + slack >= self.frames.len());
            (all | in_all << bit, any | u8::from(set > slack) << bit)
        })
    }

    fn is_negative(&self) -> bool {
        match self.shown.state {
            State::Value(number) => number.mantissa() < 0,
            State::Overload(sign) => sign == Sign::Negative,
            State::NoValue => false,
        }
    }
}

/// Bytes that may contain codes and bits.
fn control<'c>(cut: &'c FramingCandidate, place: &Place) -> impl Iterator<Item = usize> + 'c {
    let value = place.bytes();
    (cut.sync..cut.end).filter(move |at| !value.contains(at) && !cut.taken.contains(at))
}

/// Bits that changed while the display stood still, and the lower ones in their byte: the display does not depend on
/// them.
fn free_mask(seen: &[Seen<'_>], byte: usize) -> u8 {
    let moved = seen.iter().filter(|s| s.shown.number().is_some()).fold(0_u8, |mask, s| {
        let (all, any) = s.bits(byte);
        mask | (any & !all)
    });
    match moved {
        0 => 0,
        mask => u8::MAX >> mask.leading_zeros(),
    }
}

/// The bits that follow what was displayed: hold and so on, overload, the sign.
fn meanings(
    cut: &FramingCandidate,
    place: &Place,
    seen: &[Seen<'_>],
) -> Result<Vec<(Bit, &'static str)>, String> {
    type Is<'i> = &'i dyn Fn(&Seen<'_>) -> bool;
    let flag = |set: fn(Flags) -> bool| move |s: &Seen<'_>| set(s.shown.flags);
    let hold = flag(|f| f.hold);
    let battery = flag(|f| f.low_battery);
    let relative = flag(|f| f.relative);
    let min_max = flag(|f| f.min_max);
    let overload = |s: &Seen<'_>| matches!(s.shown.state, State::Overload(_));
    let no_value = |s: &Seen<'_>| s.shown.state == State::NoValue;
    let negative = |s: &Seen<'_>| s.is_negative();
    let wanted: [(&'static str, Is<'_>, bool); 7] = [
        ("hold", &hold, true),
        ("low_battery", &battery, true),
        ("relative", &relative, true),
        ("min_max", &min_max, true),
        ("overload", &overload, !place.is_float()),
        ("no_value", &no_value, !place.is_float()),
        ("negative", &negative, place.magnitude),
    ];
    let mut found: Vec<(Bit, &'static str)> = Vec::new();
    for (name, is, asked) in wanted {
        if !asked || !seen.iter().any(is) {
            continue;
        }
        let mut bits: Vec<Bit> = Vec::new();
        for byte in control(cut, place) {
            let (yes, no): (Vec<_>, Vec<_>) = seen.iter().partition(|s| is(s));
            let set = yes.iter().fold(0xFF, |mask, s| mask & s.bits(byte).0);
            let elsewhere = no.iter().fold(0, |mask, s| mask | s.bits(byte).1);
            bits.extend((0..8).filter(|bit| (set & !elsewhere) >> bit & 1 == 1).map(|bit| (byte, bit)));
        }
        match bits.as_slice() {
            [only] if !found.iter().any(|(bit, _)| bit == only) => found.push((*only, name)),
            [] => return Err(format!("no bit of the frames is set only while the display shows {name}")),
            _ => {
                return Err(format!(
                    "{} bits are set only while the display shows {name}; show the same function once with and once \
                     without it",
                    bits.len()
                ));
            }
        }
    }
    Ok(found)
}

/// The mask of a byte's bits that may select: steady, and without a meaning of their own.
fn select_mask(seen: &[Seen<'_>], bits: &[(Bit, &'static str)], byte: usize) -> u8 {
    bits.iter()
        .filter(|((b, _), _)| *b == byte)
        .fold(!free_mask(seen, byte), |mask, ((_, bit), _)| mask & !(1 << bit))
}

fn select(
    cut: &FramingCandidate,
    place: &Place,
    seen: &[Seen<'_>],
    bits: &[(Bit, &'static str)],
) -> Result<Option<Select>, String> {
    let values: Vec<(&Seen<'_>, Row)> = seen
        .iter()
        .filter_map(|s| Some((s, (s.shown.unit.map(|u| format!("{u}"))?, s.shown.number()?.exponent()))))
        .collect();
    let code = |s: &Seen<'_>, byte: usize| s.bits(byte).0 & select_mask(seen, bits, byte);
    let matters = |byte: usize| {
        let first = values.first().map_or(0, |(s, _)| code(s, byte));
        first != 0 || values.iter().any(|(s, _)| code(s, byte) != first)
    };
    let mut rows: Vec<&Row> = values.iter().map(|(_, row)| row).collect();
    rows.sort();
    rows.dedup();
    let bytes: Vec<usize> = control(cut, place).filter(|byte| matters(*byte)).collect();
    let mut best: Option<(usize, Select)> = None;
    for width in 1..=4_usize {
        for at in cut.sync..cut.end.saturating_sub(width - 1) {
            let place_is_free = (at..at + width).all(|byte| control(cut, place).any(|c| c == byte));
            let covered = bytes.iter().filter(|byte| (at..at + width).contains(*byte)).count();
            let better = best.as_ref().is_none_or(|(most, _)| covered > *most);
            if place_is_free && covered > 0 && better {
                let made = table(at, width, &values, &code, &|byte| select_mask(seen, bits, byte));
                best = made.map(|select| (covered, select)).or(best);
            }
        }
    }
    let select = best.map(|(_, select)| select);
    if select.is_none() && rows.len() > 1 {
        return Err(
            "nothing in the frames tells the functions or ranges apart that were shown; show each once more"
                .into(),
        );
    }
    // A code that nothing demands could change unseen.
    for byte in bytes {
        let covered = select.as_ref().is_some_and(|s| (s.at..s.at + s.width).contains(&byte));
        let at_end = (byte..cut.end).all(|b| cut.taken.contains(&b) || same_in_all(cut, b));
        let changes_without = values
            .iter()
            .any(|(a, row)| values.iter().any(|(b, other)| row == other && code(a, byte) != code(b, byte)));
        let same_without = rows.len() > 1 && same_in_all(cut, byte);
        if !covered && !at_end && !changes_without && !same_without {
            return Err(format!(
                "byte {byte} may be a code, and what was shown does not tell what it says; show another function or range"
            ));
        }
    }
    Ok(select)
}

fn same_in_all(cut: &FramingCandidate, byte: usize) -> bool {
    let mut all = cut.frames.iter().map(|(_, frame)| frame.get(byte));
    let first = all.next();
    all.all(|b| Some(b) == first)
}

/// The rows of a select at this position, if it distinguishes the functions.
fn table(
    at: usize,
    width: usize,
    values: &[(&Seen<'_>, Row)],
    code: &dyn Fn(&Seen<'_>, usize) -> u8,
    mask: &dyn Fn(usize) -> u8,
) -> Option<Select> {
    let whole =
        |byte: &dyn Fn(usize) -> u8| (at..at + width).fold(0_u32, |all, b| all << 8 | u32::from(byte(b)));
    let mut rows: Vec<(u32, Row)> = Vec::new();
    for (seen, row) in values {
        let code = whole(&|byte| code(seen, byte));
        match rows.iter().find(|(known, _)| *known == code) {
            Some((_, known)) if known != row => return None,
            Some(_) => {}
            None => rows.push((code, row.clone())),
        }
    }
    let mask = whole(&mask);
    (mask != 0).then_some(Select { at, width, mask, rows })
}

/// Bits that no frame had set during the observations, except those that the select requires to be clear.
fn guards(
    cut: &FramingCandidate,
    place: &Place,
    seen: &[Seen<'_>],
    bits: &[(Bit, &'static str)],
    select: Option<&Select>,
) -> Vec<Bit> {
    let mut found = Vec::new();
    let any = |byte: usize| seen.iter().fold(0_u8, |mask, s| mask | s.bits(byte).1);
    for byte in control(cut, place) {
        let demanded = select
            .filter(|s| (s.at..s.at + s.width).contains(&byte))
            .map_or(0, |_| select_mask(seen, bits, byte));
        let guarded = !any(byte) & !free_mask(seen, byte) & !demanded;
        found.extend((0..8).filter(|bit| guarded >> bit & 1 == 1).map(|bit| (byte, bit)));
    }
    if !place.is_float() {
        // From the highest byte down, up to the highest bit that was seen.
        let mut bytes: Vec<usize> = place.bytes().collect();
        if !place.name.ends_with("be") {
            bytes.reverse();
        }
        for byte in bytes {
            let zeros = any(byte).leading_zeros();
            found.extend((0..8_u8).rev().take(usize::try_from(zeros).unwrap_or(8)).map(|bit| (byte, bit)));
            if zeros < 8 {
                break;
            }
        }
    }
    found
}

fn write(
    place: &Place,
    seen: &[Seen<'_>],
    bits: &[(Bit, &'static str)],
    select: Option<&Select>,
    guards: &[Bit],
) -> (String, Vec<String>) {
    let mut text = String::from("[decode]\nkind = \"fields\"\n\n[[decode.channel]]\nnumber = 0\n");
    text.push_str(&format!("value = {{ at = {}, type = \"{}\" }}\n", place.at, place.name));
    let mut remarks = Vec::new();
    match select {
        Some(Select { at, width, mask, rows }) => {
            let kind = ["u8", "u16be", "u24be", "u32be"].get(width - 1).copied().unwrap_or("u8");
            text.push_str(&format!("select = {{ at = {at}, type = \"{kind}\", mask = 0x{mask:X} }}\n"));
            text.push_str(
                "\n[decode.channel.functions]      # as far as seen; other codes give no reading\n",
            );
            for (code, (unit, exponent)) in rows {
                text.push_str(&format!(
                    "0x{code:X} = {{ unit = {}, exponent = {exponent} }}\n",
                    quoted(unit)
                ));
            }
            remarks.push(format!(
                "{} codes of function and range were seen; others give no reading",
                rows.len()
            ));
        }
        None => {
            let row = seen.iter().find_map(|s| Some((s.shown.unit?, s.shown.number()?.exponent())));
            if let Some((unit, exponent)) = row {
                text.push_str(&format!("unit = {}\nexponent = {exponent}\n", quoted(&format!("{unit}"))));
            }
        }
    }
    let mut flags: Vec<(&str, Vec<Bit>)> = Vec::new();
    for (bit, name) in
        bits.iter().map(|(bit, name)| (*bit, *name)).chain(guards.iter().map(|bit| (*bit, "no_value")))
    {
        match flags.iter_mut().find(|(known, _)| *known == name) {
            Some((_, all)) => all.push(bit),
            None => flags.push((name, vec![bit])),
        }
    }
    let ignored = ignored(place, &flags, select);
    if !ignored.is_empty() {
        flags.push(("ignore", ignored));
    }
    if !flags.is_empty() {
        text.push_str(
            "\n[decode.channel.flags]          # byte.bit; bits never seen set while watched mean no value\n",
        );
    }
    for (name, all) in flags {
        let all: Vec<String> = all.iter().map(|(byte, bit)| format!("\"{byte}.{bit}\"")).collect();
        text.push_str(&format!("{name} = [{}]\n", all.join(", ")));
    }
    if !guards.is_empty() {
        remarks.push(format!(
            "{} bits were never set while the display was watched (larger numbers, a sign, other modes); a frame that \
             sets one gives no value until that was shown too",
            guards.len()
        ));
    }
    (text, remarks)
}

/// The unnamed bits in bytes of flags: they were set at times, and the display did not depend on them. Left unnamed,
/// they would make the decoder reject the frame.
fn ignored(place: &Place, flags: &[(&str, Vec<Bit>)], select: Option<&Select>) -> Vec<Bit> {
    let named: Vec<Bit> = flags.iter().flat_map(|(_, bits)| bits).copied().collect();
    let mut bytes: Vec<usize> = named.iter().map(|(byte, _)| *byte).collect();
    bytes.sort_unstable();
    bytes.dedup();
    bytes.retain(|byte| !place.bytes().contains(byte) && !select.is_some_and(|s| s.covers(*byte)));
    let bits = bytes.iter().flat_map(|byte| (0..8_u8).map(|bit| (*byte, bit)));
    bits.filter(|bit| !named.contains(bit)).collect()
}
