//! The daemon: links feed one core thread that owns the pipeline; what the core says goes to the history first and only
//! then to stdout and the page. Wiring only; the parts stand in the files below.

mod acts;
mod context;
mod core;
mod elsewhere;
mod feed;
mod health;
mod keeper;
mod messages;
mod page;
mod released;
mod reload;
mod remember;
mod route_book;
mod row;
mod say;
mod start_rules;
mod steps;
mod store;
mod tape;
mod time;
mod typed;
mod visits;
mod waits;
mod wanted;
#[cfg(feature = "dashboard")]
mod web;
#[cfg(not(feature = "dashboard"))]
#[path = "daemon/no_web.rs"]
mod web;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use anyhow::Context as _;
use judge::rule::RuleSet;
use link::Registry;
use site::Site;
use tokio::sync::{broadcast, mpsc, oneshot, watch};
use tokio::time::timeout;

use crate::cli::{Format, RunOptions};
use crate::clock::{self, Clock};
use crate::config;
use crate::last_good::LastGood;
use crate::output::{self, Exit, talk};
use crate::rules::Texts;
use crate::sys::StopSignals;

#[cfg(any(feature = "dashboard", feature = "demo", test))]
pub(crate) use self::messages::Ask;
pub(crate) use self::messages::{Input, Notice};

/// Inputs that wait for the core at most; links hold their own bounded queues behind it.
const INPUTS_MAX: usize = 256;
/// Notices a slow listener may fall behind.
const NOTICES_MAX: usize = 1024;
/// Answers of the history that wait for the core at most; its thread waits then.
const TOLD_MAX: usize = 256;
/// The start waits this long for the history to say which visits are open.
const START_WAITS: Duration = Duration::from_secs(3);
/// This long after it was asked to end, the program ends whatever still holds it up.
const END_BY_FORCE: Duration = Duration::from_secs(5);

/// What a daemon needs to start.
pub(crate) struct Setup {
    pub(crate) site: Site,
    pub(crate) rules: RuleSet,
    /// The texts of the rules, when they are what the folder holds.
    pub(crate) texts: Option<Texts>,
    /// Why the rules in the folder are not in force.
    pub(crate) refused: Option<String>,
    pub(crate) registry: Registry,
    pub(crate) format: Format,
    pub(crate) record: Option<PathBuf>,
    /// Where the data come from, for the recording's header.
    pub(crate) note: String,
    /// Arm the first check of the route at the start.
    pub(crate) arm_first: bool,
    /// Do not start when something is not in order.
    pub(crate) strict: bool,
    pub(crate) clock: Clock,
}

/// How a round ended.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ended {
    /// Every verdict is stored, as far as any should be, and the rules in the folder are in force.
    pub(crate) in_order: bool,
}

/// A running daemon.
pub(crate) struct Running {
    /// Where events go.
    pub(crate) inputs: mpsc::Sender<Input>,
    /// What it says, for whoever follows along.
    #[cfg_attr(not(feature = "demo"), allow(dead_code, reason = "only the demo follows along"))]
    pub(crate) notices: broadcast::Receiver<Arc<Notice>>,
    /// Where the page is.
    pub(crate) address: Option<SocketAddr>,
    registry: Registry,
    core: JoinHandle<anyhow::Result<Ended>>,
    /// Closes when the core thread has ended, for whatever reason.
    core_alive: oneshot::Receiver<()>,
    stop_web: watch::Sender<bool>,
}

/// Runs the command until it is told to stop.
///
/// # Errors
/// When the file, or with `--strict` the rules or the history, cannot be used, or the page's address is taken. A bad device
/// is no error.
pub(crate) fn run(options: &RunOptions) -> anyhow::Result<Exit> {
    let site = config::read(&options.config)?;
    let rules = start_rules::choose(&site, options.strict)?;
    output::in_background().context("stdout and stderr")?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let keeps = site.history.is_some();
    let ended = runtime.block_on(async {
        let mut signals = StopSignals::listen()?;
        let setup = Setup {
            site,
            rules: rules.set,
            texts: rules.texts,
            refused: rules.refused,
            registry: registry(),
            format: options.format,
            record: options.record.clone(),
            note: String::new(),
            arm_first: true,
            strict: options.strict,
            clock: clock::system(),
        };
        let mut running = start(setup).await?;
        match running.address {
            Some(address) => talk(&format!("cliplead: the page is at http://{address}/ ; Ctrl-C ends")),
            None => talk("cliplead: running without a page; Ctrl-C ends"),
        }
        tokio::select! {
            () = signals.next() => {}
            _ = &mut running.core_alive => talk("cliplead: the core has ended by itself"),
        }
        tokio::select! {
            ended = running.stop() => ended,
            () = signals.next() => end_by_force("it was asked to end a second time"),
            () = tokio::time::sleep(END_BY_FORCE) => end_by_force("something still holds it up"),
        }
    });
    // What still hangs in the background must not hold up the end.
    runtime.shutdown_background();
    let lost = !keeps && output::lines_lost() > 0;
    Ok(if ended?.in_order && !lost { Exit::Fine } else { Exit::CouldNotRun })
}

/// Ends the program now.
fn end_by_force(why: &str) -> ! {
    talk(&format!("cliplead: ended by force: {why}"));
    output::drain(Duration::from_millis(200));
    std::process::exit(2)
}

/// The adapters of this build.
pub(crate) fn registry() -> Registry {
    let registry = Registry::new()
        .with(link::FileAdapter)
        .with(link::StdinAdapter::new())
        .with(link::ManualAdapter::new());
    #[cfg(feature = "serial")]
    let registry = registry.with(link::SerialAdapter::new());
    #[cfg(feature = "tcp")]
    let registry = registry.with(link::TcpAdapter::new());
    #[cfg(feature = "ble")]
    let registry = registry.with(link::BleAdapter::new());
    #[cfg(feature = "ble-portable")]
    let registry = registry.with(link::PortableBleAdapter::new());
    registry
}

/// Starts everything. Must be called within a tokio runtime.
///
/// # Errors
/// When the recording or the page's address cannot be used, and with `strict` the history.
pub(crate) async fn start(mut setup: Setup) -> anyhow::Result<Running> {
    let (inputs, queue) = mpsc::channel(INPUTS_MAX);
    let (notices, listener) = broadcast::channel(NOTICES_MAX);
    let (views, view) = watch::channel(Arc::from("{}"));
    let (routes, route) = watch::channel(Arc::from("{}"));
    let (stop_web, stopped) = watch::channel(false);
    let (told, mut answers) = mpsc::channel(TOLD_MAX);
    let site = &setup.site;
    let store = match &site.history {
        Some(path) => {
            let hash = setup.rules.hash();
            store::Store::open(path, setup.strict, site, hash, told)?
        }
        None => store::Store::nothing(),
    };
    // The visits that are open there say where the route begins. A disk that does not answer holds up nothing for long.
    let first = if store.keeps() { timeout(START_WAITS, answers.recv()).await.ok().flatten() } else { None };
    let tape = setup.record.as_deref().map(tape::Tape::create).transpose()?;
    let devices = site.devices.clone();
    let address = match site.dashboard {
        Some(address) => Some(web::open(address, web::Shown { view, route }, inputs.clone(), stopped).await?),
        None => None,
    };
    if let Some(folder) = site.rules.clone() {
        let last_good = site.history.as_deref().map(LastGood::beside);
        let set = setup.rules.clone();
        let watch = reload::Watch { folder, set, texts: setup.texts.take(), last_good };
        reload::start(watch, setup.refused.clone(), inputs.clone())
            .context("the rules' thread did not start")?;
    }
    let (clock, registry) = (Arc::clone(&setup.clock), std::mem::take(&mut setup.registry));
    let (alive, core_alive) = oneshot::channel();
    let outlets = core::Outlets { tape, notices, views, routes };
    let core = core::Core::new(setup, store, Arc::clone(&clock), outlets, first);
    for ((index, device), health) in devices.iter().enumerate().zip(&core.health) {
        let feed = feed::Feed { inputs: inputs.clone(), clock: Arc::clone(&clock) };
        feed::attach(index, device, &registry, health.counts(), feed);
    }
    let core = std::thread::Builder::new()
        .name("core".to_owned())
        // The sandbox asks for 512 KiB; this leaves a wide margin (see crate `script`).
        .stack_size(8 * 1024 * 1024)
        .spawn(move || {
            // Dropped at the end of the thread, a panic included.
            let _alive = alive;
            core.run(queue, answers)
        })
        .context("the core thread did not start")?;
    Ok(Running { inputs, notices: listener, address, registry, core, core_alive, stop_web })
}

impl Running {
    /// Ends the armed check's recording and the round, waits for it, and has every link let its device go.
    ///
    /// # Errors
    /// What the core ended with.
    pub(crate) async fn stop(self) -> anyhow::Result<Ended> {
        let _ = self.stop_web.send(true);
        let _ = self.inputs.send(Input::Stop).await;
        let core = self.core;
        // Side by side: both may take some seconds, and the program is ended by force soon.
        let (ended, left) =
            tokio::join!(tokio::task::spawn_blocking(move || core.join()), self.registry.close());
        let ended = ended.context("the core did not end")?;
        if let Err(left) = left {
            talk(&format!("cliplead: {left}"));
        }
        ended.map_err(|_| anyhow::anyhow!("the core failed; please report this"))?
    }
}

/// Waits for Ctrl-C, a termination signal or the end of the terminal. Make it once for a whole wait: a signal that comes
/// while nobody listens is lost.
///
/// # Errors
/// When the system gives no signals.
pub(crate) async fn stop_asked() -> anyhow::Result<()> {
    StopSignals::listen()?.next().await;
    Ok(())
}

#[cfg(test)]
mod tests;
