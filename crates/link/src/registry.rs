//! The adapters of a program, passed to whoever opens links. Holds no global state.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::adapter::{Adapter, Found, Link};
use crate::error::OpenError;
use crate::options::OpenOptions;
use crate::polled;
use crate::selector::Selector;
use crate::shutdown::NotReleased;

/// Adapters by scheme.
#[derive(Clone, Default)]
pub struct Registry {
    adapters: BTreeMap<&'static str, Arc<dyn Adapter>>,
}

impl Registry {
    /// No adapters.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds an adapter and replaces one of the same scheme, so a tracer can wrap it.
    #[must_use]
    pub fn with(mut self, adapter: impl Adapter + 'static) -> Self {
        self.adapters.insert(adapter.scheme(), Arc::new(adapter));
        self
    }

    /// The schemes, sorted.
    #[must_use]
    pub fn schemes(&self) -> Vec<&'static str> {
        self.adapters.keys().copied().collect()
    }

    /// Everything that is attached, by scheme.
    #[must_use]
    pub fn list(&self) -> Vec<Found> {
        self.adapters.values().flat_map(|adapter| adapter.list()).collect()
    }

    /// The adapter for a selector.
    ///
    /// # Errors
    /// [`OpenError::UnknownScheme`] with the known schemes.
    pub fn adapter(&self, selector: &Selector) -> Result<&Arc<dyn Adapter>, OpenError> {
        self.named(selector.scheme())
    }

    /// The adapter for a scheme.
    ///
    /// # Errors
    /// [`OpenError::UnknownScheme`] with the known schemes.
    pub fn named(&self, scheme: &str) -> Result<&Arc<dyn Adapter>, OpenError> {
        self.adapters
            .get(scheme)
            .ok_or_else(|| OpenError::UnknownScheme { scheme: scheme.to_owned(), known: self.schemes() })
    }

    /// Whether the selector could ever be opened. Touches no device.
    ///
    /// # Errors
    /// What is wrong with it and what to write instead.
    pub fn validate(&self, text: &str) -> Result<Selector, OpenError> {
        let selector: Selector = text.parse()?;
        self.adapter(&selector)?.validate(&selector)?;
        Ok(selector)
    }

    /// Opens a link by its selector. Call it within a tokio runtime.
    ///
    /// # Errors
    /// As for [`Adapter::open`], and [`OpenError::UnknownScheme`].
    pub fn open(&self, text: &str, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let selector: Selector = text.parse()?;
        self.adapter(&selector)?.open(&selector, options)
    }

    /// Ends the links of all adapters, whoever holds them, and waits for at most [`crate::CLOSE_TIME_MAX`] until each
    /// has released its device. Every program calls this before its runtime ends, however it ends: a task left to a
    /// runtime that ends never runs, so a Bluetooth meter would stay connected and invisible to others. Call it
    /// within a tokio runtime.
    ///
    /// # Errors
    /// How many links did not release their device in time.
    pub async fn close(&self) -> Result<(), NotReleased> {
        // All are asked before one is waited for, so that one limit holds for all.
        let closing: Vec<_> =
            self.adapters.iter().map(|(scheme, adapter)| (*scheme, adapter.close())).collect();
        let mut links = Vec::new();
        for (scheme, closing) in closing {
            match closing.await {
                0 => {}
                left => links.push((scheme, left)),
            }
        }
        if links.is_empty() { Ok(()) } else { Err(NotReleased { links }) }
    }

    /// Like [`Registry::open`], and polls a device that speaks only when asked, as its profile says (see
    /// [`crate::PolledAdapter`]).
    ///
    /// # Errors
    /// As for [`Registry::open`].
    pub fn open_as(
        &self,
        text: &str,
        options: &OpenOptions,
        profile: Option<&wire::Profile>,
    ) -> Result<Box<dyn Link>, OpenError> {
        let selector: Selector = text.parse()?;
        polled::open(&**self.adapter(&selector)?, &selector, options, profile)
    }
}

impl std::fmt::Debug for Registry {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Registry").field("schemes", &self.schemes()).finish()
    }
}
