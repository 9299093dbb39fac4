//! The product's heart on a microcontroller: all shipped rules, recordings from the machine that emulates the board, and what
//! `cliplead replay --format json` prints, byte for byte. Talk and figures go to the other stream.
//! Does not drive hardware; it shows that the heart needs none of an operating system.
#![no_std]
#![no_main]

extern crate alloc;

mod file;
mod heap;
mod stack;

use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString as _};
use alloc::vec::Vec;
use core::error::Error;
use core::mem::MaybeUninit;

use cortex_m_rt::{ExceptionFrame, entry, exception};
use judge::rule::RuleSet;
use record::VerdictJson;
use record::replay::{self, ReplayOutput};
use script::{FrameScripts, Limits, RuleSetLoader};
use semihosting::experimental::env;
use semihosting::io::Write as _;
use semihosting::{eprintln, io, process};

use crate::file::File;

include!(concat!(env!("OUT_DIR"), "/rules.rs"));

/// 1 MiB. Nearly all of it holds the rules as they were compiled.
const HEAP_BYTES: usize = 1024 * 1024;
/// Bytes of all arguments together.
const ARGUMENT_BYTES: usize = 1024;

#[global_allocator]
static HEAP: heap::Heap = heap::Heap::empty();

#[entry]
fn main() -> ! {
    static mut MEMORY: [MaybeUninit<u8>; HEAP_BYTES] = [MaybeUninit::uninit(); HEAP_BYTES];
    HEAP.give(MEMORY);
    let done = run();
    if let Err(why) = &done {
        eprintln!("{why}");
    }
    let (heap, stack) = (HEAP.peak_bytes(), stack::peak_bytes());
    eprintln!("peak: heap {heap} of {HEAP_BYTES} bytes, stack {stack} bytes");
    process::exit(if done.is_ok() { 0 } else { 2 })
}

/// Replays the recordings that the arguments name.
fn run() -> Result<(), String> {
    let arguments = env::args::<ARGUMENT_BYTES>().map_err(|error| format!("no arguments: {error}"))?;
    let mut paths = Vec::new();
    for path in (&arguments).skip(1) {
        paths.push(path.map_err(|error| format!("an argument is no text: {error}"))?);
    }
    if paths.is_empty() {
        return Err("name a recording".to_string());
    }
    for path in &paths {
        let left_out =
            replay::validate(open(path)?, &FrameScripts).map_err(|why| format!("{path}: {why}"))?;
        left_out.words(path).for_each(|words| eprintln!("{words}"));
    }
    let rules = rules()?;
    let mut out = io::stdout().map_err(|error| format!("no stdout: {error}"))?;
    for path in paths {
        let mut print = |heard: &ReplayOutput<'_>| -> Result<(), Box<dyn Error>> {
            let mut line = match heard {
                ReplayOutput::Verdict(verdict) => VerdictJson::from(*verdict).line(),
                ReplayOutput::FollowUp(json, _) => json.line(),
                ReplayOutput::OtherRules
                | ReplayOutput::RulesChanged(_)
                | ReplayOutput::Refused(..)
                | ReplayOutput::StillWaits(..) => return Ok(()),
            };
            line.push('\n');
            out.write_all(line.as_bytes())
                .map_err(|error| format!("stdout cannot be written: {error}").into())
        };
        let played = replay::play(open(path)?, &FrameScripts, &rules, &mut print);
        played.map_err(|why| format!("{path}: {why}"))?;
    }
    Ok(())
}

fn open(path: &str) -> Result<File, String> {
    File::open(path).map_err(|error| format!("{path}: cannot be opened: {error}"))
}

/// The shipped rules, compiled here.
fn rules() -> Result<RuleSet, String> {
    let loaded = RuleSetLoader::new(Limits::default()).load(RULES.iter().copied());
    match loaded {
        Ok(loaded) => Ok(loaded.set),
        Err(problems) => Err(problems.iter().map(|problem| format!("{problem}\n")).collect()),
    }
}

/// A fault of the processor, as after a stack that ran over: said, not hung.
#[exception]
#[allow(unsafe_code, reason = "the handler's signature is the runtime's")]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    eprintln!("the processor faulted: {frame:?}");
    process::exit(3)
}
