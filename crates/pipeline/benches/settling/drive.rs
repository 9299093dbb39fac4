//! One stream through [`Pipeline::step`], and the same frames through a fixed window. Prints nothing.

use judge::limits::Word;
use judge::rule::RuleSet;
use pipeline::{Event, Output, Pipeline};
use quantity::{Instant, State};
use visit::act::Act;
use visit::round::{self, Settings};
use visit::verdict::PointReading;
use wire::Profile;

use super::setups::{Open, Oracle};
use super::streams::{Frame, Stream};

/// Longest contact.
const CONTACT_S: f64 = 400.0;
/// How long the contact is held for the figure after the word.
const FIGURE_S: f64 = 200.0;
/// The fixed window.
const WINDOW: usize = 16;

/// How one method fared on one stream.
#[derive(Clone, Debug, Default)]
pub(crate) struct Outcome {
    /// Seconds from contact to the word; `None`: no word.
    pub(crate) wait_s: Option<f64>,
    /// Pass for fail or fail for pass.
    pub(crate) turned: bool,
    /// Another word than the settled value's, by an error above one count.
    pub(crate) other: bool,
    /// The same, and the truth lies outside the interval that came with it.
    pub(crate) false_word: bool,
    /// The truth lies outside the interval that came with the word.
    pub(crate) missed: bool,
    /// A completed figure was given, after so long, and whether the truth lies within its U (k = 2).
    pub(crate) figure: Option<(f64, bool)>,
    /// What was said in place of a word.
    pub(crate) reason: Option<String>,
    /// A wrong word that was taken back while the contact lasted.
    pub(crate) amended: bool,
}

/// Runs a stream through the product.
pub(crate) fn product(mut stream: Stream, rules: &RuleSet, profile: &Profile, oracle: &Oracle) -> Outcome {
    let mut pipeline = Pipeline::new(rules.clone(), Settings::default());
    let start_s = stream.line.before_s + 1.0;
    #[allow(clippy::cast_possible_truncation)]
    let instant = |t_s: f64| Instant::from_micros(((t_s + start_s) * 1e6) as i64);
    let kind = pipeline::meter(profile.clone());
    let _ = pipeline.step(Event::Joined { device: "meter".into(), kind }, Instant::ZERO);
    let plan = Box::new(stream.setup.plan());
    let _ = pipeline.step(Event::Round(round::Event::Arm(plan)), Instant::ZERO);
    let hold_points = rules.find(stream.setup.rule).expect("a rule").header().hold_points.clone();
    for hold_point in hold_points {
        let _ = pipeline.step(Event::Round(round::Event::from(Act::Confirm { hold_point })), Instant::ZERO);
    }
    let mut outcome = Outcome::default();
    loop {
        let t_s = loop {
            if let Some(Frame { t_s, reading }) = stream.next_frame() {
                let data = wire::simulate::encode(profile, &[reading]).expect("a frame");
                let bytes = Event::Bytes { device: "meter".into(), data };
                let mut out = pipeline.step(bytes, instant(t_s));
                // A question that the leads do not answer by themselves.
                if let Some((number, text)) = pipeline.round().question()
                    && t_s > 5.0
                {
                    if std::env::var("ASK").is_ok() {
                        println!("{t_s} {text}");
                    }
                    let answer = round::Event::from(Act::Answer { question: Some(number), yes: true });
                    out.extend(pipeline.step(Event::Round(answer), instant(t_s)));
                }
                for stamped in out {
                    note(&mut outcome, stamped.output, t_s, &stream, oracle);
                }
                break t_s;
            }
        };
        let waited = outcome.wait_s.is_some_and(|word_s| t_s > word_s + FIGURE_S);
        if outcome.figure.is_some() || outcome.reason.is_some() || waited || t_s > CONTACT_S {
            return outcome;
        }
    }
}

fn note(outcome: &mut Outcome, output: Output, t_s: f64, stream: &Stream, oracle: &Oracle) {
    let verdict = match output {
        Output::Round(round::Output::Verdict(verdict)) => verdict,
        Output::Round(round::Output::Completed { reading, .. }) => {
            outcome.figure = Some((t_s, figure_holds(&reading, stream.body.now(t_s))));
            return;
        }
        Output::Round(round::Output::Amended { .. }) => {
            outcome.amended = true;
            return;
        }
        _ => return,
    };
    let settled = stream.body.settled(t_s);
    let Some(reading) = verdict.readings.first().filter(|_| verdict.word != Word::NoVerdict) else {
        outcome.reason = Some(verdict.reason.map_or_else(String::new, |reason| reason.to_string()));
        return;
    };
    let word = oracle.word(settled);
    outcome.wait_s = Some(t_s);
    outcome.turned = turned(word, verdict.word);
    let off = (reading.quantity.value() - settled).abs() > stream.setup.step();
    outcome.other = word != verdict.word && off;
    outcome.missed = !holds(reading, settled);
    outcome.false_word = outcome.other && outcome.missed;
    if reading.settled {
        outcome.figure = Some((t_s, figure_holds(reading, stream.body.now(t_s))));
    }
}

fn figure_holds(figure: &PointReading, now: f64) -> bool {
    (figure.quantity.value() - now).abs() <= 2.0 * figure.quantity.standard_uncertainty()
}

/// Whether the interval that comes with a reading holds this value.
fn holds(reading: &PointReading, value: f64) -> bool {
    reading.at_least.is_none_or(|low| low <= value) && reading.at_most.is_none_or(|high| value <= high)
}

fn turned(a: Word, b: Word) -> bool {
    matches!((a, b), (Word::Pass, Word::Fail) | (Word::Fail, Word::Pass))
}

/// The fixed window: settled once the last 16 readings span at most 2 display steps + 0.5 % of their mean, which is the
/// value. Open leads and a held display empty it.
pub(crate) fn fixed(mut stream: Stream, oracle: &Oracle) -> Outcome {
    let mut window: Vec<f64> = Vec::new();
    let step = stream.setup.step();
    loop {
        let Some(Frame { t_s, reading }) = stream.next_frame() else { continue };
        if t_s > CONTACT_S {
            return Outcome::default();
        }
        let open = |value: f64| stream.setup.open == Open::Zero && value.abs() <= 3.0 * step;
        match reading.state {
            State::Value(shown) if reading.flags.is_live() && !open(shown.to_f64()) => {
                window.push(shown.to_f64());
            }
            _ => window.clear(),
        }
        if window.len() > WINDOW {
            window.remove(0);
        }
        if window.len() < WINDOW {
            continue;
        }
        let mean = window.iter().sum::<f64>() / WINDOW as f64;
        let low = window.iter().copied().fold(f64::INFINITY, f64::min);
        let high = window.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if high - low <= 2.0 * step + 0.005 * mean.abs() + 1e-9 {
            let settled = stream.body.settled(t_s);
            let (word, given) = (oracle.word(settled), oracle.word(mean));
            let off = (mean - settled).abs();
            let within = (mean - stream.body.now(t_s)).abs() <= 2.0 * oracle.u(mean);
            return Outcome {
                wait_s: Some(t_s),
                turned: turned(word, given),
                other: word != given && off > step,
                false_word: word != given && off > step,
                missed: off > step,
                figure: Some((t_s, within)),
                reason: None,
                amended: false,
            };
        }
    }
}
