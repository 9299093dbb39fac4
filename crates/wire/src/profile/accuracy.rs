//! The `[[accuracy]]` rows: the maker's statement per quantity and range, and the step of the display there. Does not
//! compute uncertainty.

use alloc::vec::Vec;

use quantity::{Accuracy, Coupling, Decimal, Kind, Timing, Unit, parse_typed};

use super::table::{Node, Table};
use super::words::kind_word;
use crate::error::ProfileError;

/// One row: the statement for values up to a bound.
#[derive(Clone, Copy, Debug)]
pub(super) struct AccuracyRow {
    kind: Kind,
    /// `None`: whatever the coupling.
    coupling: Option<Coupling>,
    /// Magnitude up to which it holds, in the kind's base unit; `None`: any.
    up_to_base: Option<f64>,
    accuracy: Accuracy,
    /// The display's least step in this range, in its unit, for values that a person reads off.
    resolution: Option<(f64, Unit)>,
    /// How fast the device follows in this range.
    timing: Timing,
}

pub(super) fn load(node: Node<'_>) -> Result<Vec<AccuracyRow>, ProfileError> {
    let mut rows: Vec<AccuracyRow> = Vec::new();
    for table in node.tables("[accuracy]")? {
        let row = load_row(&table)?;
        let same = |r: &&AccuracyRow| r.kind == row.kind && r.coupling == row.coupling;
        if let Some(last) = rows.iter().rev().find(same) {
            let rises = match (last.up_to_base, row.up_to_base) {
                (None, _) => false,
                (Some(_), None) => true,
                (Some(before), Some(now)) => now > before,
            };
            if !rises {
                return Err(table.error(format_args!(
                    "this row can never be reached: rows of one quantity stand in rising order of up_to, \
                     the one without up_to last"
                )));
            }
        }
        rows.push(row);
    }
    Ok(rows)
}

fn load_row(table: &Table<'_>) -> Result<AccuracyRow, ProfileError> {
    table.only(&["quantity", "up_to", "spec", "resolution", "conversion_s", "response_s"])?;
    let (kind, coupling) = kind_word(table.need("quantity", "quantity = \"capacitance\"")?)?;
    let up_to_base = table.find("up_to").map(|node| up_to(node, kind)).transpose()?;
    let node = table.need("spec", "spec = \"1.9% + 2\"")?;
    let accuracy = Accuracy::parse(node.str()?).map_err(|error| node.error(error))?;
    if let Some(unit) = Unit::ALL.iter().find(|unit| unit.kind() == kind) {
        accuracy.half_width(0.0, 0.0, *unit).map_err(|error| node.error(error))?;
    }
    let resolution = table.find("resolution").map(|node| sized(node, kind)).transpose()?;
    let seconds = |key: &str| table.find(key).map(Node::seconds).transpose();
    let timing = Timing { conversion_s: seconds("conversion_s")?, response_s: seconds("response_s")? };
    Ok(AccuracyRow { kind, coupling, up_to_base, accuracy, resolution, timing })
}

fn up_to(node: Node<'_>, kind: Kind) -> Result<f64, ProfileError> {
    let (value, unit) = sized(node, kind)?;
    Ok(unit.in_base(value))
}

/// A number above zero with a unit of this kind.
fn sized(node: Node<'_>, kind: Kind) -> Result<(f64, Unit), ProfileError> {
    let typed = parse_typed(node.str()?).map_err(|error| node.error(error))?;
    let unit = typed.unit.ok_or_else(|| node.error("give the unit too, for example \"60uF\""))?;
    if unit.kind() != kind {
        return Err(node.error(format_args!("{unit} is a unit of {}, not of {kind}", unit.kind())));
    }
    let value = typed.number.to_f64();
    if value > 0.0 { Ok((value, unit)) } else { Err(node.error("must be greater than zero")) }
}

/// As [`find`], for digits that a person read off the display. Where they are coarser than the display's step in their
/// range, the counts are those of the display, not of the digits.
pub(super) fn find_read_off(
    rows: &[AccuracyRow],
    unit: Unit,
    coupling: Option<Coupling>,
    digits: Decimal,
) -> Option<Accuracy> {
    let row = find_row(rows, unit, coupling, digits.to_f64())?;
    let step = row.resolution.filter(|(step, of)| {
        *of == unit && row.reaches(unit, digits.to_f64()) && digits.resolution() > step * (1.0 + 1e-9)
    });
    Some(Accuracy { count_size: row.accuracy.count_size.or(step), ..row.accuracy })
}

impl AccuracyRow {
    fn reaches(&self, unit: Unit, value: f64) -> bool {
        // The slack is for the rounding of unit conversion: 60000 nF is within 60 uF.
        let base = libm::fabs(unit.in_base(value)) * (1.0 - 1e-12);
        self.up_to_base.is_none_or(|up_to| base <= up_to)
    }
}

pub(super) fn find(
    rows: &[AccuracyRow],
    unit: Unit,
    coupling: Option<Coupling>,
    value: f64,
) -> Option<Accuracy> {
    find_row(rows, unit, coupling, value).map(|row| row.accuracy)
}

/// How fast the device follows, as the row says; nothing where no row does.
pub(super) fn timing(rows: &[AccuracyRow], unit: Unit, coupling: Option<Coupling>, value: f64) -> Timing {
    find_row(rows, unit, coupling, value).map_or_else(Timing::default, |row| row.timing)
}

fn find_row(
    rows: &[AccuracyRow],
    unit: Unit,
    coupling: Option<Coupling>,
    value: f64,
) -> Option<&AccuracyRow> {
    let kind = || rows.iter().filter(|row| row.kind == unit.kind());
    let exact = kind().any(|row| row.coupling.is_some() && row.coupling == coupling);
    let wanted = if exact { coupling } else { None };
    let mut last = None;
    for row in kind().filter(|row| row.coupling == wanted) {
        last = Some(row);
        if row.reaches(unit, value) {
            break;
        }
    }
    last
}
