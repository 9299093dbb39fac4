//! Building blocks for analysing bytes that have no profile yet (crate `learn`): the framers, number encodings, units
//! and digits that the decoder itself uses, so a learned profile decodes exactly as it was learned. Re-exports only.

pub use crate::builtins::NumberEncoding;
pub use crate::decode::pattern::trim;
pub use crate::frame::line::LINE_BYTES_MAX;
pub use crate::glyph::{DIGITS_MAX, GLYPHS, Glyph, SEGMENTS};
pub use crate::splitter::{FrameEvent, FrameSplitter, fixed_length};
pub use crate::unit_spec::UnitSpec;
