//! The kit of whoever looks at bytes before there is a profile for them (crate `learn`): the framers, numbers, checksums, units and
//! figures that decoding itself uses, so that what is learned is decoded the same. Holds the choice alone.

pub use crate::cutter::{Cutter, Piece, fixed_length};
pub use crate::decode::pattern::trim;
pub use crate::frame::line::LINE_BYTES_MAX;
pub use crate::glyph::{DIGITS_MAX, GLYPHS, Glyph, SEGMENTS};
pub use crate::tools::Stored;
pub use crate::unit_word::UnitWord;
