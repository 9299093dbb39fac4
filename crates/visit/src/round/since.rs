//! What the leads have shown since a value settled and since its verdict was given. Plain data; `figure` keeps it.

use quantity::Instant;

use judge::evaluate::Input;
use judge::limits::Word;

/// What a point has shown since it settled.
#[derive(Clone, Debug, Default)]
pub(super) struct Since {
    /// The newest value since the verdict that settled anew; the verdict keeps the one it was given with.
    pub(super) now: Option<Input>,
    /// When the level that it stands on was first seen.
    pub(super) level: Option<Instant>,
    /// Readings have paused since that level was last seen settled: leads may have come off in the pause.
    pub(super) paused: bool,
    /// It has jumped to another level since.
    pub(super) moved: bool,
}

/// What the stream has put in place of a verdict's word.
#[derive(Clone, Debug, Default)]
pub(super) struct Amended {
    /// The word, while it is another than the verdict's.
    pub(super) word: Option<Word>,
    /// The point that was the last to change it.
    pub(super) by: Option<usize>,
    /// How often it has changed.
    pub(super) changes: u32,
}
