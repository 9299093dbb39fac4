//! Discharged on every pair: V dc next to nothing across each two terminals and from each to the case, each pair named before it
//! is read. Whether the leads were on, a person says.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Instant, Reading, Unit};

use super::course::{Course, Named};
use super::pairs::PairRead;
use super::rest::{Rest, reach};
use super::{ALL_PAIRS_WITHIN, Asks, Progress, RESIDUAL_V_MAX};

/// The proof by one channel of one device.
#[derive(Clone, Debug, Default)]
pub(super) struct Discharged {
    read: Vec<PairRead>,
    /// When the first pair was read.
    since: Option<Instant>,
    /// The newest pair that was read, by the number of its naming; none up to there counts.
    spent: u32,
    /// The pair of this number is settling.
    settling: Option<u32>,
    rest: Rest,
    asked: bool,
    /// The number of what was named last, as of the last reading.
    latest: u32,
}

impl Discharged {
    pub(super) fn reset(&mut self) {
        let spent = if self.is_under_way() { self.latest } else { self.spent };
        *self = Self { spent, latest: self.latest, ..Self::default() };
    }

    /// What settles begins anew.
    pub(super) fn break_off(&mut self) {
        self.rest.begin_anew();
    }

    pub(super) fn is_under_way(&self) -> bool {
        self.settling.is_some() || !self.read.is_empty()
    }

    pub(super) fn read(&self) -> &[PairRead] {
        &self.read
    }

    /// The pair that was named and is not read yet.
    pub(super) fn pending<'a>(&self, course: &'a Course) -> Option<&'a Named> {
        course.on().filter(|on| on.number > self.spent)
    }

    pub(super) fn push(&mut self, reading: &Reading, course: &Course) -> Progress {
        self.latest = course.count();
        if self.since.is_some_and(|since| reading.at.since(since) > ALL_PAIRS_WITHIN) {
            self.reset();
            return Progress::Waiting("ten minutes are over: begin anew with the first pair".to_string());
        }
        let Some(on) = self.pending(course) else {
            let says = if self.asked { "answer the question".to_string() } else { self.next(course) };
            return Progress::Waiting(says);
        };
        if self.settling != Some(on.number) {
            self.settling = Some(on.number);
            self.rest.begin_anew();
        }
        let pair = &on.what;
        let hold = format!("{pair}: both leads on it, metal to metal, and hold still");
        if reading.at <= on.at {
            return Progress::Waiting(hold);
        }
        let thresholds = [-RESIDUAL_V_MAX, RESIDUAL_V_MAX];
        let Some(settled) = self.rest.settled(reading, Unit::VOLT, &thresholds) else {
            self.rest.stands(false, reading.at);
            return Progress::Waiting(hold);
        };
        let low = reach(&settled).1 < RESIDUAL_V_MAX;
        if self.rest.stands(low, reading.at) {
            return self.has_read(pair, on.number, reading, course);
        }
        Progress::Waiting(if low {
            hold
        } else {
            format!(
                "{reading} still on {pair}: keep discharging through the resistor, then read this pair again"
            )
        })
    }

    fn has_read(&mut self, pair: &str, number: u32, reading: &Reading, course: &Course) -> Progress {
        self.spent = number;
        self.settling = None;
        let since = *self.since.get_or_insert(reading.at);
        self.read.retain(|of| of.pair != pair);
        self.read.push(PairRead { pair: pair.to_string(), shown: reading.to_string() });
        if course.pairs().next(&self.read).is_some() {
            return Progress::Step(format!("{pair} reads {reading}; {}", self.next(course)));
        }
        self.asked = true;
        let all: Vec<String> = self.read.iter().map(|of| format!("{} {}", of.pair, of.shown)).collect();
        Progress::Asks(Asks { says: all.join(", "), until: since + ALL_PAIRS_WITHIN })
    }

    /// The one next thing to do between two readings.
    fn next(&self, course: &Course) -> String {
        course
            .pairs()
            .next(&self.read)
            .map_or_else(String::new, |pair| format!("next pair: on {pair}, then both leads on it, V dc"))
    }
}
