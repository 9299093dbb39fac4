//! Values typed in by hand: a meter without a radio gets the same verdict. Checks unit and coupling, fills in what was
//! left out, binds to a point. Does not judge.

use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString};

use quantity::{Accuracy, Decimal, DisplayUnit, Instant, Quantity, Typed, Unit};

use super::points::Since;
use super::points::settled::{AsShown, LeftOut, SettledPoint};
use crate::job::Job;
use crate::verdict::PointReading;
use judge::evaluate::Input;
use judge::rule::Point;

/// The point that a typed value is for, and the value as its settled point.
///
/// # Errors
/// What is wrong with the name, the unit or the accuracy.
pub(super) fn typed_point(
    job: &Job,
    name: &str,
    value: Typed,
    accuracy: Option<Accuracy>,
    now: Instant,
) -> Result<(usize, SettledPoint), String> {
    let header = job.header().ok_or_else(|| format!("no rule {:?}", job.plan.rule))?;
    let (index, point) = job.point(name).ok_or_else(|| {
        let known: alloc::vec::Vec<&str> = header.points.iter().map(|p| p.name.as_str()).collect();
        format!("this check has no reading {name:?}; it wants {}", known.join(", "))
    })?;
    if let (Some(wanted), Some(given)) = (point.display.coupling, value.coupling)
        && wanted != given
    {
        return Err(format!("{name} is wanted as {} {wanted}, not {given}", point.display.unit));
    }
    let Typed { number, unit, coupling } = completed(point, value);
    let unit = unit.unwrap_or(point.display.unit);
    if let Some(coupling) = coupling.filter(|_| !unit.kind().has_coupling()) {
        return Err(format!(
            "{name} is wanted in {}, which is neither ac nor dc; leave {coupling} out",
            point.display.unit
        ));
    }
    let u = uncertainty(number, accuracy, unit).map_err(|e| format!("{name}: {e}"))?;
    let (shown, input) = taken(number, u, unit, point).map_err(|e| format!("{name}: {e}"))?;
    let left_out = left_out(number, accuracy, unit, point);
    // What was left out is not known: the typed digits were rounded (JCGM 100, F.2.2.1).
    let (shown, input) = match (&left_out, accuracy) {
        (LeftOut::Digits(_), Some(accuracy)) if accuracy.counts > 0.0 => {
            let u = libm::hypot(u, Accuracy::of_resolution(number.resolution()));
            taken(number, u, unit, point).map_err(|e| format!("{name}: {e}"))?
        }
        _ => (shown, input),
    };
    let reading = PointReading {
        point: point.name.clone(),
        label: point.label.clone(),
        device: "typed".to_string(),
        quantity: shown,
        shown: number,
        open: false,
        display: DisplayUnit { unit, coupling },
        accuracy_known: accuracy.is_some(),
        count: 1,
        settled: true,
        at_least: None,
        at_most: None,
        drift: None,
        at: now,
    };
    let (until, typed) = (now, Some(number));
    Ok((
        index,
        SettledPoint {
            input,
            reading,
            until,
            channel: 0,
            typed,
            left_out,
            after: None,
            since: Since::default(),
        },
    ))
}

/// A typed value as this point takes it: with the point's unit where none was typed, and with its ac or dc. Unchanged in
/// another kind.
pub(super) fn completed(point: &Point, value: Typed) -> Typed {
    let unit = value.unit.unwrap_or(point.display.unit);
    let of_point = point.display.coupling.filter(|_| unit.kind() == point.display.unit.kind());
    Typed { unit: Some(unit), coupling: value.coupling.or(of_point), ..value }
}

/// The standard uncertainty of what was typed, in `unit`: the meter's accuracy, without one the rounding of the digits.
fn uncertainty(number: Decimal, accuracy: Option<Accuracy>, unit: Unit) -> Result<f64, String> {
    let resolution = number.resolution();
    let Some(accuracy) = accuracy else { return Ok(Accuracy::of_resolution(resolution)) };
    let u = accuracy.standard_uncertainty(number.to_f64(), resolution, unit);
    u.map_err(|e| format!("the accuracy does not fit: {e}"))
}

/// The value with its uncertainty as displayed, and as the rule takes it.
fn taken(number: Decimal, u: f64, unit: Unit, point: &Point) -> Result<(Quantity, Input), String> {
    let shown = Quantity::new(number.to_f64(), u, unit).map_err(|e| e.to_string())?;
    let in_rule = shown.to_unit(point.display.unit).map_err(|e| e.to_string())?;
    let input = Input { value: in_rule.value(), standard_uncertainty: in_rule.standard_uncertainty() };
    if !(input.value.is_finite() && input.standard_uncertainty.is_finite()) {
        return Err("the value or its uncertainty is out of this world".to_string());
    }
    Ok((shown, input))
}

/// Whether the display showed more digits than were typed: its step is the size of the accuracy's counts, where that is
/// stated in the unit typed.
fn left_out(number: Decimal, accuracy: Option<Accuracy>, unit: Unit, point: &Point) -> LeftOut {
    let Some(accuracy) = accuracy else { return LeftOut::No };
    let Some((step, of)) = accuracy.count_size else {
        return if accuracy.counts > 0.0 { LeftOut::Perhaps } else { LeftOut::No };
    };
    if of != unit || number.resolution() <= step * (1.0 + 1e-9) {
        return LeftOut::No;
    }
    let as_shown = || {
        let exponent = Decimal::parse(&format!("{step}")).ok()?.exponent();
        let digits = number.with_zeros(exponent)?;
        let u = uncertainty(digits, Some(accuracy), unit).ok()?;
        let (quantity, input) = taken(digits, u, unit, point).ok()?;
        Some(AsShown { digits, step, input, quantity })
    };
    as_shown().map_or(LeftOut::No, |shown| LeftOut::Digits(Box::new(shown)))
}

#[cfg(test)]
mod tests;
