//! The state of one point of an armed check: waiting, settling on a device, or settled. Does not decide which point a
//! reading belongs to, nor judge it.

use alloc::boxed::Box;

use super::settled::SettledPoint;
use super::settling::SettlingPoint;

/// The state of a point.
#[derive(Clone, Debug)]
pub(crate) enum PointState {
    /// Nothing yet.
    Waiting,
    /// Readings come in.
    Settling(Box<SettlingPoint>),
    /// Has its value.
    Settled(Box<SettledPoint>),
}

impl PointState {
    pub(crate) fn settled(&self) -> Option<&SettledPoint> {
        match self {
            Self::Settled(settled) => Some(settled),
            Self::Waiting | Self::Settling(_) => None,
        }
    }

    /// The settler of a point on its way.
    pub(crate) fn settling(&self) -> Option<&SettlingPoint> {
        match self {
            Self::Settling(settling) => Some(settling),
            Self::Waiting | Self::Settled(_) => None,
        }
    }

    /// Whether leads are on and it has no value yet.
    pub(crate) fn is_in_contact(&self) -> bool {
        self.settling().is_some_and(|settling| settling.contact_since.is_some())
    }
}
