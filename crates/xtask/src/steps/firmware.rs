//! The step that runs all shipped rules on an emulated microcontroller, over all recordings and all cases beside the rules, and
//! compares what it prints with what the product prints on this machine, byte for byte.
//! Does not hold the firmware; that is the crate in `crates/firmware`.

mod cases;
mod compare;
mod image;
mod tally;

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, bail, ensure};

use crate::context::Context;
use crate::process::{Run, apt_install, is_installed, last_lines, processors, rustup_target, side_by_side};
use crate::steps::no_std::THUMB;
use crate::summary::Outcome;
use compare::RunOutput;
use tally::Tally;

const QEMU: &str = "qemu-system-arm";
/// A board of QEMU's with a Cortex-M4; its memories stand in `crates/firmware/memory.x`.
const MACHINE: &[&str] =
    &["-machine", "mps2-an386", "-display", "none", "-monitor", "none", "-serial", "null"];
/// How long one recording may take; some seconds are usual, most of them for compiling the rules.
const LIMIT: Duration = Duration::from_secs(120);
/// Where the recordings stand.
const FOLDERS: &[&str] = &["demo-data", "tests/it/fixtures/recordings"];

pub(crate) fn firmware(context: &Context) -> Result<Outcome> {
    if let Err(reason) = prepare() {
        let why = format!("NO RULE RAN ON A MICROCONTROLLER: {reason:#}");
        println!("{why}");
        return Ok(Outcome::NotRun(why));
    }
    let cliplead = context.build_cliplead()?;
    let image = build(context)?;
    let flash = image::flash_bytes(&std::fs::read(&image)?).context("the firmware is no ELF of 32 bits")?;
    let made = context.target.join("firmware/cases.jsonl");
    let cases = cases::write(&context.root, &made)?;
    let started = Instant::now();
    let mut tally = Tally::default();
    println!("{}", Tally::HEAD);
    let recorded = recordings(&context.root)?;
    // The cases first: they take the longest.
    let all = [&[made.to_string_lossy().into_owned()], recorded.as_slice()].concat();
    // The emulator takes one processor.
    let said = side_by_side(&all, processors(), |recording| {
        Ok((on_host(context, &cliplead, recording)?, on_board(context, &image, recording)?))
    });
    let mut said = said.into_iter().collect::<Result<Vec<(RunOutput, RunOutput)>>>()?.into_iter();
    let (here, board) = said.next().context("nothing was run")?;
    ensure!(here.lines() >= cases, "{cases} cases gave {} verdicts: {}", here.lines(), here.stderr);
    println!("{}", tally.row("the cases beside the rules", &here, &board));
    for (recording, (here, board)) in recorded.iter().zip(said) {
        let recorded_round = recording.starts_with("demo-data");
        ensure!(!recorded_round || here.lines() > 0, "{recording} gave no verdict to compare");
        println!("{}", tally.row(recording, &here, &board));
    }
    ensure!(tally.differ.is_empty(), "the board says something else:\n{}", tally.differ.join("\n"));
    let seconds = started.elapsed().as_secs_f64();
    Ok(Outcome::Passed(format!("{}; flash {flash} bytes; {seconds:.0} s in all", tally.words())))
}

/// The emulator and Rust's libraries for the board.
fn prepare() -> Result<()> {
    if !is_installed(QEMU) {
        apt_install(&[QEMU]).context("QEMU could not be installed")?;
        ensure!(is_installed(QEMU), "Debian's package brought no {QEMU}");
    }
    rustup_target(THUMB).with_context(|| format!("the target {THUMB} could not be installed"))
}

/// The firmware, in its workspace and with its own lock file.
fn build(context: &Context) -> Result<PathBuf> {
    let folder = context.root.join("crates/firmware");
    let mut args = vec!["build", "--release", "--target", THUMB];
    if context.options.locked {
        args.push("--locked");
    }
    let target = context.target.join("firmware");
    let run = Run::cargo(&args).in_dir(&folder).env("CARGO_TARGET_DIR", &target);
    run.check().context(
        "if its Cargo.lock is behind: copy the product's over it and build it once, so that both have the same versions",
    )?;
    Ok(target.join(THUMB).join("release/firmware"))
}

/// All recordings, by their paths below the root.
fn recordings(root: &Path) -> Result<Vec<String>> {
    let mut found = Vec::new();
    let mut folders: Vec<PathBuf> = FOLDERS.iter().map(PathBuf::from).collect();
    while let Some(folder) = folders.pop() {
        let listed = std::fs::read_dir(root.join(&folder));
        for entry in listed.with_context(|| format!("{} cannot be read", folder.display()))? {
            let below = folder.join(entry?.file_name());
            if root.join(&below).is_dir() {
                folders.push(below);
                continue;
            }
            let name = below.to_string_lossy().into_owned();
            if name.ends_with(".jsonl") && !name.ends_with("/expected.jsonl") {
                found.push(name);
            }
        }
    }
    found.sort();
    ensure!(!found.is_empty(), "there is no recording");
    Ok(found)
}

fn on_host(context: &Context, cliplead: &Path, recording: &str) -> Result<RunOutput> {
    let run = Run::new(cliplead, &["replay", recording, "--format", "json"]).in_dir(&context.root);
    Ok(RunOutput::of(run.output()?))
}

fn on_board(context: &Context, image: &Path, recording: &str) -> Result<RunOutput> {
    // QEMU parts its options at commas; two stand for one.
    let hosting = format!("enable=on,target=native,arg=firmware,arg={}", recording.replace(',', ",,"));
    let mut args: Vec<OsString> = MACHINE.iter().map(OsString::from).collect();
    args.extend(["-semihosting-config".into(), hosting.into(), "-kernel".into(), image.into()]);
    let Some(output) = Run::new(QEMU, &args).in_dir(&context.root).output_within(LIMIT)? else {
        bail!("{recording}: the board did not end within {} s", LIMIT.as_secs());
    };
    let said = last_lines(&output.stderr, 8);
    ensure!(compare::peak(&said).is_some(), "{recording}: the board ended with {}:\n{said}", output.status);
    Ok(RunOutput::of(output))
}
