//! Suggests the unit that an unknown word was meant to be. A hint that is followed in haste must not turn a reading
//! into another quantity, so there is none if the word may name another unit. Holds no units of its own.

use alloc::vec::Vec;

use super::{Unit, edit_distance};

/// Symbols that the unit table lacks and that take prefixes: the SI (brochure of the BIPM, 9th edition, tables 2, 4
/// and 8) and others that meters show (common practice, no source).
const OTHERS: [&str; 38] = [
    "H", "S", "C", "T", "N", "Wb", "lm", "lx", "Bq", "Gy", "Sv", "kat", "mol", "cd", "rad", "sr", "L", "l",
    "t", "u", "B", "bar", "eV", "Ah", "Wh", "var", "VAr", "VAR", "cal", "G", "Oe", "P", "St", "Hg", "H2O",
    "Nm", "sps", "Wp",
];

/// Whole words that name another quantity, or another magnitude, than their spelling suggests.
const WORDS: [&str; 14] =
    ["Btu", "BTU", "PF", "pf", "pph", "ppb", "ppt", "RH", "rh", "dBm", "mph", "fps", "cfs", "psid"];

/// Prefixes used by meters and people; those of the SI from pico to tera.
const PREFIXES: [&str; 14] = ["", "p", "n", "u", "\u{b5}", "\u{3bc}", "m", "c", "d", "h", "k", "M", "G", "T"];

/// The known spelling that `text` was meant to be: the same letters in another case, or one letter away. `None` if
/// nothing is near, if the candidates measure different things, or if the text names a unit that the table lacks.
pub(super) fn nearest_spelling(text: &str) -> Option<&'static str> {
    if text == "C" {
        // Coulombs are not met in the trade.
        return Some("°C");
    }
    let letters = text.chars().count();
    if names_a_unit(text) || letters == 1 && !matches!(text, "a" | "v" | "w") {
        return None;
    }
    let lower = text.to_lowercase();
    let same: Vec<&'static str> = spellings().filter(|known| known.to_lowercase() == lower).collect();
    if !same.is_empty() {
        return the_only_unit(&same);
    }
    if letters < 3 {
        return None;
    }
    let near: Vec<&'static str> = spellings().filter(|known| edit_distance(known, text) <= 1).collect();
    the_only_unit(&near)
}

fn spellings() -> impl Iterator<Item = &'static str> {
    Unit::ALL.iter().flat_map(|unit| core::iter::once(unit.0.symbol).chain(unit.0.aliases.iter().copied()))
}

/// The first of these spellings, if all denote one unit.
fn the_only_unit(spellings: &[&'static str]) -> Option<&'static str> {
    let unit = |spelling: &&'static str| Unit::ALL.iter().find(|unit| unit.is_written(spelling)).copied();
    let first = spellings.first()?;
    spellings.iter().all(|other| unit(other) == unit(first)).then_some(*first)
}

/// Whether the text is itself a unit: a symbol with a prefix, or several with `/` and powers.
fn names_a_unit(text: &str) -> bool {
    if WORDS.contains(&text) {
        return true;
    }
    let mut parts = text.split(['/', '*', '.', '\u{b7}']);
    parts.all(|part| {
        let symbol =
            part.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-' || c == '^' || "²³".contains(c));
        is_symbol(symbol) || OTHERS.contains(&part)
    })
}

fn is_symbol(text: &str) -> bool {
    PREFIXES.iter().filter_map(|prefix| text.strip_prefix(prefix)).any(|symbol| {
        OTHERS.contains(&symbol)
            || Unit::ALL.iter().any(|unit| takes_prefixes(*unit) && unit.is_written(symbol))
    })
}

/// Units made of letters only; one with a percent sign or a blank takes no prefix.
fn takes_prefixes(unit: Unit) -> bool {
    unit.0.symbol.chars().all(char::is_alphabetic)
}
