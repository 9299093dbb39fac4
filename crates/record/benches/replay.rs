//! What a replay costs: `cargo bench -p record --bench replay [-- READINGS [FILE]]`. Plays a made-up recording as `cliplead
//! replay` does: read once to check it and once to play it. A bench meter sends ten lines a second; every 100 readings another
//! capacitor is clipped on, settles, is judged, and is followed until its leads come off. With FILE the recording is written
//! there and not played, to be timed with `cliplead replay FILE`. No times are asserted.

#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use std::fmt::Write as _;
use std::io::BufReader;
use std::path::Path;
use std::time::Instant as Clock;

use judge::rule::RuleSet;
use record::replay::{self, ReplayOutput};
use record::{LineEvent, ReadError, RecordingHeader, VerdictJson};
use visit::act::{Act, By};
use visit::round;

const HOLD_POINTS: [&str; 5] = ["locked out", "leads proved", "proved dead", "discharged", "one lead off"];
/// Readings of each part: leads in the air, then on the part.
const OPEN: u32 = 12;
const ON_THE_PART: u32 = 88;
/// Microseconds from reading to reading.
const APART_US: i64 = 100_000;
/// Nameplate values in uF.
const PLATES: [f64; 7] = [10.0, 12.5, 15.0, 25.0, 35.0, 40.0, 45.0];
/// Of the true values about the plate's, and of one reading in uF: standard deviations.
const PARTS_SD: f64 = 0.04;
const READING_SD: f64 = 0.005;

/// A small generator, so that each run plays the same recording.
struct Random(u64);

impl Random {
    /// From 0 to below 1.
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).unwrap_or(0)) / 4_294_967_296.0
    }

    /// About normal, of deviation 1: twelve even ones added up.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// The recording as text.
struct Tape {
    text: String,
    t: i64,
}

impl Tape {
    /// The time first, as the recorder writes it.
    fn event(&mut self, event: &LineEvent) {
        let (t, line) = (event.time_us(), record::to_line(event));
        let rest = line.strip_prefix('{').unwrap().replacen(&format!(",\"t\":{t}"), "", 1);
        writeln!(self.text, "{{\"t\":{t},{rest}").unwrap();
    }

    fn reading(&mut self, value: f64) {
        self.t += APART_US;
        let frame = format!("CAP {value:>7.2} {:5} {:4}\r\n", "uF", "");
        self.event(&LineEvent::bytes(self.t, "meter", frame.as_bytes()));
    }
}

fn recording(readings: u32) -> String {
    let mut tape = Tape { text: record::to_line(&RecordingHeader::of(&round::Settings::default())), t: 0 };
    tape.text.push('\n');
    let profile = Some(read("hardware-notes/generic-line-meter/profile.toml"));
    tape.event(&LineEvent::Joined { t: 0, device: "meter".to_owned(), profile, typed: false });
    let mut random = Random(7);
    for number in 0..readings.div_ceil(OPEN + ON_THE_PART) {
        part(&mut tape, number, &mut random);
    }
    tape.event(&LineEvent::End { t: tape.t + APART_US });
    tape.text
}

fn part(tape: &mut Tape, number: u32, random: &mut Random) {
    let rated = PLATES[number as usize % PLATES.len()];
    tape.event(&LineEvent::Arm {
        t: tape.t + 1,
        unit: format!("RTU-{:02}", number % 50),
        component: format!("C{number}"),
        rule: "run-capacitor".to_owned(),
        plate: [("capacitance".to_owned(), format!("{rated} uF"))].into(),
        bind: [].into(),
        supply: None,
        separate_control: false,
        capacitor_bus: false,
        circuit: None,
        serves: None,
    });
    for name in HOLD_POINTS {
        tape.event(&LineEvent::Act {
            t: tape.t + 2,
            act: Act::Confirm { hold_point: name.to_owned() },
            by: By::Unsaid,
        });
    }
    (0..OPEN).for_each(|_| tape.reading(0.0));
    let worth = rated * (1.0 + PARTS_SD * random.normal());
    let (begun_s, tau_s) = (0.1 * random.even(), 0.15 + 0.3 * random.even());
    for index in 0..ON_THE_PART {
        let left = (-(begun_s + 0.1 * f64::from(index)) / tau_s).exp();
        tape.reading((worth * (1.0 - left) + READING_SD * random.normal()).max(0.0));
    }
}

/// A file of the repository.
fn read(path: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(path)).expect(path)
}

fn rules() -> RuleSet {
    let text = read("rules/capacitors/run-capacitor.rhai");
    let loader = script::RuleSetLoader::new(script::Limits::default());
    loader.load([("run-capacitor.rhai", text.as_str())]).expect("a shipped rule").set
}

/// Plays it; counts readings, verdicts, what followed them, and the bytes of the lines that a replay prints.
fn play(text: &str, set: &RuleSet) -> [usize; 4] {
    let (mut verdicts, mut followed, mut bytes) = (0, 0, 0);
    let mut count = |heard: &ReplayOutput<'_>| {
        match heard {
            ReplayOutput::Verdict(verdict) => {
                verdicts += 1;
                bytes += VerdictJson::from(*verdict).line().len();
            }
            ReplayOutput::FollowUp(json, _) => {
                followed += 1;
                bytes += json.line().len();
            }
            ReplayOutput::OtherRules
            | ReplayOutput::RulesChanged(_)
            | ReplayOutput::Refused(..)
            | ReplayOutput::StillWaits(..) => {}
        }
        Ok::<(), ReadError>(())
    };
    let source = BufReader::new(text.as_bytes());
    let pipeline = replay::play(source, &script::FrameScripts, set, &mut count).unwrap();
    let readings: u64 = pipeline.devices().map(|(_, device)| device.readings()).sum();
    [usize::try_from(readings).unwrap(), verdicts, followed, bytes]
}

fn main() {
    let arguments: Vec<String> =
        std::env::args().skip(1).filter(|argument| !argument.starts_with("--")).collect();
    let readings = arguments.first().and_then(|argument| argument.parse().ok()).unwrap_or(100_000);
    let text = recording(readings);
    if let Some(path) = arguments.get(1) {
        std::fs::write(path, &text).expect("the file can be written");
        return;
    }
    let set = rules();
    let start = Clock::now();
    replay::validate(BufReader::new(text.as_bytes()), &script::FrameScripts).unwrap();
    let checked = start.elapsed();
    let [readings, verdicts, followed, bytes] = play(&text, &set);
    let all = start.elapsed();
    println!(
        "{readings} readings, {verdicts} verdicts, {followed} figures and amendments, {bytes} bytes of lines"
    );
    println!(
        "{:.3} s, {:.2} us a reading; of it {:.3} s to check the lines",
        all.as_secs_f64(),
        1e6 * all.as_secs_f64() / f64::from(u32::try_from(readings).unwrap_or(u32::MAX)),
        checked.as_secs_f64()
    );
}
