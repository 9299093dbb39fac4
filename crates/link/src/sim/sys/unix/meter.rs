//! The meter of a demonstration on a Unix system: on a real pseudo-terminal, read by the serial adapter like any
//! other port. Plays what it is given; the line itself is in `pty`.

use std::path::Path;

use super::pty::{PtyError, PtyMeter, PtyOptions};
use crate::registry::Registry;
use crate::sim::Script;

/// Why a meter could not be created or controlled.
pub type SimulationError = PtyError;

/// A meter that plays one script after the other.
#[derive(Debug)]
pub struct SimulatedMeter(PtyMeter);

impl SimulatedMeter {
    /// Plugs it in behind the link `link`, playing `script`. Must be called within a tokio runtime.
    ///
    /// # Errors
    /// As [`PtyMeter::spawn`].
    pub fn plug_in(link: &Path, script: impl Script + 'static) -> Result<Self, SimulationError> {
        PtyMeter::spawn(link, script, PtyOptions::default()).map(Self)
    }

    /// The registry with what opens this meter: the serial adapter does.
    #[must_use]
    pub fn join(&self, registry: Registry) -> Registry {
        registry
    }

    /// The selector that opens it.
    #[must_use]
    pub fn selector(&self) -> String {
        self.0.selector()
    }

    /// Plays another script from now on.
    ///
    /// # Errors
    /// As [`PtyMeter::play`].
    pub fn play(&self, script: impl Script + 'static) -> Result<(), SimulationError> {
        self.0.play(script)
    }
}
