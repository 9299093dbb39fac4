//! Finds where in a frame a displayed number is stored. Does not know units, codes or bits.

use std::ops::Range;

use quantity::Decimal;

use crate::binary::FramingCandidate;
use wire::analysis::NumberEncoding;

/// A position that holds every displayed number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Place {
    /// Its first byte.
    pub(crate) at: usize,
    pub(crate) stored: NumberEncoding,
    pub(crate) name: &'static str,
    /// The number is stored without its sign.
    pub(crate) magnitude: bool,
}

impl Place {
    pub(crate) const fn bytes(&self) -> Range<usize> {
        self.at..self.at + self.stored.width()
    }

    pub(crate) const fn is_float(&self) -> bool {
        self.stored.is_float()
    }

    const fn signed(&self) -> bool {
        self.stored.is_signed()
    }

    /// The least significant byte. Positions that share it differ only in their width.
    const fn lowest(&self) -> (usize, bool, bool, bool) {
        let big_endian = self.stored.is_big_endian();
        let at = if big_endian { self.at + self.stored.width() - 1 } else { self.at };
        (at, big_endian, self.is_float(), self.magnitude)
    }

    /// True if this frame carries the number.
    pub(crate) fn says(&self, frame: &[u8], shown: Decimal) -> bool {
        let wanted = if self.magnitude { shown.mantissa().abs() } else { shown.mantissa() };
        if self.is_float() {
            return self.stored.float(frame, self.at).filter(|value| value.is_finite()).is_some_and(
                |value| {
                    let step = libm::exp10(f64::from(shown.exponent()));
                    // As the decoder rounds it.
                    libm::fabs(libm::round(value / step) - shown.to_f64() / step) < 0.25
                },
            );
        }
        self.stored.integer(frame, self.at) == Some(wanted)
    }
}

/// Frames of a time span, and the displayed number.
pub(crate) type Window<'f> = (Decimal, Vec<&'f [u8]>);

/// Positions that fit all windows: one for each least significant byte and byte order, at its greatest width.
pub(crate) fn find(cut: &FramingCandidate, windows: &[Window<'_>]) -> Vec<Place> {
    let negative = windows.iter().any(|(shown, _)| shown.mantissa() < 0);
    let mut fit: Vec<Place> = Vec::new();
    for at in cut.sync..cut.end {
        for (name, stored) in NumberEncoding::all() {
            for magnitude in [false, true] {
                let place = Place { at, stored, name, magnitude };
                let sensible = match (negative, magnitude, place.signed(), place.is_float()) {
                    (_, true, true, _) | (_, true, _, true) | (false, true, ..) => false,
                    (true, true, false, false) => true,
                    (true, false, signed, float) => signed || float,
                    (false, false, signed, _) => !signed,
                };
                let bytes = place.bytes();
                let free =
                    bytes.end <= cut.end && (bytes.end <= cut.taken.start || bytes.start >= cut.taken.end);
                if sensible && free && windows.iter().all(|window| fits(&place, window)) {
                    fit.push(place);
                }
            }
        }
    }
    widest(&fit)
}

/// At least half of the frames hold it, and at least two.
fn fits(place: &Place, (shown, frames): &Window<'_>) -> bool {
    let said = frames.iter().filter(|frame| place.says(frame, *shown)).count();
    said >= 2 && said * 2 >= frames.len()
}

fn widest(fit: &[Place]) -> Vec<Place> {
    let mut kept: Vec<Place> = Vec::new();
    for place in fit {
        match kept.iter_mut().find(|known| known.lowest() == place.lowest()) {
            Some(known) if known.stored.width() < place.stored.width() => *known = *place,
            Some(_) => {}
            None => kept.push(*place),
        }
    }
    // A number of one byte has no order: both orders share its byte. One that reaches further up says more.
    let single: Vec<usize> = fit.iter().filter(|p| p.stored.width() == 1).map(|p| p.at).collect();
    for at in single {
        let both: Vec<Place> = kept.iter().filter(|p| !p.is_float() && p.lowest().0 == at).copied().collect();
        if both.len() < 2 {
            continue;
        }
        let reach: Vec<Place> = both.iter().filter(|p| p.stored.width() > 1).copied().collect();
        let narrow = fit.iter().find(|p| p.stored.width() == 1 && p.at == at).copied();
        let chosen = if let ([only], true) = (reach.as_slice(), both.iter().any(|p| p.signed())) {
            Some(*only)
        } else {
            narrow
        };
        kept.retain(|p| p.is_float() || p.lowest().0 != at);
        kept.extend(chosen);
    }
    kept
}
