//! What a wrapper leaves to the adapter or the link that it wraps, written once. What it does otherwise, the wrapper says.

/// All of [`crate::Adapter`] but `open`, from the adapter in this field.
macro_rules! forward_adapter {
    ($inner:ident) => {
        fn scheme(&self) -> &'static str {
            self.$inner.scheme()
        }

        fn list(&self) -> Vec<$crate::Found> {
            self.$inner.list()
        }

        fn scan(&self) -> Option<$crate::ScanFuture<'_>> {
            self.$inner.scan()
        }

        fn validate(&self, selector: &$crate::Selector) -> Result<(), $crate::OpenError> {
            self.$inner.validate(selector)
        }

        fn close(&self) -> $crate::CloseFuture {
            self.$inner.close()
        }
    };
}

/// All of [`crate::Link`] but its events, its counters and the way of requests, from the link in this field.
#[cfg(any(test, feature = "testing"))]
macro_rules! forward_link {
    ($inner:ident) => {
        fn selector(&self) -> &$crate::Selector {
            self.$inner.selector()
        }

        fn poll_counters(&self) -> Option<wire::poll::PollCounters> {
            self.$inner.poll_counters()
        }

        fn line_settings(&self) -> Option<$crate::LineSettings> {
            self.$inner.line_settings()
        }
    };
}

pub(crate) use forward_adapter;
#[cfg(any(test, feature = "testing"))]
pub(crate) use forward_link;
