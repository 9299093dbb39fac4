//! Second looks: a figure that is read again in the same visit stands beside the first, with what that says of the reading. Figures are
//! remembered by unit, component, rule and point until the visit is closed. Does not judge the part.

use alloc::collections::BTreeMap;
use alloc::string::{String, ToString};

use quantity::DisplayUnit;

use crate::job::Place;
use crate::second_look::{Agreement, Look, SecondLook};
use crate::verdict::PointReading;

/// Figures remembered at most; the oldest goes first. Our own choice: 45 units with 15 checks of 6 points.
const FIGURES_MAX: usize = 4_050;
/// Two looks of one meter at one thing differ by so many counts of its display without a reason. Common practice, no source.
const COUNTS: f64 = 2.0;
/// k of the expanded uncertainties that En takes (ISO 13528:2022, 9.7; about 95 %), and of the repeatability limit.
const K: f64 = 2.0;

/// Unit, component, rule, point.
type Key = (String, String, String, String);

/// The figures of one point.
#[derive(Clone, Debug, Default)]
struct Figures {
    found: Option<Look>,
    left: Option<Look>,
}

/// All figures of the visits that are open.
#[derive(Clone, Debug, Default)]
pub(crate) struct Looks {
    figures: BTreeMap<Key, Figures>,
}

impl Looks {
    /// Takes a figure; gives the second look that it is, if it is one. A value that was not at rest is none.
    pub(crate) fn take(
        &mut self,
        (place, rule): (Place<'_>, &str),
        reading: &PointReading,
        (verdict, as_left): (u64, bool),
    ) -> Option<SecondLook> {
        let look = Look::of(reading, verdict, as_left)?;
        let texts = [place.unit_tag, place.component, rule, &reading.point];
        let [unit, component, rule, point] = texts.map(ToString::to_string);
        let key = (unit, component, rule, point);
        if !self.figures.contains_key(&key) && self.figures.len() >= FIGURES_MAX {
            self.forget_oldest();
        }
        let figures = self.figures.entry(key).or_default();
        let (of_sort, before) =
            if as_left { (&mut figures.left, figures.found.as_ref()) } else { (&mut figures.found, None) };
        let Some(first) = of_sort.as_ref().or(before).cloned() else {
            *of_sort = Some(look);
            return None;
        };
        if of_sort.is_none() {
            *of_sort = Some(look.clone());
        }
        let second = look.in_unit_of(&first)?;
        let agreement = first.against(&second);
        Some(SecondLook {
            point: reading.point.clone(),
            label: reading.label.clone(),
            first,
            second,
            agreement,
        })
    }

    /// Whether a figure as left was read for this check: what is read after it is as left too.
    pub(crate) fn is_left(&self, place: Place<'_>, rule: &str) -> bool {
        let of_check = |(unit, component, of, _): &Key| {
            unit == place.unit_tag && component == place.component && of == rule
        };
        self.figures.iter().any(|(key, figures)| figures.left.is_some() && of_check(key))
    }

    /// The visit at this unit has ended.
    pub(crate) fn leave(&mut self, unit_tag: &str) {
        self.figures.retain(|(unit, ..), _| unit != unit_tag);
    }

    fn forget_oldest(&mut self) {
        let newest = |figures: &Figures| {
            let all = [&figures.found, &figures.left].into_iter().flatten();
            all.map(|look| look.verdict).max().unwrap_or_default()
        };
        let oldest =
            self.figures.iter().min_by_key(|(_, figures)| newest(figures)).map(|(key, _)| key.clone());
        if let Some(key) = oldest {
            self.figures.remove(&key);
        }
    }
}

impl Look {
    /// A figure; `None` for a value that was not at rest or that drifted.
    fn of(reading: &PointReading, verdict: u64, as_left: bool) -> Option<Self> {
        if !reading.settled || reading.drift.is_some() {
            return None;
        }
        let step = reading.shown.resolution();
        // The interval that holds the settled value: evenly spread (JCGM 100, 4.3.7), as are the digits behind the last one.
        let half = reading.at_least.zip(reading.at_most).map_or(0.0, |(low, high)| (high - low).abs() / 2.0);
        Some(Self {
            verdict,
            device: reading.device.clone(),
            value: reading.quantity.value(),
            standard_uncertainty: reading.quantity.standard_uncertainty(),
            display: reading.display,
            open: reading.open,
            as_left,
            at: reading.at,
            repeats: libm::hypot(step / libm::sqrt(12.0), half / libm::sqrt(3.0)),
            step,
            accuracy_known: reading.accuracy_known,
        })
    }

    /// The same figure in the unit of another; `None` where it measures something else.
    fn in_unit_of(self, other: &Self) -> Option<Self> {
        let (from, to) = (self.display.unit, other.display.unit);
        let span = |value: f64| from.convert_span(value, to).ok();
        Some(Self {
            value: from.convert(self.value, to).ok()?,
            standard_uncertainty: span(self.standard_uncertainty)?,
            repeats: span(self.repeats)?,
            step: span(self.step)?,
            display: DisplayUnit { unit: to, coupling: self.display.coupling },
            ..self
        })
    }

    fn against(&self, second: &Self) -> Agreement {
        if second.as_left && !self.as_left {
            return Agreement::AsLeft;
        }
        if self.open || second.open {
            return Agreement::Open { agrees: self.open && second.open };
        }
        let apart = (second.value - self.value).abs();
        if self.device == second.device {
            let within =
                (K * libm::hypot(self.repeats, second.repeats)).max(COUNTS * self.step.max(second.step));
            // Counts are decimal: two of them are two of them, whatever their binary form.
            return Agreement::Repeats { agrees: apart <= within * (1.0 + 1e-9), apart, within };
        }
        if let Some(unknown) = [self, second].into_iter().find(|look| !look.accuracy_known) {
            return Agreement::UnknownAccuracy(unknown.device.clone());
        }
        let expanded = K * libm::hypot(self.standard_uncertainty, second.standard_uncertainty);
        let en = if expanded > 0.0 {
            apart / expanded
        } else if apart > 0.0 {
            f64::MAX
        } else {
            0.0
        };
        Agreement::Meters { agrees: en <= 1.0, en }
    }
}

#[cfg(test)]
mod tests;
