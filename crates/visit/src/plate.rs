//! Nameplate values: what was entered, converted to the rule's units, with defaults and their sources filled in.
//! Does not judge them; an entry that fits no declaration is an error, never ignored.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Quantity;

use crate::plan::{Entered, Plan};
use crate::verdict::{PlateUsed, Reason};
use judge::rule::{Header, PlateDefault, PlateItem, Source, SourceClass};

/// Resolves the plan's nameplate in the order of the header.
///
/// # Errors
/// [`Reason::PlateMissing`] with all missing values, or [`Reason::BadInput`] for one that does not fit.
pub(crate) fn resolve(header: &Header, plan: &Plan) -> Result<Vec<PlateUsed>, Reason> {
    if let Some(reason) = misnamed(header, plan) {
        return Err(reason);
    }
    for (name, _) in &plan.plate {
        if !header.nameplate.iter().any(|item| item.name == *name) {
            let known: Vec<&str> = header.nameplate.iter().map(|item| item.name.as_str()).collect();
            let known =
                if known.is_empty() { "no nameplate value at all".to_string() } else { known.join(", ") };
            return Err(Reason::BadInput(format!(
                "the rule knows no nameplate value {name:?}; it wants {known}"
            )));
        }
    }
    let mut used: Vec<PlateUsed> = Vec::new();
    let mut missing: Vec<String> = Vec::new();
    for item in &header.nameplate {
        let entered = plan.plate.iter().find(|(name, _)| *name == item.name).map(|(_, entered)| entered);
        match (entered, &item.default) {
            (Some(entered), _) => used.push(of_entry(item, entered)?),
            (None, PlateDefault::Value(value, source)) => used.push(of(item, *value, source.clone())),
            (None, PlateDefault::SameAs(other, source)) => match used.iter().find(|u| u.name == *other) {
                Some(same) => {
                    let text = format!("nothing entered, taken as {other}; else {}", source.text);
                    let class = source.class.weaker(same.source.class);
                    let source = Source { text: text.as_str().into(), class };
                    used.push(of(item, same.value, source));
                }
                None => missing.push(format!("{} ({})", item.name, item.wants())),
            },
            (None, PlateDefault::Required) => missing.push(format!("{} ({})", item.name, item.wants())),
        }
    }
    if missing.is_empty() { Ok(used) } else { Err(Reason::PlateMissing(missing)) }
}

/// A value entered twice, or a binding to a point that does not exist: never ignored.
fn misnamed(header: &Header, plan: &Plan) -> Option<Reason> {
    let twice = plan
        .plate
        .iter()
        .enumerate()
        .find(|(i, (name, _))| plan.plate.iter().take(*i).any(|(n, _)| n == name));
    if let Some((_, (name, _))) = twice {
        return Some(Reason::BadInput(format!("nameplate value {name:?} is entered twice")));
    }
    let unknown = plan.bindings.iter().find(|b| !header.points.iter().any(|point| point.name == b.point))?;
    let points: Vec<&str> = header.points.iter().map(|point| point.name.as_str()).collect();
    Some(Reason::BadInput(format!(
        "device {:?} is bound to a reading {:?} that the rule does not take; it takes {}",
        unknown.from.device,
        unknown.point,
        points.join(", ")
    )))
}

fn of(item: &PlateItem, value: f64, source: Source) -> PlateUsed {
    let word = item.word(value).map(ToString::to_string);
    PlateUsed { name: item.name.clone(), value, unit: item.unit, word, source, entered: false }
}

/// One entry in the rule's unit, or as the place of its word.
pub(crate) fn of_entry(item: &PlateItem, entered: &Entered) -> Result<PlateUsed, Reason> {
    let bad = |why: String| Reason::BadInput(format!("nameplate {}: {why}", item.name));
    let value = match entered {
        Entered::Word(word) if item.choices.is_empty() => {
            return Err(bad(format!("{word:?} is no number with a unit; it is wanted in {}", item.unit)));
        }
        Entered::Word(word) => {
            let place = item.choices.iter().position(|known| known.eq_ignore_ascii_case(word));
            place.ok_or_else(|| bad(format!("{word:?} is none of {}", item.choices.join(", "))))? as f64
        }
        Entered::Number { number, unit } if !item.choices.is_empty() => {
            return Err(bad(format!("{number} {unit} is none of {}", item.choices.join(", "))));
        }
        Entered::Number { number, unit } => {
            let quantity = Quantity::exact(number.to_f64(), *unit).map_err(|e| bad(e.to_string()))?;
            quantity.to_unit(item.unit).map_err(|e| bad(e.to_string()))?.value()
        }
    };
    let source = Source { text: "as entered".into(), class: SourceClass::Nameplate };
    Ok(PlateUsed { entered: true, ..of(item, value, source) })
}

/// The first entry outside the bounds of its item that was not confirmed: its name, and the question about it.
pub(crate) fn implausible(
    header: &Header,
    plan: &Plan,
    used: &[PlateUsed],
    confirmed: impl Fn(&str) -> bool,
) -> Option<(String, String)> {
    header.nameplate.iter().zip(used).find_map(|(item, used)| {
        let (low, high) = item.plausible.filter(|(low, high)| !(*low..=*high).contains(&used.value))?;
        let (_, Entered::Number { number, unit }) = plan.plate.iter().find(|(name, _)| *name == item.name)? else {
            return None;
        };
        let name = &item.name;
        let text = format!(
            "nameplate {name} {number} {unit} is outside what such a plate can say ({low} to {high} {}): wrong unit or \
             digit? Yes keeps it; no: enter it again",
            item.unit
        );
        (!confirmed(name)).then(|| (name.clone(), text))
    })
}
