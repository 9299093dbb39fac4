//! What the seven segments of a digit show. Does not know the positions of their bits in a frame.

/// The most digits of a display.
pub const DIGITS_MAX: usize = 8;

/// Segments of a digit: a is the top, then clockwise b to f, g in the middle. The letters are common practice.
pub const SEGMENTS: [&str; 7] = ["a", "b", "c", "d", "e", "f", "g"];

/// What a digit shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Glyph {
    /// Nothing lit.
    Blank,
    /// 0 to 9.
    Digit(u8),
    /// The second letter of an overload, `0L`.
    L,
    /// The middle segment alone.
    Dash,
}

/// Which segments form which digit, bit 0 for `a`. The simulator sends the first of several. Displays differ in 6, 7
/// and 9. Common practice, no source.
pub const GLYPHS: [(u8, Glyph); 16] = [
    (0b000_0000, Glyph::Blank),
    (0b011_1111, Glyph::Digit(0)),
    (0b000_0110, Glyph::Digit(1)),
    (0b101_1011, Glyph::Digit(2)),
    (0b100_1111, Glyph::Digit(3)),
    (0b110_0110, Glyph::Digit(4)),
    (0b110_1101, Glyph::Digit(5)),
    (0b111_1101, Glyph::Digit(6)),
    (0b111_1100, Glyph::Digit(6)),
    (0b000_0111, Glyph::Digit(7)),
    (0b010_0111, Glyph::Digit(7)),
    (0b111_1111, Glyph::Digit(8)),
    (0b110_1111, Glyph::Digit(9)),
    (0b110_0111, Glyph::Digit(9)),
    (0b011_1000, Glyph::L),
    (0b100_0000, Glyph::Dash),
];
