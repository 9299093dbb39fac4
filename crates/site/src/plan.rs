//! Plans in text form, as recordings, the site's file and cases contain them. Does not know rules: whether a name is
//! a point of a rule is decided when the check is armed.

use alloc::borrow::ToOwned;
use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::DeviceChannel;
use quantity::parse_typed;
use visit::round::{Binding, Entered, Plan};

/// Parses a plan, as recordings, configurations and cases contain it.
///
/// # Errors
/// A sentence that names the value.
pub fn plan(
    unit: &str,
    component: &str,
    rule: &str,
    plate: &BTreeMap<String, String>,
    bind: &BTreeMap<String, String>,
) -> Result<Plan, String> {
    let mut entries = Vec::new();
    for (name, text) in plate {
        entries.push((name.clone(), entered(name, text)?));
    }
    let mut bindings = Vec::new();
    for (point, text) in bind {
        let (device, channel) = text.rsplit_once('/').unwrap_or((text, "0"));
        let channel =
            channel.parse().map_err(|_| format!("bind {point}: {channel:?} is no channel (0 to 255)"))?;
        bindings.push(Binding { point: point.clone(), from: DeviceChannel::new(device, channel) });
    }
    Ok(Plan {
        unit_tag: unit.to_owned(),
        component: component.to_owned(),
        rule: rule.to_owned(),
        plate: entries,
        bindings,
        ..Plan::default()
    })
}

/// A number with its unit, or a word if it does not begin with a number.
fn entered(name: &str, text: &str) -> Result<Entered, String> {
    if text.trim().chars().next().is_some_and(char::is_alphabetic) {
        return Ok(Entered::Word(text.trim().to_owned()));
    }
    let typed = parse_typed(text).map_err(|e| format!("nameplate {name}: {e}"))?;
    let unit = typed
        .unit
        .ok_or_else(|| format!("nameplate {name}: {text:?} has no unit; write for example 40uF"))?;
    Ok(Entered::Number { number: typed.number, unit })
}

/// The text of a nameplate value that [`plan`] parses.
#[must_use]
pub fn entered_text(entered: &Entered) -> String {
    match entered {
        Entered::Number { number, unit } => format!("{number} {unit}"),
        Entered::Word(word) => word.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(plate: &str, bind: &str) -> Result<Plan, String> {
        let one = |name: &str, text: &str| BTreeMap::from([(name.to_owned(), text.to_owned())]);
        plan("RTU-07", "C1", "run-capacitor", &one("capacitance", plate), &one("cap", bind))
    }

    #[test]
    fn what_is_written_is_read_back() {
        for text in ["12.5 uF", "40 uF", "single phase"] {
            let plan = of(text, "meter/3").unwrap();
            assert_eq!(entered_text(&plan.plate[0].1), text);
            assert_eq!((plan.bindings[0].from.device.as_str(), plan.bindings[0].from.channel), ("meter", 3));
        }
        assert_eq!(of("40uF", "meter").unwrap().bindings[0].from.channel, 0);
    }

    #[test]
    fn the_value_to_blame_is_named() {
        let plate = of("40", "meter").unwrap_err();
        assert_eq!(plate, "nameplate capacitance: \"40\" has no unit; write for example 40uF");
        assert_eq!(of("40uF", "meter/x").unwrap_err(), "bind cap: \"x\" is no channel (0 to 255)");
    }
}
