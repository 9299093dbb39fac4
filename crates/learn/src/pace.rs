//! The time of one conversion, measured on a recording: the longest run of equal readings while the value moves. A
//! meter sends its display many times between two measurements, and taking each frame for a new measurement means
//! judging too early. Does not guess: a value that did not move long enough gives no result.
//!
//! A run counts if the value entered and left it by a real step ([`STEP_COUNTS`]), so that it can contain only one
//! conversion; if a person did not see it stand on the display; if no frame before, in or after it was lost; and if
//! it is no longer than [`LONGEST_S`]. The longest such run counts, rounded up: too long a time costs a wait, too
//! short a time costs a wrong verdict.

use quantity::{Decimal, Duration, Instant, Reading, State};

use crate::Observation;

/// A step of this many of the last digit means that the value moves; a smaller one may be flicker of a steady value.
/// Our own choice.
const STEP_COUNTS: f64 = 3.0;
/// The least number of runs. Our own choice.
const RUNS_MIN: usize = 5;
/// A value that lasts longer is held, not converted. The slowest hand-held meters convert about once a second (from
/// memory).
const LONGEST_S: f64 = 3.0;
/// A pause of this many usual intervals between two frames means a lost frame.
const LOST_SPANS: i64 = 3;

/// The measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Pace {
    /// The longest conversion seen, rounded up.
    conversion_s: f64,
    /// How many complete conversions were seen.
    runs: usize,
}

/// Equal readings in a row.
struct Run {
    shown: Decimal,
    reading: Reading,
    last: Instant,
    /// A person saw it stand on the display.
    stood: bool,
}

impl Run {
    /// Whether the value moves on from here to `next`: by a real step in the same range, with no frame lost between.
    fn moves_to(&self, next: &Self, lost: Duration) -> bool {
        let (a, b) = (&self.reading, &next.reading);
        let same = a.display.unit == b.display.unit
            && a.display.coupling == b.display.coupling
            && a.flags == b.flags;
        let step = self.shown.resolution();
        let steps = same && (next.shown.resolution() - step).abs() < 1e-9 * step;
        steps
            && (next.shown.to_f64() - self.shown.to_f64()).abs() >= (STEP_COUNTS - 1e-6) * step
            && b.at.since(self.last) < lost
    }
}

/// Measures the conversion time on the readings of a profile; `None` if the value did not move long enough.
pub(crate) fn measure(readings: &[Reading], seen: &[Observation]) -> Option<Pace> {
    let mut found: Vec<f64> = Vec::new();
    let mut channels: Vec<u8> = readings.iter().map(|reading| reading.channel).collect();
    channels.sort_unstable();
    channels.dedup();
    for channel in channels {
        let of: Vec<&Reading> = readings.iter().filter(|reading| reading.channel == channel).collect();
        let lost = usual_span(&of);
        let runs = runs(&of, if channel == 0 { seen } else { &[] }, lost);
        found.extend(runs.windows(3).filter_map(|three| {
            let [Some(before), Some(run), Some(next)] = three else { return None };
            let whole = before.moves_to(run, lost) && run.moves_to(next, lost);
            let spans = next.reading.at.since(run.reading.at).seconds();
            (whole && !run.stood && spans <= LONGEST_S).then_some(spans)
        }));
    }
    let longest = found.iter().copied().reduce(f64::max)?;
    (found.len() >= RUNS_MIN && longest > 0.0)
        .then(|| Pace { conversion_s: rounded_up(longest), runs: found.len() })
}

/// Runs of equal readings; `None` where the display showed no number or frames are missing.
fn runs(readings: &[&Reading], seen: &[Observation], lost: Duration) -> Vec<Option<Run>> {
    let mut runs: Vec<Option<Run>> = Vec::new();
    for reading in readings {
        let State::Value(shown) = reading.state else {
            runs.push(None);
            continue;
        };
        let within = |o: &&Observation| reading.at >= o.from && reading.at <= o.to;
        let stood = seen.iter().filter(within).any(|observation| observation.shown.is(reading));
        match runs.last_mut() {
            Some(Some(run)) if reading.at.since(run.last) >= lost => {
                runs.push(None);
                runs.push(Some(Run { shown, reading: **reading, last: reading.at, stood }));
            }
            Some(Some(run)) if run.shown == shown && run.reading.display.unit == reading.display.unit => {
                (run.last, run.stood) = (reading.at, run.stood || stood);
            }
            _ => runs.push(Some(Run { shown, reading: **reading, last: reading.at, stood })),
        }
    }
    runs
}

/// The pause that means a lost frame: a few usual intervals between two readings, from the median.
fn usual_span(readings: &[&Reading]) -> Duration {
    let pairs = readings.iter().zip(readings.iter().skip(1));
    // Frames that came in one piece have one time, which says nothing of the pace.
    let mut spans: Vec<i64> =
        pairs.map(|(a, b)| b.at.since(a.at).micros()).filter(|span| *span > 0).collect();
    spans.sort_unstable();
    let median = spans.get(spans.len() / 2).copied().unwrap_or(0);
    Duration::from_micros(median.saturating_mul(LOST_SPANS).max(1))
}

/// Rounded up to two digits.
fn rounded_up(seconds: f64) -> f64 {
    let hundredths = seconds < 0.1;
    let step = if hundredths { 0.001 } else { 0.01 };
    let steps = libm::ceil(seconds / step - 1e-6);
    let text = if hundredths { format!("{:.3}", steps * step) } else { format!("{:.2}", steps * step) };
    text.parse().unwrap_or(seconds)
}

impl Pace {
    /// The line of the profile, with how it was measured.
    pub(crate) fn line(self) -> String {
        format!(
            "conversion_s = {:?}              # measured: the longest of {} runs of equal readings while the value moved\n",
            self.conversion_s, self.runs
        )
    }
}

/// The remark if it could not be measured.
pub(crate) fn not_measured() -> String {
    "the conversion time of the display: the value did not move long enough while it was recorded. Verdicts wait for the \
     slowest display of the kind until the profile states conversion_s: record again while the value moves for some \
     seconds, or copy it from the manual"
        .into()
}
