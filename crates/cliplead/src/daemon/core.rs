//! The core thread: owns the pipeline and waits for no reader and no disk. Each verdict goes to the store before anybody sees
//! it. Decides nothing that the round does not; acts, steps and the picture for the page stand in the files beside.

use std::sync::Arc;
use std::time::Duration;

use link::{LinkEvent, LinkState};
use pipeline::{Event, Pipeline};
use record::{LineEvent, RecordingHeader, ViewContext, plain};
use tokio::sync::{broadcast, mpsc, watch};
use visit::act::Act;
use visit::round::{self, Route};

use super::Setup;
use super::context;
use super::health::Health;
use super::keeper::Told;
use super::messages::{Input, Notice};
use super::route_book::RouteBook;
use super::say::{Refusals, say};
use super::store::Store;
use super::tape::Tape;
use super::time::RoundTime;
use super::typed::TypedLines;
use super::waits::Waits;
use crate::cli::Format;
use crate::clock::{Clock, Moment};
use crate::output::talk;

/// How often what waits is looked at and files are flushed.
const BEAT: Duration = Duration::from_millis(200);

/// Where the core speaks to.
pub(super) struct Outlets {
    pub(super) tape: Option<Tape>,
    pub(super) notices: broadcast::Sender<Arc<Notice>>,
    pub(super) views: watch::Sender<Arc<str>>,
    pub(super) routes: watch::Sender<Arc<str>>,
}

/// The core's state.
pub(super) struct Core {
    pub(super) pipeline: Pipeline,
    pub(super) time: RoundTime,
    pub(super) store: Store,
    pub(super) tape: Option<Tape>,
    pub(super) notices: broadcast::Sender<Arc<Notice>>,
    pub(super) views: watch::Sender<Arc<str>>,
    pub(super) routes: watch::Sender<Arc<str>>,
    pub(super) context: ViewContext,
    pub(super) book: RouteBook,
    pub(super) health: Vec<Health>,
    pub(super) lines: TypedLines,
    pub(super) refusals: Refusals,
    pub(super) waits: Waits,
    /// What whoever types was told last to do next.
    pub(super) wanted: String,
    pub(super) format: Format,
    pub(super) seq: u64,
}

impl Core {
    /// Joins the devices and begins the round.
    /// `first` is what the history said first of all, where it has said something.
    pub(super) fn new(
        setup: Setup,
        store: Store,
        clock: Clock,
        outlets: Outlets,
        first: Option<Told>,
    ) -> Self {
        let Setup { site, rules, refused, format, note, arm_first, .. } = setup;
        if !store.keeps() {
            talk("cliplead: no history file is named, so no verdict is stored");
        }
        let settings = round::Settings { verdicts_are_stored: store.keeps(), ..site.settings };
        let mut header = RecordingHeader::of(&settings);
        header.site.clone_from(&site.site);
        rules.hash().clone_into(&mut header.rules);
        header.started = httpdate::fmt_http_date(std::time::SystemTime::now());
        header.note = note;
        let Outlets { mut tape, notices, views, routes } = outlets;
        if let Some(tape) = &mut tape {
            tape.header(&header);
        }
        let has_route = !site.route.is_empty();
        let mut core = Self {
            context: context::initial_context(&site, &rules, refused),
            book: RouteBook::new(&site.route, &rules),
            health: site.devices.iter().map(|device| Health::of(&device.name, device.typed)).collect(),
            pipeline: Pipeline::new(rules, settings).on(Route::new(site.route)),
            time: RoundTime::new(clock),
            store,
            tape,
            notices,
            views,
            routes,
            lines: TypedLines::default(),
            refusals: Refusals::default(),
            waits: Waits::default(),
            wanted: String::new(),
            format,
            seq: 0,
        };
        for device in site.devices {
            let (profile, text) = device.profile.unzip();
            let kind = site::kind_of(profile, device.typed);
            // Without a profile a device is typed anyway; the line says so only where it must.
            let typed = device.typed && text.is_some();
            let line = LineEvent::Joined { t: 0, device: device.name.clone(), profile: text, typed };
            core.step(Event::Joined { device: device.name, kind }, Some(line));
        }
        if let Some(first) = first {
            core.told(first);
        }
        if arm_first && has_route {
            let _ = core.step_round(Act::Next.into());
        }
        core
    }

    /// Runs until told to stop, or until nobody can tell it anything any more. Gives what is not in order at the end.
    ///
    /// # Errors
    /// When the thread gets no timer.
    pub(super) fn run(
        mut self,
        mut inputs: mpsc::Receiver<Input>,
        mut told: mpsc::Receiver<Told>,
    ) -> anyhow::Result<super::Ended> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build()?;
        Ok(runtime.block_on(async {
            let mut beat = tokio::time::interval(BEAT);
            beat.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
            let mut answers = self.store.keeps();
            loop {
                tokio::select! {
                    biased;
                    // The beat first: a device that floods always has an input ready, and the page, the history and what
                    // falls due must not wait for its end.
                    _ = beat.tick() => self.beat(),
                    answer = told.recv(), if answers => match answer {
                        Some(answer) => self.told(answer),
                        None => answers = self.history_is_gone(),
                    },
                    input = inputs.recv() => match input {
                        None | Some(Input::Stop) => break,
                        Some(input) => self.take(input),
                    },
                    () = tokio::time::sleep(self.until_due()) => self.tick(),
                }
            }
            self.end(&mut told).await
        }))
    }

    fn until_due(&self) -> Duration {
        self.pipeline.poll_at().map_or(Duration::from_secs(3600), |due| self.time.until(due))
    }

    /// The machine's time.
    pub(super) fn moment(&self) -> Moment {
        self.time.moment()
    }

    /// Time goes on to here. After a span in which nobody watched, every hold point is open again.
    pub(super) fn set_now(&mut self, at: Moment) {
        if let Some(span) = self.time.go_on(at) {
            talk(&format!(
                "cliplead: the machine slept or was held up for {} s; every hold point is open again",
                span.as_secs()
            ));
            let _ = self.step_round(round::Event::Unwatched);
        }
    }

    /// As [`Core::set_now`], and later than anything before.
    pub(super) fn set_own_time(&mut self, at: Moment) {
        self.set_now(at);
        self.time.step_on();
    }

    pub(super) fn take(&mut self, input: Input) {
        match input {
            Input::Link { device, at, event } => {
                self.set_now(at);
                self.link(device, event);
            }
            Input::Typed { device, at, data, taken } => {
                self.lines.push(device, at, data, taken);
                self.take_lines();
            }
            Input::CannotOpen { device, why } => {
                talk(&plain(&format!("cliplead: device {} cannot be used: {why}", self.name(device))));
                if let Some(state) = self.context.devices.get_mut(device) {
                    state.state = format!("cannot be used: {why}");
                }
            }
            Input::Ask(ask) => {
                self.set_own_time(self.moment());
                self.book.refused(None);
                let answer = self.act(ask.act, ask.by, ask.check);
                if let Some(reply) = ask.reply {
                    let _ = reply.send(answer);
                }
                self.publish();
            }
            Input::Rules(result) => {
                self.set_now(self.moment());
                self.new_rules(result);
                self.publish();
            }
            Input::Arm(plan) => {
                self.set_own_time(self.moment());
                let _ = self.step_round(round::Event::Arm(plan));
                self.publish();
            }
            Input::Stop => {}
        }
    }

    pub(super) fn name(&self, device: usize) -> String {
        self.health.get(device).map(|health| health.name.clone()).unwrap_or_default()
    }

    fn link(&mut self, device: usize, event: LinkEvent) {
        let name = self.name(device);
        match event {
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
                        talk(&plain(&format!("cliplead: device {name}: {state}")));
                    }
                    _ => tracing::info!("device {name}: {state}"),
                }
                if let Some(known) = self.context.devices.get_mut(device) {
                    known.state = state.to_string();
                }
                self.publish();
            }
            _ => {}
        }
    }

    /// Takes the typed lines that need not wait. A line may rest on a verdict that is about to be stored, so it waits for
    /// that.
    pub(super) fn take_lines(&mut self) {
        while !self.store.holds_up()
            && let Some((device, at, line)) = self.lines.next()
        {
            self.set_own_time(at);
            self.step(Event::Bytes { device: self.name(device), data: line }, None);
        }
    }

    /// The history has answered.
    pub(super) fn told(&mut self, told: Told) {
        self.set_now(self.moment());
        let follows = self.store.told(told);
        self.follow(follows);
        self.take_lines();
        self.publish();
    }

    fn history_is_gone(&mut self) -> bool {
        let why = "the history's thread has ended; please report this".to_owned();
        self.told(Told::Trouble(why));
        false
    }

    fn tick(&mut self) {
        self.set_now(self.moment());
        let _ = self.step_round(round::Event::Tick);
    }

    pub(super) fn beat(&mut self) {
        self.tick();
        let now = self.moment();
        let overdue = self.store.overdue(now, false);
        self.show(overdue);
        self.store.write_raw(now, false);
        self.store.look_elsewhere(now);
        say(self.refusals.due(now, false));
        self.take_lines();
        if let Some(tape) = &mut self.tape {
            tape.flush();
        }
        self.tell_wanted();
        self.publish();
    }
}
