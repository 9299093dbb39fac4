//! `sim:NAME`: a scripted meter in memory. Plays steps (bytes after a wait, a pause unplugged); does not know what
//! the bytes mean. On systems with pseudo-terminals a meter can play the same steps through one (`sys`).

mod script;
#[cfg(feature = "serial")]
pub(crate) mod sys;

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::{Instant, sleep};

use crate::adapter::{Adapter, Found, Link, Requests};
use crate::catch_panic::catch_panic;
use crate::error::OpenError;
use crate::event::{Disconnect, LinkState};
use crate::options::OpenOptions;
use crate::queue::Sender;
use crate::selector::Selector;
use crate::supervise::sleep_until_some;
use crate::task::TaskLink;

pub use script::{Script, Step, Steps};

type Scripts = BTreeMap<String, Box<dyn Fn() -> Box<dyn Script> + Send + Sync>>;

/// Opens scripted meters by name. Each opening plays the script from the start.
#[derive(Clone, Default)]
pub struct SimAdapter {
    scripts: Arc<Mutex<Scripts>>,
}

impl SimAdapter {
    /// No scripts yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds or replaces a script; `make` creates a fresh one for each opening.
    #[must_use]
    pub fn with<S: Script + 'static>(self, name: &str, make: impl Fn() -> S + Send + Sync + 'static) -> Self {
        let maker: Box<dyn Fn() -> Box<dyn Script> + Send + Sync> = Box::new(move || Box::new(make()));
        self.scripts.lock().unwrap_or_else(PoisonError::into_inner).insert(name.to_owned(), maker);
        self
    }

    fn names(&self) -> Vec<String> {
        self.scripts.lock().unwrap_or_else(PoisonError::into_inner).keys().cloned().collect()
    }
}

impl std::fmt::Debug for SimAdapter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SimAdapter").field("names", &self.names()).finish()
    }
}

impl Adapter for SimAdapter {
    fn scheme(&self) -> &'static str {
        "sim"
    }

    fn list(&self) -> Vec<Found> {
        let found = |name: String| Found {
            selector: format!("sim:{name}").parse().ok(),
            description: format!("simulated meter '{name}'"),
            hindrance: None,
        };
        self.names().into_iter().map(found).collect()
    }

    fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
        selector.name().map(|_| ())
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let name = selector.name()?;
        let script = self.scripts.lock().unwrap_or_else(PoisonError::into_inner).get(name).map(|make| make());
        let Some(mut script) = script else {
            return Err(OpenError::NoSuchSource { selector: selector.to_string(), known: self.names() });
        };
        let (requests, mut asked) = Requests::channel();
        let link = TaskLink::start(selector, options, |sender| async move {
            while catch_panic(play(&mut *script, &mut asked, &sender)).await.is_err() {
                sender.lost(Disconnect::Panicked);
                sleep(Duration::from_millis(100)).await;
            }
            sender.end();
        })?;
        Ok(Box::new(link.with_requests(requests)))
    }
}

/// Plays the script to its end and answers requests in between.
async fn play(script: &mut dyn Script, asked: &mut mpsc::Receiver<Vec<u8>>, sender: &Sender) {
    sender.state(LinkState::Syncing);
    let mut due = Instant::now();
    while let Some(step) = script.next_step() {
        match step {
            Step::Send { after, bytes } => {
                due += after;
                answer_until(due, script, asked, sender).await;
                sender.bytes(&bytes);
                // A script without waits must not keep the thread.
                tokio::task::yield_now().await;
            }
            Step::Unplug { away } => {
                sender.lost(Disconnect::HungUp);
                sleep(away).await;
                while asked.try_recv().is_ok() {
                    sender.request_dropped();
                }
                due = Instant::now();
                sender.state(LinkState::Syncing);
            }
        }
    }
}

async fn answer_until(
    due: Instant,
    script: &mut dyn Script,
    asked: &mut mpsc::Receiver<Vec<u8>>,
    sender: &Sender,
) {
    let mut open = true;
    loop {
        tokio::select! {
            biased;
            request = asked.recv(), if open => match request {
                Some(request) => sender.bytes(&script.reply(&request)),
                None => open = false,
            },
            () = sleep_until_some(Some(due)) => return,
        }
    }
}
