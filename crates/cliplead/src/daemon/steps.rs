//! One step of the pipeline and what comes out of it: onto the tape, to the store, to stderr, to whoever follows along. A
//! verdict is shown only here, after the store has said so. Decides nothing.

use std::sync::Arc;
use std::time::{Duration, Instant as WallClock};

use pipeline::{Event, ManualFault, Output, Stamped};
use quantity::Instant;
use record::{LineEvent, RecentJson, ShownFollowUp, plain};
use tokio::sync::mpsc;
use visit::act::Act;
use visit::round;

use super::Ended;
use super::core::Core;
use super::keeper::Told;
use super::messages::Notice;
use super::released::{Released, ReleasedFollowUp, ReleasedVerdict, Saved};
use super::say::{say, words};
use super::store::Now;
use crate::cli::Format;
use crate::output::{self, emphasise, emphasise_follow_up, talk};

/// Verdicts the page lists.
const RECENT_MAX: usize = 8;
/// How long the end waits for the disk. The program is ended by force 5 s after it was asked to end.
const END_WAITS: Duration = Duration::from_secs(3);
/// The recording gets this long at least.
const RECORDING_WAITS: Duration = Duration::from_millis(500);

impl Core {
    pub(super) fn step_round(&mut self, event: round::Event) -> Result<(), String> {
        self.step(Event::Round(event), None).map_or(Ok(()), Err)
    }

    /// One step of the pipeline: onto the tape, through it, and what came out to where it belongs. Gives back why
    /// something was refused, if it was.
    pub(super) fn step(&mut self, event: Event, line: Option<LineEvent>) -> Option<String> {
        let now = self.time.now();
        if let Some(tape) = &mut self.tape
            && let Some(line) = line.or_else(|| LineEvent::of(now.micros(), &event))
        {
            tape.event(&line);
        }
        let is_arm = matches!(event, Event::Round(round::Event::Arm(_)));
        let stepped = self.pipeline.step(event, now);
        let armed = |said: &Stamped| matches!(said.output, Output::Round(round::Output::Armed { .. }));
        if !is_arm && stepped.iter().any(armed) {
            self.record_the_armed(now);
        }
        let place = self.pipeline.round().place_on_route();
        let mut refused = None;
        for Stamped { output, at } in stepped {
            match output {
                Output::Round(round::Output::Verdict(verdict)) => {
                    let follows = self.store.keep(*verdict, self.moment());
                    self.follow(follows);
                }
                Output::Round(round::Output::TakeOver { unit_tag, by }) => {
                    if let Err(why) = self.store.take_over(&unit_tag, &by, at) {
                        self.refused(format!("    refused: {why}"));
                        refused = Some(why);
                    }
                }
                Output::Round(output) => {
                    match &output {
                        round::Output::Refused { why } => refused = Some(why.clone()),
                        round::Output::Armed { check, .. } => self.book.armed(place, *check),
                        _ => {}
                    }
                    self.said(output, at);
                }
                Output::Reading { device, reading } => {
                    if self.pipeline.round().awaits_verdict() {
                        self.store.raw(&device, &reading, self.moment());
                    }
                }
                Output::Dropped { device, fault } => {
                    tracing::debug!("device {device}: {fault}");
                    if let Some(health) = self.health.iter_mut().find(|health| health.name == device) {
                        health.dropped(fault.reason.words());
                    }
                }
                Output::NotTyped { fault: ManualFault::AsksForHelp, .. } => {
                    talk(&super::wanted::help(&self.pipeline.round().view(now)));
                    self.wanted.clear();
                }
                Output::NotTyped { device, fault } => {
                    if let Some(health) = self.health.iter_mut().find(|health| health.name == device) {
                        health.dropped("typed lines that were not taken");
                    }
                    self.refused(format!("{}: {}", plain(&device), plain(&fault.to_string())));
                }
            }
        }
        refused
    }

    /// A recording knows no route: the check that was armed from it is a line of its own.
    fn record_the_armed(&mut self, now: Instant) {
        if let (Some(tape), Some(plan)) = (&mut self.tape, self.pipeline.round().plan()) {
            tape.event(&LineEvent::arm(now.micros(), plan));
        }
    }

    /// What the round says beside its verdicts. A figure, an amendment or an event of a visit goes to the store before anybody sees
    /// it.
    pub(super) fn said(&mut self, output: round::Output, at: Instant) {
        match &output {
            round::Output::Completed { .. } | round::Output::Amended { .. } => {
                if let Some(follows) = self.store.follow_up(&output, at, self.moment()) {
                    self.follow(follows);
                }
                return;
            }
            round::Output::Refused { why } => self.refused(format!("    refused: {}", plain(why))),
            _ => {}
        }
        if let Some(follows) = self.store.visit_event(&output, at, self.moment()) {
            return self.follow(follows);
        }
        self.tell(output, Saved::NothingKept);
    }

    fn tell(&mut self, output: round::Output, saved: Saved) {
        let unsaved = saved == Saved::No;
        self.book.told(&output);
        say(words(&output).map(|words| if unsaved { format!("UNSAVED {words}") } else { words }));
        let _ = self.notices.send(Arc::new(Notice::Round(output)));
    }

    fn refused(&mut self, line: String) {
        let now = self.moment();
        say(self.refusals.refused(line, now));
    }

    /// Shows what may be shown, and lets what is stored count.
    pub(super) fn follow(&mut self, follows: Now) {
        say(follows.say);
        self.show(follows.show);
        for late in follows.saved_late {
            talk(&format!("cliplead: {}, shown as UNSAVED, is saved now", late.which()));
            self.no_longer_unsaved(&late);
        }
        for verdict in follows.stored {
            let _ = self.step_round(round::Event::Stored { verdict });
        }
        if let Some(all) = follows.elsewhere {
            self.book.elsewhere(&all);
        }
        if follows.refused.is_some() {
            self.book.refused(follows.refused);
        }
        for mut visit in follows.remembered {
            talk(&visit.words());
            let given = std::mem::take(&mut visit.given);
            if let Some(recall) = visit.recall() {
                self.book.recalled(given, &recall);
                // A time of its own: the last one is the one that was worked at last.
                self.time.step_on();
                let _ = self.step_round(round::Event::Recall(Box::new(recall)));
            }
        }
    }

    fn no_longer_unsaved(&mut self, late: &Released) {
        match late {
            Released::Verdict(kept) => {
                self.book.saved_late(kept);
                let number = kept.verdict.number;
                if let Some(recent) = self.context.recent.iter_mut().find(|recent| recent.number == number) {
                    recent.unsaved = false;
                }
            }
            Released::FollowUp(kept) => {
                self.context
                    .follow_ups
                    .iter_mut()
                    .filter(|of| of.json == kept.json)
                    .for_each(|of| of.unsaved = false);
            }
            Released::Visit(_) => {}
        }
    }

    pub(super) fn show(&mut self, shown: Vec<Released>) {
        for shown in shown {
            match shown {
                Released::Verdict(kept) => self.show_verdict(kept),
                Released::FollowUp(kept) => self.show_follow_up(kept),
                Released::Visit(kept) => self.tell(kept.output, kept.saved),
            }
            if let Some(tape) = &mut self.tape {
                tape.flush();
            }
            self.publish();
        }
    }

    fn show_verdict(&mut self, kept: Box<ReleasedVerdict>) {
        self.print(&kept);
        self.book.verdict(&kept);
        let mut recent = RecentJson::from(&kept.json);
        recent.unsaved = kept.saved == Saved::No;
        self.context.recent.insert(0, recent);
        self.context.recent.truncate(RECENT_MAX);
        let _ = self.notices.send(Arc::new(Notice::Verdict(kept)));
    }

    fn show_follow_up(&mut self, kept: Box<ReleasedFollowUp>) {
        let (json, unsaved) = (&kept.json, kept.saved == Saved::No);
        output::verdict(&match self.format {
            Format::Json if unsaved => json.unsaved_line(),
            Format::Json => json.line(),
            Format::Text => {
                let line = emphasise_follow_up(&record::text::follow_up(json), json.event);
                if unsaved { format!("UNSAVED  {line}") } else { line }
            }
        });
        self.book.follow_up(&kept);
        if let Some(recent) = self.context.recent.iter_mut().find(|recent| recent.number == json.number) {
            recent.amended = json.now.clone().or_else(|| recent.amended.take());
        }
        self.context.add_follow_up(ShownFollowUp { json: json.clone(), unsaved });
        let _ = self.notices.send(Arc::new(Notice::FollowUp(kept)));
    }

    fn print(&self, kept: &ReleasedVerdict) {
        let unsaved = kept.saved == Saved::No;
        if kept.verdict.danger && self.format == Format::Json {
            // Whoever reads the messages while a program reads the data is told too.
            talk(&record::text::line(&kept.json));
        }
        output::verdict(&match self.format {
            Format::Json if unsaved => kept.json.unsaved_line(),
            Format::Json => kept.json.line(),
            Format::Text => {
                let line = emphasise(&record::text::line(&kept.json), kept.verdict.word);
                if unsaved { record::text::unsaved(&line) } else { line }
            }
        });
    }

    /// The end: what is open gets its word, what waits for the disk gets some time, and what is not stored then is shown
    /// as UNSAVED.
    pub(super) async fn end(mut self, told: &mut mpsc::Receiver<Told>) -> Ended {
        let deadline = WallClock::now() + END_WAITS;
        self.wait_for_disk(told, deadline, |core| core.lines.is_empty()).await;
        // The time is over, the lines are not: what they give is shown as it is.
        while !self.lines.is_empty() {
            let unsaved = self.store.overdue(self.moment(), true);
            self.show(unsaved);
            self.take_lines();
        }
        self.set_now(self.moment());
        let _ = self.step_round(round::Event::Tick);
        if self.pipeline.round().awaits_verdict() {
            // What is open at the end ends with a word and its reason, not in silence.
            let _ = self.step_round(round::Event::from(Act::Finish));
        }
        self.wait_for_disk(told, deadline, |core| !core.store.has_unseen()).await;
        let now = self.moment();
        let unsaved = self.store.overdue(now, true);
        self.show(unsaved);
        if self.store.end(now) {
            self.wait_for_disk(told, deadline, |core| core.store.has_ended()).await;
        }
        let t = self.time.now().micros();
        if let Some(tape) = &mut self.tape {
            tape.event(&LineEvent::End { t });
            tape.close(deadline.saturating_duration_since(WallClock::now()).max(RECORDING_WAITS));
        }
        say(self.refusals.due(now, true));
        for health in &self.health {
            talk(&format!("cliplead: device {}", health.summary(self.pipeline.devices())));
        }
        for fault in self.around_faults() {
            talk(&format!("cliplead: {fault}"));
        }
        for owed in self.pipeline.round().owed() {
            let (unit_tag, what) = (plain(&owed.unit_tag), owed.in_words());
            talk(&format!("cliplead: STILL TO PUT BACK on {unit_tag}: {}", plain(&what)));
        }
        let visited = self.pipeline.round().visited();
        if self.store.keeps() && !visited.is_empty() {
            let units = visited.join(", ");
            talk(&plain(&format!("cliplead: the next start goes on with the visit at {units}")));
        }
        let unsaved = self.store.unsaved();
        if !unsaved.is_nothing() {
            talk(&format!("cliplead: {} of this round are UNSAVED", unsaved.words()));
        }
        Ended { in_order: self.store.is_sound() && self.context.rules.refused.is_none() }
    }

    /// Takes the history's answers until this holds, the disk is in trouble, or the time is over.
    async fn wait_for_disk(
        &mut self,
        told: &mut mpsc::Receiver<Told>,
        deadline: WallClock,
        done: impl Fn(&Self) -> bool,
    ) {
        while !done(self) && self.store.keeps() {
            self.take_lines();
            let left = deadline.saturating_duration_since(WallClock::now());
            let Ok(Some(answer)) = tokio::time::timeout(left, told.recv()).await else { break };
            self.told(answer);
        }
        self.take_lines();
    }
}
