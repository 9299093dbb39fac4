//! What the core knows of the history: which verdicts are on their way to it, which may be shown now, and what is wrong.
//! A verdict is shown when it is stored, or marked UNSAVED when that takes too long; so is what follows it. Does no disk
//! work; `keeper` does.

use std::collections::{BTreeMap, VecDeque};
use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use anyhow::Context as _;
use history::{History, NewRound, RawReading};
use quantity::{Instant, Reading};
use record::{FollowUpJson, VerdictJson};
use site::Site;
use tokio::sync::mpsc;
use uuid::Uuid;
use visit::round::Output;
use visit::verdict::Verdict;

use super::elsewhere::Elsewhere;
use super::keeper::{Job, Keeper, Key, Told};
use super::released::{Released, ReleasedFollowUp, ReleasedVerdict, Saved, Unsaved};
use super::remember::Remembered;
use super::row;
use crate::clock::Moment;

/// A verdict that is not stored after this time is shown, marked UNSAVED.
const PATIENCE: Duration = Duration::from_secs(5);
/// Verdicts that wait for a disk at most. A round has some hundred.
const WAITING_MAX: usize = 4096;
/// Raw readings that wait for the next write at most; more are dropped and counted.
const RAW_MAX: usize = 4096;
/// Raw readings are written this often, or with a verdict. Each write rewrites the last page of a table, so that smaller
/// batches cost more (`raw_readings_cost_at_most_three_times_their_size` in crate `history`).
const RAW_EVERY: Duration = Duration::from_secs(10);
/// Of one channel a raw reading is stored at most this often; the settler takes slow quantities no faster.
const RAW_GAP_US: i64 = 100_000;
/// Channels whose last raw reading is remembered.
const CHANNELS_MAX: usize = 256;

/// The history, or nothing.
pub(super) struct Store {
    pub(super) keeper: Option<Keeper>,
    /// This machine's name in the history.
    pub(super) machine: String,
    /// In the order of time, verdicts, what follows them, and events of visits.
    waiting: VecDeque<Waiting>,
    given: Option<Given>,
    /// Figures and amendments so far.
    follow_ups: u64,
    /// Events of visits so far.
    pub(super) visit_events: u64,
    /// A visit of another machine was asked for.
    pub(super) taking_over: bool,
    pub(super) elsewhere: Elsewhere,
    /// What can never be stored, or that nobody could take.
    refused: Unsaved,
    fault: Option<String>,
    is_open: bool,
    has_ended: bool,
    raw: Raw,
}

/// The last verdict, for what follows it.
struct Given {
    verdict: Verdict,
    /// Its id in the history.
    uid: Option<String>,
}

struct Waiting {
    what: Released,
    since: Moment,
    shown: bool,
}

#[derive(Default)]
struct Raw {
    readings: Vec<RawReading>,
    last_us: BTreeMap<(String, u8), i64>,
    since: Option<Moment>,
    on_the_way: bool,
    dropped: u64,
    fault: Option<String>,
}

/// What follows from an answer of the history.
#[derive(Default)]
pub(super) struct Now {
    /// What to show, in its order.
    pub(super) show: Vec<Released>,
    /// Verdicts that are stored now.
    pub(super) stored: Vec<u64>,
    /// Visits that are open in the history.
    pub(super) remembered: Vec<Remembered>,
    /// All visits that other machines have open, where that was looked up.
    pub(super) elsewhere: Option<Vec<Remembered>>,
    /// Why something that was asked for was not done.
    pub(super) refused: Option<String>,
    /// What is stored now and was shown as UNSAVED before.
    pub(super) saved_late: Vec<Released>,
    /// A sentence for stderr.
    pub(super) say: Option<String>,
}

impl Now {
    fn showing(what: Released) -> Self {
        Self { show: vec![what], ..Self::default() }
    }
}

impl Store {
    /// Keeps nothing.
    pub(super) fn nothing() -> Self {
        Self {
            keeper: None,
            machine: String::new(),
            waiting: VecDeque::new(),
            given: None,
            follow_ups: 0,
            visit_events: 0,
            taking_over: false,
            elsewhere: Elsewhere::default(),
            refused: Unsaved::default(),
            fault: None,
            is_open: true,
            has_ended: false,
            raw: Raw::default(),
        }
    }

    /// Keeps everything in this file. `strict`: the file must be usable now; else it is tried until it is.
    ///
    /// # Errors
    /// With `strict`, when the file cannot be used with its promise.
    pub(super) fn open(
        path: &Path,
        strict: bool,
        site: &Site,
        rules_hash: &str,
        told: mpsc::Sender<Told>,
    ) -> anyhow::Result<Self> {
        let opened = strict
            .then(|| History::open(path).with_context(|| format!("history {}", path.display())))
            .transpose()?;
        let round = NewRound {
            uid: Uuid::now_v7().to_string(),
            site: if site.site.is_empty() { "unnamed site".to_owned() } else { site.site.clone() },
            started_wall_ms: wall_ms(),
            rules_hash: rules_hash.to_owned(),
            decision_rule: site.settings.decision.to_string(),
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
        };
        // One place for each verdict that may wait, and for raw readings, taking over and the end.
        let machine = site.machine.clone();
        let queue_max = WAITING_MAX + 8;
        let keeper = Keeper::start(path.to_owned(), opened, round, machine.clone(), told, queue_max)?;
        Ok(Self { keeper: Some(keeper), machine, is_open: false, ..Self::nothing() })
    }

    /// A history that the test plays.
    #[cfg(test)]
    pub(super) fn played(jobs: std::sync::mpsc::SyncSender<Job>) -> Self {
        Self { keeper: Some(Keeper::played(jobs)), is_open: false, ..Self::nothing() }
    }

    /// Whether anything is kept at all.
    pub(super) fn keeps(&self) -> bool {
        self.keeper.is_some()
    }

    /// Takes a verdict and gives back what may be shown now.
    pub(super) fn keep(&mut self, verdict: Verdict, now: Moment) -> Now {
        self.write_raw(now, true);
        let json = VerdictJson::from(&verdict);
        let Some(keeper) = &self.keeper else {
            self.given = Some(Given { verdict: verdict.clone(), uid: None });
            return Now::showing(Released::Verdict(Box::new(ReleasedVerdict {
                verdict,
                json,
                saved: Saved::NothingKept,
            })));
        };
        let uid = Uuid::now_v7().to_string();
        self.given = Some(Given { verdict: verdict.clone(), uid: Some(uid.clone()) });
        let row = row::verdict(uid, &verdict, json.line(), wall_ms());
        let kept = Released::Verdict(Box::new(ReleasedVerdict { verdict, json, saved: Saved::No }));
        let sent = self.has_room() && keeper.send(Job::Verdict(Box::new(row)));
        self.wait_or_show(sent, kept, now)
    }

    /// Takes a figure or an amendment of the last verdict, as the round said it at `at`, and gives back what may be shown
    /// now. `None` when it is neither.
    pub(super) fn follow_up(&mut self, output: &Output, at: Instant, now: Moment) -> Option<Now> {
        let given = self.given.as_ref()?;
        let json = FollowUpJson::of(&given.verdict, output, at)?;
        self.follow_ups += 1;
        let seq = self.follow_ups;
        let kept = |saved| Released::FollowUp(Box::new(ReleasedFollowUp { seq, json: json.clone(), saved }));
        let (Some(keeper), Some(verdict_uid)) = (&self.keeper, &given.uid) else {
            return Some(Now::showing(kept(Saved::NothingKept)));
        };
        let uid = Uuid::now_v7().to_string();
        let row = row::follow_up(uid, verdict_uid.clone(), seq, output, json.line(), at, wall_ms())?;
        let sent = self.has_room() && keeper.send(Job::FollowUp(Box::new(row)));
        let kept = kept(Saved::No);
        Some(self.wait_or_show(sent, kept, now))
    }

    /// Whether anything more may wait for the disk.
    pub(super) fn has_room(&self) -> bool {
        self.waiting.len() < WAITING_MAX
    }

    /// What was handed to the history waits for its answer; what it could not take is shown at once, marked.
    pub(super) fn wait_or_show(&mut self, sent: bool, what: Released, now: Moment) -> Now {
        if sent {
            self.waiting.push_back(Waiting { what, since: now, shown: false });
            return Now::default();
        }
        self.refused.count(&what);
        let why = format!("{} wait for the disk already", self.waiting_now().words());
        Now { say: Some(lost(&what, &why)), ..Now::showing(what) }
    }

    /// Takes an answer of the history.
    pub(super) fn told(&mut self, told: Told) -> Now {
        let mut follows = Now::default();
        match told {
            Told::Open(remembered) => {
                self.is_open = true;
                self.fault = None;
                follows.elsewhere = Some(remembered.clone());
                follows.remembered = remembered;
            }
            Told::Elsewhere(found) => {
                self.elsewhere.is_looked_up();
                follows.elsewhere = found;
            }
            Told::TakenOver(result) => {
                self.taking_over = false;
                self.elsewhere.has_changed();
                match result {
                    Ok(remembered) => follows.remembered.push(*remembered),
                    Err(why) => {
                        follows.say = Some(format!("    refused: {}", record::plain(&why)));
                        follows.refused = Some(format!("Not taken over: {why}"));
                    }
                }
            }
            Told::Stored(key) => {
                self.is_open = true;
                self.fault = None;
                if let Some(waiting) = self.take(key) {
                    follows.stored.extend(key.verdict());
                    let saved = waiting.what.saved();
                    if waiting.shown { &mut follows.saved_late } else { &mut follows.show }.push(saved);
                }
            }
            Told::Refused(key, why) => {
                if let Some(waiting) = self.take(key) {
                    self.refused.count(&waiting.what);
                    follows.say = Some(lost(&waiting.what, &why));
                    follows.show.extend((!waiting.shown).then_some(waiting.what));
                }
            }
            Told::Trouble(why) => {
                let what = if self.is_open {
                    "cliplead: nothing can be stored now; it is tried again, and measuring goes on"
                } else {
                    "cliplead: the history cannot be used; it is tried again, and measuring goes on"
                };
                follows.say = Some(format!("{what}: {why}"));
                self.fault = Some(why);
            }
            Told::Readings(lost, why) => self.raw.done(lost, why),
            Told::Ended(result) => {
                self.has_ended = true;
                if let Err(why) = result {
                    follows.say = Some(format!("cliplead: the end of the round was not stored: {why}"));
                }
            }
        }
        follows
    }

    fn take(&mut self, key: Key) -> Option<Waiting> {
        let at = self.waiting.iter().position(|waiting| waiting.what.key() == key)?;
        self.waiting.remove(at)
    }

    /// What has waited too long, or all that waits: it is shown now, marked.
    pub(super) fn overdue(&mut self, now: Moment, all: bool) -> Vec<Released> {
        let due = |waiting: &&mut Waiting| !waiting.shown && (all || now.since(waiting.since) >= PATIENCE);
        let mut shown = Vec::new();
        for waiting in self.waiting.iter_mut().filter(due) {
            waiting.shown = true;
            shown.push(waiting.what.clone());
        }
        shown
    }

    /// Whether this verdict may not be shown yet.
    pub(super) fn hides(&self, number: u64) -> bool {
        self.waiting.iter().any(|waiting| waiting.what.key() == Key::Verdict(number) && !waiting.shown)
    }

    /// Whether this verdict was shown without being stored.
    pub(super) fn is_unsaved(&self, number: u64) -> bool {
        self.waiting.iter().any(|waiting| waiting.what.key() == Key::Verdict(number) && waiting.shown)
    }

    /// Verdicts on their way to the disk that nobody has seen yet.
    pub(super) fn saving(&self) -> usize {
        let unseen = |waiting: &&Waiting| matches!(waiting.what, Released::Verdict(_)) && !waiting.shown;
        self.waiting.iter().filter(unseen).count()
    }

    /// What is on its way to the disk and nobody has seen yet.
    pub(super) fn unseen(&self) -> impl Iterator<Item = &Released> {
        self.waiting.iter().filter(|waiting| !waiting.shown).map(|waiting| &waiting.what)
    }

    /// Whether anything is on its way to the disk that nobody has seen yet.
    pub(super) fn has_unseen(&self) -> bool {
        self.unseen().next().is_some()
    }

    /// Whether what comes next on a typed device should wait for the disk: it may rest on a verdict that is about to be
    /// stored, or on a visit that is being taken over. Not when the disk is in trouble.
    pub(super) fn holds_up(&self) -> bool {
        self.fault.is_none() && (self.saving() > 0 || self.taking_over)
    }

    fn waiting_now(&self) -> Unsaved {
        let mut waiting = Unsaved::default();
        self.waiting.iter().for_each(|each| waiting.count(&each.what));
        waiting
    }

    /// What is not in the history and should be.
    pub(super) fn unsaved(&self) -> Unsaved {
        self.waiting_now().and(self.refused)
    }

    /// Whether everything that should be stored is.
    pub(super) fn is_sound(&self) -> bool {
        self.unsaved().is_nothing() && self.fault.is_none() && self.is_open
    }

    /// Whether the end of the round is stored, or never will be.
    pub(super) fn has_ended(&self) -> bool {
        self.has_ended
    }

    /// What is wrong now, one sentence each.
    pub(super) fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        if let Some(why) = &self.fault {
            let waiting = self.waiting_now();
            faults.push(if waiting.is_nothing() {
                format!("nothing can be stored now; it is tried again: {why}")
            } else {
                format!("NOT SAVED: {}; it is tried again: {why}", waiting.words())
            });
        }
        if !self.refused.is_nothing() {
            faults.push(format!("NOT SAVED: {} that can never be stored", self.refused.words()));
        }
        faults
    }

    /// Takes a raw reading for the next write.
    pub(super) fn raw(&mut self, device: &str, reading: &Reading, now: Moment) {
        if self.keeper.is_some() {
            self.raw.take(device, reading, now);
        }
    }

    /// Hands the raw readings on that have waited long enough, or all.
    pub(super) fn write_raw(&mut self, now: Moment, all: bool) {
        let Some(keeper) = &self.keeper else { return };
        let due = self.raw.since.is_some_and(|since| all || now.since(since) >= RAW_EVERY);
        if due && !self.raw.on_the_way && !self.raw.readings.is_empty() {
            self.raw.since = None;
            self.raw.on_the_way = keeper.send(Job::Readings(std::mem::take(&mut self.raw.readings)));
        }
    }

    /// Hands on the end of the round. False when nothing will come of it.
    pub(super) fn end(&mut self, now: Moment) -> bool {
        self.write_raw(now, true);
        self.keeper.as_ref().is_some_and(|keeper| keeper.send(Job::End(wall_ms())))
    }
}

impl Raw {
    fn take(&mut self, device: &str, reading: &Reading, now: Moment) {
        let channel = (device.to_owned(), reading.channel);
        let at = reading.at.micros();
        let last = self.last_us.get(&channel);
        if last.is_some_and(|last| (0..RAW_GAP_US).contains(&(at - last))) {
            return;
        }
        let one_too_many = last.is_none() && self.last_us.len() >= CHANNELS_MAX;
        if self.readings.len() >= RAW_MAX || one_too_many {
            self.dropped += 1;
            return;
        }
        self.last_us.insert(channel, at);
        self.since.get_or_insert(now);
        self.readings.push(row::raw(device, reading));
    }

    /// The same fault is told once.
    fn done(&mut self, lost: u64, why: Option<String>) {
        self.on_the_way = false;
        self.dropped += lost;
        if let Some(why) = &why
            && self.fault.as_ref() != Some(why)
        {
            tracing::warn!("raw readings are not stored, {} lost so far: {why}", self.dropped);
        }
        self.fault = why;
    }
}

fn lost(what: &Released, why: &str) -> String {
    format!("cliplead: {} is UNSAVED and will not be stored: {why}", what.a_name())
}

/// Wall clock in milliseconds, for people; order goes by the commits.
pub(super) fn wall_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}
