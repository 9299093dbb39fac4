//! The loader: parses and fully validates the text of a profile (TOML); every error carries its line. Does not hold
//! the profile type.

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
use alloc::vec::Vec;

use toml::de::DeTable;

use super::Profile;
use crate::error::ProfileError;
use crate::script::ScriptCompiler;
use shape::{Shape, load_agree, load_shape};
use table::{Node, Table};

/// The most bytes a profile text may have.
const PROFILE_BYTES_MAX: usize = 128 * 1024;

/// The only format version so far.
const VERSION: i64 = 1;

type LoadResult<T> = Result<T, ProfileError>;

impl Profile {
    /// Parses and validates a profile (format: `profile.toml` of `hardware-notes/generic-line-meter`, of
    /// `generic-binary-meter` and of `generic-counted-meter` there show every table, commented).
    ///
    /// # Errors
    /// [`ProfileError`] with line and column: broken TOML, an unknown key (with the nearest known one), a version,
    /// unit, word or type not known, a field outside the frame or overlapping another, a duplicate code or word, an
    /// accuracy that does not fit its quantity. A profile with a decode script is refused here;
    /// [`Profile::parse_with`] accepts it.
    pub fn parse(text: &str) -> Result<Self, ProfileError> {
        Self::load_text(text, None)
    }

    /// Like [`Profile::parse`], but also accepts profiles with a decode script, which `scripts` compiles.
    ///
    /// # Errors
    /// As for [`Profile::parse`]; errors in a script carry their line in the profile.
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
        validate_version(root)?;
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
        let Shape { frame, decode, protocol, silence } = load_shape(root, scripts)?;
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
            protocol,
            accuracy: root.find("accuracy").map_or_else(|| Ok(Vec::new()), accuracy::load)?,
        })
    }
}

fn validate_version(root: &Table<'_>) -> Result<(), ProfileError> {
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
