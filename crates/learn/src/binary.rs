//! Binary frames: proposes sync bytes, lengths and checksums, and counts with the real framer how many frames support
//! each proposal. Does not look at the meaning of frames.

use std::collections::BTreeMap;
use std::ops::Range;

use quantity::Instant;

use crate::Hypothesis;
use crate::draft;
use crate::runs::runs;
use wire::ChecksumKind;
use wire::Profile;
use wire::analysis::{FrameEvent, FrameSplitter, fixed_length};
use wire::stream::Recording;

/// Longer frames are not searched for.
const FRAME_BYTES_MAX: usize = 64;

/// Bytes that are searched for a framing; the rest only counts as evidence.
const SEARCH_BYTES_MAX: usize = 16 * 1024;

/// A framing with the frames it yields.
pub(crate) struct FramingCandidate {
    /// The `[frame]` table.
    pub(crate) toml: String,
    pub(crate) frames: Vec<(Instant, Vec<u8>)>,
    /// Bytes of sync.
    pub(crate) sync: usize,
    /// Bytes that every frame has, without a checksum at the end.
    pub(crate) end: usize,
    /// Bytes that are not fields: the length, or a checksum inside.
    pub(crate) taken: Range<usize>,
    /// Bytes of checksum, 0 to 2.
    pub(crate) checksum_bytes: usize,
    words: String,
    damaged: usize,
    /// Bytes of the recording in intact frames, in percent.
    covers: usize,
    /// Frames that begin where a chunk of the recording began, in percent.
    aligned: usize,
}

/// Sync bytes at a position with what follows: the shape before the framer has tried it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Shape {
    sync: Vec<u8>,
    length: Length,
}

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Length {
    Fixed(usize),
    /// Position, type as profiles write it, and the number to add to get the whole frame.
    LengthField {
        at: usize,
        kind: &'static str,
        more: usize,
    },
}

/// A checksum: kind, first byte covered, bytes between it and the end of the frame.
type Checksum = (&'static str, ChecksumKind, usize, usize);

impl FramingCandidate {
    pub(crate) fn hypothesis(&self) -> Hypothesis {
        Hypothesis {
            words: self.words.clone(),
            intact: self.frames.len(),
            damaged: self.damaged,
            distinctive: self.checksum_bytes > 0,
        }
    }

    /// True if the other has a checksum and this has none, or if this covers clearly less.
    pub(crate) fn is_weaker_than(&self, other: Option<&Self>) -> bool {
        other.is_some_and(|o| {
            (o.checksum_bytes > 0 && self.checksum_bytes == 0)
                || self.covers + 15 < o.covers
                || self.aligned + 40 < o.aligned
        })
    }
}

/// Framings that the bytes support, best first; at most four.
pub(crate) fn find(recording: &Recording) -> Vec<FramingCandidate> {
    let runs = runs(recording);
    let (bytes, starts) = flat(&runs);
    let mut found: Vec<FramingCandidate> = Vec::new();
    for shape in shapes(&bytes, &starts) {
        if let Some(cut) = attempt(&shape, &bytes, &starts, recording)
            && !found.iter().any(|known| known.toml == cut.toml)
        {
            found.push(cut);
        }
    }
    // What names itself by a checksum, then what covers most, then the shortest text.
    found.sort_by_key(|cut| {
        let strength = if cut.checksum_bytes > 0 { cut.covers + 30 } else { cut.covers };
        (std::cmp::Reverse(strength + cut.aligned / 2 + 4 * cut.checksum_bytes), cut.end, cut.toml.len())
    });
    let mut kept: Vec<FramingCandidate> = Vec::new();
    for cut in found {
        // The same frames in other words say nothing new.
        if !kept.iter().any(|k| same_frames(k, &cut)) {
            kept.push(cut);
        }
    }
    kept.truncate(4);
    kept
}

fn same_frames(a: &FramingCandidate, b: &FramingCandidate) -> bool {
    let both = a.frames.iter().zip(&b.frames).filter(|(x, y)| x.1.get(..4) == y.1.get(..4)).count();
    both * 10 >= a.frames.len().max(b.frames.len()) * 8
}

/// Display dumps whose bytes carry their index in the high half: the highest index and how often it occurs, if seven
/// of ten bytes follow their predecessor. Nothing else here looks at the meaning of bytes; this shape has no other
/// mark.
pub(crate) fn counts_places(recording: &Recording) -> Option<(usize, usize)> {
    let (bytes, _) = flat(&runs(recording));
    let mut ends = [0_usize; 16];
    let mut following = 0;
    for (a, b) in bytes.iter().zip(bytes.iter().skip(1)) {
        let (a, b) = (usize::from(*a >> 4), *b >> 4);
        let ends_here = b == 1 && a > 8;
        following += usize::from(ends_here || usize::from(b) == a + 1);
        if let (true, Some(count)) = (ends_here, ends.get_mut(a)) {
            *count += 1;
        }
    }
    let (length, often) = ends.iter().enumerate().max_by_key(|(_, count)| **count)?;
    (following * 100 / bytes.len().max(64) >= 70).then_some((length, *often))
}

/// The runs as one, up to the search limit, and the positions where chunks began.
fn flat(runs: &[(Vec<u8>, Vec<usize>)]) -> (Vec<u8>, Vec<usize>) {
    let (mut bytes, mut starts) = (Vec::new(), Vec::new());
    for (run, begun) in runs {
        starts.extend(begun.iter().map(|at| at + bytes.len()));
        bytes.extend_from_slice(run);
    }
    bytes.truncate(SEARCH_BYTES_MAX);
    starts.retain(|at| *at < bytes.len());
    (bytes, starts)
}

/// Frequent byte pairs, those at the starts of chunks first.
fn syncs(bytes: &[u8], starts: &[usize]) -> Vec<Vec<u8>> {
    let mut at_starts: BTreeMap<&[u8], usize> = BTreeMap::new();
    for at in starts {
        for width in [1, 2] {
            if let Some(pair) = bytes.get(*at..at + width) {
                *at_starts.entry(pair).or_default() += 1;
            }
        }
    }
    let mut anywhere: BTreeMap<&[u8], usize> = BTreeMap::new();
    bytes.windows(2).for_each(|pair| *anywhere.entry(pair).or_default() += 1);
    let often = |map: BTreeMap<&[u8], usize>, least: usize, most: usize| {
        let mut all: Vec<(&[u8], usize)> = map.into_iter().filter(|(_, n)| *n >= least).collect();
        all.sort_by_key(|(pair, n)| (std::cmp::Reverse(*n), std::cmp::Reverse(pair.len())));
        all.into_iter().take(most).map(|(pair, _)| pair.to_vec()).collect::<Vec<_>>()
    };
    let mut found = often(at_starts, (starts.len() / 4).max(4), 4);
    for pair in often(anywhere, (bytes.len() / (2 * FRAME_BYTES_MAX)).max(4), 10) {
        if !found.contains(&pair) {
            found.push(pair);
        }
    }
    found
}

fn shapes(bytes: &[u8], starts: &[usize]) -> Vec<Shape> {
    let mut found = Vec::new();
    for sync in syncs(bytes, starts) {
        let places: Vec<usize> = bytes
            .windows(sync.len())
            .enumerate()
            .filter(|(_, window)| *window == sync.as_slice())
            .map(|(at, _)| at)
            .collect();
        let mut gaps: BTreeMap<usize, usize> = BTreeMap::new();
        for (a, b) in places.iter().zip(places.iter().skip(1)) {
            *gaps.entry(b - a).or_default() += 1;
        }
        let mut gaps: Vec<(usize, usize)> =
            gaps.into_iter().filter(|(gap, n)| (4..=FRAME_BYTES_MAX).contains(gap) && *n >= 3).collect();
        gaps.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        for (gap, n) in gaps.iter().take(2) {
            if n * 2 >= places.len() {
                found.push(Shape { sync: sync.clone(), length: Length::Fixed(*gap) });
            }
        }
        found.extend(said(bytes, &sync, &places));
    }
    found
}

/// Length fields that lead from one sync to the next, for at least two different sizes.
fn said(bytes: &[u8], sync: &[u8], places: &[usize]) -> Vec<Shape> {
    let mut found = Vec::new();
    for at in sync.len()..sync.len() + 4 {
        for (kind, width) in [("u8", 1), ("u16le", 2), ("u16be", 2)] {
            for more in 0..=sync.len() + 8 {
                let totals: Vec<usize> = places
                    .iter()
                    .filter_map(|place| {
                        let total = length(bytes.get(*place..)?, at, kind)? + more;
                        let next = bytes.get(place + total..)?;
                        let fits = (at + width + 1..=FRAME_BYTES_MAX).contains(&total);
                        (fits && next.starts_with(sync)).then_some(total)
                    })
                    .collect();
                let mut sizes = totals.clone();
                sizes.sort_unstable();
                sizes.dedup();
                if totals.len() >= 4 && totals.len() * 10 >= places.len() * 5 && sizes.len() > 1 {
                    found.push(Shape { sync: sync.to_vec(), length: Length::LengthField { at, kind, more } });
                }
            }
        }
    }
    found
}

fn length(frame: &[u8], at: usize, kind: &str) -> Option<usize> {
    match (kind, frame.get(at..)?) {
        ("u8", [a, ..]) => Some(usize::from(*a)),
        ("u16le", [a, b, ..]) => Some(usize::from(u16::from_le_bytes([*a, *b]))),
        ("u16be", [a, b, ..]) => Some(usize::from(u16::from_be_bytes([*a, *b]))),
        _ => None,
    }
}

/// The shape with its checksum and its whole sync, tried on the recording.
fn attempt(shape: &Shape, bytes: &[u8], starts: &[usize], recording: &Recording) -> Option<FramingCandidate> {
    let frames: Vec<&[u8]> = bytes
        .windows(shape.sync.len())
        .enumerate()
        .filter(|(_, window)| *window == shape.sync.as_slice())
        .filter_map(|(at, _)| {
            let total = match shape.length {
                Length::Fixed(length) => length,
                Length::LengthField { at: place, kind, more } => {
                    length(bytes.get(at..)?, place, kind)? + more
                }
            };
            let header = shape.header();
            bytes.get(at..at + total).filter(|frame| frame.len() > header && frame.len() <= FRAME_BYTES_MAX)
        })
        .collect();
    let checksum = find_checksum(shape, &frames);
    let intact: Vec<&[u8]> = match checksum {
        Some(checksum) => frames.into_iter().filter(|frame| holds(checksum, frame)).collect(),
        None => frames,
    };
    if intact.len() < 4 {
        return None;
    }
    let sync = whole_sync(shape, checksum, &intact)?;
    let (toml, words, taken) = shape.write(&sync, checksum, &intact)?;
    tried(
        recording,
        FramingCandidate {
            toml,
            frames: Vec::new(),
            sync: sync.len(),
            end: 0,
            taken,
            checksum_bytes: checksum.map_or(0, |(_, kind, ..)| kind.width()),
            words,
            damaged: 0,
            covers: 0,
            aligned: share_of(starts, bytes, &sync),
        },
    )
}

/// Chunks that begin with the sync bytes, in percent; 0 if there are too few to tell.
fn share_of(starts: &[usize], bytes: &[u8], sync: &[u8]) -> usize {
    let begun =
        starts.iter().filter(|at| bytes.get(**at..).is_some_and(|tail| tail.starts_with(sync))).count();
    if starts.len() < 4 { 0 } else { begun * 100 / starts.len() }
}

impl Shape {
    /// Bytes before the first one that a field may occupy.
    fn header(&self) -> usize {
        match self.length {
            Length::Fixed(_) => self.sync.len(),
            Length::LengthField { at, kind, .. } => at + if kind == "u8" { 1 } else { 2 },
        }
    }

    fn write(
        &self,
        sync: &[u8],
        checksum: Option<Checksum>,
        intact: &[&[u8]],
    ) -> Option<(String, String, Range<usize>)> {
        let sync_text = draft::bytes(sync);
        match self.length {
            Length::Fixed(length) => {
                let mut toml = format!("[frame]\nkind = \"fixed\"\nsync = {sync_text}\nlength = {length}\n");
                let mut words = format!("frames of {length} bytes that begin with {sync_text}");
                let mut taken = 0..0;
                if let Some((name, kind, from, behind)) = checksum {
                    let at = length.checked_sub(kind.width() + behind)?;
                    taken = at..at + kind.width();
                    toml.push_str(&format!(
                        "check = {{ kind = \"{name}\", from = {from}, to = {at}, at = {at} }}\n"
                    ));
                    words.push_str(&format!(", {name} over bytes {from} to {} at byte {at}", at - 1));
                } else {
                    words.push_str(", no checksum found");
                }
                Some((toml, words, taken))
            }
            Length::LengthField { at, kind, more } => {
                let (header, width) = (self.header(), checksum.map_or(0, |(_, kind, ..)| kind.width()));
                let counts = match more {
                    0 => "whole",
                    n if n == header + width => "payload",
                    n if n == header => "rest",
                    _ => return None,
                };
                let min = intact.iter().map(|frame| frame.len()).min()?;
                let max = intact.iter().map(|frame| frame.len()).max()?;
                let mut toml = format!(
                    "[frame]\nkind = \"counted\"\nsync = {sync_text}\nlength = {{ at = {at}, type = \"{kind}\", counts = \
                     \"{counts}\" }}\nmin_bytes = {min}                   # as seen\nmax_bytes = {max}\n"
                );
                let mut words = format!(
                    "frames of {min} to {max} bytes that begin with {sync_text} and say their length ({kind} at byte {at}, \
                     counts {counts})"
                );
                if let Some((name, _, from, _)) = checksum {
                    toml.push_str(&format!("check = {{ kind = \"{name}\", from = {from} }}\n"));
                    words.push_str(&format!(", {name} from byte {from} on at the end"));
                }
                Some((toml, words, at..header))
            }
        }
    }
}

/// A checksum that matches most frames: different contents, different sums.
fn find_checksum(shape: &Shape, frames: &[&[u8]]) -> Option<Checksum> {
    let mut best: Option<(usize, Checksum)> = None;
    let fixed = matches!(shape.length, Length::Fixed(_));
    for (name, kind) in ChecksumKind::WORDS.iter().rev() {
        // Bytes behind a checksum: at most two, an end mark.
        for behind in 0..=if fixed { 2 } else { 0 } {
            for from in 0..=if fixed { 4.max(shape.sync.len()) } else { shape.header() } {
                let checksum = (*name, *kind, from, behind);
                let intact: Vec<&&[u8]> = frames.iter().filter(|frame| holds(checksum, frame)).collect();
                let mut different: Vec<&[u8]> = intact.iter().map(|frame| **frame).collect();
                different.sort_unstable();
                different.dedup();
                let sums =
                    different.iter().filter_map(|frame| parts(checksum, frame).map(|(_, stored)| stored));
                let mut sums: Vec<&[u8]> = sums.collect();
                sums.sort_unstable();
                sums.dedup();
                let enough = different.len() >= 4 && sums.len() >= 3 && intact.len() * 10 >= frames.len() * 6;
                if enough && best.is_none_or(|(most, _)| intact.len() > most) {
                    best = Some((intact.len(), checksum));
                }
            }
        }
    }
    best.map(|(_, checksum)| checksum)
}

/// The bytes that a checksum covers, and the checksum.
fn parts(checksum: Checksum, frame: &[u8]) -> Option<(&[u8], &[u8])> {
    let (_, kind, from, behind) = checksum;
    let at = frame.len().checked_sub(kind.width() + behind)?;
    let covered = frame.get(from..at).filter(|covered| !covered.is_empty())?;
    Some((covered, frame.get(at..at + kind.width())?))
}

fn holds(checksum: Checksum, frame: &[u8]) -> bool {
    let Some((covered, stored)) = parts(checksum, frame) else { return false };
    checksum.1.holds(covered, stored)
}

/// The frame whose first eight bytes are the most frequent.
fn usual<'f>(intact: &[&'f [u8]]) -> Option<&'f [u8]> {
    let mut starts: BTreeMap<&[u8], (usize, &'f [u8])> = BTreeMap::new();
    for frame in intact {
        starts.entry(frame.get(..frame.len().min(8)).unwrap_or_default()).or_insert((0, frame)).0 += 1;
    }
    starts.into_values().max_by_key(|(n, _)| *n).map(|(_, frame)| frame)
}

/// The leading bytes that are the same in all intact frames. No field can be there, so the profile fixes them.
fn whole_sync(shape: &Shape, checksum: Option<Checksum>, intact: &[&[u8]]) -> Option<Vec<u8>> {
    let first = usual(intact)?;
    let most = match shape.length {
        Length::Fixed(length) => {
            length.checked_sub(1 + checksum.map_or(0, |(_, kind, _, behind)| kind.width() + behind))?
        }
        Length::LengthField { at, .. } => at,
    };
    let same = |at: &usize| {
        // Where no checksum covers the byte, one in ten may be damaged.
        let others = intact.iter().filter(|frame| frame.get(*at) != first.get(*at)).count();
        let covered = checksum.is_some_and(|(_, _, from, _)| *at >= from);
        if covered { others == 0 } else { others * 10 <= intact.len() }
    };
    let width = (0..most.min(8)).take_while(same).count();
    first.get(..width).filter(|sync| !sync.is_empty()).map(<[u8]>::to_vec)
}

/// Runs the real framer of the proposed framing over the recording.
fn tried(recording: &Recording, mut cut: FramingCandidate) -> Option<FramingCandidate> {
    let place = cut.taken.end.max(cut.sync);
    let place = if cut.toml.contains("\"fixed\"") { cut.sync } else { place };
    let text = format!(
        "profile = 1\nid = \"draft\"\nagree = 2\n{}\n[decode]\nkind = \"fields\"\n[[decode.channel]]\nunit = \"V\"\nexponent = 0\n\
         value = {{ at = {place}, type = \"u8\" }}\n",
        cut.toml
    );
    let profile = Profile::parse(&text).ok()?;
    let mut cutter = FrameSplitter::of(&profile);
    let (mut covered, mut damaged) = (0_usize, 0);
    for (at, bytes) in recording.chunks() {
        let frames = &mut cut.frames;
        let mut take = |piece: FrameEvent<'_>| match piece {
            FrameEvent::Frame { frame, bytes } => {
                covered += usize::try_from(bytes).unwrap_or(0);
                frames.push((at, frame.to_vec()));
            }
            FrameEvent::Dropped(_) => damaged += 1,
        };
        match bytes {
            Some(bytes) => cutter.push(bytes, &mut take),
            None => cutter.gap(&mut take),
        }
    }
    cut.damaged = damaged;
    cut.covers = covered * 100 / recording.len().max(1);
    cut.end = cut.frames.iter().map(|(_, frame)| frame.len()).min()?;
    if let Some(length) = fixed_length(&profile) {
        cut.end = length;
    }
    let enough = match (cut.checksum_bytes, cut.aligned) {
        (0, aligned) => aligned >= 50 && cut.covers >= 75 && cut.frames.len() >= 8,
        _ => cut.covers >= 40 && cut.frames.len() >= 4,
    };
    enough.then_some(cut)
}
