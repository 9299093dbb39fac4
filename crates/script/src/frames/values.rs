//! What a decode script holds beside numbers and texts: the bytes of its frame, and what it shows. Plain data.

use alloc::sync::Arc;

use wire::script::ScriptOutput;

/// A frame as a script holds it.
#[derive(Clone)]
pub(super) struct Bytes(pub(super) Arc<[u8]>);

/// What a script says of a frame, as far as it has got.
#[derive(Clone)]
pub(super) struct FrameResult(pub(super) ScriptOutput);
