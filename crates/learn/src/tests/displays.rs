//! Displays sent as lit bits: the class in hardware-notes and meters with their bits in any order, learned from
//! numbers displayed one after another. Prints how many it takes; nothing may be misread afterwards.

use super::*;
use quantity::{Coupling, Decimal, Unit};

/// A made-up display of four digits in 13 bytes: the bits of the generic segment meter, dealt out anew.
fn made_up(dice: &mut Dice) -> Profile {
    let folder =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../hardware-notes/generic-segment-meter");
    let text = std::fs::read_to_string(folder.join("profile.toml")).unwrap();
    let mut places: Vec<usize> = (0..52).collect();
    for at in (1..52).rev() {
        places.swap(at, dice.below(at as u64 + 1));
    }
    let (head, decode) = text.split_once("[decode] ").unwrap();
    let (decode, tail) = decode.split_once("# Figures are made up").unwrap();
    let mut dealt = String::new();
    let mut rest = decode;
    while let Some((before, after)) = rest.split_once('"') {
        let (inside, after) = after.split_once('"').unwrap();
        let place = inside
            .split_once('.')
            .and_then(|(byte, bit)| Some(byte.parse::<usize>().ok()? * 4 + bit.parse::<usize>().ok()?));
        let inside = place
            .map_or(String::from(inside), |place| format!("{}.{}", places[place] / 4, places[place] % 4));
        dealt.push_str(&format!("{before}\"{inside}\""));
        rest = after;
    }
    Profile::parse(&format!("{head}[decode] {dealt}{rest}#{tail}")).unwrap_or_else(|e| panic!("{e}\n{dealt}"))
}

const UNITS: [(Unit, Option<Coupling>); 6] = [
    (Unit::MICROFARAD, None),
    (Unit::NANOFARAD, None),
    (Unit::OHM, None),
    (Unit::KILOHM, None),
    (Unit::VOLT, Some(Coupling::Ac)),
    (Unit::VOLT, Some(Coupling::Dc)),
];

fn anything(dice: &mut Dice) -> String {
    let (unit, coupling) = dice.pick(&UNITS);
    let counts = i64::try_from(dice.below(10_000)).unwrap();
    let negative = coupling == Some(Coupling::Dc) && dice.below(3) == 0;
    let places = i8::try_from(dice.below(4)).unwrap();
    let number = Decimal::new(if negative { -counts } else { counts }, -places).unwrap();
    let coupling = coupling.map_or(String::new(), |coupling| format!(" {coupling}"));
    let hold = if dice.below(8) == 0 { " hold" } else { "" };
    match dice.below(12) {
        0 => format!("OL {unit}{coupling}{hold}"),
        _ => format!("{number} {unit}{coupling}{hold}"),
    }
}

/// What a person shows who does what was asked: a figure that a place has not shown, there; else anything.
fn heeding(advice: &str, dice: &mut Dice) -> String {
    let place =
        advice.split_once("of digit ").and_then(|(_, rest)| rest.split_once(' ')?.0.parse::<u32>().ok());
    let missing = advice.split_once("has not shown ").and_then(|(_, rest)| rest.split_once(':'));
    let (Some(place), Some((missing, _))) = (place, missing) else { return anything(dice) };
    let missing: Vec<i64> = missing.split(", ").map(|figure| figure.parse().unwrap()).collect();
    let figure = dice.pick(&missing);
    let tens = 10_i64.pow(place - 1);
    let counts = i64::try_from(1_000 + dice.below(9_000)).unwrap();
    let counts = counts - counts / tens % 10 * tens + figure * tens;
    format!("{} uF", Decimal::new(counts, -2).unwrap())
}

/// Ten frames a text, at the given time on; one frame of each lot is damaged.
fn play(truth: &Profile, text: &str, at: &mut i64, recording: &mut Recording) -> Observation {
    let from = *at + 1;
    for n in 0..10 {
        *at += 250;
        let mut bytes = simulate::encode(truth, &readings(text, None)).unwrap();
        match n {
            4 => drop(bytes.remove(5)),
            7 => bytes[8] ^= 0x02,
            _ => {}
        }
        recording.push(ms(*at), &bytes);
    }
    see(from, *at, text)
}

#[test]
fn a_display_is_learned_from_what_it_showed() {
    let (truth, _) = note("generic-segment-meter");
    let (mut recording, mut seen, mut at) = (Recording::new(), Vec::new(), 0);
    let mut learned = None;
    // Each place shows each figure, no two places the same one after another.
    let texts = [
        "12.34 uF",
        "23.45 uF",
        "34.56 uF",
        "45.67 uF",
        "56.78 uF",
        "67.89 uF",
        "78.90 uF",
        "89.01 uF",
        "90.12 uF",
        "0.123 uF",
        "-230.4 V dc",
        "462.9 V dc",
        "81.35 uF hold",
        "907.3 nF",
        "OL nF",
    ];
    for text in texts {
        seen.push(play(&truth, text, &mut at, &mut recording));
        let now = learn(HEAD, &recording, &seen);
        assert!(now.hypotheses[0].words.contains("13 bytes that count their own place"), "{now:?}");
        std::println!(
            "{text}: {:?}",
            match &now.outcome {
                Conclusion::Profile { .. } => "a profile",
                Conclusion::Ask(what) | Conclusion::Nothing(what) => what,
            }
        );
        learned = Some(now);
    }
    let learned = learned.unwrap();
    let (profile, toml) = profile_of(&learned);
    std::println!("{toml}");
    let (right, withheld, wrong) = compare(&decoded(&truth, &recording), &decoded(&profile, &recording));
    assert_eq!((withheld, wrong), (0, 0), "{toml}");
    assert!(right > 90, "{right}");
    // The bits are those of the class: digit 1 is bytes 0 and 1, its minus bit 3 of byte 1.
    assert!(toml.contains(
        "{ a = \"0.0\", b = \"0.1\", c = \"0.2\", d = \"0.3\", e = \"1.0\", f = \"1.1\", g = \"1.2\" }"
    ));
    assert!(toml.contains("minus = \"1.3\"") && toml.contains("hold = \"9.0\""), "{toml}");
}

/// Numbers of one function until there is a profile; then anything at all: what was not shown is withheld, nothing is wrong.
#[test]
fn made_up_displays_are_learned_and_never_misread() {
    let mut dice = Dice(77);
    let (mut taken, mut sums) = (Vec::new(), (0, 0, 0));
    let meters = 40;
    for _ in 0..meters {
        let truth = made_up(&mut dice);
        let (mut recording, mut seen, mut at) = (Recording::new(), Vec::new(), 0);
        let mut advice = String::new();
        let profile = loop {
            let text = heeding(&advice, &mut dice);
            if simulate::encode(&truth, &readings(&text, None)).is_err() {
                advice.clear();
                continue;
            }
            seen.push(play(&truth, &text, &mut at, &mut recording));
            match learn(HEAD, &recording, &seen).outcome {
                Conclusion::Profile { toml, .. } => break Profile::parse(&toml).unwrap(),
                Conclusion::Ask(what) | Conclusion::Nothing(what) => {
                    assert!(seen.len() < 60, "not learned from {} numbers: {what}", seen.len());
                    advice = what;
                }
            }
        };
        taken.push(seen.len());
        let (mut fresh, mut at) = (Recording::new(), 0);
        for _ in 0..60 {
            let text = anything(&mut dice);
            if simulate::encode(&truth, &readings(&text, None)).is_ok() {
                play(&truth, &text, &mut at, &mut fresh);
            }
        }
        let (right, withheld, wrong) = compare(&decoded(&truth, &fresh), &decoded(&profile, &fresh));
        sums = (sums.0 + right, sums.1 + withheld, sums.2 + wrong);
    }
    taken.sort_unstable();
    std::println!(
        "{meters} displays learned from {} to {} numbers, median {}; then {} right, {} withheld, {} wrong",
        taken[0],
        taken[taken.len() - 1],
        taken[taken.len() / 2],
        sums.0,
        sums.1,
        sums.2
    );
    assert_eq!(sums.2, 0);
    assert!(sums.0 > 1_000 && taken[taken.len() / 2] <= 20);
}

#[test]
fn what_is_not_told_apart_is_asked_for() {
    let (truth, _) = note("generic-segment-meter");
    let asked = |texts: &[&str], said: &[&str]| {
        let (mut recording, mut seen, mut at) = (Recording::new(), Vec::new(), 0);
        for (text, said) in texts.iter().zip(said) {
            let played = play(&truth, text, &mut at, &mut recording);
            seen.push(Observation { shown: Displayed::parse(said).unwrap(), ..played });
        }
        match learn(HEAD, &recording, &seen).outcome {
            Conclusion::Ask(what) | Conclusion::Nothing(what) => what,
            Conclusion::Profile { toml, .. } => panic!("{toml}"),
        }
    };
    let same = ["38.52 uF", "38.51 uF"];
    let what = asked(&same, &same);
    assert!(
        what.contains("of digit 1 from the right") && what.contains("has not shown 0, 3, 4, 5, 6, 7, 8, 9:"),
        "{what}"
    );
    // What was said is not what was shown.
    let shown = [
        "12.34 uF", "23.45 uF", "34.56 uF", "45.67 uF", "56.78 uF", "67.89 uF", "78.90 uF", "89.01 uF",
        "90.12 uF", "0.123 uF",
    ];
    let mut said = shown;
    said[3] = "45.17 uF";
    let what = asked(&shown, &said);
    assert!(
        what.contains("no bits follow the figures of digit 2 from the right, which has shown 0, 1, 2"),
        "{what}"
    );
    let what = asked(&["OL uF"], &["OL uF"]);
    assert!(what.contains("only numbers show"), "{what}");
}
