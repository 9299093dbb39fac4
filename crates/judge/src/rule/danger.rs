//! A danger that a rule declares: a limit of a reading beyond which nothing is waited for. Says whether a value lies beyond it and
//! what is judged then; does not settle readings, nor end anything.

use alloc::format;
use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;

use super::{Header, Judgement};

/// On which side of its limit the danger lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beyond {
    /// Above it.
    Above,
    /// Below it.
    Below,
}

/// A danger: a reading beyond a limit of the same rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Danger {
    /// The point, as an index into [`Header::points`].
    pub point: usize,
    /// On which side the danger lies.
    pub beyond: Beyond,
    /// The limit, as an index into [`Header::limits`].
    pub limit: usize,
    /// The limit's value in the point's unit.
    pub at: f64,
    /// What to do, said first.
    pub advice: Arc<str>,
    /// Hold points of the unit that it ends.
    pub ends: Vec<String>,
    /// Line of its declaration, 1-based.
    pub line: usize,
}

impl Danger {
    /// Whether a value in the point's unit lies beyond the limit. A value at the limit does not.
    #[must_use]
    pub fn is_past(&self, value: f64) -> bool {
        match self.beyond {
            Beyond::Above => value > self.at,
            Beyond::Below => value < self.at,
        }
    }

    /// What is judged of a value in the point's unit; `None` where `header` is not that of its rule.
    #[must_use]
    pub fn judgement(&self, header: &Header, value: f64) -> Option<Judgement> {
        let (point, limit) = (header.points.get(self.point)?, header.limits.get(self.limit)?);
        let (low, high) = match self.beyond {
            Beyond::Above => (None, Some(self.at)),
            Beyond::Below => (Some(self.at), None),
        };
        Some(Judgement {
            name: format!("danger: {}", point.label).into(),
            value,
            unit: point.display.unit,
            low,
            high,
            advice_ok: None,
            advice_low: low.map(|_| Arc::clone(&self.advice)),
            advice_high: high.map(|_| Arc::clone(&self.advice)),
            source: limit.source.clone(),
            source_parts: [].into(),
        })
    }
}

#[cfg(test)]
mod tests;
