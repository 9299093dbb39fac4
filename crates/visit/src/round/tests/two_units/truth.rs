//! What is true of two units, from the events and what the round says of them. Its own tables of scope, time and power, written from the
//! rules of the house and not from the code.
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::{Coupling, Duration, Instant, Kind};

use super::super::*;
use crate::verdict::{PointReading, Verdict};
use judge::limits::Word;

/// How far evidence reaches.
#[derive(Clone, Copy, PartialEq)]
enum Reach {
    Unit,
    Circuit,
    Part,
    Served,
}

/// What it says of power.
#[derive(Clone, Copy, PartialEq)]
enum Says {
    Dead,
    Alive,
    Nothing,
}

/// Name, reach, minutes, power.
const TABLE: [(&str, Reach, i64, Says); 12] = [
    ("locked out", Reach::Unit, 240, Says::Dead),
    ("proved dead", Reach::Unit, 60, Says::Dead),
    ("discharged", Reach::Part, 10, Says::Dead),
    ("one lead off", Reach::Part, 30, Says::Dead),
    ("power on", Reach::Unit, 240, Says::Alive),
    ("running", Reach::Circuit, 60, Says::Alive),
    ("running steady", Reach::Circuit, 30, Says::Alive),
    ("burner steady", Reach::Unit, 30, Says::Alive),
    ("capacitor proved", Reach::Served, 240, Says::Nothing),
    ("no gas smell", Reach::Unit, 30, Says::Nothing),
    ("flue gas safe", Reach::Unit, 60, Says::Nothing),
    ("leads proved", Reach::Unit, 60, Says::Nothing),
];

fn of(name: &str) -> (Reach, Duration, Says) {
    let (_, reach, minutes, says) = TABLE.iter().find(|(known, ..)| *known == name).copied().unwrap();
    (reach, Duration::from_secs(minutes * 60), says)
}

/// How often what was looked for came.
#[derive(Debug, Default)]
pub(super) struct Count {
    pub(super) dead: u64,
    pub(super) live: u64,
    pub(super) served: u64,
    pub(super) dangers: u64,
    pub(super) dangers_open: u64,
    pub(super) closed: u64,
    pub(super) closed_owing: u64,
    pub(super) contradicted: u64,
    pub(super) crashes: u64,
}

/// Where something was shown.
#[derive(Clone, Debug, Default, PartialEq)]
struct Spot {
    unit: String,
    circuit: String,
    component: String,
}

#[derive(Clone, Debug)]
struct Shown {
    name: String,
    spot: Spot,
    at: Instant,
}

/// The books.
#[derive(Default)]
pub(super) struct Truth {
    spot: Spot,
    shown: Vec<Shown>,
    /// When each unit last showed life, and when it was last isolated.
    life: [Option<Instant>; 2],
    isolated: [Option<Instant>; 2],
    /// Components that failed since they last passed: unit, component.
    failed: Vec<(String, String)>,
    /// Components whose last word is a fail, whatever was confirmed since.
    last_failed: Vec<(String, String)>,
    owed: Vec<Owed>,
    /// A value past a danger's limit is on its way, and must be told.
    danger_due: bool,
    /// Units whose visit is open, and how far each is back in service.
    open: Vec<(String, Service)>,
    now: Instant,
}

fn which(unit: &str) -> usize {
    usize::from(unit == "RTU-08")
}

/// "compressor 1 run capacitor" serves "compressor 1", and each part itself.
fn serves(part: &str, other: &str) -> bool {
    part == other || part.strip_prefix(other).is_some_and(|rest| rest.starts_with(' '))
}

impl Truth {
    /// The program dies: what makes safe is forgotten, and what is owed comes back in these.
    pub(super) fn crash(&mut self) -> Vec<Recall> {
        self.shown.clear();
        // What was said against a word counts no longer; the words do.
        self.failed = self.last_failed.clone();
        let recall = |(unit, service): &(String, Service)| {
            let owed = self.owed.iter().filter(|owed| owed.unit_tag == *unit).cloned();
            let failed = self.last_failed.iter().filter(|(of, _)| of == unit);
            let failed = failed.map(|(_, component)| (component.clone(), "capacitor-first".into())).collect();
            Recall {
                unit_tag: unit.clone(),
                owed: owed.collect(),
                failed,
                service: *service,
                ..Recall::default()
            }
        };
        let closed = |unit: &&str| self.open.iter().all(|(open, _)| open != unit);
        let left = |unit: &str| {
            let owed: Vec<Owed> = self.owed.iter().filter(|owed| owed.unit_tag == unit).cloned().collect();
            (!owed.is_empty()).then(|| Recall {
                unit_tag: unit.into(),
                owed,
                closed: true,
                ..Recall::default()
            })
        };
        let left = ["RTU-07", "RTU-08"].into_iter().filter(closed).filter_map(left);
        left.chain(self.open.iter().map(recall)).collect()
    }

    /// What an event says by itself, before the round takes it.
    pub(super) fn before(&mut self, event: &Event, round: &Round, now: Instant) {
        self.now = now;
        self.danger_due = false;
        match event {
            Event::Arm(plan) => {
                self.spot = Spot {
                    unit: plan.unit_tag.clone(),
                    circuit: plan.slot.circuit.clone().unwrap(),
                    component: plan.component.clone(),
                };
            }
            Event::Act { act: Act::Pause, .. } | Event::Unwatched => self.shown.clear(),
            Event::Act { act: Act::Energised, .. } => match round.armed() {
                Some(_) => self.lives(now),
                None => self.life = [Some(now); 2],
            },
            Event::Act { act: Act::Type { point, value: Display::Value(typed), .. }, .. } => {
                // The rules of the tests: "flue" above 400 ppm, "air" above 35 ppm.
                let limit = match round.plan().map(|plan| plan.rule.as_str()) {
                    Some("flue") => 400.0,
                    Some("air") => 35.0,
                    _ => f64::INFINITY,
                };
                let done = round.check.as_ref().is_some_and(Check::is_done);
                self.danger_due = point == "co" && typed.number.to_f64() > limit && !done;
            }
            _ => {}
        }
    }

    /// The unit under work has power; that may be told again without a word.
    fn lives(&mut self, at: Instant) {
        self.life[which(&self.spot.unit)] = Some(at);
        self.shown.push(Shown { name: "power on".into(), spot: self.spot.clone(), at });
    }

    /// What the round said; the first thing that is not true.
    pub(super) fn after(&mut self, outputs: &[Stamped], count: &mut Count) -> Result<(), String> {
        for Stamped { output, at } in outputs {
            self.output(output, *at, count)?;
        }
        if core::mem::take(&mut self.danger_due) {
            return Err(format!("a danger is silent: {outputs:#?}"));
        }
        Ok(())
    }

    fn output(&mut self, output: &Output, at: Instant, count: &mut Count) -> Result<(), String> {
        match output {
            Output::HoldPoint { name, evidence } => {
                self.shown.push(Shown { name: name.clone(), spot: self.spot.clone(), at: evidence.at });
                if name == "capacitor proved" {
                    // It passes, or somebody says there that it is in order all the same.
                    self.failed
                        .retain(|(unit, part)| *unit != self.spot.unit || *part != self.spot.component);
                }
                match of(name).2 {
                    Says::Alive => self.lives(at),
                    Says::Dead => self.isolated[which(&self.spot.unit)] = Some(at),
                    Says::Nothing => {}
                }
            }
            Output::Lapsed { name, why: LapseReason::Withdrawn } => {
                let newest = self.shown.iter().rposition(|s| s.name == *name && self.reaches(s, &self.spot));
                newest.map(|at| self.shown.remove(at));
            }
            Output::Settled(reading) if shows_life(reading) => self.lives(at),
            // A visit that begins names again what an earlier one left undone.
            Output::Owed { owed, .. } if !self.owed.contains(owed) => self.owed.push(owed.clone()),
            Output::Restored { owed, .. } => {
                let at =
                    self.owed.iter().position(|known| known == owed).ok_or("restored what was never off")?;
                self.owed.remove(at);
                self.shown.retain(|s| {
                    s.name != owed.hold_point
                        || s.spot.unit != owed.unit_tag
                        || s.spot.component != owed.component
                });
            }
            Output::Opened { unit_tag, .. } => self.open.push((unit_tag.clone(), Service::Untouched)),
            Output::Service { unit_tag, service, .. } => {
                self.open.iter_mut().filter(|(unit, _)| unit == unit_tag).for_each(|open| open.1 = *service);
            }
            Output::Closed { unit_tag, why, .. } => self.closed(unit_tag, why.is_some(), count)?,
            Output::Contradicted { .. } => count.contradicted += 1,
            Output::Verdict(verdict) => {
                if verdict.danger {
                    self.danger_due = false;
                    count.dangers += 1;
                    let open = verdict.hold_points.iter().any(|hold| hold.evidence.is_none());
                    count.dangers_open += u64::from(open);
                } else if verdict.word != Word::NoVerdict {
                    self.judged(verdict, count)?;
                }
                self.note(verdict);
            }
            _ => {}
        }
        Ok(())
    }

    /// A visit was closed.
    fn closed(&mut self, unit_tag: &str, for_a_reason: bool, count: &mut Count) -> Result<(), String> {
        let out = self.isolated[which(unit_tag)].is_some();
        let alive = self.life[which(unit_tag)] > self.isolated[which(unit_tag)];
        if !for_a_reason && out && !alive {
            return Err("closed while it is locked out".into());
        }
        self.open.retain(|(unit, _)| unit != unit_tag);
        let owed = self.owed.iter().filter(|owed| owed.unit_tag == *unit_tag).count();
        if !for_a_reason && owed > 0 {
            return Err(format!("closed while {owed} things are owed"));
        }
        self.isolated[which(unit_tag)] = None;
        count.closed += 1;
        count.closed_owing += u64::from(owed > 0);
        self.shown.retain(|s| s.name == "leads proved" || s.spot.unit != unit_tag);
        self.failed.retain(|(unit, _)| unit != unit_tag);
        self.last_failed.retain(|(unit, _)| unit != unit_tag);
        Ok(())
    }

    /// A pass or a fail of a capacitor is remembered for what it serves.
    fn note(&mut self, verdict: &Verdict) {
        if verdict.rule != "capacitor-first" || verdict.word == Word::NoVerdict {
            return;
        }
        let key = (verdict.unit_tag.clone(), verdict.component.clone());
        self.failed.retain(|known| *known != key);
        self.last_failed.retain(|known| *known != key);
        if !matches!(verdict.word, Word::Pass | Word::ConditionalPass) {
            self.shown.retain(|s| {
                s.name != "capacitor proved" || s.spot.unit != key.0 || s.spot.component != key.1
            });
            self.last_failed.push(key.clone());
            self.failed.push(key);
        }
    }

    /// Everything that a verdict rests on was true of its place at its time.
    fn judged(&self, verdict: &Verdict, count: &mut Count) -> Result<(), String> {
        let here = &self.spot;
        if verdict.unit_tag != here.unit || verdict.component != here.component {
            return Err(format!("a verdict of elsewhere: {} {}", verdict.unit_tag, verdict.component));
        }
        let unit = which(&here.unit);
        for hold in &verdict.hold_points {
            let name = &hold.name;
            let Some(evidence) = &hold.evidence else { return Err(format!("{name} is open")) };
            let (reach, lasts, says) = of(name);
            let known =
                self.shown.iter().rfind(|s| s.name == *name && s.at == evidence.at && self.reaches(s, here));
            let Some(known) = known else {
                return Err(format!(
                    "{name} of {:?} was never shown for {here:?}: {:#?}",
                    evidence.at, self.shown
                ));
            };
            if verdict.at >= known.at + lasts {
                return Err(format!("{name} is too old"));
            }
            if says == Says::Dead {
                count.dead += 1;
                if self.life[unit].is_some_and(|life| life >= known.at) {
                    return Err(format!("{name} is from before life"));
                }
            }
            if says == Says::Alive {
                count.live += 1;
                if self.isolated[unit].is_some_and(|isolated| isolated >= known.at) {
                    return Err(format!("{name} is from before the unit was isolated"));
                }
            }
            if reach == Reach::Served {
                count.served += 1;
                let failed =
                    self.failed.iter().any(|(of, part)| *of == here.unit && serves(part, &here.component));
                if failed && known.spot.component != here.component {
                    return Err(format!("{name} although a part that serves {} failed", here.component));
                }
            }
        }
        Ok(())
    }

    fn reaches(&self, shown: &Shown, there: &Spot) -> bool {
        let from = &shown.spot;
        if shown.name == "leads proved" {
            return true;
        }
        from.unit == there.unit
            && match of(&shown.name).0 {
                Reach::Unit => true,
                Reach::Circuit => from.circuit == there.circuit,
                Reach::Part => from.component == there.component,
                Reach::Served => serves(&from.component, &there.component),
            }
    }
}

/// 20 V ac and more, or any current beyond 0.03 A as it is typed here.
fn shows_life(reading: &PointReading) -> bool {
    let value = reading.quantity.value().abs();
    match reading.display.unit.kind() {
        Kind::Voltage => reading.display.coupling != Some(Coupling::Dc) && value >= 20.0,
        Kind::Current => value > 0.1,
        _ => false,
    }
}
