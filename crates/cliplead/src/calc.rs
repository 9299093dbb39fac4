//! `cliplead calc`: every formula that a rule can call, from the command line. Lists, explains, computes. Holds no
//! formula and no declaration; crate `trade` does.

mod reference;

use anyhow::{anyhow, bail};
use quantity::{Unit, edit_distance, parse_typed};
use trade::catalogue::{self, CallError, Function, Parameter, ParameterKind, Returns};

use crate::cli::{CalcOptions, Format};
use crate::output::{Exit, data};

/// Runs the command.
///
/// # Errors
/// An unknown name, a missing or unknown value, a unit that does not fit, a value outside the formula's range.
pub(crate) fn run(options: &CalcOptions) -> anyhow::Result<Exit> {
    match (options.name.as_str(), options.values.as_slice()) {
        ("list", []) => list(options.format)?,
        ("reference", []) => data(&reference::markdown())?,
        ("definitions", []) => data(&reference::definitions())?,
        ("-", []) => return lines(options.format),
        (name @ ("-" | "list" | "reference" | "definitions"), _) => bail!("calc {name} takes no values"),
        (name, values) => one(name, values, options.format)?,
    }
    Ok(Exit::Fine)
}

/// Computes each line of stdin, `NAME key=value ...`, in order. A line that cannot be computed is replaced by the
/// reason; the exit code tells that there was one.
fn lines(format: Format) -> anyhow::Result<Exit> {
    let mut exit = Exit::Fine;
    for line in std::io::stdin().lines() {
        let line = line?;
        let mut words: Vec<String> = Vec::new();
        for word in line.split_whitespace() {
            // A word without = goes on with the value before it: `fuel=natural gas`.
            match words.last_mut() {
                Some(last) if words_belong(last, word) => last.push_str(&format!(" {word}")),
                _ => words.push(word.to_owned()),
            }
        }
        let [name, values @ ..] = words.as_slice() else { continue };
        if let Err(error) = one(name, values, format) {
            exit = Exit::CouldNotRun;
            match format {
                Format::Json => {
                    data(&serde_json::json!([{"name": name, "error": error.to_string()}]).to_string())?
                }
                Format::Text => data(&format!("{name}: {error}"))?,
            }
        }
    }
    Ok(exit)
}

fn words_belong(before: &str, word: &str) -> bool {
    before.contains('=') && !word.contains('=')
}

fn list(format: Format) -> anyhow::Result<()> {
    let mut group = "";
    for function in catalogue::functions() {
        if format == Format::Json {
            data(&declaration(function).to_string())?;
            continue;
        }
        if function.group != group {
            group = function.group;
            data(&format!("\n{group}"))?;
        }
        data(&format!("  {}{}", function.signature(), returns(function)))?;
        data(&format!("      {}", function.doc))?;
    }
    Ok(())
}

/// ` -> uF`, or the words it may return.
fn returns(function: &Function) -> String {
    match function.returns {
        Returns::Number("") => String::new(),
        Returns::Number(unit) => format!(" -> {unit}"),
        Returns::Word(words) => format!(" -> {}", words.join(" | ")),
    }
}

fn declaration(function: &Function) -> serde_json::Value {
    let takes: Vec<serde_json::Value> = function.parameters.iter().map(parameter_json).collect();
    let gives = match function.returns {
        Returns::Number(unit) => serde_json::json!({"unit": unit}),
        Returns::Word(words) => serde_json::json!({"words": words}),
    };
    serde_json::json!({
        "name": function.name, "group": function.group, "takes": takes, "gives": gives, "doc": function.doc,
        "source": function.source,
    })
}

fn parameter_json(parameter: &Parameter) -> serde_json::Value {
    match parameter.kind {
        ParameterKind::Number(a) | ParameterKind::NumberOrOpen(a) => serde_json::json!({
            "name": parameter.name, "what": a.what, "unit": a.unit, "least": a.least, "greatest": a.greatest,
            "may_be_open": matches!(parameter.kind, ParameterKind::NumberOrOpen(_)),
        }),
        ParameterKind::List(a) => serde_json::json!({
            "name": parameter.name, "what": a.what, "unit": a.unit, "least": a.least, "greatest": a.greatest, "list": true,
        }),
        ParameterKind::Word(words) => serde_json::json!({"name": parameter.name, "words": words}),
    }
}

/// A parameter, for people: `amps=0..1000 A`.
fn range(parameter: &Parameter) -> String {
    match parameter.kind {
        ParameterKind::Number(a) | ParameterKind::NumberOrOpen(a) if a.least <= f64::MIN => {
            format!("{}=any number", parameter.name)
        }
        ParameterKind::Number(a) => {
            format!("{}={}..{} {}", parameter.name, a.least, a.greatest, a.unit).trim_end().to_owned()
        }
        ParameterKind::NumberOrOpen(a) => {
            format!("{}={}..{} {} or open", parameter.name, a.least, a.greatest, a.unit)
        }
        ParameterKind::List(a) => {
            let range = format!("{}..{} {}", a.least, a.greatest, a.unit);
            format!("{}=list of {}", parameter.name, range.trim_end())
        }
        ParameterKind::Word(words) => format!("{}={}", parameter.name, words.join("|")),
    }
}

fn one(name: &str, values: &[String], format: Format) -> anyhow::Result<()> {
    let all: Vec<&Function> = catalogue::find(name).collect();
    let Some(first) = all.first() else {
        let near = catalogue::functions().min_by_key(|f| edit_distance(f.name, name));
        let near = near.filter(|f| edit_distance(f.name, name) <= 3);
        let hint = near.map_or_else(|| ".".to_owned(), |near| format!("; did you mean {}?", near.name));
        bail!("no formula is named {name:?}{hint} `cliplead calc list` names them all");
    };
    if values.is_empty() {
        if format == Format::Json {
            return all.iter().try_for_each(|function| data(&declaration(function).to_string()));
        }
        return all.iter().try_for_each(|function| data(&explained(function)));
    }
    let pairs: Vec<(&str, &str)> = values
        .iter()
        .map(|text| text.split_once('=').map(|(key, value)| (key.trim(), value.trim())))
        .collect::<Option<_>>()
        .ok_or_else(|| anyhow!("values are written NAME=VALUE; {}", usage(first)))?;
    let function = all.iter().find(|function| function.parameters.len() == pairs.len()).unwrap_or(first);
    let result = compute(function, &pairs)?;
    let (value, unit) = match (function.word(result), function.returns) {
        (Some(word), _) => (serde_json::json!(word), ""),
        (None, Returns::Number(unit)) => (serde_json::json!(result), unit),
        (None, Returns::Word(_)) => bail!("{name} answered no word of its list (a defect, please report it)"),
    };
    match format {
        Format::Json => data(&serde_json::json!([{"name": name, "value": value, "unit": unit}]).to_string()),
        Format::Text => {
            let shown = function.word(result).map_or_else(|| significant(result), str::to_owned);
            data(format!("{name} = {shown} {unit}").trim_end())
        }
    }
}

/// Seven significant digits, without trailing zeros.
fn significant(number: f64) -> String {
    let text = format!("{number:.6e}");
    let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    if !(-5..9).contains(&exponent) {
        let digits = digits.trim_end_matches('0').trim_end_matches('.');
        return if exponent == 0 { digits.to_owned() } else { format!("{digits}e{exponent}") };
    }
    let places = usize::try_from(6 - exponent).unwrap_or(0);
    let text = format!("{number:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn usage(function: &Function) -> String {
    let list: Vec<String> = function.parameters.iter().map(range).collect();
    format!("{} takes {}", function.name, list.join(", "))
}

fn explained(function: &Function) -> String {
    let mut text = format!("{}{}\n  {}\n", function.signature(), returns(function), function.doc);
    for parameter in function.parameters {
        let what = match parameter.kind {
            ParameterKind::Number(a) | ParameterKind::NumberOrOpen(a) | ParameterKind::List(a) => a.what,
            ParameterKind::Word(_) => "one of these words",
        };
        text.push_str(&format!("  {:<44} {what}\n", range(parameter)));
    }
    text.push_str(&format!("  source: {}\n", function.source));
    text
}

fn compute(function: &Function, pairs: &[(&str, &str)]) -> anyhow::Result<f64> {
    if let Some((key, _)) = pairs.iter().find(|(key, _)| !function.parameters.iter().any(|t| t.name == *key))
    {
        bail!("{} takes no {key:?}; {}", function.name, usage(function));
    }
    let mut lists: Vec<Vec<f64>> = Vec::new();
    for parameter in function.parameters {
        let mut given = pairs.iter().filter(|(key, _)| *key == parameter.name);
        let (Some((_, text)), None) = (given.next(), given.next()) else {
            bail!("{} is given not at all, or twice; {}", parameter.name, usage(function));
        };
        let items: Vec<&str> = match parameter.kind {
            ParameterKind::List(_) => text.split(',').map(str::trim).collect(),
            _ => vec![text],
        };
        let list: Result<Vec<f64>, String> = items.into_iter().map(|item| value(parameter, item)).collect();
        lists.push(list.map_err(|why| anyhow!("{}: {why}", parameter.name))?);
    }
    let slices: Vec<&[f64]> = lists.iter().map(Vec::as_slice).collect();
    function.call_lists(&slices).map_err(|error| match error {
        CallError::Count => anyhow!("{}", usage(function)),
        CallError::Range(error) => anyhow!("{}: {error}", function.name),
        CallError::NotFinite => anyhow!("{}: there is no finite result for these values", function.name),
    })
}

/// A value in the unit of its parameter, or the index of a word.
fn value(parameter: &Parameter, text: &str) -> Result<f64, String> {
    let unit = match parameter.kind {
        ParameterKind::Word(words) => {
            let place = words.iter().position(|word| word.eq_ignore_ascii_case(text));
            return place
                .map(|place| place as f64)
                .ok_or_else(|| format!("{text:?} is none of {}", words.join(", ")));
        }
        ParameterKind::NumberOrOpen(_) if text == "open" => return Ok(f64::INFINITY),
        ParameterKind::Number(argument)
        | ParameterKind::NumberOrOpen(argument)
        | ParameterKind::List(argument) => argument.unit,
    };
    // Units that meters do not show, and bare numbers, are taken as they are declared.
    let digits = text.strip_suffix(unit).map_or(text, str::trim_end);
    if let Ok(number) = digits.parse::<f64>() {
        return Ok(number);
    }
    let typed = parse_typed(text).map_err(|error| error.to_string())?;
    let number = typed.number.to_f64();
    let one_of =
        |given: Unit| unit.split(" or ").any(|known| Unit::parse(known).is_ok_and(|known| known == given));
    match (typed.unit, Unit::parse(unit)) {
        (None, _) => Ok(number),
        // A formula that compares like with like, in any of its units.
        (Some(given), Err(_)) if one_of(given) => Ok(number),
        (Some(given), Ok(wanted)) => given.convert(number, wanted).map_err(|error| error.to_string()),
        (Some(given), Err(_)) if unit.is_empty() => Err(format!("it is a bare number, not in {given}")),
        (Some(given), Err(_)) => Err(format!("it is in {unit}, not in {given}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seven_digits_are_shown() {
        for (number, text) in [
            (0.0, "0"),
            (40.0, "40"),
            (4.5, "4.5"),
            (1234.5678901, "1234.568"),
            (0.000123456789, "0.0001234568"),
            (123_456_789.0, "123456789"),
            (1.5e12, "1.5e12"),
            (-2.0e-9, "-2e-9"),
        ] {
            assert_eq!(significant(number), text);
        }
    }

    /// Every unit that a formula is declared in is either one that values can be typed in, or one that is only named.
    #[test]
    fn units_of_the_catalogue_are_known_or_listed() {
        let named = [
            "",
            "radian",
            "Btu/lb",
            "ft3/lb",
            "lb/ft3",
            "lb/lb",
            "Btu/ft3",
            "ft3",
            "V or A",
            "of the map",
            "Btu/h per cfm and °F",
        ];
        for function in catalogue::functions() {
            let units = function.parameters.iter().map(Parameter::unit).chain(match function.returns {
                Returns::Number(unit) => Some(unit),
                Returns::Word(_) => None,
            });
            for unit in units {
                assert!(Unit::parse(unit).is_ok() || named.contains(&unit), "{}: {unit:?}", function.name);
            }
        }
    }
}
