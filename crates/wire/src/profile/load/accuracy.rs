//! The `[[accuracy]]` rows, checked to be in an order in which each can be reached.

use alloc::vec::Vec;

use quantity::{Accuracy, Kind, Timing, Unit, parse_typed};

use super::table::{Node, Table};
use super::words::kind_word;
use crate::error::ProfileError;
use crate::profile::accuracy::AccuracyRow;

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
