//! Trends over visits: a straight line by least squares with its prediction interval, the Theil-Sen slope, and when a
//! limit may first be crossed. Does not say what to order; rules and people do.
//!
//! A line needs at least four visits with the same meter (or one that agrees by its En number), similar temperature
//! and no change of part in between. Times are in days from any reference.

use alloc::vec::Vec;

use crate::conformity::student_quantile;
use crate::range::{Argument, OutOfRange};

/// Fewest visits that make a trend. Source: common practice, no source.
pub const VISITS_MIN: usize = 4;
/// The most visits that are used.
pub const VISITS_MAX: usize = 256;
/// The farthest day that is computed, from the last visit: twenty years. Our own choice.
const HORIZON_D: f64 = 7_305.0;

pub(crate) const COUNT: Argument =
    Argument { what: "number of visits", unit: "", least: VISITS_MIN as f64, greatest: VISITS_MAX as f64 };
const PAIRED: Argument = Argument { what: "days less values", unit: "", least: 0.0, greatest: 0.0 };
const SPREAD: Argument =
    Argument { what: "days between the first and the last visit", unit: "d", least: 1e-4, greatest: 2e6 };
/// The direction in which a value approaches its limit, in the words of rules.
pub const SIDES: [&str; 2] = ["falls", "rises"];
pub(crate) const DAY: Argument = Argument { what: "day of a visit", unit: "d", least: -1e6, greatest: 1e6 };
pub(crate) const VALUE: Argument =
    Argument { what: "value of a visit", unit: "", least: -1e12, greatest: 1e12 };
pub(crate) const CONFIDENCE: Argument =
    Argument { what: "confidence", unit: "", least: 0.5, greatest: 0.999_999 };

/// One visit: the day and the value.
pub type Visit = (f64, f64);

/// A straight line through visits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Change a day.
    pub slope_per_d: f64,
    /// Value on day 0.
    pub intercept: f64,
    /// Scatter about the line, n - 2 degrees of freedom.
    pub scatter: f64,
    /// Number of visits.
    pub visits: usize,
    mean_d: f64,
    spread_d2: f64,
    last_d: f64,
}

/// Why there is no trend, or when a limit is crossed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Crossing {
    /// The line does not reach the limit within the horizon of twenty years.
    NotSeen,
    /// The value was already beyond it at the last visit.
    Beyond,
    /// Days: the first that is credible at the given confidence, and the day on which the line itself crosses
    /// (`None`: after the horizon).
    Between {
        /// The first credible day.
        first_d: f64,
        /// The day on which the line itself crosses.
        middle_d: Option<f64>,
    },
}

/// Fits the line by least squares. `None`: fewer than [`VISITS_MIN`] visits, more than [`VISITS_MAX`], or all on one day.
///
/// # Errors
/// [`OutOfRange`] for a day or value that is none.
pub fn least_squares(visits: &[Visit]) -> Result<Option<Line>, OutOfRange> {
    validate(visits)?;
    if !(VISITS_MIN..=VISITS_MAX).contains(&visits.len()) {
        return Ok(None);
    }
    let n = visits.len() as f64;
    let mean_d = visits.iter().map(|(d, _)| d).sum::<f64>() / n;
    let mean = visits.iter().map(|(_, y)| y).sum::<f64>() / n;
    let spread_d2: f64 = visits.iter().map(|(d, _)| (d - mean_d) * (d - mean_d)).sum();
    if spread_d2 < 1e-9 {
        return Ok(None);
    }
    let slope = visits.iter().map(|(d, y)| (d - mean_d) * (y - mean)).sum::<f64>() / spread_d2;
    let rest = |(d, y): &Visit| {
        let off = (y - mean) - slope * (d - mean_d);
        off * off
    };
    let scatter = libm::sqrt(visits.iter().map(rest).sum::<f64>() / (n - 2.0));
    let last_d = visits.iter().map(|(d, _)| *d).fold(f64::NEG_INFINITY, libm::fmax);
    let intercept = mean - slope * mean_d;
    Ok(Some(Line { slope_per_d: slope, intercept, scatter, visits: visits.len(), mean_d, spread_d2, last_d }))
}

impl Line {
    /// The line's value on a day.
    #[must_use]
    pub fn at(&self, day: f64) -> f64 {
        self.intercept + self.slope_per_d * day
    }

    /// Half-width of the interval around the line that contains one new reading with this confidence: t s sqrt(1 +
    /// 1/n + (d - mean)^2 / S).
    ///
    /// `confidence` two-sided, 0.5 to 0.999999. Source: mathematics.
    ///
    /// # Errors
    /// [`OutOfRange`] outside the range above.
    pub fn prediction_half(&self, day: f64, confidence: f64) -> Result<f64, OutOfRange> {
        let n = self.visits as f64;
        let t = student_quantile(0.5 + 0.5 * CONFIDENCE.validate(confidence)?, n - 2.0)?;
        Ok(t * self.reach(day))
    }

    fn reach(&self, day: f64) -> f64 {
        let off = day - self.mean_d;
        self.scatter * libm::sqrt(1.0 + 1.0 / self.visits as f64 + off * off / self.spread_d2)
    }

    /// When a limit below (or, with `above`, above) is first credibly crossed: one-sided, at this confidence.
    ///
    /// `confidence` 0.5 to 0.999999. Days count as those of the visits. Source: mathematics (prediction interval).
    ///
    /// # Errors
    /// [`OutOfRange`] outside the range above, or for a limit that is none.
    pub fn crossing(&self, limit: f64, above: bool, confidence: f64) -> Result<Crossing, OutOfRange> {
        let (limit, sign) = (VALUE.validate(limit)?, if above { -1.0 } else { 1.0 });
        let t = student_quantile(CONFIDENCE.validate(confidence)?, self.visits as f64 - 2.0)?;
        // How far inside the limit the worst credible value, and the line itself, lie on a day.
        let worst = |day: f64| sign * (self.at(day) - limit) - t * self.reach(day);
        let middle = |day: f64| sign * (self.at(day) - limit);
        if middle(self.last_d) <= 0.0 {
            return Ok(Crossing::Beyond);
        }
        let Some(first_d) = first_zero(&worst, self.last_d) else { return Ok(Crossing::NotSeen) };
        Ok(Crossing::Between { first_d, middle_d: first_zero(&middle, self.last_d) })
    }
}

/// The first day from `from` on, within the horizon, at which a function that starts at or above zero reaches zero;
/// searched in steps of ten days, then bisected to less than a second.
fn first_zero(f: &impl Fn(f64) -> f64, from: f64) -> Option<f64> {
    if f(from) <= 0.0 {
        return Some(from);
    }
    let (mut low, step) = (from, 10.0);
    while low < from + HORIZON_D {
        let mut high = low + step;
        if f(high) <= 0.0 {
            for _ in 0..40 {
                let middle = 0.5 * (low + high);
                if f(middle) <= 0.0 {
                    high = middle;
                } else {
                    low = middle;
                }
            }
            return Some(high);
        }
        low = high;
    }
    None
}

/// The Theil-Sen slope per day: the median of the slopes of all pairs, which an outlier hardly moves. `None` as for
/// [`least_squares`].
///
/// # Errors
/// [`OutOfRange`] for a day or value that is not finite or out of range.
pub fn theil_sen(visits: &[Visit]) -> Result<Option<f64>, OutOfRange> {
    validate(visits)?;
    if !(VISITS_MIN..=VISITS_MAX).contains(&visits.len()) {
        return Ok(None);
    }
    let mut slopes = Vec::new();
    for (index, (day, value)) in visits.iter().enumerate() {
        for (later, other) in visits.iter().skip(index + 1) {
            if libm::fabs(later - day) > 1e-9 {
                slopes.push((other - value) / (later - day));
            }
        }
    }
    Ok(median(&mut slopes))
}

/// The line through visits given as two lists.
///
/// `days` and `values` 4 to 256 each, as many of one as of the other.
///
/// # Errors
/// [`OutOfRange`] for a day or value that is none, too few visits, lists of unlike length, or all visits on one day.
pub fn line(days: &[f64], values: &[f64]) -> Result<Line, OutOfRange> {
    let visits = visits(days, values)?;
    least_squares(&visits)?.ok_or(OutOfRange { value: 0.0, ..SPREAD.error() })
}

/// [`theil_sen`] of visits given as two lists.
///
/// # Errors
/// As [`line()`].
pub fn robust_slope(days: &[f64], values: &[f64]) -> Result<f64, OutOfRange> {
    let visits = visits(days, values)?;
    theil_sen(&visits)?.ok_or(OutOfRange { value: 0.0, ..SPREAD.error() })
}

/// Days from the last visit to the first credible crossing ([`Line::crossing`]): 0 when the line is there already, 7305 (twenty years)
/// when none is seen.
///
/// # Errors
/// As [`line()`] and [`Line::crossing`].
pub fn days_to_limit(
    days: &[f64],
    values: &[f64],
    limit: f64,
    rises: bool,
    confidence: f64,
) -> Result<f64, OutOfRange> {
    let line = line(days, values)?;
    Ok(match line.crossing(limit, rises, confidence)? {
        Crossing::NotSeen => HORIZON_D,
        Crossing::Beyond => 0.0,
        Crossing::Between { first_d, .. } => first_d - line.last_d,
    })
}

fn visits(days: &[f64], values: &[f64]) -> Result<Vec<Visit>, OutOfRange> {
    PAIRED.validate(days.len() as f64 - values.len() as f64)?;
    COUNT.validate(days.len() as f64)?;
    Ok(days.iter().copied().zip(values.iter().copied()).collect())
}

/// The middle of a list, or the mean of the two middle ones. Sorts it. `None` for an empty one.
pub(crate) fn median(list: &mut [f64]) -> Option<f64> {
    list.sort_by(f64::total_cmp);
    let half = list.len() / 2;
    let upper = *list.get(half)?;
    if list.len() % 2 == 1 { Some(upper) } else { Some(0.5 * (upper + list.get(half.checked_sub(1)?)?)) }
}

fn validate(visits: &[Visit]) -> Result<(), OutOfRange> {
    visits.iter().try_for_each(|(day, value)| {
        DAY.validate(*day)?;
        VALUE.validate(*value).map(|_| ())
    })
}

#[cfg(test)]
mod tests;
