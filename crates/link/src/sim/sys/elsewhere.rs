//! The meter of a demonstration on systems without pseudo-terminals: in memory, read by the simulator's adapter. Its
//! scripts can be changed while it plays. Opens no port.

use std::convert::Infallible;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use crate::registry::Registry;
use crate::sim::{Script, SimAdapter, Step};

/// Why a meter could not be created or controlled: in memory that never fails.
pub type SimulationError = Infallible;

/// The name of its source.
const NAME: &str = "played";

type Playing = Arc<Mutex<Box<dyn Script>>>;

/// A meter that plays one script after another.
pub struct SimulatedMeter(Playing);

impl std::fmt::Debug for SimulatedMeter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("PlayedMeter")
    }
}

impl SimulatedMeter {
    /// A meter that plays `script`. No link is made.
    ///
    /// # Errors
    /// None here.
    pub fn plug_in(_link: &Path, script: impl Script + 'static) -> Result<Self, SimulationError> {
        Ok(Self(Arc::new(Mutex::new(Box::new(script)))))
    }

    /// The registry with what opens this meter.
    #[must_use]
    pub fn join(&self, registry: Registry) -> Registry {
        let playing = Arc::clone(&self.0);
        registry.with(SimAdapter::new().with(NAME, move || Player(Arc::clone(&playing))))
    }

    /// The selector that opens it.
    #[must_use]
    pub fn selector(&self) -> String {
        format!("sim:{NAME}")
    }

    /// Plays another script, from the next step on.
    ///
    /// # Errors
    /// None here.
    pub fn play(&self, script: impl Script + 'static) -> Result<(), SimulationError> {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Box::new(script);
        Ok(())
    }
}

/// What an opened link plays: the script of the moment.
struct Player(Playing);

impl Script for Player {
    fn next_step(&mut self) -> Option<Step> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).next_step()
    }

    fn reply(&mut self, request: &[u8]) -> Vec<u8> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).reply(request)
    }
}
