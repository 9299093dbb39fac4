//! Dead on every pair: a live source that a person has named, each pair that a person names before it is read, the live source
//! again. NFPA 70E-2024, 120.6(7) (120.5(7) in 2018 and 2021; as training pages quote it): each phase conductor phase to phase
//! and phase to ground, the tester verified on a known source before and after. Whether the leads were on, a person says.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Coupling, Instant, Kind, Reading, Unit};

use super::course::{Course, Named};
use super::pairs::{PairRead, is_bus};
use super::rest::{Rest, reach};
use super::{
    ALL_PAIRS_WITHIN, Asks, DEAD_PART_MAX, LIVE_FOR, LIVE_READINGS, LIVE_SOURCE_V_MIN, LIVE_V_MIN,
    OFF_SOURCE_WITHIN, Progress, RESIDUAL_V_MAX, SAME_SOURCE_PART, volts_of,
};

/// The proof by one channel of one device.
#[derive(Clone, Debug, Default)]
pub(super) struct Dead {
    source: Option<Source>,
    /// The leads have left the source since it was read.
    left: bool,
    read: Vec<PairRead>,
    /// The newest pair that was read, by the number of its naming.
    last_read: u32,
    /// What is settling: the source or pair of this number; 0 for the source at the end.
    settling: Option<u32>,
    rest: Rest,
    volts: Volts,
    /// All is read, and a person is asked.
    asked: bool,
    on_source: bool,
    /// What was named up to here counts no more.
    spent: u32,
    /// The number of what was named last, as of the last reading.
    latest: u32,
}

/// The live source as it was read at the beginning.
#[derive(Clone, Debug)]
struct Source {
    name: String,
    shown: String,
    volts: f64,
    at: Instant,
    /// What was named until then was named before it was read.
    after: u32,
}

/// Volts in a row where none should be.
#[derive(Clone, Copy, Debug, Default)]
struct Volts {
    run: u32,
    since: Option<Instant>,
}

impl Dead {
    pub(super) fn reset(&mut self) {
        let spent = if self.is_under_way() { self.latest } else { self.spent };
        *self = Self { spent, latest: self.latest, ..Self::default() };
    }

    /// What settles begins anew.
    pub(super) fn break_off(&mut self) {
        self.rest.begin_anew();
        (self.volts, self.on_source) = (Volts::default(), false);
    }

    pub(super) fn is_under_way(&self) -> bool {
        self.source.is_some()
    }

    pub(super) fn is_on_source(&self) -> bool {
        self.on_source
    }

    pub(super) fn read(&self) -> &[PairRead] {
        &self.read
    }

    /// The pair that was named and is not read yet.
    pub(super) fn pending<'a>(&self, course: &'a Course) -> Option<&'a Named> {
        let source = self.source.as_ref()?;
        course.on().filter(|on| on.number > source.after && on.number > self.last_read)
    }

    /// What the meter must show now: V dc on a bus, which holds no other, V ac on all else.
    pub(super) fn coupling(&self, course: &Course) -> Coupling {
        let bus = self.pending(course).is_some_and(|on| is_bus(&on.what));
        if bus { Coupling::Dc } else { Coupling::Ac }
    }

    /// What to do where the meter only stands between V ac and V dc, because one of the pairs is a bus.
    pub(super) fn turns_for_the_bus(&mut self, reading: &Reading, course: &Course) -> Option<String> {
        let turns = self.is_under_way()
            && course.pairs().have_a_bus()
            && reading.display.unit.kind() == Kind::Voltage
            && reading.display.coupling.is_some();
        turns.then(|| {
            self.break_off();
            match self.coupling(course) {
                Coupling::Dc => "turn the meter to V dc: the bus holds no other".to_string(),
                Coupling::Ac => format!("turn the meter back to V ac; {}", self.next(course)),
            }
        })
    }

    pub(super) fn push(&mut self, reading: &Reading, course: &Course) -> Progress {
        self.latest = course.count();
        self.on_source = false;
        if self.source.as_ref().is_some_and(|source| reading.at.since(source.at) > ALL_PAIRS_WITHIN) {
            self.reset();
            return Progress::Waiting("ten minutes are over: begin anew, name the live source again".into());
        }
        match self.source.clone() {
            None => self.source_first(reading, course),
            Some(source) => self.after_the_source(reading, course, &source),
        }
    }

    /// No reading from before counts for what is named by this number.
    fn settle_for(&mut self, number: u32) {
        if self.settling != Some(number) {
            self.settling = Some(number);
            self.rest.begin_anew();
            self.volts = Volts::default();
        }
    }

    fn source_first(&mut self, reading: &Reading, course: &Course) -> Progress {
        let Some(named) = course.source().filter(|source| source.number > self.spent) else {
            return Progress::Waiting(
                "first name a known live source that is not this unit: source WHAT".into(),
            );
        };
        let name = &named.what;
        let waits = || {
            Progress::Waiting(format!("both leads on {name}: V ac, at least {LIVE_SOURCE_V_MIN} V, at rest"))
        };
        if reading.at <= named.at {
            return waits();
        }
        self.settle_for(named.number);
        self.on_source = volts_of(reading) >= LIVE_V_MIN;
        let thresholds = [-LIVE_SOURCE_V_MIN, -LIVE_V_MIN, LIVE_V_MIN, LIVE_SOURCE_V_MIN];
        let Some(settled) = self.rest.settled(reading, Unit::VOLT, &thresholds) else { return waits() };
        let (least, _) = reach(&settled);
        if least >= LIVE_SOURCE_V_MIN {
            self.source = Some(Source {
                name: name.clone(),
                shown: reading.to_string(),
                // As displayed: an interval that need not be narrow has no value of its own.
                volts: volts_of(reading),
                at: reading.at,
                after: course.count(),
            });
            return Progress::Step(format!("{name} reads {reading}; {}", self.next(course)));
        }
        if least >= LIVE_V_MIN && reach(&settled).1 < LIVE_SOURCE_V_MIN {
            return Progress::Waiting(format!(
                "{name} reads {reading}. A dead conductor beside a live one may read as much (a ghost): a proving unit or another \
                 source must give at least {LIVE_SOURCE_V_MIN} V"
            ));
        }
        waits()
    }

    fn after_the_source(&mut self, reading: &Reading, course: &Course, source: &Source) -> Progress {
        let volts = volts_of(reading);
        let at_level = (volts - source.volts).abs() <= SAME_SOURCE_PART * source.volts;
        let pending = self.pending(course).cloned();
        if let Some(on) = &pending {
            self.settle_for(on.number);
        }
        let lingers =
            pending.as_ref().is_none_or(|on| reading.at.since(on.at) <= OFF_SOURCE_WITHIN) && !self.left;
        if at_level && lingers {
            self.on_source = true;
            let then = pending.map_or_else(|| self.next(course), |on| format!("take them to {}", on.what));
            return Progress::Waiting(format!("the leads are still on {}; {then}", source.name));
        }
        self.left |= !at_level;
        let at_the_end = pending.is_none() && course.pairs().next(&self.read).is_none();
        let on_bus = pending.as_ref().is_some_and(|on| is_bus(&on.what));
        if volts >= LIVE_V_MIN && !on_bus && !(at_the_end && at_level && !self.asked) {
            return self.live(reading, pending.as_ref());
        }
        self.volts = Volts::default();
        match pending {
            Some(on) => self.pair(reading, course, source, &on),
            None if self.asked => Progress::Waiting("answer the question".to_string()),
            None if at_the_end => self.source_again(reading, course, source, at_level),
            None => Progress::Waiting(self.next(course)),
        }
    }

    /// Volts where none should be: told at the first reading.
    fn live(&mut self, reading: &Reading, pending: Option<&Named>) -> Progress {
        self.rest.begin_anew();
        self.volts.run = self.volts.run.saturating_add(1);
        let since = *self.volts.since.get_or_insert(reading.at);
        let says = match pending {
            Some(on) => format!("{} reads {reading}: LIVE. Hands off, leads off", on.what),
            None => format!("{reading}, and no pair was named: LIVE. Hands off, leads off"),
        };
        if self.volts.run >= LIVE_READINGS && reading.at.since(since) >= LIVE_FOR {
            self.reset();
            return Progress::Live(format!("{says}. Find what feeds it, lock it out, and begin anew"));
        }
        Progress::Volts(says, self.volts.run == 1)
    }

    fn pair(&mut self, reading: &Reading, course: &Course, source: &Source, on: &Named) -> Progress {
        let pair = &on.what;
        let bus = is_bus(pair);
        let least = if bus { f64::INFINITY } else { DEAD_PART_MAX * source.volts };
        let limit = RESIDUAL_V_MAX.min(least);
        let hold = format!("{pair}: both leads on it, metal to metal, and hold still");
        if reading.at <= on.at {
            return Progress::Waiting(hold);
        }
        let Some(settled) = self.rest.settled(reading, Unit::VOLT, &[-limit, limit]) else {
            self.rest.stands(false, reading.at);
            return Progress::Waiting(hold);
        };
        let dead = reach(&settled).1 < limit;
        if self.rest.stands(dead, reading.at) {
            self.last_read = on.number;
            self.settling = None;
            self.read.retain(|of| of.pair != *pair);
            self.read.push(PairRead { pair: pair.clone(), shown: reading.to_string() });
            return Progress::Step(format!("{pair} reads {reading}; {}", self.next(course)));
        }
        Progress::Waiting(match (dead, bus) {
            (true, _) => hold,
            (false, true) => format!(
                "{reading} still on {pair}: wait for the bus to discharge, or discharge it; then read it again"
            ),
            (false, false) => format!(
                "{pair} reads {reading}, not below {limit:.1} V: not dead. A ghost goes away on a tester of low impedance; anything \
                 else feeds this pair"
            ),
        })
    }

    fn source_again(
        &mut self,
        reading: &Reading,
        course: &Course,
        source: &Source,
        at_level: bool,
    ) -> Progress {
        self.settle_for(0);
        self.on_source = at_level;
        let (low, high) = ((1.0 - SAME_SOURCE_PART) * source.volts, (1.0 + SAME_SOURCE_PART) * source.volts);
        let settled = self.rest.settled(reading, Unit::VOLT, &[-high, -low, low, high]);
        let again =
            settled.map(|settled| reach(&settled)).is_some_and(|(least, most)| least >= low && most <= high);
        if !again {
            return Progress::Waiting(self.next(course));
        }
        self.asked = true;
        self.left = false;
        let dead: Vec<String> = self.read.iter().map(|of| format!("{} {}", of.pair, of.shown)).collect();
        let says = format!(
            "live source {} {}; dead: {}; live source again {reading}",
            source.name,
            source.shown,
            dead.join(", ")
        );
        Progress::Asks(Asks { says, until: source.at + ALL_PAIRS_WITHIN })
    }

    /// The one next thing to do between two readings.
    fn next(&self, course: &Course) -> String {
        let source = self.source.as_ref().map_or("the live source", |source| source.name.as_str());
        match course.pairs().next(&self.read) {
            Some(pair) => format!("next pair: on {pair}, then both leads on it"),
            None if course.pairs().are_named_freely() => {
                format!("name any further pair of the supply (on L2-L3), or {}", back_to(source))
            }
            None => back_to(source),
        }
    }
}

fn back_to(source: &str) -> String {
    format!("both leads back on the live source, {source}")
}
