//! How a device of a class is usually reached. Opens nothing; the link crate uses it.

/// Kind of link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinkKind {
    /// A serial port.
    Serial,
}

/// Parity of a serial link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parity {
    /// None.
    None,
    /// Odd.
    Odd,
    /// Even.
    Even,
}

/// Stop bits of a serial link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopBits {
    /// One.
    One,
    /// Two.
    Two,
}

/// Settings of a serial link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LinkHints {
    /// Kind of link.
    pub kind: LinkKind,
    /// Bits per second, 50 to 4,000,000.
    pub baud: u32,
    /// Data bits, 5 to 8.
    pub data_bits: u8,
    /// Parity.
    pub parity: Parity,
    /// Stop bits.
    pub stop_bits: StopBits,
    /// DTR to set after opening; some opto cables are powered by it.
    pub dtr: Option<bool>,
    /// RTS to set after opening.
    pub rts: Option<bool>,
}
