//! A fast parser for the one kind of line that makes up most of a recording: bytes, with the keys in the order in
//! which this program writes them. Leaves any other line to `line.rs`.

use alloc::vec::Vec;

/// A line of bytes, written as the recorder writes it.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct PlainBytes<'a> {
    pub(crate) t: i64,
    pub(crate) device: &'a str,
    pub(crate) data: Vec<u8>,
}

/// More digits may not fit an `i64`.
const DIGITS_MAX: usize = 18;

impl<'a> PlainBytes<'a> {
    /// The line. `None` only means that it needs the general parser.
    pub(crate) fn parse(line: &'a str) -> Option<Self> {
        let rest = line.strip_prefix("{\"t\":")?;
        let (t, rest) = number(rest)?;
        let rest = rest.strip_prefix(",\"event\":\"bytes\",\"device\":\"")?;
        let (device, rest) = rest.split_at_checked(rest.bytes().position(|byte| byte == b'"')?)?;
        if device.bytes().any(|byte| byte < b' ' || byte == b'\\') {
            return None;
        }
        let (data, rest) = text(rest.strip_prefix("\",\"text\":\"")?)?;
        matches!(rest, "}" | "}\r").then_some(Self { t, device, data })
    }
}

/// A non-negative whole number, and the rest of the text.
fn number(text: &str) -> Option<(i64, &str)> {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let (number, rest) = text.split_at_checked(digits)?;
    // JSON writes no zeros before a number.
    let plain = (1..=DIGITS_MAX).contains(&digits) && (digits == 1 || !number.starts_with('0'));
    let value = |number: &str| number.bytes().fold(0, |value, digit| 10 * value + i64::from(digit - b'0'));
    plain.then(|| (value(number), rest))
}

/// The bytes of a JSON string up to its closing quote, and the rest of the text; `None` if it contains a rare escape.
fn text(text: &str) -> Option<(Vec<u8>, &str)> {
    let mut data = Vec::with_capacity(text.len());
    let mut rest = text;
    loop {
        let end = rest.bytes().position(|byte| matches!(byte, b'"' | b'\\' | 0..b' '))?;
        let (plain, from_end) = rest.split_at_checked(end)?;
        data.extend_from_slice(plain.as_bytes());
        match *from_end.as_bytes() {
            [b'"', ..] => return Some((data, from_end.get(1..)?)),
            [b'\\', escaped, ..] => data.push(match escaped {
                b'r' => b'\r',
                b'n' => b'\n',
                b't' => b'\t',
                b'"' | b'\\' | b'/' => escaped,
                _ => return None,
            }),
            _ => return None,
        }
        rest = from_end.get(2..)?;
    }
}

#[cfg(test)]
mod tests {
    use alloc::format;

    use super::*;
    use proptest::prelude::*;

    use crate::line::{BytesLine, LineEvent};

    /// Whatever it accepts, the JSON parser accepts with the same result.
    fn agrees(line: &str) -> bool {
        let Some(plain) = PlainBytes::parse(line) else { return false };
        let json = BytesLine::parse(line).unwrap_or_else(|| panic!("no JSON of bytes: {line:?}"));
        let pipeline::Event::Bytes { device, data } = json.event().unwrap() else { panic!("{line:?}") };
        assert_eq!((plain.t, plain.device, plain.data), (json.t, device.as_str(), data), "{line:?}");
        true
    }

    #[test]
    fn what_the_recorder_writes_is_read() {
        for data in ["CAP  12.45 uF        \r\n", "", "a\tb\"c\\d/ \r", "x"] {
            let json = crate::to_line(&LineEvent::bytes(1_234_567, "meter", data.as_bytes()));
            // The recorder puts the time first.
            let line =
                json.replacen("\"event\":\"bytes\",\"t\":1234567", "\"t\":1234567,\"event\":\"bytes\"", 1);
            assert!(agrees(&line), "{line}");
            assert!(agrees(&format!("{line}\r")), "{line}");
        }
    }

    #[test]
    fn what_is_not_plain_is_left_to_the_parser_of_json() {
        let at = |t: &str| format!(r#"{{"t":{t},"event":"bytes","device":"m","text":"x"}}"#);
        assert!(agrees(&at("0")) && agrees(&at("999999999999999999")));
        for t in ["", "-1", "01", "1.0", "1e3", "9223372036854775808", " 1"] {
            assert_eq!(PlainBytes::parse(&at(t)), None, "{t}");
        }
        for line in [
            r#"{"t":1,"event":"bytes","device":"m","hex":"00ff"}"#,
            r#"{"t":1,"event":"bytes","device":"m\u0041","text":"x"}"#,
            r#"{"t":1,"event":"bytes","device":"m","text":"\u0007"}"#,
            r#"{"t":1,"event":"bytes","device":"m","text":"x","hex":"00"}"#,
            r#"{"t":1,"event":"bytes","device":"m","text":"x"} x"#,
            r#"{"t":1,"event":"bytes","device":"m","text":"x"#,
            r#"{"t":1,"event":"gap","device":"m"}"#,
            "{\"t\":1,\"event\":\"bytes\",\"device\":\"m\",\"text\":\"a\u{1}b\"}",
            "{\"t\":1,\"event\":\"bytes\",\"device\":\"a\tb\",\"text\":\"x\"}",
        ] {
            assert_eq!(PlainBytes::parse(line), None, "{line}");
        }
    }

    proptest! {
        #[test]
        fn it_never_differs_from_the_parser_of_json(
            t in "[0-9]{0,20}",
            device in "[a-z°\\\\\"\u{0}-\u{1f}]{0,4}",
            text in "([ -~°]|\\\\[rntbf\"\\\\/u]|[\u{0}-\u{1f}]){0,12}",
            end in "\\}?[\r \t}]{0,2}",
        ) {
            let _ = agrees(&format!(r#"{{"t":{t},"event":"bytes","device":"{device}","text":"{text}"{end}"#));
        }
    }
}
