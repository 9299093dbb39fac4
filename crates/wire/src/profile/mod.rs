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
mod shape;
mod table;
mod words;

use alloc::format;
use alloc::string::String;

use quantity::{Accuracy, Coupling, Decimal, Duration, Instant, Reading, State, Timing, Unit};
use toml::de::DeTable;

use crate::agree::Evidence;
use crate::decode::{Decode, Decoded};
use crate::error::ProfileError;
use crate::frame::Framing;
use crate::poll::{Poller, Talk};
use crate::script::ScriptCompiler;
use accuracy::AccuracyRow;
pub use link::{LinkHints, LinkKind, Parity, StopBits};
use shape::{Shape, is_checked, load_agree, load_shape};
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
    conversion_s: Option<f64>,
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
            "conversion_s",
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
            conversion_s: root.find("conversion_s").map(Node::seconds).transpose()?,
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

    /// The most bytes a decoder of this profile holds: a frame, and the one beside it where two ways to cut are compared.
    #[must_use]
    pub fn frame_bytes_max(&self) -> usize {
        self.frame.held_max()
    }

    /// The stated accuracy for a value shown in `unit`: the first row of its quantity that reaches up to the value. A
    /// value above every row gets the last one, which is the widest statement there is, not none.
    #[must_use]
    pub fn accuracy(&self, unit: Unit, coupling: Option<Coupling>, value: f64) -> Option<Accuracy> {
        accuracy::find(&self.accuracy, unit, coupling, value)
    }

    /// As [`Profile::accuracy`], for digits that a person read off the display. Where the row says the display's step and
    /// the digits are coarser, the accuracy carries that step as the size of its counts: 7.4 read off a display with
    /// steps of 0.01.
    #[must_use]
    pub fn accuracy_read_off(
        &self,
        unit: Unit,
        coupling: Option<Coupling>,
        digits: Decimal,
    ) -> Option<Accuracy> {
        accuracy::find_read_off(&self.accuracy, unit, coupling, digits)
    }

    /// How fast the device follows what is measured, for a value shown in `unit`: as the row of its range says, else as the
    /// profile says for all of them.
    #[must_use]
    pub fn timing(&self, unit: Unit, coupling: Option<Coupling>, value: f64) -> Timing {
        let row = accuracy::timing(&self.accuracy, unit, coupling, value);
        Timing { conversion_s: row.conversion_s.or(self.conversion_s), ..row }
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

    /// A poller for a device that speaks when asked; `None`: the profile has no `[poll]`.
    ///
    /// `seed` sets where the markers' numbers begin. Take another one at each start of the program, so that what an
    /// earlier run left in the line is told apart.
    #[must_use]
    pub fn poller(&self, seed: u16) -> Option<Poller> {
        let bits_per_second = self.link.as_ref().map_or(9_600, |hints| hints.baud);
        Some(Poller::new(self.talk.as_ref()?, bits_per_second, seed))
    }

    /// Whether the device speaks only when asked: then a [`Poller`] asks.
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
        let timing = match state {
            State::Value(shown) => self.timing(unit, coupling, shown.to_f64()),
            State::Overload(_) | State::NoValue => Timing::default(),
        };
        Reading { at, seq, channel, unit, coupling, state, flags, accuracy, timing }
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

#[cfg(test)]
mod tests;
