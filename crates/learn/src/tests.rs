//! Learning from the streams of hardware-notes (their expected texts are what the display showed) and from meters made
//! up at random, which are synthesised by `simulate`.

use super::{Conclusion, Displayed, Learned, Observation, ProfileHeader, learn};
use quantity::{Instant, Reading, State};
use wire::stream::Recording;
use wire::{Decoder, Item, Profile, simulate};

const HEAD: ProfileHeader<'static> = ProfileHeader { id: "learned", title: "learned in a test", link: "" };

fn ms(ms: i64) -> Instant {
    Instant::from_micros(ms * 1000)
}

fn see(from: i64, to: i64, text: &str) -> Observation {
    Observation { from: ms(from), to: ms(to), shown: Displayed::parse(text).unwrap() }
}

fn note(class: &str) -> (Profile, Recording) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../hardware-notes").join(class);
    let profile = Profile::parse(&std::fs::read_to_string(folder.join("profile.toml")).unwrap()).unwrap();
    let hex = std::fs::read_to_string(folder.join("stream.hex")).unwrap();
    (profile, Recording::parse_hex(&hex).unwrap())
}

fn decoded(profile: &Profile, recording: &Recording) -> Vec<Reading> {
    let mut decoder = Decoder::new(profile);
    let mut found = Vec::new();
    for (at, bytes) in recording.chunks() {
        match bytes {
            None => decoder.gap(at),
            Some(bytes) => decoder.bytes(at, bytes, &mut |item| {
                if let Item::Reading(reading) = item {
                    found.push(reading);
                }
            }),
        }
    }
    found
}

fn profile_of(learned: &Learned) -> (Profile, &str) {
    match &learned.outcome {
        Conclusion::Profile { toml, .. } => (Profile::parse(toml).unwrap(), toml),
        other => panic!("{other:?}\n{:?}", learned.hypotheses),
    }
}

/// (right, withheld, wrong) of what the learned profile says beside what the true one says, by time and channel.
fn compare(truth: &[Reading], learned: &[Reading]) -> (usize, usize, usize) {
    let of = |r: &Reading| (r.at, r.display.unit, r.display.coupling, r.state, r.flags);
    let truth: Vec<_> = truth.iter().filter(|r| r.channel == 0).map(of).collect();
    let said: Vec<_> =
        learned.iter().filter(|r| r.channel == 0 && r.state != State::NoValue).map(of).collect();
    let right = said.iter().filter(|r| truth.contains(r)).count();
    (right, truth.len().saturating_sub(right), said.len() - right)
}

#[test]
fn the_line_class_is_learned_from_its_stream() {
    let (truth, stream) = note("generic-line-meter");
    let seen = [
        see(500, 2770, "38.52 uF"),
        see(3020, 3270, "412.0 nF"),
        see(4020, 4270, "4.7 ohm"),
        see(5020, 5270, "2.20 Mohm"),
        see(3520, 3770, "OL Mohm"),
        see(5520, 5770, "236.4 V ac"),
        see(6020, 6270, "-12.04 V dc"),
        see(9520, 9770, "118.2 V ac hold"),
    ];
    let learned = learn(HEAD, &stream, &seen);
    let (profile, toml) = profile_of(&learned);
    let (right, withheld, wrong) = compare(&decoded(&truth, &stream), &decoded(&profile, &stream));
    std::println!("{toml}\n{:?}\nright {right} withheld {withheld} wrong {wrong}", learned.hypotheses);
    assert_eq!(wrong, 0, "{toml}");
    assert!(right >= 18, "{right} right, {withheld} withheld\n{toml}");
}

#[test]
fn the_fixed_class_is_learned_from_its_stream() {
    let (truth, stream) = note("generic-binary-meter");
    let learned = learn(HEAD, &stream, &[]);
    std::println!("{learned:?}");
    assert!(
        learned.hypotheses[0]
            .words
            .contains("12 bytes that begin with [0xD7, 0x2B], crc16modbus over bytes 2 to 9")
    );
    // The stream holds each function for one frame only, too few to be watched: so the truth's own frames, longer.
    let (stream, seen) =
        shown_by(&truth, &["44.71 uF", "23.60 uF", "-12.04 V dc", "236.4 V ac", "412.0 nF"], Some("23.1 °C"));
    let learned = learn(HEAD, &stream, &seen);
    let (profile, toml) = profile_of(&learned);
    let (right, withheld, wrong) = compare(&decoded(&truth, &stream), &decoded(&profile, &stream));
    std::println!("{toml}\nright {right} withheld {withheld} wrong {wrong}");
    assert_eq!((withheld, wrong), (0, 0), "{toml}");
    assert!(right >= 40);
}

#[test]
fn the_counted_class_is_learned_from_its_stream() {
    let (_, stream) = note("generic-counted-meter");
    let learned = learn(HEAD, &stream, &[]);
    std::println!("{learned:?}");
    assert!(
        learned.hypotheses[0]
            .words
            .contains("say their length (u8 at byte 3, counts payload), sum16be from byte 3 on"),
        "{:?}",
        learned.hypotheses
    );
}

/// A recording of ten frames for each text (and a second channel, steady), with its observations; a lost byte, a
/// flipped bit and a run of garbage stand between.
fn shown_by(truth: &Profile, texts: &[&str], second: Option<&str>) -> (Recording, Vec<Observation>) {
    let (mut recording, mut seen, mut at) = (Recording::new(), Vec::new(), 0);
    recording.push(ms(at), &[0x11, 0xF7, 0x03]);
    for (turn, text) in texts.iter().enumerate() {
        let from = at + 1;
        for n in 0..10 {
            at += 250;
            let mut bytes = simulate::encode(truth, &readings(text, second)).unwrap();
            match (turn, n) {
                (0, 4) => {
                    bytes.remove(3);
                }
                (1, 6) => bytes[4] ^= 0x10,
                _ => {}
            }
            recording.push(ms(at), &bytes);
        }
        seen.push(see(from, at, text));
    }
    (recording, seen)
}

fn readings(text: &str, second: Option<&str>) -> Vec<Reading> {
    let reading = |channel: u8, text: &str| {
        let shown = Displayed::parse(text).unwrap();
        let unit = shown.unit.unwrap();
        Reading {
            at: Instant::ZERO,
            seq: 0,
            channel,
            display: quantity::DisplayUnit { unit: unit.unit, coupling: unit.coupling },
            state: shown.state,
            flags: shown.flags,
            accuracy: None,
            timing: quantity::Timing::default(),
        }
    };
    let mut all = vec![reading(0, text)];
    all.extend(second.map(|text| reading(1, text)));
    all
}

/// SplitMix64 (Steele, Lea, Flood 2014).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: u64) -> usize {
        usize::try_from(self.next() % n).unwrap()
    }

    fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.below(from.len() as u64)]
    }
}

const FUNCTIONS: [(&str, i32); 4] = [("uF", -2), ("ohm", -1), ("V ac", -1), ("nF", 0)];

/// Type of the value, its bytes, the most counts, whether it has a sign.
const TYPES: [(&str, usize, i64, bool); 10] = [
    ("u16le", 2, 60_000, false),
    ("u16be", 2, 60_000, false),
    ("i16le", 2, 30_000, true),
    ("i16be", 2, 30_000, true),
    ("u24le", 3, 999_999, false),
    ("i24be", 3, 999_999, true),
    ("i32le", 4, 999_999, true),
    ("u32be", 4, 999_999, false),
    ("f32le", 4, 9_999, true),
    ("f32be", 4, 9_999, true),
];

/// A made-up meter of binary frames, with the functions it has and the most counts its value holds.
fn made_up(dice: &mut Dice, counted: bool) -> (Profile, Vec<(&'static str, i32)>, i64, bool) {
    let (kind, width, most, signed) = dice.pick(&TYPES);
    let sync: Vec<u8> = (0..1 + dice.below(3)).map(|_| dice.next().to_le_bytes()[0] | 1).collect();
    let header = sync.len() + usize::from(counted);
    let mut place = header + dice.below(3);
    let code_first = dice.below(2) == 0;
    let mut code = 0;
    if code_first {
        code = place;
        place += 1 + dice.below(2);
    }
    let value = place;
    place += width + dice.below(2);
    if !code_first {
        code = place;
        place += 1;
    }
    let end = place + dice.below(3);
    let check = dice.pick(&["sum8", "xor8", "sum16le", "sum16be", "crc16modbus", "none"]);
    let checksum_width = match check {
        "none" => 0,
        "sum8" | "xor8" => 1,
        _ => 2,
    };
    let from = dice.below(2) * sync.len();
    let frame = if counted {
        let check = if checksum_width == 0 { "crc16modbus" } else { check };
        format!(
            "kind = \"counted\"\nlength = {{ at = {}, type = \"u8\", counts = \"{}\" }}\nmax_bytes = 40\ncheck = {{ kind = \"{check}\", from = {from} }}\n",
            sync.len(),
            dice.pick(&["payload", "rest", "whole"])
        )
    } else if checksum_width == 0 {
        format!("kind = \"fixed\"\nlength = {end}\n")
    } else {
        format!(
            "kind = \"fixed\"\nlength = {}\ncheck = {{ kind = \"{check}\", from = {from}, to = {end}, at = {end} }}\n",
            end + checksum_width
        )
    };
    let mut functions: Vec<(&str, i32)> = FUNCTIONS.to_vec();
    functions.truncate(2 + dice.below(3));
    let float = kind.starts_with('f');
    let mut rows = String::new();
    for (i, (unit, exponent)) in functions.iter_mut().enumerate() {
        if float {
            *exponent = -1;
        }
        rows.push_str(&format!("{} = {{ unit = \"{unit}\", exponent = {exponent} }}\n", 3 + 7 * i));
    }
    let mut text = format!(
        "profile = 1\nid = \"made-up\"\nagree = 2\n[frame]\nsync = {}\n{frame}[decode]\nkind = \"fields\"\n[[decode.channel]]\nexponent = 0\n\
         value = {{ at = {value}, type = \"{kind}\" }}\nselect = {{ at = {code}, type = \"u8\" }}\n[decode.channel.functions]\n{rows}",
        super::draft::bytes(&sync)
    );
    if counted {
        // A second display line makes some frames longer.
        text.push_str(&format!(
            "[[decode.channel]]\nnumber = 1\nunit = \"V dc\"\nexponent = -1\nvalue = {{ at = {end}, type = \"i16be\" }}\n"
        ));
    }
    (Profile::parse(&text).unwrap_or_else(|e| panic!("{e}\n{text}")), functions, most, signed)
}

fn number_text(dice: &mut Dice, function: (&str, i32), most: i64, signed: bool) -> String {
    let bound = u64::try_from(most).unwrap();
    let size = dice.pick(&[bound, bound, bound / 7, 900.min(bound)]);
    let mut counts = i64::try_from(dice.below(size)).unwrap();
    if signed && dice.below(3) == 0 && function.0 == "V ac" {
        counts = -counts;
    }
    let exponent = i8::try_from(function.1).unwrap();
    format!("{} {}", quantity::Decimal::new(counts, exponent).unwrap(), function.0)
}

#[derive(Default, Debug)]
struct Rates {
    learned: usize,
    asked: usize,
    right: usize,
    withheld: usize,
    wrong: usize,
    leaked: usize,
}

fn one_binary(seed: u64, counted: bool, rates: &mut Rates) {
    let mut dice = Dice(seed);
    let (truth, functions, most, signed) = made_up(&mut dice, counted);
    let mut texts: Vec<String> = Vec::new();
    for turn in 0..3 * functions.len() {
        texts.push(number_text(&mut dice, functions[turn % functions.len()], most, signed));
    }
    let frames = |recording: &mut Recording, at: &mut i64, text: &str, dice: &mut Dice, damage: bool| {
        *at += 250;
        let second = format!("{}.5 V dc", 10 + dice.below(40));
        let long = counted && dice.below(3) == 0;
        let mut bytes = simulate::encode(&truth, &readings(text, long.then_some(second.as_str()))).unwrap();
        if damage && dice.below(12) == 0 {
            let place = dice.below(bytes.len() as u64);
            if dice.below(2) == 0 {
                bytes.remove(place);
            } else {
                bytes[place] ^= 1 << dice.below(8);
            }
        }
        recording.push(ms(*at), &bytes);
    };
    let (mut recording, mut seen, mut at) = (Recording::new(), Vec::new(), 0);
    for text in &texts {
        let from = at + 1;
        for _ in 0..12 {
            frames(&mut recording, &mut at, text, &mut dice, true);
        }
        seen.push(see(from, at, text));
    }
    let learned = learn(HEAD, &recording, &seen);
    let Conclusion::Profile { toml, .. } = &learned.outcome else {
        if std::env::var_os("LEARN_TALK").is_some() {
            std::println!("seed {seed}: {:?}\n  {:?}", learned.outcome, learned.hypotheses.first());
        }
        rates.asked += 1;
        return;
    };
    rates.learned += 1;
    let profile = Profile::parse(toml).unwrap();
    let mut fresh = Recording::new();
    let mut at = 0;
    for _ in 0..30 {
        let function = dice.pick(&functions);
        let text = number_text(&mut dice, function, most, signed);
        for _ in 0..3 {
            frames(&mut fresh, &mut at, &text, &mut dice, false);
        }
    }
    let (right, withheld, wrong) = compare(&decoded(&truth, &fresh), &decoded(&profile, &fresh));
    assert_eq!(wrong, 0, "seed {seed}\n{toml}");
    rates.right += right;
    rates.withheld += withheld;
    rates.wrong += wrong;
}

#[test]
fn made_up_binary_meters_are_learned_or_asked_about_and_never_misread() {
    for counted in [false, true] {
        let mut rates = Rates::default();
        (0..30).for_each(|seed| one_binary(seed, counted, &mut rates));
        std::println!("counted: {counted}: {rates:?}");
        assert!(rates.learned >= 27, "{rates:?}");
        assert!(rates.right > 4 * rates.withheld, "{rates:?}");
    }
}

#[test]
fn garbage_never_gives_a_profile() {
    let mut dice = Dice(7);
    for kind in 0..6 {
        for _ in 0..12 {
            let (mut recording, mut at) = (Recording::new(), 0);
            let block: Vec<u8> = (0..8).map(|_| dice.next().to_le_bytes()[0]).collect();
            for _ in 0..80 {
                at += 100;
                let bytes: Vec<u8> = (0..12_usize)
                    .map(|i| match kind {
                        0 => dice.next().to_le_bytes()[0],
                        1 => 0,
                        2 => 0x20 + dice.next().to_le_bytes()[0] % 0x5F,
                        3 if i < 8 => block[i],
                        4 if i == 11 => b'\n',
                        4 => b"0123456789. uFV"[dice.below(15)],
                        5 => 1 << dice.below(8),
                        _ => dice.next().to_le_bytes()[0],
                    })
                    .collect();
                recording.push(ms(at), &bytes);
            }
            let seen = [see(0, at / 2, "12.46 uF"), see(at / 2 + 1, at, "31.08 uF"), see(0, at, "5 ohm")];
            for seen in [&seen[..2], &seen[..1], &seen[2..], &seen[..]] {
                let learned = learn(HEAD, &recording, seen);
                assert!(!matches!(learned.outcome, Conclusion::Profile { .. }), "{kind}: {learned:?}");
            }
        }
    }
}

#[test]
fn shapes_that_no_profile_is_drawn_for_are_named() {
    let mut words = Recording::new();
    for n in 0..40_u8 {
        words.push(ms(i64::from(n) * 250), format!("{}5.1\n", "7".repeat(usize::from(n % 9))).as_bytes());
    }
    let seen = [see(0, 9750, "12.46 uF")];
    let said = |recording: &Recording| match learn(HEAD, recording, &seen).outcome {
        Conclusion::Ask(what) | Conclusion::Nothing(what) => what,
        Conclusion::Profile { toml, .. } => panic!("{toml}"),
    };
    assert!(said(&words).contains("stands in 0 of"), "{}", said(&words));
    let mut glued = Recording::new();
    for n in 0..40 {
        let text = if n < 20 { "CAP 9.98uF\n" } else { "CAP 12.46uF\n" };
        glued.push(ms(n * 250), text.as_bytes());
    }
    let seen = [see(0, 4900, "9.98 uF"), see(5000, 9750, "12.46 uF")];
    match learn(HEAD, &glued, &seen).outcome {
        Conclusion::Ask(what) => assert!(what.contains("without a blank"), "{what}"),
        other => panic!("{other:?}"),
    }
}

const LINE_FUNCTIONS: [(&str, i32, &str); 6] = [
    ("uF", -2, "CAP"),
    ("ohm", -1, "RES"),
    ("V ac", -1, "VAC"),
    ("V dc", -2, "VDC"),
    ("kohm", -3, "RES"),
    ("nF", 0, "CAP"),
];

/// A made-up meter of lines, with its functions; `loose`: of tokens, with numbers of changing width.
fn made_up_lines(dice: &mut Dice, loose: bool) -> (Profile, Vec<(&'static str, i32)>) {
    let mut functions: Vec<(&str, i32, &str)> = LINE_FUNCTIONS.to_vec();
    functions.truncate(1 + dice.below(6));
    let blank = if loose { dice.pick(&[" ", ",", ";"]) } else { dice.pick(&["", " ", "  ", ";"]) };
    let width = |width: usize| if loose { String::new() } else { format!(":{width}") };
    let value = format!("{{value{}}}", width(7 + dice.below(3)));
    let unit = format!("{{unit{}}}", width(4 + dice.below(3)));
    let mode = format!("{{mode{}}}", width(3));
    let mut fields = match dice.below(4) {
        0 => vec![mode, value, unit],
        1 => vec![value, unit, mode],
        2 => vec![String::from("#"), value, unit, mode],
        _ => vec![mode, String::from("="), value, unit],
    };
    if !loose && dice.below(2) == 0 {
        fields.push(String::from("{skip:2}"));
    }
    let pattern = fields.join(blank);
    let split = match (loose, blank) {
        (false, _) => String::new(),
        (true, " ") => "loose = true\n".into(),
        (true, mark) => format!("separator = \"{mark}\"\n"),
    };
    let agree = if loose { 3 } else { 2 };
    let check = dice.pick(&["", "check = \"sum8\"\n", "check = \"xor8\"\n"]);
    let (mut units, mut modes): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
    for (unit, _, mode) in &functions {
        let word = unit.split(' ').next().unwrap();
        let row = format!("{word} = \"{word}\"\n");
        if !units.contains(&row) {
            units.push(row);
        }
        let kind = match *mode {
            "CAP" => "capacitance",
            "RES" => "resistance",
            "VAC" => "voltage ac",
            _ => "voltage dc",
        };
        let row = format!("{mode} = \"{kind}\"\n");
        if !modes.contains(&row) {
            modes.push(row);
        }
    }
    let text = format!(
        "profile = 1\nid = \"made-up\"\nagree = {agree}\n[frame]\nkind = \"line\"\n{check}[decode]\nkind = \"pattern\"\n{split}pattern = \"{pattern}\"\n\
         [decode.units]\n{}[decode.modes]\n{}",
        units.concat(),
        modes.concat()
    );
    let profile = Profile::parse(&text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    (profile, functions.iter().map(|(unit, exponent, _)| (*unit, *exponent)).collect())
}

#[test]
fn made_up_line_meters_are_learned_or_asked_about_and_never_misread() {
    let rates = line_meters(false);
    assert!(rates.learned >= 130 && rates.right > 4 * rates.withheld, "{rates:?}");
}

#[test]
fn made_up_meters_of_tokens_are_learned_or_asked_about_and_never_misread() {
    let rates = line_meters(true);
    assert!(rates.learned >= 140 && rates.right > 4 * rates.withheld, "{rates:?}");
}

fn line_meters(loose: bool) -> Rates {
    let mut rates = Rates::default();
    for seed in 0..150 {
        let mut dice = Dice(1_000 + seed);
        let (truth, functions) = made_up_lines(&mut dice, loose);
        let send = |recording: &mut Recording, at: &mut i64, text: &str, dice: &mut Dice| {
            *at += 250;
            let mut bytes = simulate::encode(&truth, &readings(text, None)).unwrap();
            if dice.below(12) == 0 {
                let place = dice.below(bytes.len() as u64);
                if dice.below(2) == 0 {
                    bytes.remove(place);
                } else {
                    bytes[place] ^= 1 << dice.below(8);
                }
            }
            recording.push(ms(*at), &bytes);
        };
        let (mut recording, mut seen, mut at) = (Recording::new(), Vec::new(), 0);
        for turn in 0..2 * functions.len() {
            let text = number_text(&mut dice, functions[turn % functions.len()], 99_999, true);
            let from = at + 1;
            (0..10).for_each(|_| send(&mut recording, &mut at, &text, &mut dice));
            seen.push(see(from, at, &text));
        }
        let learned = learn(HEAD, &recording, &seen);
        let Conclusion::Profile { toml, .. } = &learned.outcome else {
            if std::env::var_os("LEARN_TALK").is_some() {
                std::println!("seed {seed}: {:?}\n  {:?}", learned.outcome, learned.hypotheses.first());
            }
            rates.asked += 1;
            continue;
        };
        rates.learned += 1;
        let profile = Profile::parse(toml).unwrap();
        let (mut fresh, mut at, mut sent) = (Recording::new(), 0, Vec::new());
        for _ in 0..30 {
            let function = dice.pick(&functions);
            let text = number_text(&mut dice, function, 99_999, true);
            for _ in 0..4 {
                send(&mut fresh, &mut at, &text, &mut dice);
                sent.extend(readings(&text, None).into_iter().map(|r| Reading { at: ms(at), ..r }));
            }
        }
        // Damaged lines count as withheld.
        let said = decoded(&profile, &fresh);
        let (right, withheld, wrong) = compare(&sent, &said);
        // A damaged digit that the agreement of two lines lets through (see `agree`) is let through by the true profile
        // too, and is no fault of what was learned.
        let by_truth = decoded(&truth, &fresh);
        let leaked =
            said.iter().filter(|r| compare(&sent, &[**r]).2 > 0 && compare(&by_truth, &[**r]).2 == 0).count();
        rates.leaked += leaked;
        let wrong = wrong - leaked;
        assert_eq!(wrong, 0, "seed {seed}\n{toml}");
        rates.right += right;
        rates.withheld += withheld;
    }
    std::println!("lines, loose {loose}: {rates:?}");
    rates
}

mod displays;
mod pace;
