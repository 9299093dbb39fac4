//! Cuts bytes into frames that start with sync bytes and have a fixed length or a length field. Looks only at the
//! length, the checksum and the fixed bytes; asks the decoder whether a frame can be read.

use alloc::vec::Vec;

use super::counted::CountedFrame;
use super::fixed::FixedFrame;
use super::{Chunk, Out, RUN_BYTES_MAX, count, drop_bytes};
use crate::counters::{Fault, Reason};

/// The shape of the frames.
#[derive(Clone, Debug)]
pub(crate) enum Shape {
    Fixed(FixedFrame),
    Counted(CountedFrame),
}

/// How far the buffered bytes reach.
enum Extent {
    /// A frame of this many bytes starts here.
    Whole(usize),
    /// This many bytes are needed to tell.
    Unknown(usize),
    /// No frame starts here.
    None,
}

impl Shape {
    fn sync(&self) -> &[u8] {
        match self {
            Self::Fixed(frame) => &frame.sync,
            Self::Counted(frame) => &frame.sync,
        }
    }

    fn max(&self) -> usize {
        match self {
            Self::Fixed(frame) => frame.length,
            Self::Counted(frame) => frame.max,
        }
    }

    fn extent(&self, held: &[u8]) -> Extent {
        match self {
            Self::Fixed(frame) => Extent::Whole(frame.length),
            Self::Counted(frame) if held.len() < frame.header() => Extent::Unknown(frame.header()),
            Self::Counted(frame) => frame.whole(held).map_or(Extent::None, Extent::Whole),
        }
    }

    fn must(&self) -> &[(usize, u8)] {
        match self {
            Self::Fixed(frame) => &frame.must,
            Self::Counted(frame) => &frame.must,
        }
    }

    fn checksum_holds(&self, frame: &[u8]) -> bool {
        match self {
            Self::Fixed(shape) => shape.checksum_holds(frame),
            Self::Counted(shape) => shape.checksum_holds(frame),
        }
    }

    fn is_sound(&self, frame: &[u8]) -> bool {
        self.must().iter().all(|(at, byte)| frame.get(*at) == Some(byte)) && self.checksum_holds(frame)
    }

    /// Why a frame is invalid.
    fn fault(&self, frame: &[u8]) -> Reason {
        let differs = !self.must().is_empty() && self.checksum_holds(frame);
        if differs { Reason::FixedByte } else { Reason::Checksum }
    }

    fn is_doubtful(&self) -> bool {
        match self {
            Self::Fixed(frame) => frame.is_doubtful(),
            Self::Counted(frame) => frame.is_doubtful(),
        }
    }

    /// What the decoder sees of a frame: without a checksum whose position depends on the length.
    fn content<'f>(&self, frame: &'f [u8]) -> &'f [u8] {
        match self {
            Self::Fixed(_) => frame,
            Self::Counted(shape) => {
                frame.get(..frame.len().saturating_sub(shape.checksum_width())).unwrap_or_default()
            }
        }
    }
}

/// What the sync bytes inside a valid frame mean.
enum Look {
    /// Another valid frame starts at this byte, ends after this one and can be read: the bytes can be cut in two
    /// ways.
    Rival(usize),
    /// No other valid frame starts inside.
    Alone,
    /// This many buffered bytes are needed to tell.
    More(usize),
}

/// What directly follows a frame.
enum Follower {
    /// A whole valid frame.
    Sound,
    /// This many buffered bytes are needed to tell.
    More(usize),
    /// No frame.
    None,
}

/// Cuts bytes into frames. The buffer always starts like a frame.
///
/// If the checksum lets wrong cuts pass (`ChecksumKind::is_doubtful`), each sync byte inside a valid frame may start
/// another frame: on a display that stands still, a wrong cut passes as often as the right one. The frame therefore
/// waits until the candidates inside it are decided:
/// - a candidate can be read and this frame cannot: this was no frame, and its bytes are dropped up to the candidate;
/// - a candidate can be read and this frame can too, or stands where frames were read before: neither is returned
///   ([`Reason::Ambiguous`]);
/// - no candidate can be read: this frame is returned, read or rejected.
///
/// Frames that directly follow one that was read do not wait, as long as nothing inside the previous frame was a
/// rival.
#[derive(Clone, Debug)]
pub(crate) struct SyncedFramer {
    shape: Shape,
    held: Vec<u8>,
    /// Bytes dropped and not yet reported.
    skipped: u32,
    /// A whole frame has been seen since the start or the last gap.
    synced: bool,
    /// Where in `held` the next frame starts, if it directly continues a run of frames that were read.
    trusted: Option<usize>,
    /// The last frame returned, from its first inner sync byte on; empty if it has none.
    behind: Vec<u8>,
    /// Bytes of the current frame in which no rival starts.
    looked: usize,
    /// The current frame waits for what follows.
    waited: bool,
}

impl SyncedFramer {
    pub(crate) fn new(shape: Shape) -> Self {
        let held = Vec::with_capacity(shape.max());
        Self {
            shape,
            held,
            skipped: 0,
            synced: false,
            trusted: None,
            behind: Vec::new(),
            looked: 0,
            waited: false,
        }
    }

    #[cfg(test)]
    pub(crate) fn buffered(&self) -> usize {
        self.held.len()
    }

    pub(crate) fn held(&self) -> usize {
        self.held.len() + self.skipped as usize
    }

    pub(crate) fn cut(&mut self, out: &mut Out<'_>) {
        drop_bytes(out, Reason::Partial, self.skipped + count(self.held.len()));
        self.held.clear();
        self.behind.clear();
        (self.skipped, self.synced, self.trusted, self.looked, self.waited) = (0, false, None, 0, false);
    }

    /// No more bytes will arrive: a waiting frame stops waiting.
    pub(crate) fn settle(&mut self, out: &mut Out<'_>) {
        while let Extent::Whole(length) = self.shape.extent(&self.held)
            && length <= self.held.len()
        {
            if self.whole(length, out).is_some() {
                self.read(length, out);
            }
        }
    }

    /// Takes at most the bytes that the current frame needs, so how the input was split changes nothing.
    pub(crate) fn push(&mut self, data: &[u8], out: &mut Out<'_>) {
        let mut rest = data;
        loop {
            let wanted = match self.shape.extent(&self.held) {
                Extent::None => {
                    self.skip(1, out);
                    continue;
                }
                Extent::Whole(length) if length <= self.held.len() => match self.whole(length, out) {
                    Some(wanted) => wanted,
                    None => continue,
                },
                Extent::Whole(length) | Extent::Unknown(length) => length,
            };
            if rest.is_empty() {
                return;
            }
            let (now, after) = rest.split_at(wanted.saturating_sub(self.held.len()).clamp(1, rest.len()));
            rest = after;
            self.held.extend_from_slice(now);
            self.skip(0, out);
        }
    }

    /// Decides the frame at the front, or returns how many buffered bytes that takes.
    fn whole(&mut self, length: usize, out: &mut Out<'_>) -> Option<usize> {
        self.report_skipped(out);
        let frame = self.held.get(..length).unwrap_or_default();
        if !self.shape.is_sound(frame) {
            // A sync pattern may occur inside garbage, or a damaged length may reach into the next frame: that one
            // may begin anywhere behind the first byte.
            let reason = self.shape.fault(frame);
            let bytes = self.align(1);
            out(Chunk::Dropped(Fault { reason, bytes }));
            return None;
        }
        let follows = self.trusted == Some(0);
        let may_go = self.looked == 0 && follows && self.is_quiet_behind(length, out);
        if self.shape.is_doubtful() && !may_go {
            match self.look(length, out) {
                Look::More(wanted) => {
                    if !self.waited {
                        self.waited = true;
                        out(Chunk::Waits);
                    }
                    return Some(wanted);
                }
                Look::Rival(at) => {
                    let frame = self.held.get(..length).unwrap_or_default();
                    if follows || out(Chunk::Other(self.shape.content(frame))) {
                        let bytes = self.align(at);
                        if follows {
                            self.trusted = length.checked_sub(at);
                        }
                        out(Chunk::Dropped(Fault { reason: Reason::Ambiguous, bytes }));
                    } else {
                        self.skip(at, out);
                    }
                    return None;
                }
                Look::Alone => {}
            }
        }
        self.read(length, out);
        None
    }

    /// Returns the frame at the front.
    fn read(&mut self, length: usize, out: &mut Out<'_>) {
        self.synced = true;
        let follows = self.trusted == Some(0);
        let frame = self.held.get(..length).unwrap_or_default();
        let is_read =
            out(Chunk::Frame { frame: self.shape.content(frame), bytes: count(length), waited: self.waited });
        self.behind.clear();
        if self.shape.is_doubtful()
            && let Some(at) = self.sync_from(1, length)
        {
            self.behind.extend_from_slice(self.held.get(at..length).unwrap_or_default());
        }
        self.drain(length);
        if is_read || follows {
            self.trusted = Some(0);
        }
        self.skip(0, out);
    }

    /// Whether a rival starts inside the current frame. Resumes where it stopped.
    fn look(&mut self, length: usize, out: &mut Out<'_>) -> Look {
        self.looked = self.looked.max(1);
        while let Some(at) = self.sync_from(self.looked, length) {
            let tail = self.held.get(at..).unwrap_or_default();
            let wanted = match self.shape.extent(tail) {
                _ if tail.len() < self.shape.sync().len() => at + self.shape.sync().len(),
                Extent::Unknown(more) => at + more,
                Extent::Whole(its) if its > tail.len() => at + its,
                Extent::Whole(its) if at + its > length => {
                    let other = tail.get(..its).unwrap_or_default();
                    let stands = self.shape.is_sound(other)
                        && (self.trusted == Some(at) || out(Chunk::Other(self.shape.content(other))));
                    if stands {
                        return Look::Rival(at);
                    }
                    0
                }
                // What ends inside this frame is a part of it.
                Extent::Whole(_) | Extent::None => 0,
            };
            if wanted > self.held.len() {
                match self.follower(length) {
                    Follower::Sound => {}
                    Follower::None => return Look::More(wanted),
                    Follower::More(more) => return Look::More(wanted.min(more)),
                }
            }
            self.looked = at + 1;
        }
        Look::Alone
    }

    /// The frame directly after the current one. Once it is whole, there is no need to wait longer.
    fn follower(&self, length: usize) -> Follower {
        let tail = self.held.get(length..).unwrap_or_default();
        match self.shape.extent(tail) {
            Extent::Unknown(more) => Follower::More(length + more),
            Extent::Whole(its) if its > tail.len() => Follower::More(length + its),
            Extent::Whole(its) if self.shape.is_sound(tail.get(..its).unwrap_or_default()) => Follower::Sound,
            Extent::Whole(_) | Extent::None => Follower::None,
        }
    }

    /// Whether no readable frame starts inside the last frame returned and ends in the current one.
    fn is_quiet_behind(&self, length: usize, out: &mut Out<'_>) -> bool {
        if self.behind.is_empty() {
            return true;
        }
        let frame = self.held.get(..length).unwrap_or_default();
        let both = [self.behind.as_slice(), frame].concat();
        let is_rival = |at: usize, out: &mut Out<'_>| {
            let tail = both.get(at..).unwrap_or_default();
            if !tail.starts_with(self.shape.sync()) {
                return false;
            }
            let Extent::Whole(its) = self.shape.extent(tail) else { return false };
            let Some(other) = tail.get(..its).filter(|_| at + its > self.behind.len()) else { return false };
            self.shape.is_sound(other) && out(Chunk::Other(self.shape.content(other)))
        };
        !(0..self.behind.len()).any(|at| is_rival(at, out))
    }

    /// The first byte in `from..to` at which a frame may start.
    fn sync_from(&self, from: usize, to: usize) -> Option<usize> {
        let sync = self.shape.sync();
        let first = sync.first()?;
        let bytes = self.held.get(..to)?;
        let found = bytes.iter().enumerate().skip(from).filter(|(_, byte)| *byte == first);
        found.map(|(at, _)| at).find(|at| begins(self.held.get(*at..).unwrap_or_default(), sync))
    }

    /// Drops at least `from` bytes, until the buffer starts like a frame.
    fn skip(&mut self, from: usize, out: &mut Out<'_>) {
        self.skipped = self.skipped.saturating_add(self.align(from));
        while self.skipped >= RUN_BYTES_MAX {
            drop_bytes(out, Reason::Garbage, RUN_BYTES_MAX);
            self.skipped -= RUN_BYTES_MAX;
        }
    }

    /// Like `skip`, without reporting; returns how many were dropped.
    fn align(&mut self, from: usize) -> u32 {
        let sync = self.shape.sync();
        let at = (from..self.held.len())
            .find(|at| begins(self.held.get(*at..).unwrap_or_default(), sync))
            .unwrap_or(self.held.len());
        if at > 0 {
            self.behind.clear();
        }
        self.drain(at);
        count(at)
    }

    fn drain(&mut self, bytes: usize) {
        self.held.drain(..bytes);
        if bytes > 0 {
            self.looked = 0;
            self.waited = false;
            self.trusted = self.trusted.and_then(|at| at.checked_sub(bytes));
        }
    }

    fn report_skipped(&mut self, out: &mut Out<'_>) {
        let joined = !self.synced && (self.skipped as usize) < self.shape.max();
        drop_bytes(out, if joined { Reason::Partial } else { Reason::Garbage }, self.skipped);
        self.skipped = 0;
    }
}

/// Whether the bytes start with the sync bytes or are a beginning of them.
fn begins(bytes: &[u8], sync: &[u8]) -> bool {
    bytes.starts_with(sync) || sync.starts_with(bytes)
}
