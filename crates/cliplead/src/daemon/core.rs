//! The core thread: owns the pipeline, stamps nothing itself, and passes each verdict through the store before anybody
//! sees it. Decides nothing that the round does not.

use std::sync::Arc;
use std::time::{Duration as StdDuration, Instant as Clock};

use judge::round;
use judge::rule::RuleSet;
use link::{LinkEvent, LinkState};
use pipeline::{Event, Output, Pipeline, Stamped};
use quantity::{Instant, parse_typed};
use record::{Around, DeviceState, LineEvent, RecentJson, RecordingHeader, RulesState};
use tokio::sync::{broadcast, mpsc, oneshot, watch};

use super::Setup;
use super::store::{Kept, Store};
use super::tape::Tape;
use crate::cli::Format;
use crate::output::{self, emphasise, talk};

/// How often the page gets a fresh picture, the store is tried again and files are flushed.
const BEAT: StdDuration = StdDuration::from_millis(200);
/// Verdicts the page lists.
const RECENT_MAX: usize = 8;

/// What reaches the core.
pub(crate) enum Input {
    /// A device's link says something.
    Link { device: usize, at: Clock, event: LinkEvent },
    /// A device cannot ever be opened as it is configured.
    CannotOpen { device: usize, why: String },
    /// A person wants something.
    Ask(Ask),
    /// The rules folder has changed: a good set, or why not.
    Rules(Result<RuleSet, String>),
    /// Arm this plan.
    #[cfg_attr(not(feature = "demo"), allow(dead_code))]
    Arm(Box<round::Plan>),
    /// The end.
    Stop,
}

/// What a person asks for.
pub(crate) struct Ask {
    pub(crate) act: Act,
    /// The check the person had in view; an act on another one is refused.
    pub(crate) check: Option<u64>,
    pub(crate) reply: Option<oneshot::Sender<Result<(), String>>>,
}

/// One act.
pub(crate) enum Act {
    Confirm(String),
    Withdraw(String),
    Type { point: String, text: String },
    Answer { question: u32, yes: bool },
    Again,
    Next,
    Finish,
    Energised,
}

/// What the core says, for whoever follows along.
#[derive(Clone)]
pub(crate) enum Notice {
    /// Something the round said, other than a verdict.
    Round(round::Output),
    /// A verdict, stored and shown.
    Verdict(Box<Kept>),
}

/// The core's state.
pub(super) struct Core {
    pipeline: Pipeline,
    start: Clock,
    now: Instant,
    store: Store,
    tape: Option<Tape>,
    notices: broadcast::Sender<Arc<Notice>>,
    views: watch::Sender<Arc<str>>,
    around: Around,
    names: Vec<String>,
    /// Which devices send typed lines.
    typed: Vec<bool>,
    route: Vec<round::Plan>,
    next: usize,
    format: Format,
    seq: u64,
    stdout_gone: bool,
    /// The meter that typed values are read off, if a typed device names its profile.
    typed_by: Option<wire::Profile>,
}

impl Core {
    /// Joins the devices and begins the round.
    ///
    /// # Errors
    /// When the round cannot be stored.
    pub(super) fn new(
        setup: Setup,
        mut store: Store,
        mut tape: Option<Tape>,
        notices: broadcast::Sender<Arc<Notice>>,
        views: watch::Sender<Arc<str>>,
    ) -> anyhow::Result<Self> {
        let Setup { config, rules, format, note, arm_first, .. } = setup;
        store.begin(&config.site, rules.hash(), &config.settings)?;
        if !store.keeps() {
            talk("cliplead: no history file is named, so no verdict is stored");
        }
        let mut header = RecordingHeader::of(&config.settings);
        header.site.clone_from(&config.site);
        rules.hash().clone_into(&mut header.rules);
        header.note = note;
        if let Some(tape) = &mut tape {
            tape.header(&header);
        }
        let around = Around {
            site: config.site,
            rules: rules_state(&rules, None),
            devices: config
                .devices
                .iter()
                .map(|device| DeviceState {
                    name: device.name.clone(),
                    state: "opening".to_owned(),
                    ..DeviceState::default()
                })
                .collect(),
            ..Around::default()
        };
        let mut core = Self {
            pipeline: Pipeline::new(rules, config.settings),
            start: Clock::now(),
            now: Instant::ZERO,
            store,
            tape,
            notices,
            views,
            around,
            names: config.devices.iter().map(|device| device.name.clone()).collect(),
            typed: config.devices.iter().map(|device| device.typed).collect(),
            route: config.route,
            next: 0,
            format,
            seq: 0,
            stdout_gone: false,
            typed_by: None,
        };
        for device in config.devices {
            let (profile, text) = device.profile.unzip();
            if device.typed && core.typed_by.is_none() {
                core.typed_by.clone_from(&profile);
            }
            let kind = record::kind_of(profile, device.typed);
            // Without a profile a device is typed anyway; the line says so only where it must.
            let typed = device.typed && text.is_some();
            let line = LineEvent::Joined { t: 0, device: device.name.clone(), profile: text, typed };
            core.step(Event::Joined { device: device.name, kind }, Some(line));
        }
        if arm_first && !core.route.is_empty() {
            let _ = core.arm_next();
        }
        Ok(core)
    }

    /// Runs until told to stop, or until nobody can tell it anything any more.
    ///
    /// # Errors
    /// When the thread gets no timer.
    pub(super) fn run(mut self, mut inputs: mpsc::Receiver<Input>) -> anyhow::Result<()> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build()?;
        runtime.block_on(async {
            let mut beat = tokio::time::interval(BEAT);
            beat.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
            loop {
                tokio::select! {
                    biased;
                    // The beat first: a device that floods always has an input ready, and the page, the history and what
                    // falls due must not wait for its end.
                    _ = beat.tick() => self.beat(),
                    input = inputs.recv() => match input {
                        None | Some(Input::Stop) => break,
                        Some(input) => self.take(input),
                    },
                    () = tokio::time::sleep(self.until_due()) => self.tick(),
                }
            }
        });
        self.end();
        Ok(())
    }

    fn until_due(&self) -> StdDuration {
        let clock = self.clock(Clock::now());
        self.pipeline.poll_at().map_or(StdDuration::from_secs(3600), |due| {
            StdDuration::from_micros(u64::try_from(due.since(clock).micros()).unwrap_or(0))
        })
    }

    fn clock(&self, at: Clock) -> Instant {
        let us = at.saturating_duration_since(self.start).as_micros();
        Instant::from_micros(i64::try_from(us).unwrap_or(i64::MAX))
    }

    fn set_now(&mut self, at: Clock) {
        self.now = self.now.max(self.clock(at));
    }

    fn take(&mut self, input: Input) {
        match input {
            Input::Link { device, at, event } => {
                self.set_now(at);
                self.link(device, event);
            }
            Input::CannotOpen { device, why } => {
                talk(&format!("cliplead: device {} cannot be used: {why}", self.name(device)));
                if let Some(state) = self.around.devices.get_mut(device) {
                    state.state = format!("cannot be used: {why}");
                }
            }
            Input::Ask(ask) => {
                self.set_now(Clock::now());
                let answer = self.act(ask.act, ask.check);
                if let Some(reply) = ask.reply {
                    let _ = reply.send(answer);
                }
                self.publish();
            }
            Input::Rules(result) => {
                self.set_now(Clock::now());
                self.new_rules(result);
                self.publish();
            }
            Input::Arm(plan) => {
                self.set_now(Clock::now());
                let _ = self.step_round(round::Event::Arm(plan));
                self.publish();
            }
            Input::Stop => {}
        }
    }

    fn name(&self, device: usize) -> String {
        self.names.get(device).cloned().unwrap_or_default()
    }

    fn link(&mut self, device: usize, event: LinkEvent) {
        let name = self.name(device);
        match event {
            LinkEvent::Bytes(data) if self.typed.get(device) == Some(&true) => {
                // Line by line: what `next` arms must be armed before the lines behind it are taken.
                for line in data.split_inclusive(|byte| *byte == b'\n') {
                    self.step(Event::Bytes { device: name.clone(), data: line.to_vec() }, None);
                }
            }
            LinkEvent::Bytes(data) => {
                self.step(Event::Bytes { device: name, data }, None);
            }
            LinkEvent::Gap(why) => {
                tracing::info!("device {name}: {why}");
                self.step(Event::Gap { device: name }, None);
                self.publish();
            }
            LinkEvent::State(state) => {
                match &state {
                    LinkState::Absent(_) | LinkState::Lost(_) => {
                        talk(&format!("cliplead: device {name}: {state}"))
                    }
                    _ => tracing::info!("device {name}: {state}"),
                }
                if let Some(known) = self.around.devices.get_mut(device) {
                    known.state = state.to_string();
                }
                self.publish();
            }
            _ => {}
        }
    }

    fn act(&mut self, act: Act, check: Option<u64>) -> Result<(), String> {
        let armed = self.pipeline.round().armed();
        if let Some(seen) = check
            && armed.map(u64::from) != Some(seen)
        {
            return Err("the check on your page is no longer armed; look again".to_owned());
        }
        let event = match act {
            Act::Confirm(hold_point) => round::Event::Confirm { hold_point },
            Act::Withdraw(hold_point) => round::Event::Withdraw { hold_point },
            Act::Type { point, text } if round::reads_open(&text) => round::Event::Open { point },
            Act::Type { point, text } => {
                let value = parse_typed(&text).map_err(|error| error.to_string())?;
                let accuracy =
                    self.typed_by.as_ref().and_then(|profile| pipeline::typed_accuracy(profile, &value));
                round::Event::Typed { point, value, accuracy }
            }
            Act::Answer { question, yes } => round::Event::Answer { question: Some(question), yes },
            Act::Again => round::Event::Again,
            Act::Next => return self.arm_next(),
            Act::Finish => round::Event::Finish,
            Act::Energised => round::Event::Energised,
        };
        self.step_round(event)
    }

    fn arm_next(&mut self) -> Result<(), String> {
        let Some(plan) = self.route.get(self.next).cloned() else {
            return Err("the route is at its end: there is no next check".to_owned());
        };
        self.next += 1;
        self.step_round(round::Event::Arm(Box::new(plan)))
    }

    fn new_rules(&mut self, result: Result<RuleSet, String>) {
        match result {
            Ok(set) => {
                talk(&format!("cliplead: new rules in force: {} rules", set.iter().count()));
                self.around.rules = rules_state(&set, None);
                let _ = self.step_round(round::Event::Rules(set));
            }
            Err(why) => {
                talk(&format!(
                    "cliplead: the changed rules are refused, the last good ones stay in force: {why}"
                ));
                self.around.rules.refused = Some(why);
            }
        }
    }

    fn tick(&mut self) {
        self.set_now(Clock::now());
        let _ = self.step_round(round::Event::Tick);
    }

    fn step_round(&mut self, event: round::Event) -> Result<(), String> {
        self.step(Event::Round(event), None).map_or(Ok(()), Err)
    }

    /// One step of the pipeline: onto the tape, through it, and what came out to where it belongs. Gives back why
    /// something was refused, if it was.
    fn step(&mut self, event: Event, line: Option<LineEvent>) -> Option<String> {
        let now = self.now;
        if let Some(tape) = &mut self.tape
            && let Some(line) = line.or_else(|| LineEvent::of(now.micros(), &event))
        {
            tape.event(&line);
        }
        let mut refused = None;
        let mut next_asked = false;
        for Stamped { output, .. } in self.pipeline.step(event, now) {
            match output {
                Output::Round(round::Output::Verdict(verdict)) => {
                    let shown = self.store.keep(*verdict);
                    self.show(shown);
                }
                Output::Round(output) => {
                    if let round::Output::Refused { why } = &output {
                        refused = Some(why.clone());
                    }
                    if let Some(line) = words(&output) {
                        talk(&line);
                    }
                    let _ = self.notices.send(Arc::new(Notice::Round(output)));
                }
                Output::Reading { device, reading } => {
                    if self.pipeline.round().armed().is_some() {
                        self.store.raw(&device, &reading);
                    }
                }
                Output::Dropped { device, fault } => tracing::debug!("device {device}: {fault}"),
                Output::NextAsked => next_asked = true,
                Output::NotTyped { device, fault } => talk(&format!("{device}: {fault}")),
            }
        }
        if next_asked && let Err(why) = self.arm_next() {
            talk(&format!("    refused: {why}"));
        }
        refused
    }

    /// Only what the store has comes here.
    fn show(&mut self, shown: Vec<Kept>) {
        for kept in shown {
            self.print(&kept);
            self.around.recent.insert(0, RecentJson::from(&kept.json));
            self.around.recent.truncate(RECENT_MAX);
            let _ = self.notices.send(Arc::new(Notice::Verdict(Box::new(kept))));
            if let Some(tape) = &mut self.tape {
                tape.flush();
            }
            self.publish();
        }
    }

    fn print(&mut self, kept: &Kept) {
        if self.stdout_gone {
            return;
        }
        let line = match self.format {
            Format::Json => kept.json.line(),
            Format::Text => emphasise(&record::text::line(&kept.json), kept.verdict.word),
        };
        if let Err(error) = output::data(&line) {
            self.stdout_gone = true;
            tracing::warn!(
                "stdout takes no more lines ({error}); verdicts go on to the history and the page"
            );
        }
    }

    fn beat(&mut self) {
        self.tick();
        let shown = self.store.retry();
        self.show(shown);
        self.store.write_raw();
        if let Some(tape) = &mut self.tape {
            tape.flush();
        }
        self.publish();
    }

    /// A fresh picture for the page. A verdict that is not stored yet is not in it.
    fn publish(&mut self) {
        self.seq += 1;
        for (state, name) in self.around.devices.iter_mut().zip(&self.names) {
            if let Some((_, device)) = self.pipeline.devices().find(|(known, _)| *known == name.as_str()) {
                state.readings = device.readings();
                state.drops = device.counters().map_or(0, wire::Counters::faults);
            }
        }
        self.around.faults = self.store.fault().map(str::to_owned).into_iter().collect();
        let mut view = self.pipeline.round().view(self.now);
        if view.verdict.as_ref().is_some_and(|(verdict, _)| self.store.waits(verdict.check)) {
            view.verdict = None;
            if let Some(check) = &mut view.check {
                check.ruler = None;
            }
        }
        let json = record::view_json(self.seq, self.now.micros() / 1_000, &view, &self.around);
        self.views.send_replace(Arc::from(json));
    }

    fn end(&mut self) {
        self.set_now(Clock::now());
        let _ = self.step_round(round::Event::Tick);
        if self.pipeline.round().awaits_verdict() {
            // What is open at the end ends with a word and its reason, not in silence.
            let _ = self.step_round(round::Event::Finish);
        }
        let now = self.now;
        if let Some(tape) = &mut self.tape {
            tape.event(&LineEvent::End { t: now.micros() });
            tape.flush();
        }
        let shown = self.store.retry();
        self.show(shown);
        self.store.end();
    }
}

fn rules_state(set: &RuleSet, refused: Option<String>) -> RulesState {
    RulesState {
        count: set.iter().count(),
        hash: set.hash().get(..8).unwrap_or_default().to_owned(),
        refused,
    }
}

/// What the round says, as talk on stderr.
fn words(output: &round::Output) -> Option<String> {
    use judge::hold::How;
    Some(match output {
        round::Output::Armed { check, unit_tag, component, rule, cautions } => {
            let mut text = format!("  check {check}: {unit_tag} / {component} ({rule})");
            for caution in cautions {
                text.push_str("\n    CAUTION ");
                text.push_str(caution);
            }
            text
        }
        round::Output::HoldPoint { name, evidence } => match &evidence.how {
            How::Confirmed => format!("    {name}: confirmed"),
            How::Stream(says) => format!("    {name}: shown by the meter ({says})"),
        },
        round::Output::Lapsed { name, why } => format!("    {name}: no longer stands, {}", why.text()),
        round::Output::Settled(reading) => {
            let from = if reading.device == "typed" {
                "typed".to_owned()
            } else {
                format!("{} readings", reading.count)
            };
            format!("    {}: {} {} ({from})", reading.label, reading.shown, reading.unit)
        }
        round::Output::Reset { why } => format!("    started anew: {}", why.text()),
        round::Output::Asked { number, question } => format!("    QUESTION {number}: {question}"),
        round::Output::Refused { why } => format!("    refused: {why}"),
        round::Output::Verdict(_) => return None,
    })
}
