//! The functions of decode scripts: numbers, bits and text of the frame, and what it shows. Holds no operators and no
//! analysis of the script. To add a function: an entry of `FRAME_FUNCTIONS`, its registration here, a row in the note
//! of `hardware-notes/generic-scripted-meter`. `ChecksumWork` counts the cost of one that takes more than a step.

use alloc::format;
use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::any::TypeId;
use core::sync::atomic::{AtomicU32, Ordering};

use quantity::{Decimal, Flags, Sign, State};
use rhai::{Dynamic, Engine, ImmutableString, NativeCallContext};
use wire::script::{
    CHECKSUM_NAMES, FLAG_NAMES, NumberEncoding, SCRIPT_READINGS_MAX, ScriptOutput, ScriptReading, checksum,
    display_float, figure, set_flag, unit,
};
use wire::{Field, Reason};

use super::numbers::kind_of;
use super::values::{Bytes, FrameResult};
use crate::diagnostic::did_you_mean;
use crate::run::{HostError, refuse};

/// A function of decode scripts, as documentation lists it.
#[derive(Clone, Copy, Debug)]
pub struct FrameFunction {
    /// Its signature; `u8` stands for every number encoding.
    pub signature: &'static str,
    /// The possible numbers of arguments.
    pub(super) takes: &'static [usize],
    /// What it does.
    pub doc: &'static str,
}

/// Every function a decode script may call, in the order it needs them.
pub const FRAME_FUNCTIONS: &[FrameFunction] = &[
    FrameFunction {
        signature: "u8(frame, at)",
        takes: &[2],
        doc: "The number at this byte, the first being 0. Also i8, and u16, i16, u24, i24, u32, i32, f32 with le (low byte \
              first) or be: i16le(frame, 4).",
    },
    FrameFunction {
        signature: "bit(frame, byte, bit)",
        takes: &[3],
        doc: "Whether the bit is set; bit 0 is the lowest.",
    },
    FrameFunction { signature: "length(frame)", takes: &[1], doc: "How many bytes the frame has." },
    FrameFunction {
        signature: "text(frame, from, to)",
        takes: &[3],
        doc: "The bytes from..to (to is the first not taken) as text, without the blanks around; 64 at most, printable ASCII.",
    },
    FrameFunction {
        signature: "bcd(frame, from, to)",
        takes: &[3],
        doc: "The bytes from..to as decimal digits, two in a byte, the high half first; 9 at most.",
    },
    FrameFunction {
        signature: "checksum(kind, frame, from, to)",
        takes: &[4],
        doc: "The checksum over the bytes from..to, as a number: \"sum8\", \"xor8\", \"sum16le\", \"sum16be\", \
              \"crc16modbus\". Compare it with what the frame says, and refuse(\"checksum\") where it differs.",
    },
    FrameFunction {
        signature: "figure(segments)",
        takes: &[1],
        doc: "What seven lit segments show (bit 0 is a, at the top, then clockwise; bit 6 is g, in the middle): 0 to 9, -1 \
              for a blank, -2 for L, -3 for a dash. Anything else fails the frame.",
    },
    FrameFunction { signature: "abs(a)", takes: &[1], doc: "The whole number without its sign." },
    FrameFunction {
        signature: "reading(channel, number, exponent, unit)",
        takes: &[4, 3],
        doc: "Shows a number on a channel, 0 to 255. A whole number counts the last digit, whose power of ten is the exponent: \
              reading(0, 3852, -2, \"uF\") shows 38.52 uF. A number with decimals is rounded to that digit. A text is shown as \
              it stands, without exponent: reading(0, text(frame, 4, 11), \"V ac\").",
    },
    FrameFunction {
        signature: "overload(channel, unit)",
        takes: &[2, 3],
        doc: "Shows an overload; overload(channel, unit, -1) the one below the range.",
    },
    FrameFunction {
        signature: "no_value(channel, unit)",
        takes: &[2],
        doc: "Shows that there is nothing to measure, such as no probe.",
    },
    FrameFunction {
        signature: "flag(shown, word)",
        takes: &[2],
        doc: "The same with a flag: \"hold\", \"low_battery\", \"relative\", \"min_max\", \"ignore\".",
    },
    FrameFunction {
        signature: "all_of(shown, shown, ...)",
        takes: &[2, 3, 4, 5, 6, 7, 8],
        doc: "Several channels of one frame.",
    },
    FrameFunction {
        signature: "refuse(what)",
        takes: &[1],
        doc: "Shows nothing, and says what was not understood: \"value\", \"unit\", \"function\", \"flag\", \"channel\", \
              \"exponent\", \"checksum\".",
    },
    FrameFunction {
        signature: "ignored()",
        takes: &[0],
        doc: "The frame is sound and holds nothing to read, such as the device's name.",
    },
];

/// The reasons that `refuse` accepts.
pub(super) const REFUSALS: [(&str, Reason); 7] = [
    ("value", Reason::Undecodable(Field::Value)),
    ("unit", Reason::Undecodable(Field::Unit)),
    ("function", Reason::Undecodable(Field::Mode)),
    ("flag", Reason::Undecodable(Field::Flags)),
    ("channel", Reason::Undecodable(Field::Channel)),
    ("exponent", Reason::Undecodable(Field::Exponent)),
    ("checksum", Reason::Checksum),
];

/// The most bytes covered by the checksums of one call.
const CHECKED_BYTES_MAX: u32 = 16 * 1024;
const TEXT_BYTES_MAX: usize = 64;
/// Two digits each; ten would exceed 64 bits.
const BCD_BYTES_MAX: usize = 9;
/// The most arguments of `all_of`.
const ALL_OF_MAX: usize = 8;

/// Bytes covered by checksums so far, carried as the tag of a call.
#[derive(Clone)]
pub(super) struct ChecksumWork(pub(super) Arc<AtomicU32>);

/// The names of all functions, with their numbers of arguments.
pub(super) fn names() -> impl Iterator<Item = (&'static str, &'static [usize])> {
    let stored = NumberEncoding::all().into_iter().map(|(name, _)| (name, &[2][..]));
    FRAME_FUNCTIONS.iter().map(|f| (f.signature.split('(').next().unwrap_or_default(), f.takes)).chain(stored)
}

/// What is wrong with a word as argument `place` of a function; `Ok` if any word is possible.
pub(super) fn check_word(function: &str, place: usize, takes: usize, word: &str) -> Result<(), String> {
    let one_of = |known: &[&str]| {
        if known.contains(&word) {
            return Ok(());
        }
        let hint = did_you_mean(word, known.iter().copied());
        Err(format!("{function} takes {}, not {word:?}{hint}", known.join(", ")))
    };
    match (function, place) {
        ("reading", place) if place + 1 == takes => unit(word).map(|_| ()),
        ("overload" | "no_value", 1) => unit(word).map(|_| ()),
        ("flag", 1) => one_of(&FLAG_NAMES),
        ("checksum", 0) => one_of(&CHECKSUM_NAMES),
        ("refuse", 0) => one_of(&REFUSALS.map(|(known, _)| known)),
        _ => Ok(()),
    }
}

pub(super) fn register(engine: &mut Engine) {
    register_bytes(engine);
    register_shown(engine);
}

fn register_bytes(engine: &mut Engine) {
    for (name, stored) in NumberEncoding::all() {
        if stored.is_float() {
            engine.register_fn(name, move |frame: Bytes, at: i64| {
                index(at).and_then(|byte| stored.float(&frame.0, byte)).ok_or_else(|| beyond(&frame, at))
            });
        } else {
            engine.register_fn(name, move |frame: Bytes, at: i64| {
                index(at).and_then(|byte| stored.integer(&frame.0, byte)).ok_or_else(|| beyond(&frame, at))
            });
        }
    }
    engine.register_fn("bit", |frame: Bytes, at: i64, bit: i64| {
        let byte = index(at).and_then(|at| frame.0.get(at)).ok_or_else(|| beyond(&frame, at))?;
        if !(0..8).contains(&bit) {
            return Err(refuse(format!("a byte has the bits 0 to 7, not {bit}")));
        }
        Ok(byte >> bit & 1 == 1)
    });
    engine.register_fn("length", |frame: Bytes| i64::try_from(frame.0.len()).unwrap_or(i64::MAX));
    engine.register_fn("text", |frame: Bytes, from: i64, to: i64| {
        let bytes = slice(&frame, from, to, TEXT_BYTES_MAX)?;
        let plain = bytes.iter().all(|byte| matches!(byte, b' '..=b'~'));
        let text = core::str::from_utf8(bytes).ok().filter(|_| plain);
        let text = text.ok_or_else(|| refuse(format!("the bytes {from} to {to} are no plain text")))?;
        Ok::<_, HostError>(ImmutableString::from(text.trim_matches(' ')))
    });
    engine.register_fn("bcd", |frame: Bytes, from: i64, to: i64| {
        let bytes = slice(&frame, from, to, BCD_BYTES_MAX)?;
        bytes.iter().flat_map(|byte| [byte >> 4, byte & 0xF]).try_fold(0_i64, |number, digit| {
            if digit > 9 {
                return Err(refuse(format!("the bytes {from} to {to} are no decimal digits")));
            }
            Ok(number * 10 + i64::from(digit))
        })
    });
    engine.register_fn(
        "checksum",
        |context: NativeCallContext<'_>, kind: ImmutableString, frame: Bytes, from: i64, to: i64| {
            let bytes = slice(&frame, from, to, usize::MAX)?;
            if let Some(spent) = context.tag().and_then(Dynamic::read_lock::<ChecksumWork>) {
                let more = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
                if spent.0.fetch_add(more, Ordering::Relaxed) > CHECKED_BYTES_MAX {
                    return Err(refuse("checksums over too many bytes for one frame"));
                }
            }
            let sum = checksum(&kind, bytes).map(i64::from);
            sum.ok_or_else(|| {
                refuse(format!("no checksum is named {kind:?}; known here: {}", CHECKSUM_NAMES.join(", ")))
            })
        },
    );
    engine.register_fn("figure", |segments: i64| {
        let shown = u8::try_from(segments).ok().and_then(figure);
        shown.map(i64::from).ok_or_else(|| refuse(format!("the segments {segments} show no figure")))
    });
    engine.register_fn("abs", |a: i64| a.checked_abs().ok_or_else(|| refuse("this number is too great")));
}

fn register_shown(engine: &mut Engine) {
    engine.register_fn("reading", |channel: i64, counts: i64, exponent: i64, unit: ImmutableString| {
        let exponent = power(exponent)?;
        let number = Decimal::new(counts, exponent);
        let state =
            number.map(State::Value).ok_or_else(|| refuse("this number is too great for a display"))?;
        one(channel, Ok(state), &unit)
    });
    engine.register_fn("reading", |channel: i64, value: f64, exponent: i64, unit: ImmutableString| {
        one(channel, display_float(value, power(exponent)?), &unit)
    });
    engine.register_fn("reading", |channel: i64, text: ImmutableString, unit: ImmutableString| {
        let digits = text.bytes().all(|b| b.is_ascii_digit() || b"+-.".contains(&b));
        let number = Decimal::parse(&text).ok().filter(|_| digits);
        one(channel, number.map(State::Value).ok_or(Reason::Undecodable(Field::Value)), &unit)
    });
    engine.register_fn("overload", |channel: i64, unit: ImmutableString| {
        one(channel, Ok(State::Overload(Sign::Positive)), &unit)
    });
    engine.register_fn("overload", |channel: i64, unit: ImmutableString, sign: i64| {
        one(channel, Ok(State::Overload(if sign < 0 { Sign::Negative } else { Sign::Positive })), &unit)
    });
    engine.register_fn("no_value", |channel: i64, unit: ImmutableString| {
        one(channel, Ok(State::NoValue), &unit)
    });
    engine.register_fn("flag", |said: FrameResult, word: ImmutableString| {
        let ScriptOutput::Readings(mut shown) = said.0 else { return Ok(said) };
        for one in shown.iter_mut().flatten() {
            if !set_flag(&mut one.flags, &word) {
                let text = format!("no flag is named {word:?}; known here: {}", FLAG_NAMES.join(", "));
                return Err(refuse(text));
            }
        }
        Ok::<_, HostError>(FrameResult(ScriptOutput::Readings(shown)))
    });
    for count in 2..=ALL_OF_MAX {
        let types = alloc::vec![TypeId::of::<Dynamic>(); count];
        engine.register_raw_fn("all_of", types, |_, arguments| {
            let mut all: Vec<Result<ScriptReading, Reason>> = Vec::new();
            for argument in arguments.iter_mut() {
                match argument.take().try_cast_result::<FrameResult>() {
                    Ok(FrameResult(ScriptOutput::Readings(shown))) => all.extend(shown),
                    Ok(FrameResult(ScriptOutput::Ignored)) => {}
                    Err(other) => {
                        return Err(refuse(format!("all_of takes what is shown, not {}", kind_of(&other))));
                    }
                }
            }
            several(all).map(Dynamic::from)
        });
    }
    engine.register_fn("refuse", |what: ImmutableString| {
        let known = REFUSALS.iter().find(|(known, _)| *known == what.as_str());
        let text =
            || format!("{what:?} cannot be refused; known here: {}", REFUSALS.map(|(k, _)| k).join(", "));
        let (_, reason) = known.ok_or_else(|| refuse(text()))?;
        Ok::<_, HostError>(FrameResult(ScriptOutput::Readings(alloc::vec![Err(*reason)])))
    });
    engine.register_fn("ignored", || FrameResult(ScriptOutput::Ignored));
}

fn several(all: Vec<Result<ScriptReading, Reason>>) -> Result<FrameResult, HostError> {
    if all.len() > SCRIPT_READINGS_MAX {
        return Err(refuse(format!("a frame shows at most {SCRIPT_READINGS_MAX} channels")));
    }
    let channel = |at: usize| all.get(at).and_then(|one| one.as_ref().ok()).map(|shown| shown.channel);
    let twice = (0..all.len())
        .find(|at| channel(*at).is_some() && (0..*at).any(|before| channel(before) == channel(*at)));
    match twice.and_then(channel) {
        Some(channel) => Err(refuse(format!("channel {channel} is shown twice"))),
        None => Ok(FrameResult(ScriptOutput::Readings(all))),
    }
}

fn one(channel: i64, state: Result<State, Reason>, text: &str) -> Result<FrameResult, HostError> {
    let number =
        u8::try_from(channel).map_err(|_| refuse(format!("a channel is 0 to 255, not {channel}")))?;
    let (unit, coupling) = unit(text).map_err(refuse)?;
    let shown =
        state.map(|state| ScriptReading { channel: number, unit, coupling, state, flags: Flags::default() });
    Ok(FrameResult(ScriptOutput::Readings(alloc::vec![shown])))
}

fn power(exponent: i64) -> Result<i8, HostError> {
    let power = i8::try_from(exponent).ok().filter(|power| (-24..=24).contains(power));
    power.ok_or_else(|| refuse(format!("a power of ten is -24 to 24, not {exponent}")))
}

fn index(at: i64) -> Option<usize> {
    usize::try_from(at).ok()
}

fn beyond(frame: &Bytes, at: i64) -> HostError {
    refuse(format!("the frame has {} bytes; byte {at} and what belongs to it lie outside", frame.0.len()))
}

fn slice(frame: &Bytes, from: i64, to: i64, most: usize) -> Result<&[u8], HostError> {
    let range = index(from).zip(index(to)).and_then(|(from, to)| frame.0.get(from..to));
    let bytes = range.ok_or_else(|| {
        refuse(format!("the frame has {} bytes; {from} to {to} are not among them", frame.0.len()))
    })?;
    if bytes.len() > most {
        return Err(refuse(format!("{} bytes are too many here; at most {most}", bytes.len())));
    }
    Ok(bytes)
}
