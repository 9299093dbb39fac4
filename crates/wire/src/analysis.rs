//! The kit of whoever looks at bytes before there is a profile for them (crate `learn`): the framers, numbers, checksums, units and
//! figures that decoding itself uses, so that what is learned is decoded the same. Holds the choice alone.

pub use crate::builtins::NumberEncoding;
pub use crate::decode::pattern::trim;
pub use crate::frame::line::LINE_BYTES_MAX;
pub use crate::glyph::{DIGITS_MAX, GLYPHS, Glyph, SEGMENTS};
pub use crate::splitter::{FrameEvent, FrameSplitter, fixed_length};
pub use crate::unit_spec::UnitSpec;
