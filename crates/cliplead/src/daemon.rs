//! The daemon: links feed one core thread that owns the pipeline; what the core says goes to the history first and only
//! then to stdout and the page. Wiring only; the parts stand in the files below.

mod core;
mod feed;
mod reload;
mod store;
mod tape;
#[cfg(feature = "dashboard")]
mod web;
#[cfg(not(feature = "dashboard"))]
#[path = "daemon/no_web.rs"]
mod web;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;

use anyhow::Context as _;
use judge::rule::RuleSet;
use link::Registry;
use tokio::sync::{broadcast, mpsc, oneshot, watch};

use crate::cli::{Format, RunOptions};
use crate::config::{self, Config};
use crate::output::{Exit, talk};
use crate::rules;

pub(crate) use self::core::{Act, Ask, Input, Notice};

/// Inputs that wait for the core at most; links hold their own bounded queues behind it.
const INPUTS_MAX: usize = 256;
/// Notices a slow listener may fall behind.
const NOTICES_MAX: usize = 1024;

/// What a daemon needs to start.
pub(crate) struct Setup {
    pub(crate) config: Config,
    pub(crate) rules: RuleSet,
    pub(crate) registry: Registry,
    pub(crate) format: Format,
    pub(crate) record: Option<PathBuf>,
    /// Where the data come from, for the recording's header.
    pub(crate) note: String,
    /// Arm the first check of the route at the start.
    pub(crate) arm_first: bool,
}

/// A running daemon.
pub(crate) struct Running {
    /// Where events go.
    pub(crate) inputs: mpsc::Sender<Input>,
    /// What it says, for whoever follows along.
    pub(crate) notices: broadcast::Receiver<Arc<Notice>>,
    /// Where the page is.
    pub(crate) address: Option<SocketAddr>,
    core: JoinHandle<anyhow::Result<()>>,
    /// Closes when the core thread has ended, for whatever reason.
    core_alive: oneshot::Receiver<()>,
    stop_web: watch::Sender<bool>,
}

/// Runs the command until it is told to stop.
///
/// # Errors
/// When the file, the rules, the history or the page's address cannot be used. A bad device is no error.
pub(crate) fn run(options: &RunOptions) -> anyhow::Result<Exit> {
    let config = config::read(&options.config)?;
    let rules = rules::load_or_say(config.rules.as_deref())?;
    for plan in &config.route {
        rules::must_have(&rules, &plan.rule).context("the route")?;
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let setup = Setup {
            config,
            rules,
            registry: registry(),
            format: options.format,
            record: options.record.clone(),
            note: String::new(),
            arm_first: true,
        };
        let mut running = start(setup).await?;
        match running.address {
            Some(address) => talk(&format!("cliplead: the page is at http://{address}/ ; Ctrl-C ends")),
            None => talk("cliplead: running without a page; Ctrl-C ends"),
        }
        tokio::select! {
            asked = stop_asked() => asked?,
            _ = &mut running.core_alive => talk("cliplead: the core has ended by itself"),
        }
        running.stop().await?;
        Ok(Exit::Fine)
    })
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
    #[cfg(all(feature = "ble", target_os = "linux"))]
    let registry = registry.with(link::BleAdapter::new());
    registry
}

/// Starts everything. Must be called within a tokio runtime.
///
/// # Errors
/// When the history, the recording or the page's address cannot be used.
pub(crate) async fn start(setup: Setup) -> anyhow::Result<Running> {
    let (inputs, queue) = mpsc::channel(INPUTS_MAX);
    let (notices, listener) = broadcast::channel(NOTICES_MAX);
    let (views, view) = watch::channel(Arc::from("{}"));
    let (stop_web, stopped) = watch::channel(false);
    let store = store::Store::open(setup.config.history.as_deref())?;
    let tape = setup.record.as_deref().map(tape::Tape::create).transpose()?;
    let devices = setup.config.devices.clone();
    let folder = setup.config.rules.clone();
    let address = match setup.config.dashboard {
        Some(address) => Some(web::open(address, view, inputs.clone(), stopped).await?),
        None => None,
    };
    for (index, device) in devices.iter().enumerate() {
        feed::attach(index, device, &setup.registry, inputs.clone());
    }
    if let Some(folder) = folder {
        tokio::spawn(reload::watch(folder, setup.rules.hash().to_owned(), inputs.clone()));
    }
    let (alive, core_alive) = oneshot::channel();
    let core = core::Core::new(setup, store, tape, notices, views)?;
    let core = std::thread::Builder::new()
        .name("core".to_owned())
        // The sandbox asks for 512 KiB; this leaves a wide margin (see crate `script`).
        .stack_size(8 * 1024 * 1024)
        .spawn(move || {
            // Dropped at the end of the thread, a panic included.
            let _alive = alive;
            core.run(queue)
        })
        .context("the core thread did not start")?;
    Ok(Running { inputs, notices: listener, address, core, core_alive, stop_web })
}

impl Running {
    /// Ends the armed check's recording and the round, and waits for it.
    ///
    /// # Errors
    /// What the core ended with.
    pub(crate) async fn stop(self) -> anyhow::Result<()> {
        let _ = self.stop_web.send(true);
        let _ = self.inputs.send(Input::Stop).await;
        let core = self.core;
        let ended = tokio::task::spawn_blocking(move || core.join()).await.context("the core did not end")?;
        ended.map_err(|_| anyhow::anyhow!("the core failed; please report this"))?
    }
}

/// Waits for Ctrl-C or a termination signal.
///
/// # Errors
/// When the system gives no signals.
pub(crate) async fn stop_asked() -> anyhow::Result<()> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let mut terminate = signal(SignalKind::terminate())?;
        tokio::select! {
            asked = tokio::signal::ctrl_c() => asked?,
            _ = terminate.recv() => {}
        }
    }
    #[cfg(not(unix))]
    tokio::signal::ctrl_c().await?;
    Ok(())
}
