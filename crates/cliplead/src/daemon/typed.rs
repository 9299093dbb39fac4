//! Typed lines that wait for their turn: one line at a time, in the order they came. Bounded by the devices, which hand in
//! the next chunk only when the last one is taken. Does not read the lines.

use std::collections::VecDeque;

use tokio::sync::oneshot;

use crate::clock::Moment;

/// The lines of all typed devices.
#[derive(Default)]
pub(super) struct TypedLines {
    chunks: VecDeque<Chunk>,
}

struct Chunk {
    device: usize,
    at: Moment,
    lines: VecDeque<Vec<u8>>,
    /// Dropped with the chunk; whoever waits at the other end may go on then.
    _taken: oneshot::Sender<()>,
}

impl TypedLines {
    /// Cuts a chunk into lines; what stands behind the last line end is one too.
    pub(super) fn push(&mut self, device: usize, at: Moment, data: Vec<u8>, taken: oneshot::Sender<()>) {
        let lines = data.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
        self.chunks.push_back(Chunk { device, at, lines, _taken: taken });
    }

    /// The next line: its device, when it came, its bytes.
    pub(super) fn next(&mut self) -> Option<(usize, Moment, Vec<u8>)> {
        loop {
            let chunk = self.chunks.front_mut()?;
            match chunk.lines.pop_front() {
                Some(line) => return Some((chunk.device, chunk.at, line)),
                None => {
                    self.chunks.pop_front();
                }
            }
        }
    }

    /// Whether lines wait.
    pub(super) fn is_empty(&self) -> bool {
        self.chunks.iter().all(|chunk| chunk.lines.is_empty())
    }
}
