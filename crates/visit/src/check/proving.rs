//! The proof of the hold point that is asked for: one for each device and channel, since a tester proved on one meter proves no
//! other, and one course of named sources and pairs for all of them. Takes readings, says what they show; does not know what the
//! hold point is for.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{DeviceChannel, Instant, Reading};

use crate::hold::proof::{Asks, Course, PairRead, Pairs, Progress, Proof, Subject};
use crate::hold::{self, ByStream};
use crate::job::Job;
use crate::view::{PairView, ProofView};

/// Devices that can work on one hold point at the same time; more are ignored.
const PROVING_MAX: usize = 8;

/// The proof of one hold point.
#[derive(Clone, Debug)]
pub(super) struct Proving {
    name: String,
    kind: ByStream,
    sources: Vec<(DeviceChannel, Proof)>,
    course: Course,
    /// What is to be done next, in words.
    says: String,
    /// That is: volts where none should be.
    shows_volts: bool,
    on_source: bool,
}

/// What a reading has shown.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Proved {
    /// Nothing yet.
    Nothing,
    /// Nothing yet, but one step is done: in words.
    Step(String),
    /// Volts where none should be, for the first time: in words.
    Volts(String),
    /// The hold point, with these readings.
    Shown(String),
    /// The same, if the leads were on: only a person knows.
    Asks(Asks),
    /// What should be dead is live: in words.
    Live(String),
}

impl Proving {
    /// `None` when no stream can show this hold point.
    pub(super) fn new(name: &str, job: &Job) -> Option<Self> {
        let kind = hold::of(name).by_stream;
        (kind != ByStream::No).then(|| Self {
            name: String::from(name),
            kind,
            sources: Vec::new(),
            course: pairs_of(kind, job).map_or_else(Course::default, Course::of),
            says: String::new(),
            shows_volts: false,
            on_source: false,
        })
    }

    /// The hold point.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// What it waits for, in words; empty before the first reading.
    pub(super) fn says(&self) -> &str {
        &self.says
    }

    /// Volts where none should be, as the last reading shows them.
    pub(super) fn volts(&self) -> Option<&str> {
        self.shows_volts.then_some(self.says.as_str())
    }

    /// Whether the last reading was that of the named live source.
    pub(super) fn is_on_source(&self) -> bool {
        self.on_source
    }

    /// Takes a reading.
    pub(super) fn push(&mut self, device: &str, reading: &Reading) -> Proved {
        self.on_source = false;
        let known = self.sources.iter_mut().find(|(from, _)| from.is(device, reading.channel));
        let progress = match known {
            Some((_, proof)) => {
                let progress = proof.push(reading, &self.course);
                self.on_source = proof.is_on_source();
                progress
            }
            None => self.begin(device, reading),
        };
        if progress != Progress::Ignored {
            self.shows_volts = matches!(progress, Progress::Volts(..));
        }
        match progress {
            Progress::Ignored => Proved::Nothing,
            Progress::Volts(says, first) => {
                self.says = says.clone();
                if first { Proved::Volts(says) } else { Proved::Nothing }
            }
            Progress::Waiting(says) => {
                self.says = says;
                Proved::Nothing
            }
            Progress::Step(says) => {
                self.says = says.clone();
                Proved::Step(says)
            }
            Progress::Shown(says) => Proved::Shown(says),
            Progress::Asks(asks) => Proved::Asks(asks),
            Progress::Live(says) => {
                self.begin_anew();
                Proved::Live(says)
            }
        }
    }

    /// Takes the first reading of a source; one that has nothing to do with the proof takes no place.
    fn begin(&mut self, device: &str, reading: &Reading) -> Progress {
        let has_place = self.sources.len() < PROVING_MAX;
        let Some(mut proof) = Proof::new(self.kind).filter(|_| has_place) else { return Progress::Ignored };
        let progress = proof.push(reading, &self.course);
        self.on_source = proof.is_on_source();
        if progress != Progress::Ignored {
            self.sources.push((DeviceChannel::new(device, reading.channel), proof));
        }
        progress
    }

    /// The question that only a person can answer.
    pub(super) fn question(&self, says: &str) -> String {
        let every = if self.course.pairs().are_named_freely() {
            ", and is that every pair that the supply has"
        } else {
            ""
        };
        format!(
            "{}: {says}. Were both leads on each of these, metal to metal{every}? Yes: it counts as shown. No: begin anew",
            self.name
        )
    }

    /// A person names the live source: everything begins anew with it. What it is, as it was taken.
    ///
    /// # Errors
    /// Why it was not taken, and what to do.
    pub(super) fn name_source(&mut self, words: &str, job: &Job, now: Instant) -> Result<String, String> {
        if self.kind != ByStream::LiveDeadLive {
            return Err(format!("{:?} needs no live source", self.name));
        }
        let subject = Subject { unit_tag: &job.plan.unit_tag, component: &job.plan.component };
        self.course.name_source(words, subject, now)?;
        self.sources.iter_mut().for_each(|(_, proof)| proof.reset());
        let name = self.course.source().map_or_else(String::new, |source| source.what.clone());
        self.shows_volts = false;
        self.says = format!("both leads on {name}: V ac, at rest");
        Ok(name)
    }

    /// A person names the pair that is read next; empty words mean the one that is asked for. Which it is.
    ///
    /// # Errors
    /// Why it was not taken, and what to do.
    pub(super) fn name_pair(&mut self, words: &str, now: Instant) -> Result<String, String> {
        if !matches!(self.kind, ByStream::LiveDeadLive | ByStream::Discharged) {
            return Err(format!("{:?} is read on no pair", self.name));
        }
        if self.kind == ByStream::LiveDeadLive && self.leading().is_none_or(|proof| !proof.may_read_pairs()) {
            return Err(match self.course.source() {
                None => "first name a known live source that is not this unit: source WHAT".to_string(),
                Some(source) => format!("first both leads on {}, until it reads at rest", source.what),
            });
        }
        let read = self.leading().map_or_else(Vec::new, |proof| proof.read().to_vec());
        let pair = self.course.name_pair(words, &read, now)?.to_string();
        self.shows_volts = false;
        self.says = format!("{pair}: both leads on it, metal to metal, and hold still");
        Ok(pair)
    }

    /// The proof that has come farthest.
    fn leading(&self) -> Option<&Proof> {
        let proofs = self.sources.iter().map(|(_, proof)| proof);
        proofs.max_by_key(|proof| (proof.may_read_pairs(), proof.read().len()))
    }

    /// What it wants named, and what it has read, pair by pair; `None` for one that reads no pairs.
    pub(super) fn view(&self) -> Option<ProofView> {
        let pairs = self.course.pairs();
        let leading = self.leading();
        let may_read = match self.kind {
            ByStream::LiveDeadLive => leading.is_some_and(Proof::may_read_pairs),
            ByStream::Discharged => true,
            _ => return None,
        };
        let read = leading.map_or(&[][..], Proof::read);
        let is_read = |pair: &&String| !read.iter().any(|of| of.pair == **pair);
        let unread = pairs.listed().iter().filter(is_read).cloned();
        let awaits =
            leading.map_or_else(|| self.course.is_on_pair(), |proof| proof.awaits_reading(&self.course));
        let seen = |of: &PairRead| PairView { pair: of.pair.clone(), shown: of.shown.clone() };
        Some(ProofView {
            hold_point: self.name.clone(),
            wants_source: !may_read && self.course.source().is_none(),
            next_pair: if may_read && !awaits { pairs.next(read) } else { None },
            named_freely: pairs.are_named_freely(),
            pairs: read
                .iter()
                .map(seen)
                .chain(unread.map(|pair| PairView { pair, shown: String::new() }))
                .collect(),
        })
    }

    /// Everything begins anew, and nothing is said: power is back, or a person says that the leads were not on.
    pub(super) fn begin_anew(&mut self) {
        self.says.clear();
        self.shows_volts = false;
        self.sources.iter_mut().for_each(|(_, proof)| proof.reset());
        self.course.forget();
    }

    /// The link of this device is lost; true if it was under way.
    pub(super) fn lose(&mut self, device: &str) -> bool {
        let mut under_way = false;
        for (_, proof) in self.sources.iter_mut().filter(|(from, _)| from.device == device) {
            under_way |= proof.is_under_way();
            proof.reset();
        }
        if under_way {
            self.says.clear();
            self.shows_volts = false;
            if !self.sources.iter().any(|(_, proof)| proof.is_under_way()) {
                self.course.forget();
            }
        }
        under_way
    }
}

/// The pairs that must be read to show a hold point; `None` where it is not read on pairs.
pub(super) fn pairs_of(kind: ByStream, job: &Job) -> Option<Pairs> {
    match kind {
        ByStream::LiveDeadLive => Some(Pairs::of_supply(&job.plan.supply)),
        ByStream::Discharged => Some(Pairs::of_terminals(job.terminals())),
        ByStream::No | ByStream::LeadsShortedThenOpen | ByStream::LeadsOpen => None,
    }
}

#[cfg(test)]
mod tests;
