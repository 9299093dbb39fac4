//! What one Rust file takes from its own crate: `use` items and paths in code, and what it defines for others.
//! Does not know which files there are; see `circles`.

use std::collections::{BTreeMap, BTreeSet};

use crate::tidy::tokens::{Token, opens};

/// A path as written: names without the `::` between them.
pub(crate) type Path = Vec<String>;

/// A `use` that makes one name known, or every name of a module.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Use {
    pub(crate) line: usize,
    pub(crate) path: Path,
    /// With a visibility: handed on to others.
    pub(crate) is_handed_on: bool,
}

/// What one file takes and defines.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Imports {
    /// By the name that it has here.
    pub(crate) uses: BTreeMap<String, Use>,
    /// `use a::b::*`.
    pub(crate) globs: Vec<Use>,
    /// Paths of two names and more outside `use` items, with their line.
    pub(crate) paths: Vec<(usize, Path)>,
    /// Every name in code outside `use` items.
    pub(crate) names: BTreeSet<String>,
    /// Names of items that stand in this file, at whatever depth.
    pub(crate) defines: BTreeSet<String>,
}

/// Words before the name of an item.
const DEFINES: [&str; 10] =
    ["fn", "struct", "enum", "trait", "const", "static", "type", "union", "mod", "macro_rules"];

/// Reads the tokens of one file.
pub(crate) fn read(tokens: &[Token<'_>]) -> Imports {
    let mut imports = Imports::default();
    let mut rest = tokens;
    // Whether what was read last is a visibility: `pub`, or the `)` of `pub(crate)`.
    let mut handed_on = false;
    while let Some((first, after)) = rest.split_first() {
        if first.text == "pub" {
            handed_on = true;
            rest = after_brackets(after);
            continue;
        }
        if first.text == "use" {
            let end = after.iter().position(|token| token.text == ";").unwrap_or(after.len());
            let (tree, behind) = after.split_at(end);
            read_tree(tree, &[], handed_on, &mut imports);
            rest = behind;
        } else if first.is_name() {
            rest = read_path(rest, &mut imports);
        } else {
            rest = after;
        }
        handed_on = false;
    }
    imports
}

/// What follows `(crate)`, `(super)` or `(in a::b)`, if that comes first.
fn after_brackets<'a, 's>(tokens: &'a [Token<'s>]) -> &'a [Token<'s>] {
    let is_place = ["crate", "super", "self", "in"].iter().any(|word| opens(tokens, &["(", word]));
    let end = tokens.iter().position(|token| token.text == ")").filter(|_| is_place);
    end.and_then(|at| tokens.get(at + 1..)).unwrap_or(tokens)
}

/// Reads a path or an item's name, and gives what follows it.
fn read_path<'a, 's>(tokens: &'a [Token<'s>], imports: &mut Imports) -> &'a [Token<'s>] {
    let Some((first, mut rest)) = tokens.split_first() else { return tokens };
    if DEFINES.contains(&first.text) {
        // `macro_rules ! name`.
        let name = rest.iter().find(|token| token.text != "!").filter(|token| token.is_name());
        imports.defines.extend(name.map(|name| name.text.to_owned()));
    }
    let mut path = vec![first.text.to_owned()];
    while let [colons, name, after @ ..] = rest
        && colons.text == "::"
        && name.is_name()
    {
        path.push(name.text.to_owned());
        rest = after;
    }
    imports.names.extend(path.first().cloned());
    if path.len() > 1 {
        imports.paths.push((first.line, path));
    }
    rest
}

/// Reads one tree of a `use` item: `a::{b, c::*, d as e}`.
fn read_tree(tokens: &[Token<'_>], before: &[String], is_handed_on: bool, imports: &mut Imports) {
    let mut path = before.to_vec();
    let mut rest = tokens;
    while let Some((token, after)) = rest.split_first() {
        match token.text {
            "{" => {
                for branch in branches(after) {
                    read_tree(branch, &path, is_handed_on, imports);
                }
                return;
            }
            "*" => {
                imports.globs.push(Use { line: token.line, path, is_handed_on });
                return;
            }
            "as" => break,
            "::" => {}
            // `a::{self}` is `a`.
            "self" if !path.is_empty() => {}
            name => path.push(name.to_owned()),
        }
        rest = after;
    }
    let alias = rest.get(1).map(|token| token.text.to_owned());
    if let (Some(line), Some(name)) = (tokens.first().map(|t| t.line), alias.or_else(|| path.last().cloned()))
    {
        imports.uses.insert(name, Use { line, path, is_handed_on });
    }
}

/// The trees between commas, up to the bracket that closes.
fn branches<'a, 's>(tokens: &'a [Token<'s>]) -> Vec<&'a [Token<'s>]> {
    let mut found = Vec::new();
    let (mut depth, mut from) = (0_usize, 0);
    for (at, token) in tokens.iter().enumerate() {
        let ends = match token.text {
            "{" => {
                depth += 1;
                false
            }
            "}" if depth == 0 => true,
            "}" => {
                depth -= 1;
                false
            }
            text => text == "," && depth == 0,
        };
        if ends {
            found.extend(tokens.get(from..at).filter(|branch| !branch.is_empty()));
            from = at + 1;
            if token.text == "}" {
                break;
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::tokens::product;

    fn uses(text: &str) -> Vec<String> {
        let imports = read(&product(text));
        let mut all: Vec<String> =
            imports.uses.iter().map(|(name, u)| format!("{name}={}", u.path.join("."))).collect();
        all.extend(imports.globs.iter().map(|glob| format!("*={}", glob.path.join("."))));
        all
    }

    #[test]
    fn each_branch_of_a_use_is_a_name() {
        assert_eq!(uses("use a::b;"), ["b=a.b"]);
        assert_eq!(uses("use a::{self, b::{C, d as e}, f::*};"), ["C=a.b.C", "a=a", "e=a.b.d", "*=a.f"]);
        assert_eq!(uses("use a::{\n    b,\n    c,\n};"), ["b=a.b", "c=a.c"]);
        assert_eq!(uses("pub use self::a::B;"), ["B=self.a.B"]);
    }

    #[test]
    fn a_visibility_hands_on() {
        for (text, want) in [
            ("use a::b;", false),
            ("pub use a::b;", true),
            ("pub(crate) use a::b;", true),
            ("pub(in crate::x) use a::b;", true),
            ("pub fn x() {} use a::b;", false),
        ] {
            assert_eq!(read(&product(text)).uses.get("b").map(|u| u.is_handed_on), Some(want), "{text}");
        }
    }

    #[test]
    fn paths_and_definitions_of_code() {
        let imports =
            read(&product("fn a() -> crate::b::C {\n    d::e(super::f::<g::H>(1))\n}\nstruct I(pub J);"));
        let paths: Vec<String> =
            imports.paths.iter().map(|(line, path)| format!("{line} {}", path.join("."))).collect();
        assert_eq!(paths, ["1 crate.b.C", "2 d.e", "2 super.f", "2 g.H"]);
        assert_eq!(imports.defines.into_iter().collect::<Vec<_>>(), ["I", "a"]);
        assert!(imports.names.contains("J") && imports.names.contains("d") && !imports.names.contains("e"));
    }
}
