//! Rust text as a row of tokens: names, `::` and single signs, each with its line.
//! Does not keep comments, literals or what stands under `#[cfg(test)]`.

/// One token.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Token<'s> {
    /// Line from 1.
    pub(crate) line: usize,
    /// A name, `::`, or one sign.
    pub(crate) text: &'s str,
}

impl Token<'_> {
    /// Whether it is a name (or a word of the language).
    pub(crate) fn is_name(&self) -> bool {
        self.text.starts_with(|c: char| c.is_alphabetic() || c == '_')
    }
}

/// What opens an item; a comma in it (of its generics, say) does not end it.
const ITEMS: [&str; 15] = [
    "pub",
    "fn",
    "use",
    "mod",
    "struct",
    "enum",
    "impl",
    "const",
    "static",
    "type",
    "trait",
    "macro_rules",
    "unsafe",
    "async",
    "extern",
];

/// The tokens of the product's part of a file.
pub(crate) fn product(text: &str) -> Vec<Token<'_>> {
    without_tests(&tokens(text))
}

/// All tokens of a text.
fn tokens(text: &str) -> Vec<Token<'_>> {
    let mut found = Vec::new();
    let mut line = 1;
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let (length, keep) = token_length(rest, first);
        let (token, after) = rest.split_at(length);
        if keep {
            found.push(Token { line, text: token });
        }
        line += token.matches('\n').count();
        rest = after;
    }
    found
}

/// How long the first token, blank, comment or literal of a text is, and whether it is a token to keep.
fn token_length(rest: &str, first: char) -> (usize, bool) {
    let to = |end: Option<usize>| end.unwrap_or(rest.len());
    if first.is_whitespace() {
        return (first.len_utf8(), false);
    }
    if rest.starts_with("//") {
        return (to(rest.find('\n')), false);
    }
    if rest.starts_with("/*") {
        return (to(rest.find("*/").map(|at| at + 2)), false);
    }
    if rest.starts_with("::") {
        return (2, true);
    }
    if let Some(length) = string_length(rest) {
        return (length, false);
    }
    if first == '\'' {
        return (quote_length(rest), false);
    }
    if first.is_alphanumeric() || first == '_' {
        let length = to(rest.find(|c: char| !c.is_alphanumeric() && c != '_'));
        return (length, !first.is_numeric());
    }
    (first.len_utf8(), true)
}

/// The length of a string literal at the start of a text, raw ones included.
fn string_length(rest: &str) -> Option<usize> {
    let after = rest.trim_start_matches(['b', 'c']);
    if let Some(raw) = after.strip_prefix('r') {
        let hashes = raw.len() - raw.trim_start_matches('#').len();
        if raw.trim_start_matches('#').starts_with('"') && rest.len() - after.len() <= 1 {
            let open = rest.len() - raw.len() + hashes + 1;
            let close = format!("\"{}", "#".repeat(hashes));
            let body = rest.get(open..)?;
            return Some(body.find(&close).map_or(rest.len(), |at| open + at + close.len()));
        }
    }
    if !after.starts_with('"') || rest.len() - after.len() > 1 {
        return None;
    }
    let open = rest.len() - after.len() + 1;
    let mut escaped = false;
    for (at, c) in rest.get(open..)?.char_indices() {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return Some(open + at + 1),
            _ => {}
        }
    }
    Some(rest.len())
}

/// The length of a character literal or of a lifetime.
fn quote_length(rest: &str) -> usize {
    let mut chars = rest.char_indices().skip(1);
    match chars.next() {
        Some((_, '\\')) => {
            chars.next();
            chars.find(|(_, c)| *c == '\'').map_or(rest.len(), |(at, _)| at + 1)
        }
        _ if chars.next().is_some_and(|(_, c)| c == '\'') => {
            rest.char_indices().nth(3).map_or(rest.len(), |(at, _)| at)
        }
        _ => {
            let is_end = |(_, c): &(usize, char)| !c.is_alphanumeric() && *c != '_';
            rest.char_indices().skip(1).find(is_end).map_or(rest.len(), |(at, _)| at)
        }
    }
}

/// Leaves out each item under `#[cfg(test)]`.
fn without_tests<'s>(all: &[Token<'s>]) -> Vec<Token<'s>> {
    let mut kept = Vec::new();
    let mut rest = all;
    while let Some((first, after)) = rest.split_first() {
        if opens(rest, &["#", "[", "cfg", "(", "test", ")", "]"]) {
            rest = after_item(rest.get(7..).unwrap_or_default());
        } else {
            kept.push(*first);
            rest = after;
        }
    }
    kept
}

/// Whether the tokens begin with these.
pub(crate) fn opens(tokens: &[Token<'_>], words: &[&str]) -> bool {
    tokens.len() >= words.len() && tokens.iter().zip(words).all(|(token, word)| token.text == *word)
}

/// What follows the item, field or arm that the tokens begin with.
fn after_item<'a, 's>(tokens: &'a [Token<'s>]) -> &'a [Token<'s>] {
    let mut depth = 0_usize;
    let mut is_item = false;
    for (at, token) in tokens.iter().enumerate() {
        is_item |= depth == 0 && ITEMS.contains(&token.text);
        match token.text {
            "(" | "[" | "{" => depth += 1,
            // The end of what holds it.
            ")" | "]" | "}" if depth == 0 => return tokens.get(at..).unwrap_or_default(),
            "}" if depth == 1 => return tokens.get(at + 1..).unwrap_or_default(),
            ")" | "]" | "}" => depth -= 1,
            ";" if depth == 0 => return tokens.get(at + 1..).unwrap_or_default(),
            "," if depth == 0 && !is_item => return tokens.get(at + 1..).unwrap_or_default(),
            _ => {}
        }
    }
    &[]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<&str> {
        product(text).into_iter().map(|token| token.text).collect()
    }

    #[test]
    fn comments_and_literals_are_left_out() {
        assert_eq!(words("a::b // c\n/* d */ e(\"f\\\"g\")"), ["a", "::", "b", "e", "(", ")"]);
        assert_eq!(
            words("x(r#\"a \" b\"#, b\"c\", 'd', '\\'', '\"', 12_u8)"),
            ["x", "(", ",", ",", ",", ",", ",", ")"]
        );
        assert_eq!(words("fn a<'x>(b: &'x str)"), ["fn", "a", "<", ">", "(", "b", ":", "&", "str", ")"]);
        assert_eq!(words("row(barrel, crow)"), ["row", "(", "barrel", ",", "crow", ")"]);
    }

    #[test]
    fn lines_are_counted_through_literals() {
        let lines: Vec<usize> =
            product("a\n\"\n\n\" b\n// c\nd").into_iter().map(|token| token.line).collect();
        assert_eq!(lines, [1, 4, 6]);
    }

    #[test]
    fn what_is_for_tests_is_left_out_wherever_it_stands() {
        assert_eq!(words("#[cfg(test)]\nmod tests;\nuse a;"), ["use", "a", ";"]);
        assert_eq!(words("a;\n#[cfg(test)]\nmod tests { fn b() { c; } }\nd"), ["a", ";", "d"]);
        assert_eq!(words("#[cfg(test)] fn a<B, C>() {} d"), ["d"]);
        assert_eq!(words("S { #[cfg(test)] a: b(1, 2), c: d }"), ["S", "{", "c", ":", "d", "}"]);
        assert_eq!(words("S { #[cfg(test)] a: b }"), ["S", "{", "}"]);
        assert_eq!(words("#[cfg(not(test))] a").last(), Some(&"a"));
    }
}
