//! Device profiles: a TOML text, checked whole at load, every error with its line. Does not touch bytes of a stream.

mod accuracy;
mod counted;
mod fixed;
mod gatt;
mod indexed;
mod line;
mod link;
mod poll;
mod scpi;
mod script;
mod segments;
mod table;

use alloc::format;
use alloc::string::String;

use quantity::{Accuracy, Coupling, Duration, Instant, Reading, State, Unit};
use toml::de::DeTable;

use crate::agree::{AGREE_MAX, Evidence};
use crate::decode::{Decode, Decoded, UnitWord, takes_coupling};
use crate::error::ProfileError;
use crate::frame::Framing;
use crate::poll::Talk;
use crate::poll::rtu_talk::Read;
use crate::poll::scpi::Query;
use crate::script::ScriptCompiler;
use accuracy::AccuracyRow;
pub use link::{LinkHints, LinkKind, Parity, StopBits};
use table::{Node, Table};

/// The most bytes a profile text may have.
const PROFILE_BYTES_MAX: usize = 128 * 1024;

/// The only format version so far.
const VERSION: i64 = 1;

/// What describes a class of device: how its bytes are framed and what the frames mean.
#[derive(Clone, Debug)]
pub struct Profile {
    id: String,
    title: String,
    silence: Duration,
    agree: u8,
    link: Option<LinkHints>,
    frame: Framing,
    decode: Decode,
    talk: Option<Talk>,
    accuracy: alloc::vec::Vec<AccuracyRow>,
}

impl Profile {
    /// Reads and checks a profile (format: `profile.toml` of `hardware-notes/generic-line-meter`, of
    /// `generic-binary-meter` and of `generic-counted-meter` there show every table, commented).
    ///
    /// # Errors
    /// [`ProfileError`] with line and column: broken TOML, an unknown key (with the nearest known one), a version, unit,
    /// word or type not known, a field outside the frame or over another, a code or word that stands twice, an accuracy
    /// that does not fit its quantity. A profile with a decode script is refused here; [`Profile::parse_with`] takes it.
    pub fn parse(text: &str) -> Result<Self, ProfileError> {
        Self::load_text(text, None)
    }

    /// As [`Profile::parse`], for profiles with a decode script too; `scripts` makes those ready to run.
    ///
    /// # Errors
    /// As [`Profile::parse`]; what is wrong in a script is named by its line in the profile.
    pub fn parse_with(text: &str, scripts: &dyn ScriptCompiler) -> Result<Self, ProfileError> {
        Self::load_text(text, Some(scripts))
    }

    fn load_text(text: &str, scripts: Option<&dyn ScriptCompiler>) -> Result<Self, ProfileError> {
        if text.len() > PROFILE_BYTES_MAX {
            let message = format!(
                "the file has {} bytes; a profile has at most {PROFILE_BYTES_MAX}, is this one?",
                text.len()
            );
            return Err(ProfileError::at(text, &(0..0), message));
        }
        let root = DeTable::parse(text).map_err(|error| {
            let span = error.span().unwrap_or(text.len()..text.len());
            ProfileError::at(text, &span, format!("this is not TOML: {}", error.message()))
        })?;
        Self::load(&Table::root(text, &root), scripts)
    }

    fn load(root: &Table<'_>, scripts: Option<&dyn ScriptCompiler>) -> Result<Self, ProfileError> {
        check_version(root)?;
        root.only(&[
            "profile",
            "id",
            "title",
            "agree",
            "silence_ms",
            "link",
            "poll",
            "frame",
            "decode",
            "accuracy",
        ])?;
        let id = root.need("id", "id = \"generic-line-meter\"")?;
        let title = root.find("title").map_or(Ok(""), Node::str)?;
        let Shape { frame, decode, talk, silence } = load_shape(root, scripts)?;
        let agree = load_agree(root, &frame, &decode)?;
        Ok(Self {
            id: check_id(id)?.into(),
            title: title.into(),
            silence,
            agree,
            link: root.table("link")?.map(|table| link::load(&table)).transpose()?,
            frame,
            decode,
            talk,
            accuracy: root.find("accuracy").map_or_else(|| Ok(alloc::vec::Vec::new()), accuracy::load)?,
        })
    }

    /// Short name: lower case letters, digits and hyphens.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// What the device is, for people; may be empty.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// After this long without a byte the source is stale (default 3 s).
    #[must_use]
    pub const fn silence(&self) -> Duration {
        self.silence
    }

    /// Frames that must bear a reading out, itself included. Default 2, but 1 where two bytes of checksum cover all
    /// fields or a fixed-width line carries one, and 3 for a loose pattern without.
    #[must_use]
    pub const fn agree(&self) -> u8 {
        self.agree
    }

    /// What bears a reading out.
    #[must_use]
    pub fn evidence(&self) -> Evidence {
        match (is_checked(&self.frame, &self.decode), self.agree) {
            (true, 1) => Evidence::Checksum,
            (true, frames) => Evidence::ChecksumAndAgreement { frames },
            (false, frames) => Evidence::Agreement { frames },
        }
    }

    /// How the device is usually reached, if the profile says so.
    #[must_use]
    pub const fn link(&self) -> Option<&LinkHints> {
        self.link.as_ref()
    }

    /// The most bytes a decoder of this profile holds.
    #[must_use]
    pub fn frame_bytes_max(&self) -> usize {
        self.frame.max_bytes()
    }

    /// The stated accuracy for a value shown in `unit`: the first row of its quantity that reaches up to the value. A
    /// value above every row gets the last one, which is the widest statement there is, not none.
    #[must_use]
    pub fn accuracy(&self, unit: Unit, coupling: Option<Coupling>, value: f64) -> Option<Accuracy> {
        accuracy::find(&self.accuracy, unit, coupling, value)
    }

    /// Less agreement than a profile may ask for, to measure what agreement is worth.
    #[cfg(test)]
    pub(crate) fn with_agree(self, agree: u8) -> Self {
        Self { agree, ..self }
    }

    /// Leaves the marker out where the loader would not, to measure what it is worth.
    #[cfg(test)]
    pub(crate) fn without_marker(&mut self) {
        let Some(Talk::Rtu(terms)) = &mut self.talk else { return };
        terms.marker = false;
    }

    pub(crate) const fn frame(&self) -> &Framing {
        &self.frame
    }

    pub(crate) const fn decode(&self) -> &Decode {
        &self.decode
    }

    /// What is asked of the device; `None`: it speaks by itself.
    pub(crate) const fn talk(&self) -> Option<&Talk> {
        self.talk.as_ref()
    }

    /// Whether the device speaks only when asked: then a [`crate::poll::Poller`] asks.
    #[must_use]
    pub const fn is_polled(&self) -> bool {
        self.talk.is_some()
    }

    pub(crate) fn reading(&self, at: Instant, seq: u64, decoded: Decoded) -> Reading {
        let Decoded { channel, unit, coupling, state, flags, accuracy } = decoded;
        let accuracy = match state {
            State::Value(shown) => self.accuracy(unit, coupling, shown.to_f64()).or(accuracy),
            State::Overload(_) | State::NoValue => None,
        };
        Reading { at, seq, channel, unit, coupling, state, flags, accuracy }
    }
}

/// How bytes become frames and frames readings, and what is asked.
struct Shape {
    frame: Framing,
    decode: Decode,
    talk: Option<Talk>,
    silence: Duration,
}

fn load_shape(root: &Table<'_>, scripts: Option<&dyn ScriptCompiler>) -> Result<Shape, ProfileError> {
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
    Ok(Shape { frame, decode, talk: None, silence: Duration::from_millis(silence_ms) })
}

/// A device that speaks only when asked: its kind of talk says how its answers are decoded.
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
            let (terms, decode) = poll::load_modbus(poll, decode)?;
            let pace = |read: &Read| poll::Pace { period: read.period, timeout: read.timeout };
            let silence = poll::silence(silence, terms.reads.iter().map(pace))?;
            Ok(Shape { frame, decode: Decode::Registers(decode), talk: Some(Talk::Rtu(terms)), silence })
        }
        Kind::Scpi => {
            node.word(&[("answers", ())])?;
            let (terms, decode) = scpi::load(poll, decode)?;
            let pace = |query: &Query| poll::Pace { period: query.period, timeout: query.timeout };
            let silence = poll::silence(silence, terms.queries.iter().map(pace))?;
            Ok(Shape { frame, decode: Decode::Answers(decode), talk: Some(Talk::Scpi(terms)), silence })
        }
    }
}

fn check_version(root: &Table<'_>) -> Result<(), ProfileError> {
    let version = root.need("profile", "profile = 1")?;
    match version.int(0..=i64::MAX)? {
        VERSION => Ok(()),
        other => Err(version.error(format_args!(
            "profile format {other} is not known to this version, which reads format {VERSION}; \
             update the program, or write the profile in format {VERSION}"
        ))),
    }
}

fn check_id(node: Node<'_>) -> Result<&str, ProfileError> {
    let id = node.str()?;
    let fits = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
    if !id.is_empty() && id.len() <= 64 && id.bytes().all(fits) {
        return Ok(id);
    }
    Err(node.error(format_args!("id {id:?} must be 1 to 64 lower case letters, digits and hyphens")))
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

/// Framing and decoding are chosen apart; which go together is said here.
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
            frame.only(&["kind"])?;
            Ok((Framing::Counted(crate::packet::framing()), Decode::Gatt(gatt::load_decode(decode)?)))
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
        (FrameKind::Fixed, DecodeKind::Fields) => {
            let frame = fixed::load_frame(frame)?;
            let fields = fixed::load_fields(decode, &fixed::Places::of_fixed(&frame))?;
            Ok((Framing::Fixed(frame), Decode::Fields(fields)))
        }
        (FrameKind::Counted, DecodeKind::Fields) => {
            let frame = counted::load_frame(frame)?;
            let fields = fixed::load_fields(decode, &counted::places(&frame))?;
            Ok((Framing::Counted(frame), Decode::Fields(fields)))
        }
        (FrameKind::Fixed, DecodeKind::Segments) => {
            let frame = fixed::load_frame(frame)?;
            let display = segments::load_decode(decode, &fixed::Places::of_fixed(&frame))?;
            Ok((Framing::Fixed(frame), Decode::Segments(display)))
        }
        (FrameKind::Counted, DecodeKind::Segments) => {
            let frame = counted::load_frame(frame)?;
            let display = segments::load_decode(decode, &counted::places(&frame))?;
            Ok((Framing::Counted(frame), Decode::Segments(display)))
        }
        (FrameKind::Indexed, DecodeKind::Segments) => {
            let frame = indexed::load_frame(frame)?;
            let display = segments::load_decode(decode, &indexed::places(&frame))?;
            Ok((Framing::Indexed(frame), Decode::Segments(display)))
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

/// The framing alone, for what reads any frame.
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

/// Whether a checksum of the device covers its frames. That of a packet is ours, and an answer in text has none.
fn is_checked(frame: &Framing, decode: &Decode) -> bool {
    frame.has_check() && !matches!(decode, Decode::Answers(_))
}

/// How many frames must agree: as the profile says, within what its framing allows.
fn load_agree(root: &Table<'_>, frame: &Framing, decode: &Decode) -> Result<u8, ProfileError> {
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
        Framing::Fixed(fixed) => fixed.check.as_ref().is_some_and(|check| check.kind.width() == 1),
        Framing::Counted(counted) => counted.check_width() == 1,
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

/// A unit as profiles write it: `uF`, `V ac`.
fn unit_word(node: Node<'_>) -> Result<UnitWord, ProfileError> {
    parse_unit(node.str()?).map_err(|message| node.error(message))
}

/// As `unit_word`, of a text alone.
pub(crate) fn parse_unit(text: &str) -> Result<UnitWord, String> {
    if let Ok(unit) = Unit::parse(text) {
        return Ok(UnitWord { unit, coupling: None });
    }
    let (head, coupling) = Coupling::strip_from(text);
    let unit = Unit::parse(head).map_err(|error| {
        format!("{error}; write a unit as cliplead prints it, for example \"uF\" or \"V ac\"")
    })?;
    check_coupling(unit.kind(), coupling)?;
    Ok(UnitWord { unit, coupling })
}

fn check_coupling(kind: quantity::Kind, coupling: Option<Coupling>) -> Result<(), String> {
    match coupling {
        Some(coupling) if !takes_coupling(kind) => {
            Err(format!("{kind} is not {coupling}; leave {coupling} away"))
        }
        _ => Ok(()),
    }
}

/// A kind of quantity with an optional `ac` or `dc`: `voltage ac`.
fn kind_word(node: Node<'_>) -> Result<(quantity::Kind, Option<Coupling>), ProfileError> {
    let text = node.str()?;
    let (head, coupling) = match quantity::Kind::from_name(text) {
        Some(_) => (text, None),
        None => Coupling::strip_from(text),
    };
    let kind = quantity::Kind::from_name(head).ok_or_else(|| {
        let names = quantity::Kind::ALL.map(quantity::Kind::name);
        node.error(format_args!("unknown quantity {text:?}; {}", crate::error::suggest(head, &names)))
    })?;
    check_coupling(kind, coupling).map_err(|message| node.error(message))?;
    Ok((kind, coupling))
}

#[cfg(test)]
mod tests;
