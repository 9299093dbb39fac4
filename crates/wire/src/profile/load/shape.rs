//! Which framing goes with which decoding and which protocol, and how many frames must agree. Does not load their
//! content.

use alloc::vec::Vec;

use quantity::Duration;

use super::table::{Node, Table};
use super::{counted, fixed, gatt, indexed, line, poll, scpi, script, segments};
use crate::agree::AGREE_MAX;
use crate::decode::Decode;
use crate::error::ProfileError;
use crate::frame::Framing;
use crate::poll::Protocol;
use crate::poll::rtu_client::Read;
use crate::poll::scpi::Query;
use crate::profile::is_checked;
use crate::script::ScriptCompiler;

/// How bytes become frames and frames become readings, and how the device is polled.
pub(super) struct Shape {
    pub(super) frame: Framing,
    pub(super) decode: Decode,
    pub(super) protocol: Option<Protocol>,
    pub(super) silence: Duration,
}

pub(super) fn load_shape(
    root: &Table<'_>,
    scripts: Option<&dyn ScriptCompiler>,
) -> Result<Shape, ProfileError> {
    let decode = root
        .need("decode", "[decode] with kind = \"pattern\", \"fields\", \"segments\", \"script\" or \"gatt\"");
    let silence = root.find("silence_ms");
    if let Some(poll) = root.table("poll")? {
        if let Some(frame) = root.find("frame") {
            return Err(
                frame.error("a device that is asked has no [frame]: its answers come in packets of our own")
            );
        }
        return load_polled(&poll, &decode?.table("decode")?, silence);
    }
    let hint = "[frame] with kind = \"line\", \"fixed\", \"counted\", \"indexed\" or \"packet\"";
    let frame = root.need("frame", hint)?.table("frame")?;
    let (frame, decode) = load_frame(&frame, &decode?.table("decode")?, scripts)?;
    let silence_ms = silence.map_or(Ok(3_000), |node| node.int(50..=3_600_000))?;
    Ok(Shape { frame, decode, protocol: None, silence: Duration::from_millis(silence_ms) })
}

/// A device that speaks only when asked: its kind of protocol says how its answers are decoded.
fn load_polled(
    poll: &Table<'_>,
    decode: &Table<'_>,
    silence: Option<Node<'_>>,
) -> Result<Shape, ProfileError> {
    #[derive(Clone, Copy)]
    enum Kind {
        Modbus,
        Scpi,
    }
    let kind = poll.need("kind", "kind = \"modbus\" (or \"scpi\")")?;
    let kind = kind.word(&[("modbus", Kind::Modbus), ("scpi", Kind::Scpi)])?;
    let node = decode.need("kind", "kind = \"registers\" for modbus, \"answers\" for scpi")?;
    let frame = Framing::Counted(crate::packet::framing());
    match kind {
        Kind::Modbus => {
            node.word(&[("registers", ())])?;
            let (settings, decode) = poll::load_modbus(poll, decode)?;
            let pace = |read: &Read| poll::Pace { period: read.period, timeout: read.timeout };
            let silence = poll::silence(silence, settings.reads.iter().map(pace))?;
            Ok(Shape {
                frame,
                decode: Decode::Registers(decode),
                protocol: Some(Protocol::Rtu(settings)),
                silence,
            })
        }
        Kind::Scpi => {
            node.word(&[("answers", ())])?;
            let (settings, decode) = scpi::load(poll, decode)?;
            let pace = |query: &Query| poll::Pace { period: query.period, timeout: query.timeout };
            let silence = poll::silence(silence, settings.queries.iter().map(pace))?;
            Ok(Shape {
                frame,
                decode: Decode::Scpi(decode),
                protocol: Some(Protocol::Scpi(settings)),
                silence,
            })
        }
    }
}

#[derive(Clone, Copy)]
enum FrameKind {
    Line,
    Fixed,
    Counted,
    Indexed,
    Packet,
}

#[derive(Clone, Copy)]
enum DecodeKind {
    Pattern,
    Fields,
    Segments,
    Script,
    Gatt,
}

impl DecodeKind {
    const WORDS: [(&'static str, Self); 5] = [
        ("pattern", Self::Pattern),
        ("fields", Self::Fields),
        ("segments", Self::Segments),
        ("script", Self::Script),
        ("gatt", Self::Gatt),
    ];
}

impl FrameKind {
    const WORDS: [(&'static str, Self); 5] = [
        ("line", Self::Line),
        ("fixed", Self::Fixed),
        ("counted", Self::Counted),
        ("indexed", Self::Indexed),
        ("packet", Self::Packet),
    ];
}

/// Framing and decoding are chosen independently; this decides which go together.
fn load_frame(
    frame: &Table<'_>,
    decode: &Table<'_>,
    scripts: Option<&dyn ScriptCompiler>,
) -> Result<(Framing, Decode), ProfileError> {
    let kind = frame.need("kind", "kind = \"line\"")?;
    let frame_kind = kind.word(&FrameKind::WORDS)?;
    let kind = decode.need("kind", "kind = \"pattern\"")?;
    match (frame_kind, kind.word(&DecodeKind::WORDS)?) {
        (_, DecodeKind::Script) => {
            let script = script::load_decode(decode, kind, matches!(frame_kind, FrameKind::Packet), scripts)?;
            Ok((load_framing(frame, frame_kind)?, Decode::Script(script)))
        }
        (FrameKind::Packet, DecodeKind::Gatt) => {
            Ok((load_framing(frame, frame_kind)?, Decode::Gatt(gatt::load_decode(decode)?)))
        }
        (FrameKind::Packet, _) => Err(kind.error("packets hold GATT values here; use decode \"gatt\" or \"script\"")),
        (_, DecodeKind::Gatt) => {
            Err(kind.error("\"gatt\" reads values that come as packets; use frame kind \"packet\""))
        }
        (FrameKind::Line, DecodeKind::Pattern) => {
            let pattern = line::load_pattern(decode)?;
            let frame = line::load_frame(frame, &pattern)?;
            Ok((Framing::Line(frame), Decode::Pattern(pattern)))
        }
        (FrameKind::Fixed | FrameKind::Counted, DecodeKind::Fields) => {
            let framing = load_framing(frame, frame_kind)?;
            let fields = fixed::load_fields(decode, &places(&framing))?;
            Ok((framing, Decode::Fields(fields)))
        }
        (FrameKind::Fixed | FrameKind::Counted | FrameKind::Indexed, DecodeKind::Segments) => {
            let framing = load_framing(frame, frame_kind)?;
            let display = segments::load_decode(decode, &places(&framing))?;
            Ok((framing, Decode::Segments(display)))
        }
        (FrameKind::Line, DecodeKind::Fields) => Err(kind
            .error("\"fields\" needs binary frames; use frame kind \"fixed\" (frames of one length) or \"counted\", or decode \"pattern\"")),
        (FrameKind::Line, DecodeKind::Segments) => Err(kind.error(
            "\"segments\" needs binary frames; use frame kind \"indexed\", \"fixed\" or \"counted\", or decode \"pattern\"",
        )),
        (FrameKind::Indexed, DecodeKind::Fields) => Err(kind.error(
            "bytes that say their place carry the bits of a display; use decode \"segments\"",
        )),
        (FrameKind::Fixed | FrameKind::Counted | FrameKind::Indexed, DecodeKind::Pattern) => {
            Err(kind.error("\"pattern\" reads lines of text; use frame kind \"line\", or another decode kind"))
        }
    }
}

/// Where fields or bits may lie.
fn places(framing: &Framing) -> fixed::Places {
    match framing {
        Framing::Fixed(frame) => fixed::Places::of_fixed(frame),
        Framing::Counted(frame) => counted::places(frame),
        Framing::Indexed(frame) => indexed::places(frame),
        Framing::Line(frame) => fixed::Places {
            length: None,
            room: frame.max_bytes,
            what: "longest line's",
            sync: 0,
            taken: None,
            must: Vec::new(),
            data: 0xFF,
        },
    }
}

/// The framing alone; for lines, what a pattern does not describe.
fn load_framing(frame: &Table<'_>, kind: FrameKind) -> Result<Framing, ProfileError> {
    Ok(match kind {
        FrameKind::Line => Framing::Line(line::load_any_frame(frame)?),
        FrameKind::Fixed => Framing::Fixed(fixed::load_frame(frame)?),
        FrameKind::Counted => Framing::Counted(counted::load_frame(frame)?),
        FrameKind::Indexed => Framing::Indexed(indexed::load_frame(frame)?),
        FrameKind::Packet => {
            frame.only(&["kind"])?;
            Framing::Counted(crate::packet::framing())
        }
    })
}

/// How many frames must agree: as the profile says, within what its framing permits.
pub(super) fn load_agree(root: &Table<'_>, frame: &Framing, decode: &Decode) -> Result<u8, ProfileError> {
    let uncovered = fixed::has_uncovered_field(frame, decode);
    // Nobody knows which lines a script refuses.
    let loose = match (frame, decode) {
        (Framing::Line(_), Decode::Script(_)) => true,
        (_, Decode::Pattern(pattern)) => pattern.loose,
        _ => false,
    };
    let checked = is_checked(frame, decode) && !uncovered;
    // A lost byte shifts a binary frame, and one byte of checksum lets one in 256 of those through; a line's width
    // refuses it before the checksum is asked.
    let weak = match frame {
        Framing::Line(_) | Framing::Indexed(_) => false,
        Framing::Fixed(fixed) => fixed.checksum.as_ref().is_some_and(|checksum| checksum.kind.width() == 1),
        Framing::Counted(counted) => counted.checksum_width() == 1,
    };
    let (least, default) = match (checked, loose) {
        (true, _) if weak || loose => (1, 2),
        (true, _) => (1, 1),
        (false, false) => (2, 2),
        (false, true) => (2, 3),
    };
    let Some(node) = root.find("agree") else { return Ok(default) };
    let agree = node.int(1..=i64::from(AGREE_MAX))?;
    if agree < least {
        let why = if uncovered {
            "a field stands outside the bytes that the checksum covers"
        } else {
            "frames carry no checksum"
        };
        return Err(node.error(format_args!(
            "agree = {agree} is too few: {why}, and a damaged digit is still a digit; write {least} or more"
        )));
    }
    u8::try_from(agree).map_err(|_| node.error("too many"))
}
