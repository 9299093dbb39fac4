//! Decode scripts: what they give, what is refused when loading and where, what fails while running and where, and what attacks
//! the engine.
use super::*;
use alloc::vec::Vec;
use proptest::prelude::*;
use quantity::{Coupling, Decimal, Flags, Sign, State, Unit};
use wire::script::ScriptReading;
use wire::{Field, Reason};

fn load(text: &str) -> Result<Arc<dyn FrameScript>, ScriptError> {
    FrameScripts.compile(text)
}

/// `body` as the body of decode, beginning on line 2.
fn body(body: &str) -> String {
    format!("fn decode(frame) {{\n{body}\n}}")
}

fn decode(text: &str, frame: &[u8]) -> Result<ScriptOutput, ScriptError> {
    load(&body(text)).unwrap_or_else(|error| panic!("{text}: {error}")).decode(frame)
}

/// What a frame shows, a line for each channel.
fn shown(text: &str, frame: &[u8]) -> Vec<String> {
    match decode(text, frame) {
        Ok(ScriptOutput::Ignored) => alloc::vec!["ignored".into()],
        Ok(ScriptOutput::Readings(all)) => all
            .iter()
            .map(|one| match one {
                Ok(ScriptReading { channel, unit, coupling, state, flags }) => {
                    let value = match state {
                        State::Value(number) => number.to_string(),
                        State::Overload(Sign::Positive) => "OL".into(),
                        State::Overload(Sign::Negative) => "-OL".into(),
                        State::NoValue => "---".into(),
                    };
                    let coupling = coupling.map_or(String::new(), |coupling| format!(" {coupling}"));
                    let hold = if flags.hold { " hold" } else { "" };
                    format!("{channel}: {value} {unit}{coupling}{hold}")
                }
                Err(reason) => format!("refused: {}", reason.words()),
            })
            .collect(),
        Err(error) => alloc::vec![format!("failed: {error}")],
    }
}

#[test]
fn every_function_gives_what_it_says() {
    let frame = b"\xD7\x05\x0C\xFE 38.52\x12\x34\xBF\x80\0\0";
    for (text, says) in [
        ("reading(0, u8(frame, 0), 0, \"ohm\")", "0: 215 ohm"),
        ("reading(1, i8(frame, 0), -1, \"°C\")", "1: -4.1 °C"),
        ("reading(0, u16le(frame, 1), -2, \"V dc\")", "0: 30.77 V dc"),
        ("reading(0, u16be(frame, 1), -2, \"V dc\")", "0: 12.92 V dc"),
        ("reading(0, f32be(frame, 12), -2, \"V dc\")", "0: -1.00 V dc"),
        ("reading(0, text(frame, 4, 10), \"uF\")", "0: 38.52 uF"),
        ("reading(0, text(frame, 5, 7), \"uF\")", "0: 38 uF"),
        ("reading(0, bcd(frame, 10, 12), -1, \"uF\")", "0: 123.4 uF"),
        ("reading(0, length(frame), 0, \"ohm\")", "0: 16 ohm"),
        ("if bit(frame, 1, 2) { overload(0, \"ohm\") } else { ignored() }", "0: OL ohm"),
        ("if bit(frame, 1, 1) { overload(0, \"ohm\") } else { ignored() }", "ignored"),
        ("overload(0, \"V dc\", -1)", "0: -OL V dc"),
        ("no_value(3, \"°C\")", "3: --- °C"),
        ("flag(no_value(3, \"°C\"), \"hold\")", "3: --- °C hold"),
        ("no_value(3, \"°C\").flag(\"hold\")", "3: --- °C hold"),
        ("refuse(\"function\")", "refused: function not in the profile, or at odds with the unit"),
        ("refuse(\"checksum\")", "refused: checksum does not hold"),
        ("reading(0, \"3x\", \"uF\")", "refused: value not understood"),
        // IEEE 754: infinity and not-a-number.
        ("reading(0, 1.0 / 0.0, -2, \"V dc\")", "0: OL V dc"),
        ("reading(0, -1.0 / 0.0, -2, \"V dc\")", "0: -OL V dc"),
        ("reading(0, 0.0 / 0.0, -2, \"V dc\")", "0: --- V dc"),
        ("reading(0, 1.0e300, -2, \"V dc\")", "refused: value not understood"),
        ("reading(0, figure(0x6F), 0, \"ohm\")", "0: 9 ohm"),
        ("reading(0, abs(0 - 7), 0, \"ohm\")", "0: 7 ohm"),
        ("reading(0, u8(frame, 0) ^ 0x5A & 0xFF, 0, \"ohm\")", "0: 141 ohm"),
        ("reading(0, (u8(frame, 0) >> 4) | 1 << 8, 0, \"ohm\")", "0: 269 ohm"),
        (
            "let n = 0; let i = 0; while i < 4 { n = n * 10 + i; i += 1; } reading(0, n, -3, \"V dc\")",
            "0: 0.123 V dc",
        ),
    ] {
        assert_eq!(shown(text, frame), [says], "{text}");
    }
    let both =
        shown("all_of(reading(0, 1, 0, \"uF\"), all_of(no_value(1, \"°C\"), refuse(\"flag\")))", frame);
    assert_eq!(both, ["0: 1 uF", "1: --- °C", "refused: flag not in the profile"]);
}

/// Check value of CRC-16/MODBUS over "123456789" in the catalogue of parametrised CRC algorithms (from memory: 0x4B37); the sums
/// are counted by hand.
#[test]
fn checksums_are_numbers() {
    for (kind, sum) in
        [("crc16modbus", 0x4B37), ("sum8", 0xDD), ("xor8", 0x31), ("sum16le", 477), ("sum16be", 477)]
    {
        let text = format!("reading(0, checksum(\"{kind}\", frame, 0, 9), 0, \"ohm\")");
        assert_eq!(shown(&text, b"123456789"), [format!("0: {sum} ohm")]);
    }
}

#[test]
fn what_may_not_stand_in_a_script_is_refused_at_its_line() {
    for (text, line, says) in [
        ("", 0, "there is no fn decode(frame)"),
        ("fn decode(a, b) { ignored() }", 0, "there is no fn decode(frame)"),
        ("let x = 1;\nfn decode(frame) { ignored() }", 1, "only functions stand"),
        ("fn decode(frame) {\n  readin(0, 1, 0, \"uF\")\n}", 2, "did you mean \"reading\""),
        ("fn decode(frame) {\n  reading(0, \"uF\")\n}", 2, "reading takes 4 or 3 values; 2 were given"),
        ("fn decode(frame) {\n  reading(0, 1, 0,\n \"uf\")\n}", 3, "did you mean \"uF\""),
        ("fn decode(frame) {\n  reading(0, 1, 0, \"ohm ac\")\n}", 2, "is not ac"),
        ("fn decode(frame) {\n  flag(ignored(), \"held\")\n}", 2, "did you mean \"hold\""),
        ("fn decode(frame) {\n  ignored().flag(\"held\")\n}", 2, "did you mean \"hold\""),
        ("fn decode(frame) {\n  refuse(\"crc\")\n}", 2, "refuse takes value, unit"),
        (
            "fn decode(frame) {\n  let c = checksum(\"crc\", frame, 0, 1); ignored()\n}",
            2,
            "checksum takes sum8",
        ),
        ("fn decode(frame) {\n  let x = [1, 2]; ignored()\n}", 2, "a list"),
        ("fn decode(frame) {\n  frame[0]; ignored()\n}", 2, "a list"),
        ("fn decode(frame) {\n  let x = #{a: 1}; ignored()\n}", 2, "a group"),
        ("fn decode(frame) {\n  frame.length; ignored()\n}", 2, "a field"),
        ("fn decode(frame) {\n  let x = `a${frame}`; ignored()\n}", 2, "a text made at run time"),
        ("fn decode(frame) {\n  throw \"x\"\n}", 2, "throw is not part"),
        ("fn decode(frame) {\n  loop { }\n}", 2, "loop is not part"),
        ("fn decode(frame) {\n  for i in 0..3 { }\n}", 2, "for is not part"),
        ("fn decode(frame) {\n  print(\"x\")\n}", 2, "print is not part"),
        ("fn decode(frame) {\n  fraem\n}", 2, "did you mean \"frame\""),
        ("fn decode(frame) {\n  while true { break 5; }\n ignored()\n}", 2, "break with a value"),
        ("fn decode(frame) {\n  let f = 2 ** 3; ignored()\n}", 2, "** is not part"),
        ("fn decode(frame) {\n  helper!(1)\n}\nfn helper(a) { ignored() }", 2, "helper!(...) is not part"),
        ("fn decode(frame) {\n  helper(1)\n}\nfn helper() { ignored() }", 2, "another number of values"),
        ("fn u8(frame, at) { 7 }\nfn decode(frame) { ignored() }", 1, "u8 is a word of decode scripts"),
        ("fn decode(frame) {\n  ignored(\n}", 3, ""),
        ("fn decode(frame) {\n  //\u{202e}\n ignored() }", 2, "not seen"),
        // Found by fuzzing: rhai takes it for the end of a line.
        ("fn decode(frame) {\n  // a\r ignored(\n}", 2, "not seen"),
    ] {
        let error = load(text).err().unwrap_or_else(|| panic!("{text:?} was taken"));
        assert!(error.line == line && error.message.contains(says), "{text:?}: {error:?}");
    }
    let long = body(&"let a = 1; ".repeat(4_000));
    assert!(load(&long).unwrap_err().message.contains("too much"));
}

/// The first wall has no gap: what may not stand anywhere is refused wherever an expression can stand.
#[test]
fn every_place_is_looked_at() {
    for place in [
        "{}; ignored()",
        "let x = {}; ignored()",
        "let x = 1; x = {}; ignored()",
        "let x = 1; x += {}; ignored()",
        "if {} { ignored() } else { ignored() }",
        "if true { {} } else { ignored() }",
        "if true { ignored() } else { {} }",
        "if true { ignored() } else if {} { ignored() } else { ignored() }",
        "while {} { break; } ignored()",
        "while true { {}; break; } ignored()",
        "return {};",
        "u8(frame, {}); ignored()",
        "u8(frame, 1 + {}); ignored()",
        "let y = -{}; ignored()",
        "let y = !{}; ignored()",
        "let y = true && {}; ignored()",
        "let y = {} || true; ignored()",
        "let y = { {} }; ignored()",
        "let y = if true { {} } else { 1 }; ignored()",
        "no_value(0, {})",
        "ignored().flag({})",
        "{}.flag(\"hold\")",
        "all_of(ignored(), all_of(ignored(), {}))",
        "helper({})",
    ] {
        for (what, says) in
            [("[1]", "list"), ("#{a: 1}", "group"), ("frame.bytes", "a field"), ("`${1}`", "text made")]
        {
            let text = format!("{}\nfn helper(a) {{ a }}", body(&place.replacen("{}", what, 1)));
            let error = load(&text).err().unwrap_or_else(|| panic!("{text} was taken"));
            // Some are refused by the parser itself.
            let said = error.message.contains(says) || error.message.contains("xpect");
            assert!(error.line == 2 && said, "{text}: {error:?}");
        }
    }
    let inside =
        "fn decode(frame) { helper(frame) }\nfn helper(a) {\n if true { while true { let x = [1]; } }\n a }";
    assert_eq!(load(inside).unwrap_err().line, 3);
}

#[test]
fn what_fails_while_running_gives_nothing_and_names_its_line() {
    for (text, says) in [
        ("reading(0, u16le(frame, 3), 0, \"uF\")", "the frame has 4 bytes; byte 3"),
        ("reading(0, u8(frame, 0 - 1), 0, \"uF\")", "the frame has 4 bytes; byte -1"),
        ("reading(0, u8(frame, 0) / 0, 0, \"uF\")", "0 / 0 has no whole number"),
        ("let n = 1; while true { n *= 3; } ignored()", "has no whole number of 64 bits"),
        ("let n = 1; while true { n = n ^ 1; } ignored()", "more than 5000 steps"),
        ("while true { checksum(\"crc16modbus\", frame, 0, 4); } ignored()", "more than 5000 steps"),
        ("reading(0, 1 << 63, 0, \"uF\")", "has no whole number of 64 bits"),
        ("reading(256, 1, 0, \"uF\")", "a channel is 0 to 255"),
        ("reading(0, 1, 25, \"uF\")", "a power of ten is -24 to 24"),
        ("let unit = \"uf\"; reading(0, 1, 0, unit)", "did you mean \"uF\""),
        ("reading(0, true, 0, \"uF\")", "no such function: reading (i64, bool, i64"),
        ("if frame == 1 { ignored() } else { ignored() }", "== cannot work on the frame and a whole number"),
        ("\"a\" + \"b\"", "+ cannot work on a text and a text"),
        ("all_of(ignored(), 5)", "all_of takes what is shown, not a whole number"),
        ("all_of(no_value(0, \"uF\"), no_value(0, \"uF\"))", "channel 0 is shown twice"),
        ("figure(0x08)", "show no figure"),
        ("text(frame, 0, 4)", "no plain text"),
        ("bcd(frame, 3, 4)", "no decimal digits"),
        ("text(frame, 3, 2)", "3 to 2 are not among them"),
        ("5", "decode gave a whole number; it gives"),
        ("", "decode gave nothing"),
        ("again(frame)", "more than 8 deep"),
    ] {
        let text = format!("{}\nfn again(frame) {{ again(frame) }}", body(text));
        let error =
            load(&text).unwrap_or_else(|e| panic!("{text}: {e}")).decode(&[0, 1, 2, 0xFF]).unwrap_err();
        assert!(error.message.contains(says), "{text}: {error}");
        let line = match error.message.as_str() {
            // rhai does not say where.
            text if ["decode gave", "steps", "deep"].iter().any(|part| text.contains(part)) => 0,
            _ => 2,
        };
        assert_eq!(error.line, line, "{text}: {error:?}");
    }
}

/// Checksums take longer than a step, so they are counted by their bytes too.
#[test]
fn checksums_are_not_free() {
    let error = decode("while true { checksum(\"crc16modbus\", frame, 0, 1000); } ignored()", &[0; 1000])
        .unwrap_err();
    assert!(error.message.contains("too many bytes"), "{error}");
}

/// The rules that attack the engine, as scripts: bare, inside decode, and before a good reading. Each ends, and none gives
/// anything but that reading.
#[test]
fn hostile_texts_are_refused_or_fail() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/hostile-rules");
    let mut tried = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let Ok(hostile) = std::fs::read_to_string(&path) else { continue };
        for text in [hostile.clone(), body(&hostile), body(&format!("{hostile};\n{GOOD}"))] {
            let text_of_reading = text.contains(GOOD);
            let run = move || load(&text).and_then(|script| script.decode(&[1, 2, 3]));
            let thread = std::thread::Builder::new().stack_size(2 * 1024 * 1024).spawn(run).unwrap();
            let given = thread.join().unwrap_or_else(|_| panic!("{} panics", path.display()));
            let good = text_of_reading && given == load(&body(GOOD)).unwrap().decode(&[]);
            assert!(given.is_err() || good, "{} gives {given:?}", path.display());
            tried += 1;
        }
    }
    assert!(tried >= 150, "{tried} tried");
}

#[test]
fn a_frame_is_decoded_alike_every_time() {
    let script = load(&body("reading(0, i16le(frame, 0), -1, \"°C\")")).unwrap();
    let first = script.decode(&[0xE7, 0x00]);
    let shown = ScriptReading {
        channel: 0,
        unit: Unit::CELSIUS,
        coupling: None::<Coupling>,
        state: State::Value(Decimal::new(231, -1).unwrap()),
        flags: Flags::default(),
    };
    assert_eq!(first, Ok(ScriptOutput::Readings(alloc::vec![Ok(shown)])));
    assert!((0..100).all(|_| script.decode(&[0xE7, 0x00]) == first));
    assert_eq!(REFUSED, Reason::Undecodable(Field::Value));
}

const GOOD: &str = "reading(0, 1, 0, \"uF\")";

const REFUSED: Reason = functions::REFUSALS[0].1;

proptest! {
    /// Anything that loads ends, whatever the frame holds.
    #[test]
    fn any_script_of_these_words_ends(
        lines in proptest::collection::vec("(let [a-c] = |if |while |return |[a-c] [\\+\\-*/%&|^<>=!]{1,2}=? ?|u8\\(frame, |reading\\(0, |bit\\(frame, 1, |figure\\(|[0-9]{1,19}|\\)|;|\\{|\\}|\"uF\"|true|frame|\n){0,12}", 0..6),
        frame in proptest::collection::vec(any::<u8>(), 0..20),
    ) {
        let text = format!("fn decode(frame) {{\n{}\n}}", lines.concat());
        if let Ok(script) = load(&text) {
            let _ = script.decode(&frame);
        }
    }
}
