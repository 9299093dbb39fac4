//! How a class of device is usually connected. Opens nothing; crate `link` uses it.

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

/// Settings of the connection.
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
    /// State of DTR after opening; some optical cables draw their power from it.
    pub dtr: Option<bool>,
    /// State of RTS after opening.
    pub rts: Option<bool>,
}
