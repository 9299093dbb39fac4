//! The reader beside a plain one that holds the whole text and takes every line through a tree of values; recordings that
//! are damaged; what is said of them.
use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;

use std::fmt::Write as _;
use visit::act::Act;

use proptest::prelude::*;
use quantity::Instant;

use super::*;

const HEAD: &str = "{\"cliplead_recording\":1}\n";

fn read(bytes: impl AsRef<[u8]>) -> Result<Recording, ReadError> {
    super::read(bytes.as_ref(), &script::FrameScripts)
}

fn error(rest: &str) -> String {
    read(format!("{HEAD}{rest}")).unwrap_err().to_string()
}

#[test]
fn reads_events_in_order_with_their_lines() {
    let text = format!(
        "{HEAD}\n{}\n{}\n{}\n",
        r#"{"t":5,"event":"arm","unit":"RTU-07","component":"fan 1 capacitor","rule":"run-capacitor","plate":{"capacitance":"40 uF"}}"#,
        r#"{"t":9,"event":"confirm","hold_point":"locked out"}"#,
        r#"[{"bn":"urn:dev:cliplead:meter:","t":0.5,"n":"capacitance","u":"F","v":3.94e-05,"shown":"39.40 uF"}]"#,
    );
    let recording = read(&text).unwrap();
    let places: Vec<(usize, i64)> = recording.events.iter().map(|e| (e.line, e.at.micros())).collect();
    assert_eq!(places, [(3, 5), (4, 9), (5, 500_000)]);
}

#[test]
fn says_what_and_where() {
    assert!(read("").unwrap_err().to_string().contains("empty"));
    assert!(read("\n \n").unwrap_err().to_string().contains("empty"));
    assert!(read("{}").unwrap_err().to_string().contains("line 1"));
    assert!(read("{\"cliplead_recording\":9}").unwrap_err().to_string().contains("version 9"));
    assert!(read(b"\xff\xfe\n").unwrap_err().to_string().contains("line 1: the header is not UTF-8"));
    assert!(read("x".repeat(LINE_BYTES_MAX + 1)).unwrap_err().to_string().contains("the header is longer"));
    assert!(error("nonsense\n").starts_with("line 2: not JSON"));
    assert!(error("{\"t\":1,\"event\":\"teleport\"}\n").contains("teleport"));
    assert!(error("{\"t\":1,\"event\":\"gap\",\"device\":\"m\",\"why\":1}\n").contains("why"));
    assert!(error("{\"t\":1,\"event\":\"bytes\",\"device\":\"m\",\"hex\":\"4z\"}\n").contains("hex"));
    assert!(
        error("{\"t\":5,\"event\":\"finish\"}\n{\"t\":4,\"event\":\"finish\"}\n")
            .contains("line 3: time runs backwards")
    );
    assert!(
        error("{\"t\":1,\"event\":\"bytes\",\"device\":\"m\",\"text\":\"x\"}\n").contains("has not joined")
    );
    assert!(error("{\"t\":-5,\"event\":\"finish\"}\n").contains("t is -5"));
    let plate =
        r#"{"t":1,"event":"arm","unit":"a","component":"b","rule":"c","plate":{"capacitance":"40uf"}}"#;
    assert!(error(&format!("{plate}\n")).contains("did you mean \"uF\""));
}

/// What a line says wrongly is quoted; it must not act on the terminal it is quoted on.
#[test]
fn an_error_quotes_nothing_that_acts() {
    for line in [
        r#"{"t":1,"event":"\u001b[2J\n9.000 s  PASS"}"#,
        r#"{"t":1,"event":"gap","device":"m","\u009b31m\u202e":1}"#,
        r#"{"t":1,"event":"arm","unit":"a","component":"b","rule":"c","plate":{"x\u0007":"1"}}"#,
        r#"{"t":1,"event":"joined","device":"m","profile":"profile = 1\n\"\\u001b[2J\" = 1\n"}"#,
    ] {
        let error = error(&format!("{line}\n"));
        assert!(error.starts_with("line 2: "), "{error:?}");
        let later = error.lines().skip(1);
        assert!(later.into_iter().all(|line| line.starts_with("    ")), "{error:?}");
        let acts = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
        assert!(!error.chars().any(acts), "{error:?}");
    }
}

#[test]
fn a_line_cut_off_by_a_crash_costs_only_itself() {
    let recording = read(format!("{HEAD}{{\"t\":1,\"event\":\"finish\"}}\n{{\"t\":2,\"eve")).unwrap();
    assert_eq!(
        said(&recording),
        ["r:3: the last line is cut off and left out; the recorder was stopped hard"]
    );
    assert_eq!(recording.events.len(), 1);
}

fn said(recording: &Recording) -> Vec<String> {
    recording.skipped.words("r").collect()
}

const ODD_NAMES: &str = concat!(
    "{\"cliplead_recording\":1,\"site\":\"Dachhöhe, 40 µF bei 20 °C\"}\n",
    "{\"t\":0,\"event\":\"joined\",\"device\":\"Zähler °C\"}\n",
    "{\"t\":1,\"event\":\"bytes\",\"device\":\"Zähler °C\",\"text\":\"capacitance=39.4uF\\n\"}\n",
    "{\"t\":2,\"event\":\"arm\",\"unit\":\"Gerät 7\",\"component\":\"Lüfter µF\",\"rule\":\"run-capacitor\",",
    "\"plate\":{\"capacitance\":\"40 µF\"}}\n",
    "{\"t\":3,\"event\":\"finish\"}\n"
);

/// Cut at every byte, also in the middle of a character: what stands before the cut is read, what is cut is told.
#[test]
fn a_recording_cut_anywhere_keeps_what_stands_before_the_cut() {
    let whole = read(ODD_NAMES).unwrap();
    let header = ODD_NAMES.find('\n').unwrap();
    let mut in_a_character = 0;
    for cut in 0..ODD_NAMES.len() {
        let bytes = &ODD_NAMES.as_bytes()[..cut];
        let kept = read(bytes);
        if cut < header {
            // Without a header there is no recording.
            assert_eq!(kept.unwrap_err().line, 1, "cut at {cut}");
            continue;
        }
        let kept = kept.unwrap_or_else(|error| panic!("cut at {cut}: {error}"));
        in_a_character += usize::from(!ODD_NAMES.is_char_boundary(cut));
        let lines = bytes.strip_suffix(b"\n").unwrap_or(bytes).split(|byte| *byte == b'\n').count();
        let last = bytes.rsplit(|byte| *byte == b'\n').next().unwrap();
        let whole_line = last.is_empty() || ODD_NAMES.as_bytes()[cut] == b'\n';
        assert_eq!(kept.skipped.count(), usize::from(!whole_line), "cut at {cut}");
        let wanted = whole.events.iter().filter(|e| e.line < lines || (e.line == lines && whole_line));
        assert_eq!(shown(&kept.events), shown(wanted), "cut at {cut}");
    }
    assert_eq!(in_a_character, 8, "cuts in the middle of a character, behind the header");
}

fn shown<'a>(events: impl IntoIterator<Item = &'a Recorded>) -> Vec<String> {
    events.into_iter().map(|e| format!("{} {:?} {:?}", e.line, e.at, e.event)).collect()
}

#[test]
fn a_damaged_line_in_the_middle_costs_itself_and_is_a_gap_of_each_device() {
    let joined =
        "{\"t\":0,\"event\":\"joined\",\"device\":\"a\"}\n{\"t\":4,\"event\":\"joined\",\"device\":\"b\"}\n";
    let finish = "{\"t\":9,\"event\":\"finish\"}\n";
    let long = format!("{{\"t\":5,\"event\":\"{}\"}}\n", "x".repeat(LINE_BYTES_MAX));
    let not_text = b"{\"t\":5,\"event\":\"\xc3\"}\n";
    for (damaged, says) in [(&not_text[..], "not UTF-8 text"), (long.as_bytes(), "longer than 1048576 bytes")]
    {
        let recording =
            read([HEAD.as_bytes(), joined.as_bytes(), damaged, finish.as_bytes()].concat()).unwrap();
        let said = said(&recording);
        assert!(said.len() == 1 && said[0].starts_with("r:4: ") && said[0].contains(says), "{said:?}");
        let behind: Vec<(usize, i64, &str)> = recording.events[2..]
            .iter()
            .map(|e| match &e.event {
                Some(Event::Gap { device }) => (e.line, e.at.micros(), device.as_str()),
                _ => (e.line, e.at.micros(), "-"),
            })
            .collect();
        assert_eq!(behind, [(4, 4, "a"), (4, 4, "b"), (5, 9, "-")]);
    }
}

#[test]
fn of_many_damaged_lines_the_first_are_named_and_the_rest_counted() {
    let recording = read([HEAD.as_bytes(), &b"\xff\n".repeat(1_000)].concat()).unwrap();
    let said = said(&recording);
    assert_eq!((recording.skipped.count(), said.len()), (1_000, 6));
    assert_eq!(said[5], "r: 995 more lines are left out");
}

/// A stream that breaks in the middle is told, with the line.
#[test]
fn a_stream_that_breaks_is_told() {
    struct Broken;
    impl std::io::Read for Broken {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("the disk is gone"))
        }
    }
    let source = std::io::BufReader::new(std::io::Read::chain(HEAD.as_bytes(), Broken));
    let error = super::read(source, &script::FrameScripts).unwrap_err();
    assert_eq!(error.to_string(), "line 2: cannot be read: the disk is gone");
}

/// The plain reader: the whole text at once, each line through a tree of values.
fn plainly(text: &str) -> Result<Vec<String>, ReadError> {
    let mut lines = text.split_inclusive('\n').enumerate().filter(|(_, line)| !line.trim().is_empty());
    lines.next();
    let mut events = Vec::new();
    let (mut last, mut joined) = (Instant::ZERO, Vec::new());
    for (index, line) in lines {
        let number = index + 1;
        let value: serde_json::Value = match serde_json::from_str(line.strip_suffix('\n').unwrap_or(line)) {
            Ok(value) => value,
            Err(_) if !line.ends_with('\n') => break,
            Err(error) => return Err(fault(number, &format!("not JSON: {error}"))),
        };
        for (at, event) in through_a_tree(value).map_err(|why| fault(number, &why))? {
            match &event {
                Some(Event::Joined { device, .. }) => joined.push(device.clone()),
                Some(Event::Bytes { device, .. }) if !joined.contains(device) => {
                    return Err(fault(
                        number,
                        &format!(
                            "device {device:?} has not joined; a line with \"event\":\"joined\" must come before its bytes"
                        ),
                    ));
                }
                _ => {}
            }
            if at < last {
                let (at, last) = (at.seconds(), last.seconds());
                return Err(fault(number, &format!("time runs backwards: {at} s after {last} s")));
            }
            last = at;
            events.extend(shown([&Recorded { line: number, at, event }]));
        }
    }
    Ok(events)
}

fn through_a_tree(value: serde_json::Value) -> Result<Vec<(Instant, Option<Event>)>, String> {
    if value.is_array() {
        let readings = senml::pack(&value).map_err(|e| format!("SenML: {e}"))?;
        let event = |(device, reading): (String, quantity::Reading)| {
            (reading.at, Some(Event::Round(round::Event::Reading { device, reading })))
        };
        return Ok(readings.into_iter().map(event).collect());
    }
    let line: LineEvent = serde_json::from_value(value).map_err(|e| e.to_string())?;
    let t = line.time_us();
    if t < 0 {
        return Err(format!("t is {t}; time counts microseconds from the start"));
    }
    Ok(vec![(Instant::from_micros(t), line.event(&script::FrameScripts)?)])
}

/// Lines as they are written, and others that mean the same, or nearly.
fn line() -> impl Strategy<Value = String> {
    let name = || prop_oneof![Just("m"), Just("Zähler"), Just("z\\u00e4h\\n"), Just("?")];
    let key = prop_oneof![Just("text"), Just("hex"), Just("why"), Just("device"), Just("t")];
    let value = prop_oneof![
        Just("\"CAP 39.40\\r\\n\""),
        Just("\"4f 4c\""),
        Just("\"4\""),
        Just("\"\\ud800\""),
        Just("\"µF\""),
        Just("null"),
        Just("7"),
        Just("[1]"),
    ];
    let t = prop_oneof![
        8 => (0_i64..50).prop_map(|t| t.to_string()),
        1 => prop_oneof![Just("-0"), Just("1.0"), Just("1e1"), Just("9223372036854775808"), Just("\"1\"")]
            .prop_map(str::to_owned),
    ];
    let event =
        prop_oneof![8 => Just("bytes"), 1 => Just("b\\u0079tes"), 1 => Just("gap"), 1 => Just("Bytes")];
    prop_oneof![
        8 => (t, event, name(), key, value).prop_map(|(t, event, device, key, value)| {
            format!("{{\"t\":{t},\"event\":\"{event}\",\"device\":\"{device}\",\"{key}\":{value}}}")
        }),
        2 => (name(), any::<bool>()).prop_map(|(device, space)| {
            let space = if space { " \t" } else { "" };
            format!("{space}{{{space}\"event\":\"joined\",\"device\":\"{device}\",\"t\":0}}{space}")
        }),
        1 => Just("[1,\"bytes\",\"m\",\"x\",null]".to_owned()),
        1 => Just("[{\"bn\":\"m:\",\"t\":0.00001,\"u\":\"F\",\"v\":4e-05},{\"u\":\"F\",\"v\":1,\"t\":0}]".to_owned()),
        1 => Just("{\"t\":40,\"event\":\"rules\",\"hash\":\"x\"}".to_owned()),
        1 => Just(String::new()),
    ]
}

fn recording() -> impl Strategy<Value = String> {
    (proptest::collection::vec(line(), 0..12), any::<bool>()).prop_map(|(lines, sorted)| {
        let mut lines = lines;
        if sorted {
            // The time stands near the front, so most come in order then.
            lines.sort_by_key(|line| {
                let digits: String = line
                    .chars()
                    .skip_while(|c| !c.is_ascii_digit())
                    .take_while(char::is_ascii_digit)
                    .collect();
                digits.parse().unwrap_or(0_u64)
            });
        }
        let mut text = HEAD.to_owned();
        for device in ["m", "Zähler", "z\\u00e4h\\n"] {
            let _ = writeln!(text, "{{\"t\":0,\"event\":\"joined\",\"device\":\"{device}\"}}");
        }
        text.push_str(&lines.join("\n"));
        text
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
    fn answers_come_back_as_they_were(number in proptest::option::of(proptest::num::u32::ANY), yes: bool) {
        let event = Event::Round(round::Event::from(Act::Answer { question: number, yes }));
        let line = serde_json::to_string(&LineEvent::of(7, &event).unwrap()).unwrap();
        // Without a number the line is the one that older programs wrote.
        proptest::prop_assert_eq!(number.is_none(), line == format!("{{\"event\":\"answer\",\"t\":7,\"yes\":{yes}}}"));
        let recording = read(format!("{HEAD}{line}\n")).unwrap();
        proptest::prop_assert_eq!(format!("{:?}", recording.events[0].event), format!("{:?}", Some(event)));
    }

#[test]
    fn reads_as_the_plain_reader_does(text in recording(), piece in 1_usize..40) {
        let source = std::io::BufReader::with_capacity(piece, text.as_bytes());
        let read = super::read(source, &script::FrameScripts).map(|read| shown(&read.events));
        prop_assert_eq!(read, plainly(&text));
    }

    /// Bytes changed, left out, put in: as the plain reader where the text still is one, else the lines that are not text
    /// are left out and the rest is read as if they had never stood there, but for the gaps.
    #[test]
    fn reads_a_damaged_recording_as_the_plain_reader_does(
        text in recording(),
        damage in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>(), 0_u8..3), 1..4),
    ) {
        let mut bytes = text.into_bytes();
        for (place, byte, how) in damage {
            let place = HEAD.len() + place.index(bytes.len() - HEAD.len() + 1);
            match how {
                0 => bytes.insert(place, byte),
                1 if place < bytes.len() => bytes[place] = byte,
                _ if place < bytes.len() => drop(bytes.remove(place)),
                _ => {}
            }
        }
        let mut kept = Vec::new();
        for line in bytes.split_inclusive(|byte| *byte == b'\n') {
            // A blank line keeps the numbers of those behind it.
            kept.extend_from_slice(if std::str::from_utf8(line).is_ok() { line } else { b"\n" });
        }
        let wanted = plainly(std::str::from_utf8(&kept).unwrap());
        let left_out = bytes.split(|byte| *byte == b'\n').filter(|line| std::str::from_utf8(line).is_err()).count();
        let read = read(&bytes);
        if let Ok(read) = &read {
            prop_assert!((left_out..=left_out + 1).contains(&read.skipped.count()));
        }
        let without_gaps = |read: Recording| {
            let gap_of_a_loss = |e: &&Recorded| {
                let line = bytes.split(|byte| *byte == b'\n').nth(e.line - 1).unwrap();
                matches!(e.event, Some(Event::Gap { .. })) && std::str::from_utf8(line).is_err()
            };
            shown(read.events.iter().filter(|e| !gap_of_a_loss(e)))
        };
        prop_assert_eq!(read.map(without_gaps), wanted);
    }

    #[test]
    fn never_panics(bytes in proptest::collection::vec(any::<u8>(), 0..200), text in "(\\PC|\n){0,200}") {
        let _ = read(&bytes);
        let _ = read([HEAD.as_bytes(), &bytes].concat());
        let _ = read(format!("{HEAD}{text}"));
    }

    #[test]
    fn bytes_come_back_as_they_were(data in proptest::collection::vec(any::<u8>(), 0..64)) {
        let line = LineEvent::bytes(7, "meter", &data);
        let joined = "{\"t\":0,\"event\":\"joined\",\"device\":\"meter\"}";
        let text = format!("{HEAD}{joined}\n{}\n", serde_json::to_string(&line).unwrap());
        match &read(&text).unwrap().events[1].event {
            Some(Event::Bytes { data: back, .. }) => prop_assert_eq!(back, &data),
            other => prop_assert!(false, "{:?}", other),
        }
    }
}
