//! The script of a simulated meter: steps with waits. Holds no clock; the player waits.

use std::time::Duration;

/// One thing a simulated meter does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// Send these bytes, so long after the step before.
    Send {
        /// The wait before it.
        after: Duration,
        /// The bytes, as on the wire.
        bytes: Vec<u8>,
    },
    /// Be unplugged for a while, then plugged in again.
    Unplug {
        /// How long it is away.
        away: Duration,
    },
}

impl Step {
    /// Send `bytes` after a wait in milliseconds.
    #[must_use]
    pub fn send(after_ms: u64, bytes: impl Into<Vec<u8>>) -> Self {
        Self::Send { after: Duration::from_millis(after_ms), bytes: bytes.into() }
    }

    /// Be away for so many milliseconds.
    #[must_use]
    pub fn unplug(away_ms: u64) -> Self {
        Self::Unplug { away: Duration::from_millis(away_ms) }
    }
}

/// Yields the steps one by one. A closure `FnMut() -> Option<Step>` is one.
pub trait Script: Send {
    /// The next step; `None` when the meter falls silent for good.
    fn next_step(&mut self) -> Option<Step>;

    /// What the meter answers to a request; nothing by default.
    fn reply(&mut self, request: &[u8]) -> Vec<u8> {
        let _ = request;
        Vec::new()
    }
}

impl<F: FnMut() -> Option<Step> + Send> Script for F {
    fn next_step(&mut self) -> Option<Step> {
        self()
    }
}

/// A list of steps, played once or forever.
#[derive(Debug, Clone)]
pub struct Steps {
    steps: Vec<Step>,
    next: usize,
    repeat: bool,
}

impl Steps {
    /// Plays the steps once.
    #[must_use]
    pub fn once(steps: Vec<Step>) -> Self {
        Self { steps, next: 0, repeat: false }
    }

    /// Plays the steps again and again. Without any step it is silent.
    #[must_use]
    pub fn repeat(steps: Vec<Step>) -> Self {
        Self { steps, next: 0, repeat: true }
    }
}

impl Script for Steps {
    fn next_step(&mut self) -> Option<Step> {
        if self.repeat && self.next >= self.steps.len() {
            self.next = 0;
        }
        let step = self.steps.get(self.next).cloned()?;
        self.next += 1;
        Some(step)
    }
}
