//! The values of a decode script besides numbers and texts: the bytes of its frame, and its result. Plain data.

use alloc::sync::Arc;

use wire::script::ScriptOutput;

/// A frame in a script.
#[derive(Clone)]
pub(super) struct Bytes(pub(super) Arc<[u8]>);

/// The result of a script, as far as it has got.
#[derive(Clone)]
pub(super) struct FrameResult(pub(super) ScriptOutput);
