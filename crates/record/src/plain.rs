//! Makes text from outside safe to print: names, units, advice and messages come from recordings, rules, devices and
//! site files and end up on a terminal. Removes whatever would act there. Does not know where a text comes from.

use alloc::borrow::Cow;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

/// Escapes every character that is not visible by itself, so that the text can neither control a terminal nor start a
/// line: control characters (`\n`, `\u{1b}`), Unicode characters that change the writing direction or have no width,
/// line and paragraph separators, and unassigned code points. Letters of any script, combining marks, tabs and spaces
/// of any width stay as they are, and so do quotes and backslashes.
///
/// Every text from outside goes through this before it is printed; JSON has escapes of its own.
#[must_use]
pub fn plain(text: &str) -> Cow<'_, str> {
    if text.chars().all(shows_itself) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if shows_itself(c) {
            plain.push(c);
        } else {
            plain.extend(c.escape_debug());
        }
    }
    Cow::Owned(plain)
}

/// Like [`plain`], for a text of several lines: every line after the first is indented by `indent`, so that none
/// starts where a line of our own does.
#[must_use]
pub fn plain_lines(text: &str, indent: &str) -> String {
    let lines: Vec<Cow<'_, str>> = text.split('\n').map(plain).collect();
    lines.join(&format!("\n{indent}"))
}

/// Uses the standard library's table of printable characters. A letter precedes the character, since a combining mark
/// alone would not be printable.
fn shows_itself(c: char) -> bool {
    match c {
        '\t' | ' '..='~' => true,
        '\u{2028}' | '\u{2029}' => false,
        _ if c.is_control() => false,
        _ if c.is_whitespace() => true,
        _ => ['a', c].iter().collect::<String>().escape_debug().nth(1) == Some(c),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names as people write them.
    #[test]
    fn words_stay_as_they_are() {
        for text in [
            "RTU-03 / spare run capacitor",
            "Lüfter 1 \"Dach\" C:\\neu 'x'",
            "24.6 °C, 40 µF, 40 μF, 2 Ω",
            "Gerät 12\u{a0}kW, 1\u{202f}000 V",
            "u\u{308}ber",
            "冷房 室外機, مكيف, מזגן, वातानुकूलक",
        ] {
            assert!(matches!(plain(text), Cow::Borrowed(same) if same == text), "{text}");
        }
    }

    #[test]
    fn what_acts_on_a_terminal_is_written_out() {
        for (text, wanted) in [
            ("\u{1b}[2J", "\\u{1b}[2J"),
            ("\u{7}", "\\u{7}"),
            ("a\r\nb\tc\0", "a\\r\\nb\tc\\0"),
            ("\u{7f}\u{8}", "\\u{7f}\\u{8}"),
            // C1: next line, control sequence introducer, operating system command.
            ("\u{85}\u{9b}31m\u{9d}", "\\u{85}\\u{9b}31m\\u{9d}"),
            // Overrides, embeddings and isolates of direction (Unicode Standard Annex 9).
            ("\u{202a}\u{202e}\u{2066}\u{2069}", "\\u{202a}\\u{202e}\\u{2066}\\u{2069}"),
            ("\u{200e}\u{200f}\u{61c}", "\\u{200e}\\u{200f}\\u{61c}"),
            // No width.
            (
                "a\u{200b}\u{200c}\u{200d}\u{2060}\u{feff}\u{ad}",
                "a\\u{200b}\\u{200c}\\u{200d}\\u{2060}\\u{feff}\\u{ad}",
            ),
            ("\u{2028}\u{2029}", "\\u{2028}\\u{2029}"),
            // Tags, private use.
            ("\u{e0041}\u{e000}", "\\u{e0041}\\u{e000}"),
        ] {
            assert_eq!(plain(text), wanted);
        }
    }

    #[test]
    fn lines_behind_the_first_stand_indented() {
        assert_eq!(plain_lines("x / 0\n9.000 s  PASS\r", "    "), "x / 0\n    9.000 s  PASS\\r");
    }

    proptest::proptest! {
        #[test]
        fn nothing_that_acts_is_left(text in ".{0,40}|[\\x00-\\u{2100}]{0,40}") {
            let plain = plain(&text);
            proptest::prop_assert!(!plain.chars().any(|c| c.is_control() && c != '\t'), "{:?}", plain);
            for c in "\u{61c}\u{200b}\u{200f}\u{202a}\u{202e}\u{2028}\u{2060}\u{2066}\u{2069}\u{feff}".chars() {
                proptest::prop_assert!(!plain.contains(c), "{:?}", plain);
            }
        }
    }
}
