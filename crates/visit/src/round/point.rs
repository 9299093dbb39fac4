//! The state of one point of an armed check: waiting, settling on a device, or settled. Does not decide which point a
//! reading belongs to, nor judge it.

use alloc::boxed::Box;

use super::settled::SettledPoint;
use super::settling::SettlingPoint;

/// The state of a point.
#[derive(Clone, Debug)]
pub(super) enum PointState {
    /// Nothing yet.
    Waiting,
    /// Readings come in.
    Settling(Box<SettlingPoint>),
    /// Has its value.
    Settled(Box<SettledPoint>),
}

impl PointState {
    pub(super) fn settled(&self) -> Option<&SettledPoint> {
        match self {
            Self::Settled(settled) => Some(settled),
            Self::Waiting | Self::Settling(_) => None,
        }
    }
}
