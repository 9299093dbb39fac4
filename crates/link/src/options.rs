//! How a device is opened: line settings, silence time, queue size, pace. Holds the valid ranges and the errors that
//! state them.

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

/// The most bytes in one [`crate::LinkEvent::Bytes`].
pub const CHUNK_BYTES_MAX: usize = 4096;

/// Data bits of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DataBits {
    /// 5
    Five,
    /// 6
    Six,
    /// 7
    Seven,
    /// 8
    #[default]
    Eight,
}

/// Parity of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Parity {
    /// No parity bit: `N`.
    #[default]
    None,
    /// `O`
    Odd,
    /// `E`
    Even,
}

/// Stop bits of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum StopBits {
    /// 1
    #[default]
    One,
    /// 2
    Two,
}

/// The settings of a serial line. As text: `9600 8N1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LineSettings {
    /// Bits per second, 50 to 4 000 000.
    pub baud: u32,
    /// Data bits.
    pub data_bits: DataBits,
    /// Parity.
    pub parity: Parity,
    /// Stop bits.
    pub stop_bits: StopBits,
    /// The level of DTR after opening. Optical meter cables often draw their power from it. `None` leaves it to the
    /// driver.
    pub dtr: Option<bool>,
    /// The level of RTS after opening.
    pub rts: Option<bool>,
}

/// The lowest and highest baud rate accepted.
const BAUD: (u32, u32) = (50, 4_000_000);

impl Default for LineSettings {
    /// `9600 8N1`, with DTR and RTS left to the driver.
    fn default() -> Self {
        Self {
            baud: 9600,
            data_bits: DataBits::Eight,
            parity: Parity::None,
            stop_bits: StopBits::One,
            dtr: None,
            rts: None,
        }
    }
}

impl fmt::Display for LineSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let data = match self.data_bits {
            DataBits::Five => '5',
            DataBits::Six => '6',
            DataBits::Seven => '7',
            DataBits::Eight => '8',
        };
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Odd => 'O',
            Parity::Even => 'E',
        };
        let stop = match self.stop_bits {
            StopBits::One => '1',
            StopBits::Two => '2',
        };
        write!(f, "{} {data}{parity}{stop}", self.baud)
    }
}

impl FromStr for LineSettings {
    type Err = OptionFault;

    fn from_str(text: &str) -> Result<Self, OptionFault> {
        let fault = || OptionFault::LineText { text: text.chars().take(40).collect() };
        let (baud, mode) = text.trim().split_once(' ').ok_or_else(fault)?;
        let mut mode = mode.trim_start().chars();
        let (Some(data), Some(parity), Some(stop), None) =
            (mode.next(), mode.next(), mode.next(), mode.next())
        else {
            return Err(fault());
        };
        if !baud.bytes().all(|b| b.is_ascii_digit()) {
            return Err(fault());
        }
        let settings = Self {
            baud: baud.parse().map_err(|_| fault())?,
            data_bits: match data {
                '5' => DataBits::Five,
                '6' => DataBits::Six,
                '7' => DataBits::Seven,
                '8' => DataBits::Eight,
                _ => return Err(fault()),
            },
            parity: match parity {
                'N' => Parity::None,
                'O' => Parity::Odd,
                'E' => Parity::Even,
                _ => return Err(fault()),
            },
            stop_bits: match stop {
                '1' => StopBits::One,
                '2' => StopBits::Two,
                _ => return Err(fault()),
            },
            ..Self::default()
        };
        settings.validate()?;
        Ok(settings)
    }
}

impl LineSettings {
    /// The settings in a profile's `[link]` table. Destructured without `..`, so that a new key of the table cannot
    /// be forgotten here.
    ///
    /// # Errors
    /// A number out of range, which a loaded profile does not have.
    pub fn of(hints: &wire::LinkHints) -> Result<Self, OptionFault> {
        let wire::LinkHints { kind: wire::LinkKind::Serial, baud, data_bits, parity, stop_bits, dtr, rts } =
            *hints;
        let settings = Self {
            baud,
            data_bits: match data_bits {
                5 => DataBits::Five,
                6 => DataBits::Six,
                7 => DataBits::Seven,
                8 => DataBits::Eight,
                bits => return Err(OptionFault::DataBits { bits }),
            },
            parity: match parity {
                wire::Parity::None => Parity::None,
                wire::Parity::Odd => Parity::Odd,
                wire::Parity::Even => Parity::Even,
            },
            stop_bits: match stop_bits {
                wire::StopBits::One => StopBits::One,
                wire::StopBits::Two => StopBits::Two,
            },
            dtr,
            rts,
        };
        settings.validate()?;
        Ok(settings)
    }

    fn validate(&self) -> Result<(), OptionFault> {
        if (BAUD.0..=BAUD.1).contains(&self.baud) {
            Ok(())
        } else {
            Err(OptionFault::Baud { baud: self.baud })
        }
    }
}

/// How fast a finite source is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pace {
    /// As fast as the reader accepts data.
    #[default]
    Whole,
    /// About this many bytes per second, 1 to 10 000 000.
    BytesPerSecond(u32),
}

/// Everything that can be chosen when a link is opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenOptions {
    /// Settings of a serial line; other adapters ignore them.
    pub line: LineSettings,
    /// A live device that sends nothing for this long counts as lost and is reopened; 50 ms to 1 h. `None`: never.
    /// For a polled device, only replies count; leave time for a few of them.
    pub silence: Option<Duration>,
    /// The most bytes that can wait for the reader, 8192 to 16 MiB.
    pub queue_bytes: usize,
    /// How fast a file is read.
    pub pace: Pace,
}

impl Default for OpenOptions {
    /// `9600 8N1`, 5 s of silence, 64 KiB queue, full speed.
    fn default() -> Self {
        Self {
            line: LineSettings::default(),
            silence: Some(Duration::from_secs(5)),
            queue_bytes: 64 * 1024,
            pace: Pace::Whole,
        }
    }
}

impl OpenOptions {
    /// Validates every option.
    ///
    /// # Errors
    /// The first option out of range, with its range.
    pub fn validate(&self) -> Result<(), OptionFault> {
        self.line.validate()?;
        if let Some(silence) = self.silence
            && !(Duration::from_millis(50)..=Duration::from_secs(3600)).contains(&silence)
        {
            return Err(OptionFault::Silence { silence });
        }
        if !(2 * CHUNK_BYTES_MAX..=16 * 1024 * 1024).contains(&self.queue_bytes) {
            return Err(OptionFault::Queue { bytes: self.queue_bytes });
        }
        match self.pace {
            Pace::BytesPerSecond(rate) if !(1..=10_000_000).contains(&rate) => {
                Err(OptionFault::Pace { rate })
            }
            _ => Ok(()),
        }
    }
}

/// An option out of its range.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum OptionFault {
    /// Line settings that cannot be parsed.
    LineText {
        /// The text, at most 40 characters of it.
        text: String,
    },
    /// The baud rate.
    Baud {
        /// As given.
        baud: u32,
    },
    /// The data bits.
    DataBits {
        /// As given.
        bits: u8,
    },
    /// The silence time.
    Silence {
        /// As given.
        silence: Duration,
    },
    /// The queue size.
    Queue {
        /// As given.
        bytes: usize,
    },
    /// The pace.
    Pace {
        /// As given.
        rate: u32,
    },
}

impl fmt::Display for OptionFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LineText { text } => write!(
                f,
                "line settings '{}' cannot be read; write the baud rate, data bits, parity N, O or E, and stop bits, like 9600 8N1",
                text.escape_debug()
            ),
            Self::Baud { baud } => write!(f, "baud rate {baud} is outside {} to {}", BAUD.0, BAUD.1),
            Self::DataBits { bits } => write!(f, "{bits} data bits are outside 5 to 8"),
            Self::Silence { silence } => write!(f, "silence time {silence:?} is outside 50 ms to 1 h"),
            Self::Queue { bytes } => write!(f, "queue of {bytes} bytes is outside 8192 bytes to 16 MiB"),
            Self::Pace { rate } => write!(f, "pace {rate} is outside 1 to 10000000 bytes a second"),
        }
    }
}

impl std::error::Error for OptionFault {}
