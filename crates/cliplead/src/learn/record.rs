//! Records a meter in pieces, each with what its display showed. Does not interpret the bytes.

use std::time::Duration;

use ::learn::{Conclusion, Displayed, Observation, ProfileHeader, learn};
use anyhow::{Context as _, bail};
use link::{Link, LinkEvent, OpenOptions, Registry};
use quantity::Instant;
use tokio::sync::mpsc;
use wire::stream::Recording;

use super::{Lesson, may_ask};
use crate::cli::LearnOptions;
use crate::links::Stop;
use crate::output::talk;

/// The usual rates of meters, the most usual first (common practice).
const BAUDS: [u32; 8] = [9600, 2400, 19_200, 4800, 1200, 38_400, 57_600, 115_200];

/// Why an aborted lesson has no result.
pub(super) const STOPPED: &str = "stopped; nothing was written";

/// Turns of the runtime in which a port with pending bytes is read and delivers them.
const TURNS: u32 = 4;

/// The most events consumed before an answer; a link holds fewer back.
const WAITING_MAX: u32 = 1024;

/// The most observations of one lesson.
const OBSERVATIONS_MAX: usize = 64;

/// Lines typed on stdin, one pending at most.
type Answers = mpsc::Receiver<std::io::Result<String>>;

/// Reads stdin on a thread of its own, which ends with the program: a missing line blocks nothing.
fn answers() -> Answers {
    let (sender, receiver) = mpsc::channel(1);
    std::thread::spawn(move || {
        for line in std::io::stdin().lines() {
            if sender.blocking_send(line).is_err() {
                return;
            }
        }
    });
    receiver
}

/// A link with the recording of its bytes.
struct Tape {
    link: Box<dyn Link>,
    recording: Recording,
    start: tokio::time::Instant,
    ended: bool,
}

/// Records all pieces of a lesson.
///
/// # Errors
/// When the device cannot be opened, or what was shown cannot be read.
pub(super) async fn lesson(
    options: &LearnOptions,
    registry: &Registry,
    stop: &mut Stop,
) -> anyhow::Result<Lesson> {
    let selector = options.selector.as_deref().context("a selector is needed")?;
    // Wrong words are refused before anybody waits for a recording.
    let told: Vec<Displayed> =
        options.shows.iter().map(|text| Displayed::parse(text)).collect::<Result<_, _>>()?;
    let mut baud = options.baud;
    if options.try_bauds {
        baud = best_baud(selector, options, registry, stop).await?;
    }
    let mut tape = Tape::open(registry, selector, baud)?;
    let seen = if may_ask(options) {
        asked(&mut tape, options, stop).await?
    } else {
        let mut seen = Vec::new();
        for shown in told {
            talk(&format!("the display is taken to show {:?} now", shown.text()));
            let (from, to) = tape.record(options, stop).await?;
            seen.push(Observation { from, to, shown });
        }
        seen
    };
    let link = if selector.starts_with("serial:") {
        format!("[link]                          # as recorded\nkind = \"serial\"\nbaud = {baud}\n")
    } else {
        String::new()
    };
    Ok(Lesson { recording: tape.recording, seen, link, captured: true })
}

/// The rate at which text, a checksum or counted places come out, and most of it sound. Regular frames alone prove a rate only
/// where no other rate has them: at half or twice the right one a steady display looks regular too.
async fn best_baud(
    selector: &str,
    options: &LearnOptions,
    registry: &Registry,
    stop: &mut Stop,
) -> anyhow::Result<u32> {
    let head = ProfileHeader { id: "learned-meter", title: "", link: "" };
    talk("Change what the display shows all the while: at a wrong rate a steady one looks regular too.");
    let mut found: Vec<(bool, usize, u32)> = Vec::new();
    for baud in BAUDS {
        let mut tape = Tape::open(registry, selector, baud)?;
        tape.record(options, stop).await?;
        let learned = learn(head, &tape.recording, &[]);
        let words = learned.hypotheses.first();
        let intact = words.map_or(0, |h| h.intact * 100 / (h.intact + h.damaged).max(1));
        talk(&format!(
            "{baud} baud: {} bytes, {}",
            tape.recording.len(),
            words.map_or("fits nothing".into(), |h| format!("{}; {intact} % sound", h.words))
        ));
        if let Some(h) = words.filter(|_| intact > 0) {
            found.push((h.distinctive, intact, baud));
        }
    }
    chosen(&found)
}

/// The best of the rates that fit: each with whether its shape is distinctive, and the share of intact frames.
fn chosen(found: &[(bool, usize, u32)]) -> anyhow::Result<u32> {
    let Some((distinctive, intact, baud)) =
        found.iter().max_by_key(|(distinctive, intact, _)| (*distinctive, *intact))
    else {
        bail!("at none of the usual baud rates the bytes fit lines or frames; is the meter set to send?")
    };
    let rivals: Vec<String> = found
        .iter()
        .filter(|(other, its, _)| !distinctive && !other && its + 10 >= *intact)
        .map(|(.., baud)| baud.to_string())
        .collect();
    if rivals.len() > 1 {
        bail!(
            "regular frames without a checksum come at {} baud alike; say --baud with the rate of the meter's manual, or try \
             again while the display changes by a lot",
            rivals.join(", ")
        )
    }
    talk(&format!("goes on with {baud} baud"));
    Ok(*baud)
}

/// Records, asks, and repeats until there is no answer.
async fn asked(tape: &mut Tape, options: &LearnOptions, stop: &mut Stop) -> anyhow::Result<Vec<Observation>> {
    let mut seen: Vec<Observation> = Vec::new();
    let mut answers = answers();
    while seen.len() < OBSERVATIONS_MAX {
        talk("Hold the display steady.");
        let (from, to) = tape.record(options, stop).await?;
        let shown = loop {
            talk("What did the display show? (\"12.46 uF\", \"OL\", \"12.46 uF hold\"; empty: no more)");
            let Some(text) = tape.answer(&mut answers, stop).await? else { return Ok(seen) };
            if text.trim().is_empty() {
                return Ok(seen);
            }
            match Displayed::parse(&text) {
                Ok(shown) => break shown,
                Err(error) => talk(&format!("{error}")),
            }
        };
        seen.push(Observation { from, to, shown });
        let head = ProfileHeader { id: "learned-meter", title: "", link: "" };
        match learn(head, &tape.recording, &seen).outcome {
            Conclusion::Profile { .. } => {
                talk(
                    "One profile fits all that was shown so far. More values and functions make it read more.",
                );
            }
            Conclusion::Ask(what) | Conclusion::Nothing(what) => talk(&format!("Not yet: {what}")),
        }
        if tape.ended {
            talk("The device has ended.");
            return Ok(seen);
        }
        talk("Change the value or the function, wait until it stands still, press Enter. (done: no more)");
        match tape.answer(&mut answers, stop).await? {
            Some(text) if text.trim() != "done" => {}
            _ => return Ok(seen),
        }
    }
    talk(&format!("{OBSERVATIONS_MAX} observations are the most that are taken"));
    Ok(seen)
}

impl Tape {
    fn open(registry: &Registry, selector: &str, baud: u32) -> anyhow::Result<Self> {
        let mut options = OpenOptions { silence: None, ..OpenOptions::default() };
        options.line.baud = baud;
        options.validate().map_err(|fault| anyhow::anyhow!("{fault}"))?;
        let link = registry.open(selector, &options)?;
        Ok(Self { link, recording: Recording::new(), start: tokio::time::Instant::now(), ended: false })
    }

    fn now(&self) -> Instant {
        Instant::from_micros(i64::try_from(self.start.elapsed().as_micros()).unwrap_or(i64::MAX))
    }

    fn take(&mut self, event: Option<LinkEvent>) {
        let at = self.now();
        match event {
            Some(LinkEvent::Bytes(bytes)) => self.recording.push(at, &bytes),
            Some(LinkEvent::Gap(why)) => {
                talk(&format!("gap: {why}"));
                self.recording.gap(at);
            }
            Some(LinkEvent::State(state)) => talk(&format!("{state}")),
            Some(_) => {}
            None => self.ended = true,
        }
    }

    /// Records for the requested time, or until the requested bytes arrived or the device ended; returns when that
    /// was.
    async fn record(
        &mut self,
        options: &LearnOptions,
        stop: &mut Stop,
    ) -> anyhow::Result<(Instant, Instant)> {
        let from = self.now();
        let before = self.recording.len() + self.recording.left_out();
        let end = tokio::time::Instant::now() + Duration::from_secs(options.seconds);
        let mut second = tokio::time::interval(Duration::from_secs(1));
        let most = usize::try_from(options.bytes)?;
        let got = |tape: &Self| tape.recording.len() + tape.recording.left_out() - before;
        while got(self) < most && !self.ended {
            tokio::select! {
                biased;
                asked = stop.asked() => { asked?; bail!(STOPPED); }
                // Before the bytes: a device that never pauses does not make it longer.
                () = tokio::time::sleep_until(end) => break,
                _ = second.tick() => {
                    let left = end.saturating_duration_since(tokio::time::Instant::now()).as_secs();
                    talk(&format!("recording: {} bytes, {left} s left", got(self)));
                }
                event = self.link.next() => self.take(event),
            }
        }
        Ok((from, self.now()))
    }

    /// Consumes the bytes that arrived earlier: they belong to the previous display, not to the next recording.
    async fn take_what_came(&mut self) {
        let a_few_turns = || async {
            for _ in 0..TURNS {
                tokio::task::yield_now().await;
            }
        };
        for _ in 0..WAITING_MAX {
            tokio::select! {
                biased;
                event = self.link.next(), if !self.ended => self.take(event),
                () = a_few_turns() => return,
            }
        }
    }

    /// The next line that somebody types, while recording continues; `None` if nobody will.
    async fn answer(&mut self, answers: &mut Answers, stop: &mut Stop) -> anyhow::Result<Option<String>> {
        loop {
            tokio::select! {
                biased;
                asked = stop.asked() => { asked?; bail!(STOPPED); }
                line = answers.recv() => {
                    self.take_what_came().await;
                    return Ok(line.transpose()?);
                }
                event = self.link.next(), if !self.ended => self.take(event),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::chosen;

    #[test]
    fn a_rate_is_chosen_by_what_tells_it_and_never_among_equals() {
        assert_eq!(chosen(&[(false, 100, 9600), (true, 93, 19_200)]).ok(), Some(19_200));
        assert_eq!(chosen(&[(true, 60, 9600), (true, 93, 2400), (false, 100, 1200)]).ok(), Some(2400));
        assert_eq!(chosen(&[(false, 40, 9600), (false, 95, 2400)]).ok(), Some(2400));
        let equals = chosen(&[(false, 95, 9600), (false, 100, 2400)]).unwrap_err().to_string();
        assert!(equals.contains("9600, 2400 baud alike"), "{equals}");
        assert!(chosen(&[]).unwrap_err().to_string().contains("at none of the usual"));
    }
}
