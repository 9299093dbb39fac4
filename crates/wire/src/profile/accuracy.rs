//! The maker's statement of accuracy per quantity and range, and the step of the display there. Does not compute uncertainty.

use quantity::{Accuracy, Coupling, Decimal, Kind, Timing, Unit};

/// One row: the statement for values up to a bound.
#[derive(Clone, Copy, Debug)]
pub(super) struct AccuracyRow {
    pub(super) kind: Kind,
    /// `None`: any coupling.
    pub(super) coupling: Option<Coupling>,
    /// Magnitude up to which it applies, in the kind's base unit; `None`: any.
    pub(super) up_to_base: Option<f64>,
    pub(super) accuracy: Accuracy,
    /// The display's smallest step in this range, in its unit, for values that a person reads off.
    pub(super) resolution: Option<(f64, Unit)>,
    /// How fast the device follows in this range.
    pub(super) timing: Timing,
}

/// Like [`find`], for digits that a person read off the display. If they are coarser than the display's step in their
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

/// How fast the device follows according to the row; empty if no row says so.
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
