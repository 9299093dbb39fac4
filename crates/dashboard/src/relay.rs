//! Between the daemon and the event streams: takes each view once, stamps it with the time it came, sends on what tells
//! something new at the agreed pace, and writes its stream form once for all readers. It keeps the newest view only,
//! and of a view it knows no more than which members are clocks.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use serde_json::Value;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

use crate::config::Limits;

/// A view, and when the daemon last stood by it.
#[derive(Clone, Debug)]
pub(crate) struct Stamped {
    /// The JSON text as it came.
    pub(crate) text: Arc<str>,
    /// Its `data:` lines and the blank line that ends the event.
    pub(crate) data: Bytes,
    /// When the daemon last sent it, or one that tells the same.
    pub(crate) renewed: Instant,
}

impl Stamped {
    pub(crate) fn new(text: Arc<str>, renewed: Instant) -> Self {
        let mut data = String::with_capacity(text.len() + 16);
        for line in text.split(['\n', '\r']).filter(|line| !line.is_empty()) {
            data.push_str("data: ");
            data.push_str(line);
            data.push('\n');
        }
        data.push('\n');
        Self { text, data: Bytes::from(data), renewed }
    }
}

/// What a view tells: all of it but the members that differ each time although nothing has happened.
#[derive(PartialEq)]
enum Told {
    Object(Value),
    /// A text that is no JSON object counts as it stands.
    Other(Arc<str>),
}

impl Told {
    fn by(text: &Arc<str>) -> Self {
        match serde_json::from_str(text) {
            Ok(Value::Object(mut members)) => {
                members.remove("seq");
                members.remove("now_ms");
                // The page shows this age in whole seconds.
                if let Some(age) = members.get_mut("live").and_then(|live| live.get_mut("age_ms"))
                    && let Some(ms) = age.as_i64()
                {
                    *age = Value::from(ms / 1000);
                }
                Self::Object(Value::Object(members))
            }
            _ => Self::Other(Arc::clone(text)),
        }
    }
}

/// A token bucket: `burst` views at once, and one more each `gap`. It holds the moment at which it is full again.
struct Pace {
    gap: Duration,
    /// How long it takes to fill but for the last token.
    slack: Duration,
    full_at: Instant,
}

impl Pace {
    fn new(limits: &Limits) -> Self {
        let slack = limits.view_gap * limits.view_burst.saturating_sub(1);
        Self { gap: limits.view_gap, slack, full_at: Instant::now() }
    }

    /// When the next token is there.
    fn ready_at(&self) -> Instant {
        self.full_at.checked_sub(self.slack).unwrap_or(self.full_at)
    }

    /// Takes a token, if there is one.
    fn take(&mut self, now: Instant) -> bool {
        let ready = self.ready_at() <= now;
        if ready {
            self.full_at = self.full_at.max(now) + self.gap;
        }
        ready
    }
}

/// Runs until the daemon drops its end; then `out` is dropped, which ends every stream.
///
/// A view that tells nothing new renews the stamp and wakes nobody. One that does goes out at once while the pace
/// allows it, else as soon as it does; until then a newer one takes its place.
pub(crate) async fn relay(mut views: watch::Receiver<Arc<str>>, out: watch::Sender<Stamped>, limits: Limits) {
    let mut pace = Pace::new(&limits);
    let mut shown = Told::by(&out.borrow().text);
    let mut renewed = out.borrow().renewed;
    let mut waits = false;
    loop {
        let ended = tokio::select! {
            biased;
            changed = views.changed() => {
                renewed = Instant::now();
                changed.is_err()
            }
            () = sleep_until(pace.ready_at()), if waits => false,
        };
        let newest = Arc::clone(&views.borrow_and_update());
        let told = Told::by(&newest);
        waits = told != shown;
        if !waits {
            // Whoever asks for the view gets the newest text; nobody is woken.
            out.send_if_modified(|stamped| {
                *stamped = Stamped::new(newest, renewed);
                false
            });
        } else if ended || pace.take(Instant::now()) {
            waits = false;
            shown = told;
            out.send_replace(Stamped::new(newest, renewed));
        }
        if ended {
            return;
        }
    }
}

#[cfg(test)]
mod tests;
