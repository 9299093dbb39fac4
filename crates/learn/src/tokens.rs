//! Lines of varying width: tokens between blanks or separators, laid out in columns so that the analysis of fixed
//! columns (`lines.rs`) applies. Does not decide what a token means.

use std::collections::BTreeMap;
use std::ops::Range;

use crate::text::{Text, Tokens, changing_width, checked, cut, printable};
use wire::ChecksumKind;
use wire::analysis::trim;
use wire::stream::Recording;

/// Possible separators between tokens; blanks come last.
const SEPARATORS: [u8; 4] = [b',', b';', b'|', b'\t'];
/// The most tokens of a line that are examined.
const TOKENS_MAX: usize = 12;
/// From this share of lines (in %) with an unusual width on, the width is no feature of the lines.
const ODD_WIDTHS_PCT: usize = 15;

/// Lines with one number of tokens and varying width, if the bytes are such.
pub(crate) fn find(recording: &Recording) -> Option<Text> {
    if !changing_width(recording) {
        return None;
    }
    let all = cut(recording);
    let whole = all.len();
    let mut lines: Vec<_> = all.into_iter().filter(|(_, line)| printable(line)).collect();
    let mut checksum = None;
    for (name, kind) in [("sum8", ChecksumKind::Sum8), ("xor8", ChecksumKind::Xor8)] {
        let intact: Vec<_> =
            lines.iter().filter_map(|(at, line)| Some((*at, checked(line, kind)?.to_vec()))).collect();
        if intact.len() >= 4 && intact.len() * 10 >= lines.len() * 6 {
            (checksum, lines) = (Some(name), intact);
            break;
        }
    }
    if usual(lines.iter().map(|(_, line)| line.len()))
        .is_none_or(|(_, count)| (lines.len() - count) * 100 < lines.len() * ODD_WIDTHS_PCT)
    {
        // One width but for damage: fixed places refuse more.
        return None;
    }
    let split = |line: &[u8], separator: Option<u8>| -> Vec<Vec<u8>> {
        let is_end = |b: &u8| separator.map_or(*b == b' ' || *b == b'\t', |mark| *b == mark);
        let tokens = line.split(is_end).map(trim);
        tokens.filter(|t| separator.is_some() || !t.is_empty()).map(<[u8]>::to_vec).collect()
    };
    SEPARATORS.into_iter().map(Some).chain([None]).find_map(|separator| {
        let tokens: Vec<Vec<Vec<u8>>> = lines.iter().map(|(_, line)| split(line, separator)).collect();
        let (number, count) = usual(tokens.iter().map(Vec::len))?;
        let least = if separator.is_some() { 2 } else { 1 };
        if !(least..=TOKENS_MAX).contains(&number) || count < 4 || count * 10 < lines.len() * 7 {
            return None;
        }
        let intact = || tokens.iter().zip(&lines).filter(|(tokens, _)| tokens.len() == number);
        let mut columns: Vec<Range<usize>> = Vec::new();
        for place in 0..number {
            let width = intact().filter_map(|(tokens, _)| tokens.get(place)).map(Vec::len).max()?.max(1);
            let start = columns.last().map_or(0, |last| last.end + 1);
            columns.push(start..start + width);
        }
        let width = columns.last()?.end;
        let laid_out =
            intact().map(|(tokens, (at, _))| (*at, lay_out(tokens, &columns, separator))).collect();
        let damaged = whole - count;
        Some(Text { lines: laid_out, width, checksum, damaged, tokens: Some(Tokens { separator, columns }) })
    })
}

/// Each token in its column, padded with blanks, and a separator between.
fn lay_out(tokens: &[Vec<u8>], columns: &[Range<usize>], separator: Option<u8>) -> Vec<u8> {
    let mut line = Vec::new();
    for (token, column) in tokens.iter().zip(columns) {
        while line.len() < column.start {
            line.push(separator.unwrap_or(b' '));
        }
        line.extend_from_slice(token);
        while line.len() < column.end {
            line.push(b' ');
        }
    }
    line
}

/// The most frequent number, and how often it occurs.
fn usual(numbers: impl Iterator<Item = usize>) -> Option<(usize, usize)> {
    let mut times: BTreeMap<usize, usize> = BTreeMap::new();
    numbers.for_each(|number| *times.entry(number).or_default() += 1);
    times.into_iter().max_by_key(|(_, count)| *count)
}
