//! The history's own thread: opens the file, stores what it is handed in its order, and says how each went. A slow disk
//! delays nobody but those who wait for it; a disk that refuses is tried again for as long as the program runs. An error
//! that no retry can mend is told, and what stands behind it goes on. Decides nothing.

use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};

use anyhow::Context as _;
use history::{Entry, History, HistoryError, NewRound, RawReading, RoundId};
use tokio::sync::mpsc;

use super::remember::{self, Remembered};

/// Jobs that are stored together at most.
const GROUP_MAX: usize = 64;
/// How long after a refusal the disk is tried again.
const RETRY: Duration = Duration::from_millis(500);

/// Something to store.
#[derive(Debug)]
pub(super) enum Job {
    /// A verdict.
    Verdict(Box<history::Verdict>),
    /// A figure or an amendment of a verdict that was handed in before.
    FollowUp(Box<history::FollowUp>),
    /// An event of a visit, by its number in the round.
    Visit(u64, Box<history::VisitEvent>),
    /// The visit that another machine has open at this unit changes hands.
    TakeOver(Box<history::VisitEvent>),
    /// Which visits other machines have open is looked up.
    Elsewhere,
    /// Raw readings; they wait for no disk, and what cannot be written is dropped.
    Readings(Vec<RawReading>),
    /// The round has ended at this wall clock.
    End(i64),
}

impl Job {
    /// Whether it may be stored together with others.
    fn joins_others(&self) -> bool {
        match self {
            Self::Verdict(_) | Self::FollowUp(_) | Self::Visit(..) => true,
            Self::TakeOver(_) | Self::Elsewhere | Self::Readings(_) | Self::End(_) => false,
        }
    }
}

/// What a job stores, by its number in the round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Key {
    Verdict(u64),
    FollowUp(u64),
    Visit(u64),
}

impl Key {
    /// The verdict's number, if it is one.
    pub(super) fn verdict(self) -> Option<u64> {
        match self {
            Self::Verdict(number) => Some(number),
            Self::FollowUp(_) | Self::Visit(_) => None,
        }
    }
}

/// What became of it.
#[derive(Debug)]
pub(super) enum Told {
    /// The file is open and the round has begun; these visits are open there.
    Open(Vec<Remembered>),
    /// This verdict of the round is stored, or what follows one.
    Stored(Key),
    /// This can never be stored.
    Refused(Key, String),
    /// The visit that was to be taken over, or why it was not.
    TakenOver(Result<Box<Remembered>, String>),
    /// The visits that other machines have open; `None` when the file could not be read.
    Elsewhere(Option<Vec<Remembered>>),
    /// Raw readings are done with: how many were not stored, and why.
    Readings(u64, Option<String>),
    /// Nothing can be stored now; it is tried again.
    Trouble(String),
    /// The end of the round is stored, or could not be.
    Ended(Result<(), String>),
}

/// The core's end.
pub(super) struct Keeper {
    jobs: SyncSender<Job>,
}

impl Keeper {
    /// Starts the thread. `history` is a file that was opened already; else the thread opens it. `queue_max` bounds the
    /// jobs, `told` takes an answer for each of them and some more.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub(super) fn start(
        path: PathBuf,
        history: Option<History>,
        round: NewRound,
        machine: String,
        told: mpsc::Sender<Told>,
        queue_max: usize,
    ) -> anyhow::Result<Self> {
        let (jobs, queue) = sync_channel(queue_max);
        let mut thread = Thread {
            path,
            opened: history,
            round,
            machine,
            history: None,
            queue,
            waiting: VecDeque::new(),
            told,
            trouble: None,
            open: BTreeMap::new(),
        };
        // Detached: a disk that never answers must not hold up the end of the program.
        std::thread::Builder::new()
            .name("history".to_owned())
            .spawn(move || thread.run())
            .context("the history's thread did not start")?;
        Ok(Self { jobs })
    }

    /// Jobs go to the test.
    #[cfg(test)]
    pub(super) fn played(jobs: SyncSender<Job>) -> Self {
        Self { jobs }
    }

    /// Hands in a job without waiting. False when the queue is full or the thread is gone.
    pub(super) fn send(&self, job: Job) -> bool {
        self.jobs.try_send(job).is_ok()
    }
}

struct Thread {
    path: PathBuf,
    /// Open, and its round not begun yet.
    opened: Option<History>,
    round: NewRound,
    /// This machine's name in the history.
    machine: String,
    history: Option<(History, RoundId)>,
    queue: Receiver<Job>,
    waiting: VecDeque<Job>,
    told: mpsc::Sender<Told>,
    trouble: Option<String>,
    /// The visit that this machine has open at each unit.
    open: BTreeMap<String, String>,
}

/// Follows which visit is open at which unit. Where the file was opened late and one is open there from before, that one goes on.
fn follow(open: &mut BTreeMap<String, String>, event: &mut history::VisitEvent) {
    match (event.kind.as_str(), event.visit.clone()) {
        ("opened", Some(visit)) => match open.get(&event.unit_tag) {
            Some(known) if *known != visit => (event.visit, event.kind) = (None, "resumed".to_owned()),
            _ => {
                open.insert(event.unit_tag.clone(), visit);
            }
        },
        ("closed", _) => {
            open.remove(&event.unit_tag);
        }
        _ => {}
    }
}

/// Why the thread stops: nobody listens any more.
struct Gone;

impl Thread {
    fn run(&mut self) {
        while self.turn().is_ok() {}
    }

    /// Takes what there is to do and tries it, or waits.
    fn turn(&mut self) -> Result<(), Gone> {
        if self.history.is_none()
            && let Err(error) = self.begin()
        {
            self.in_trouble(&error)?;
            return self.wait(RETRY);
        }
        if self.waiting.is_empty() {
            let job = self.queue.recv().map_err(|_| Gone)?;
            self.waiting.push_back(job);
        }
        // What came while the disk was busy goes in together: each flush may take long.
        self.waiting.extend(self.queue.try_iter());
        while !self.waiting.is_empty() {
            let together = self.waiting.iter().take(GROUP_MAX).take_while(|job| job.joins_others()).count();
            if together > 1 && self.try_first(together)? {
                continue;
            }
            if !self.try_first(1)? {
                return self.wait(RETRY);
            }
        }
        Ok(())
    }

    /// Tries the first jobs that wait, all of them or none. False when they must be tried again: later, or one by one.
    fn try_first(&mut self, count: usize) -> Result<bool, Gone> {
        let mut jobs: Vec<Job> = self.waiting.drain(..count).collect();
        let result = self.store(&mut jobs);
        let retry = |error: &HistoryError| error.can_retry() && !matches!(jobs[..], [Job::Readings(_)]);
        match result {
            Ok(()) => {
                self.trouble = None;
                jobs.iter().try_for_each(|job| self.done(job))?;
                return Ok(true);
            }
            Err(error) if retry(&error) => self.in_trouble(&error)?,
            Err(error) if count == 1 => {
                jobs.iter().try_for_each(|job| self.refused(job, &error))?;
                return Ok(true);
            }
            Err(_) => {}
        }
        for job in jobs.into_iter().rev() {
            self.waiting.push_front(job);
        }
        Ok(false)
    }

    fn begin(&mut self) -> Result<(), HistoryError> {
        let mut history = self.opened.take().map_or_else(|| History::open(&self.path), Ok)?;
        match history.begin_round(&self.round) {
            Ok(round) => {
                let open = remember::all(history.reader(), &self.round.site, &self.machine);
                let here = open.iter().filter_map(Remembered::held_here);
                self.open = here.map(|(unit, visit)| (unit.to_owned(), visit.to_owned())).collect();
                self.history = Some((history, round));
                self.trouble = None;
                let _ = self.told.blocking_send(Told::Open(open));
                Ok(())
            }
            Err(error) => {
                self.opened = Some(history);
                Err(error)
            }
        }
    }

    /// Stores these jobs, which are one, or several that join each other. A job that is tried again is the same job: what is found
    /// out about it at the first try stays with it.
    fn store(&mut self, jobs: &mut [Job]) -> Result<(), HistoryError> {
        let Some((history, round)) = &mut self.history else { return Ok(()) };
        let mut open = self.open.clone();
        let mut entries = Vec::new();
        for job in jobs {
            entries.push(match job {
                // Read when it is answered; there is nothing to store.
                Job::Elsewhere => return Ok(()),
                Job::Readings(readings) => return history.append_readings(*round, readings),
                Job::End(wall_ms) => return history.end_round(*round, *wall_ms),
                Job::TakeOver(event) => {
                    if event.visit.is_none() {
                        remember::to_take_over(history.reader(), &self.round.site, event)?;
                    }
                    history.commit_visit_event(*round, event)?;
                    open.extend(event.visit.clone().map(|visit| (event.unit_tag.clone(), visit)));
                    self.open = open;
                    return Ok(());
                }
                Job::Verdict(verdict) => {
                    if verdict.visit.is_none() {
                        verdict.visit = open.get(&verdict.unit_tag).cloned();
                    }
                    Entry::Verdict(verdict)
                }
                Job::FollowUp(follow_up) => Entry::FollowUp(follow_up),
                Job::Visit(_, event) => {
                    follow(&mut open, event);
                    Entry::VisitEvent(event)
                }
            });
        }
        history.commit_all(*round, &entries)?;
        self.open = open;
        Ok(())
    }

    fn done(&self, job: &Job) -> Result<(), Gone> {
        self.tell(match job {
            Job::Verdict(verdict) => Told::Stored(Key::Verdict(verdict.seq)),
            Job::FollowUp(follow_up) => Told::Stored(Key::FollowUp(follow_up.seq)),
            Job::Visit(number, _) => Told::Stored(Key::Visit(*number)),
            Job::TakeOver(event) => Told::TakenOver(self.taken_over(event)),
            Job::Elsewhere => Told::Elsewhere(self.elsewhere()),
            Job::Readings(_) => Told::Readings(0, None),
            Job::End(_) => Told::Ended(Ok(())),
        })
    }

    fn refused(&self, job: &Job, error: &HistoryError) -> Result<(), Gone> {
        self.tell(match job {
            Job::Verdict(verdict) => Told::Refused(Key::Verdict(verdict.seq), error.to_string()),
            Job::FollowUp(follow_up) => Told::Refused(Key::FollowUp(follow_up.seq), error.to_string()),
            Job::Visit(number, _) => Told::Refused(Key::Visit(*number), error.to_string()),
            Job::TakeOver(_) => Told::TakenOver(Err(error.to_string())),
            Job::Elsewhere => Told::Elsewhere(None),
            Job::Readings(readings) => Told::Readings(readings.len() as u64, Some(error.to_string())),
            Job::End(_) => Told::Ended(Err(error.to_string())),
        })
    }

    /// The visits that other machines have open.
    fn elsewhere(&self) -> Option<Vec<Remembered>> {
        let (history, _) = self.history.as_ref()?;
        remember::elsewhere(history.reader(), &self.round.site, &self.machine).ok()
    }

    /// What is remembered of the visit that this machine has just taken over.
    fn taken_over(&self, event: &history::VisitEvent) -> Result<Box<Remembered>, String> {
        let all = |(history, _): &(History, RoundId)| {
            remember::all(history.reader(), &self.round.site, &self.machine)
        };
        let mut open = self.history.as_ref().map(all).unwrap_or_default();
        let at = open.iter().position(|of| of.unit_tag == event.unit_tag && of.is_here());
        at.map(|at| Box::new(open.swap_remove(at)))
            .ok_or_else(|| "it was closed meanwhile; please look again".to_owned())
    }

    /// The same trouble is told once.
    fn in_trouble(&mut self, error: &HistoryError) -> Result<(), Gone> {
        let text = error.to_string();
        if self.trouble.as_ref() == Some(&text) {
            return Ok(());
        }
        self.trouble = Some(text.clone());
        self.tell(Told::Trouble(text))
    }

    fn tell(&self, told: Told) -> Result<(), Gone> {
        self.told.blocking_send(told).map_err(|_| Gone)
    }

    /// Waits, and takes in further jobs meanwhile.
    fn wait(&mut self, span: Duration) -> Result<(), Gone> {
        let until = Instant::now() + span;
        loop {
            match self.queue.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(job) => self.waiting.push_back(job),
                Err(RecvTimeoutError::Timeout) => return Ok(()),
                Err(RecvTimeoutError::Disconnected) => return Err(Gone),
            }
        }
    }
}
