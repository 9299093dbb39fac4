//! Between the daemon and the event streams: time-stamps each view, forwards those with new content at a limited
//! rate, and formats each once for all readers. Keeps only the newest view, and knows only which of its members are
//! clocks.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use serde_json::Value;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

use crate::config::Limits;

/// A view, and when the daemon last confirmed it.
#[derive(Clone, Debug)]
pub(crate) struct Stamped {
    /// The JSON text as received.
    pub(crate) text: Arc<str>,
    /// Its `data:` lines and the blank line that ends the event.
    pub(crate) data: Bytes,
    /// When the daemon last sent this view or one with the same content.
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

/// The content of a view: everything but the members that change each time although nothing has happened.
#[derive(PartialEq)]
enum Told {
    Object(Value),
    /// A text that is not a JSON object is compared as it is.
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

/// A token bucket: `burst` views at once, and one more per `gap`. Stores the moment at which it is full again.
struct Pace {
    gap: Duration,
    /// The time to refill all but the last token.
    slack: Duration,
    full_at: Instant,
}

impl Pace {
    fn new(limits: &Limits) -> Self {
        let slack = limits.view_gap * limits.view_burst.saturating_sub(1);
        Self { gap: limits.view_gap, slack, full_at: Instant::now() }
    }

    /// When the next token is available.
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

/// Runs until the daemon drops its end; then drops `out`, which ends every stream.
///
/// A view without new content renews the time stamp and wakes nobody. One with new content goes out at once if the
/// rate allows it, otherwise as soon as it does; meanwhile a newer view replaces it.
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
