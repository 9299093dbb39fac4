//! What the leads have shown since a value settled and since its verdict was given. Plain data; `follow` keeps it.

use quantity::Instant;

use judge::evaluate::Input;

/// What a point has shown since it settled.
#[derive(Clone, Debug, Default)]
pub(crate) struct Since {
    /// The newest value since the verdict that settled anew; the verdict keeps the one it was given with.
    pub(crate) now: Option<Input>,
    /// When the level that it stands on was first seen.
    pub(crate) level: Option<Instant>,
    /// Readings have paused since that level was last seen settled: leads may have come off in the pause.
    pub(crate) paused: bool,
    /// It has jumped to another level since.
    pub(crate) moved: bool,
}
