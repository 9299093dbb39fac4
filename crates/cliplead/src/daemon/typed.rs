//! Typed lines that wait for their turn: one line at a time, in the order they came. Bounded by the devices, which hand in
//! the next chunk only when the last one is taken. Does not read the lines.
//!
//! The pipeline would take a chunk whole and give the same. It is cut for what stands around the pipeline: a line may rest on
//! the verdict of the line before, which must be stored first; and a recording, which knows no route, holds the check that
//! `next` armed between the lines before and behind it.

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

#[cfg(test)]
mod tests {
    use super::*;

    fn chunk(lines: &mut TypedLines, device: usize, text: &str) -> oneshot::Receiver<()> {
        let (taken, all_taken) = oneshot::channel();
        lines.push(device, Moment::default(), text.as_bytes().to_vec(), taken);
        all_taken
    }

    #[test]
    fn chunks_keep_their_order_and_each_is_let_go_behind_its_last_line() {
        let mut lines = TypedLines::default();
        let mut of_one = chunk(&mut lines, 1, "a=1V\nnext\nb=");
        let mut of_two = chunk(&mut lines, 2, "yes\n");
        let is_let_go = |taken: &mut oneshot::Receiver<()>| {
            matches!(taken.try_recv(), Err(oneshot::error::TryRecvError::Closed))
        };
        let mut next = || lines.next().map(|(device, _, line)| (device, String::from_utf8(line).unwrap()));
        assert_eq!(next(), Some((1, "a=1V\n".to_owned())));
        assert_eq!(next(), Some((1, "next\n".to_owned())));
        assert_eq!(next(), Some((1, "b=".to_owned())), "a line whose end has not come is handed on too");
        assert!(!is_let_go(&mut of_one), "its last line is not done with");
        assert_eq!(next(), Some((2, "yes\n".to_owned())));
        assert!(is_let_go(&mut of_one) && !is_let_go(&mut of_two));
        assert_eq!(next(), None);
        assert!(is_let_go(&mut of_two) && lines.is_empty());
    }

    #[test]
    fn a_chunk_without_a_line_holds_nobody_up() {
        let mut lines = TypedLines::default();
        let mut taken = chunk(&mut lines, 1, "");
        assert!(lines.is_empty());
        assert_eq!(lines.next().map(|(device, ..)| device), None);
        assert!(matches!(taken.try_recv(), Err(oneshot::error::TryRecvError::Closed)));
    }
}
