//! `cliplead demo`: the main job with a simulated meter. Real frames come over a real pseudo-terminal on systems that
//! have them; the daemon is the one of `cliplead run`; only the mechanic and the part under the clips are simulated.

mod director;
mod meter;
mod scenes;

use std::path::PathBuf;

use anyhow::Context as _;
use history::Reader;
use site::{Device, Site};
use visit::round::Settings;

use crate::cli::DemoOptions;
use crate::clock;
use crate::config;
use crate::daemon::{self, Setup};
use crate::output::{Exit, talk};
use crate::rules;
use crate::sys::{StopSignals, meter_line};

/// The profile the simulated meter speaks.
const PROFILE: &str = "generic-line-meter";

/// Runs the command.
///
/// # Errors
/// When there is no pseudo-terminal, no place for the history, or the page's address is taken.
pub(crate) fn run(options: &DemoOptions) -> anyhow::Result<Exit> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let folder = Folder::create()?;
    runtime.block_on(play(options, &folder))
}

async fn play(options: &DemoOptions, folder: &Folder) -> anyhow::Result<Exit> {
    let (profile, text) = config::profile(PROFILE, &folder.0)?;
    let meter = meter::Meter::plug_in(&folder.0.join("meter"), profile.clone())?;
    let history = options.history.clone().unwrap_or_else(|| folder.0.join("history.sqlite"));
    let site = Site {
        machine: site::MACHINE_DEFAULT.to_owned(),
        site: "Mill Yard (made up)".to_owned(),
        rules: None,
        history: Some(history.clone()),
        dashboard: cfg!(feature = "dashboard").then_some(options.dashboard),
        settings: Settings::default(),
        devices: vec![Device {
            name: "meter".to_owned(),
            selector: meter.selector(),
            profile: Some((profile, text)),
            typed: false,
        }],
        route: Vec::new(),
    };
    let setup = Setup {
        site,
        rules: rules::load_or_say(None)?,
        texts: None,
        refused: None,
        registry: meter.join(daemon::registry()),
        format: options.format,
        record: options.record.clone(),
        note: "synthesised by `cliplead demo`: a made-up site, a simulated meter".to_owned(),
        arm_first: false,
        strict: true,
        clock: clock::system(),
    };
    let mut signals = StopSignals::listen()?;
    let running = daemon::start(setup).await?;
    talk(concat!(
        "cliplead demo: a made-up site, a simulated meter ",
        meter_line!(),
        ", the rules as shipped"
    ));
    if let Some(address) = running.address {
        talk(&format!("the page: http://{address}/"));
    }
    let mut director = director::Director::new(running.inputs.clone(), running.notices.resubscribe(), meter);
    let scenes = scenes::all();
    let played = tokio::select! {
        played = director.play_all(&scenes) => played?,
        () = signals.next() => {
            talk("cliplead demo: broken off");
            running.stop().await?;
            return Ok(Exit::CouldNotRun);
        }
    };
    if options.stay && running.address.is_some() {
        talk("the round is over; the page stays up until Ctrl-C");
        signals.next().await;
    }
    running.stop().await?;
    summary(&played, &history)
}

/// What happened compared with the scenario, and whether the history has everything.
fn summary(played: &[director::Played], history: &std::path::Path) -> anyhow::Result<Exit> {
    talk("");
    talk("summary of the round");
    let mut as_meant = true;
    for scene in played {
        let got = scene.got.map_or("nothing", judge::limits::Word::text);
        let mark = if scene.got == Some(scene.expected) {
            String::new()
        } else {
            as_meant = false;
            format!("   MEANT: {}", scene.expected)
        };
        talk(&format!("  {got:<17} {}{mark}", scene.name));
    }
    let stored = Reader::open(history).context("the history of the round")?.recent(1000)?.len();
    talk(&format!("{} verdicts shown, {stored} in the history", played.len()));
    Ok(if as_meant && stored >= played.len() { Exit::Fine } else { Exit::Found })
}

/// A temporary folder, removed at the end.
struct Folder(PathBuf);

impl Folder {
    fn create() -> anyhow::Result<Self> {
        let path = std::env::temp_dir().join(format!("cliplead-demo-{}", std::process::id()));
        std::fs::create_dir_all(&path).with_context(|| format!("no folder {}", path.display()))?;
        Ok(Self(path))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
