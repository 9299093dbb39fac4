//! Reads a recording: header, events in order, each with its line number. Checks everything it can before the first
//! event is used. Does not open files; it is handed the text.

use std::fmt;

use pipeline::Event;
use quantity::Instant;
use wire::script::ScriptCompiler;

use crate::line::{LineEvent, RecordingHeader, VERSION, VERSION_OLDEST};
use crate::senml;

/// A recording, read and checked.
#[derive(Debug)]
pub struct Recording {
    /// The first line.
    pub header: RecordingHeader,
    /// The settings the round had.
    pub settings: judge::round::Settings,
    /// Events in order.
    pub events: Vec<Recorded>,
    /// True when the last line was cut off in the middle (the recorder was stopped hard); that line is left out.
    pub cut_off: bool,
}

/// One event with its place.
#[derive(Debug)]
pub struct Recorded {
    /// 1-based line.
    pub line: usize,
    /// When.
    pub at: Instant,
    /// What; `None` for other rules coming into force.
    pub event: Option<Event>,
}

/// What is wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadError {
    /// 1-based line.
    pub line: usize,
    /// What and why.
    pub message: String,
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.message)
    }
}

impl std::error::Error for ReadError {}

/// Reads a recording. Blank lines are skipped; a line that is an array is a SenML pack. `scripts` makes the decode scripts
/// of its profiles ready.
///
/// # Errors
/// [`ReadError`] with the line: not JSON, an unknown key or event, a value that cannot be, time running backwards. Only
/// a last line without its line end that is no whole JSON is forgiven, and told by [`Recording::cut_off`].
pub fn read(text: &str, scripts: &dyn ScriptCompiler) -> Result<Recording, ReadError> {
    let mut lines = text.split_inclusive('\n').enumerate().filter(|(_, line)| !line.trim().is_empty());
    let (number, first) = lines.next().ok_or_else(|| fault(1, "the recording is empty"))?;
    let header: RecordingHeader = serde_json::from_str(first).map_err(|e| {
        fault(
            number + 1,
            &format!(
                "not the header of a recording ({e}); it begins {{\"cliplead_recording\":{VERSION},...}}"
            ),
        )
    })?;
    if !(VERSION_OLDEST..=VERSION).contains(&header.cliplead_recording) {
        let found = header.cliplead_recording;
        return Err(fault(
            number + 1,
            &format!(
                "recording version {found} is not known here (this program reads {VERSION_OLDEST} to {VERSION})"
            ),
        ));
    }
    let settings = header.settings().map_err(|why| fault(number + 1, &why))?;
    let mut recording = Recording { header, settings, events: Vec::new(), cut_off: false };
    let mut last = Instant::ZERO;
    let mut joined: Vec<String> = Vec::new();
    for (index, line) in lines {
        let number = index + 1;
        let value: serde_json::Value = match serde_json::from_str(line) {
            Ok(value) => value,
            Err(_) if !line.ends_with('\n') => {
                recording.cut_off = true;
                break;
            }
            Err(error) => return Err(fault(number, &format!("not JSON: {error}"))),
        };
        let events = events_of(value, scripts).map_err(|why| fault(number, &why))?;
        for (at, event) in events {
            known_device(event.as_ref(), &mut joined).map_err(|why| fault(number, &why))?;
            if at < last {
                let (at, last) = (at.seconds(), last.seconds());
                return Err(fault(number, &format!("time runs backwards: {at} s after {last} s")));
            }
            last = at;
            recording.events.push(Recorded { line: number, at, event });
        }
    }
    Ok(recording)
}

/// Bytes of a device that has not joined would be dropped without a word.
fn known_device(event: Option<&Event>, joined: &mut Vec<String>) -> Result<(), String> {
    match event {
        Some(Event::Joined { device, .. }) => joined.push(device.clone()),
        Some(Event::Bytes { device, .. }) if !joined.contains(device) => {
            return Err(format!(
                "device {device:?} has not joined; a line with \"event\":\"joined\" must come before its bytes"
            ));
        }
        _ => {}
    }
    Ok(())
}

fn events_of(
    value: serde_json::Value,
    scripts: &dyn ScriptCompiler,
) -> Result<Vec<(Instant, Option<Event>)>, String> {
    if value.is_array() {
        let readings = senml::pack(&value).map_err(|e| format!("SenML: {e}"))?;
        let event = |(device, reading): (String, quantity::Reading)| {
            (reading.at, Some(Event::Round(judge::round::Event::Reading { device, reading })))
        };
        return Ok(readings.into_iter().map(event).collect());
    }
    let line: LineEvent = serde_json::from_value(value).map_err(|e| e.to_string())?;
    let t = line.time_us();
    if t < 0 {
        return Err(format!("t is {t}; time counts microseconds from the start"));
    }
    Ok(vec![(Instant::from_micros(t), line.event(scripts)?)])
}

fn fault(line: usize, message: &str) -> ReadError {
    ReadError { line, message: message.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Recording, ReadError> {
        super::read(text, &script::FrameScripts)
    }

    const HEAD: &str = "{\"cliplead_recording\":1}\n";

    fn error(rest: &str) -> String {
        read(&format!("{HEAD}{rest}")).unwrap_err().to_string()
    }

    #[test]
    fn reads_events_in_order_with_their_lines() {
        let text = format!(
            "{HEAD}\n{}\n{}\n{}\n",
            r#"{"t":5,"event":"arm","unit":"RTU-07","component":"fan 1 capacitor","rule":"run-capacitor","plate":{"capacitance":"40 uF"}}"#,
            r#"{"t":9,"event":"confirm","hold_point":"locked out"}"#,
            r#"[{"bn":"urn:dev:cliplead:meter:","t":0.5,"n":"capacitance","u":"F","v":3.94e-05,"shown":"39.40 uF"}]"#,
        );
        let recording = read(&text).unwrap();
        let places: Vec<(usize, i64)> = recording.events.iter().map(|e| (e.line, e.at.micros())).collect();
        assert_eq!(places, [(3, 5), (4, 9), (5, 500_000)]);
    }

    #[test]
    fn says_what_and_where() {
        assert!(read("").unwrap_err().to_string().contains("empty"));
        assert!(read("{}").unwrap_err().to_string().contains("line 1"));
        assert!(read("{\"cliplead_recording\":9}").unwrap_err().to_string().contains("version 9"));
        assert!(error("nonsense\n").starts_with("line 2: not JSON"));
        assert!(error("{\"t\":1,\"event\":\"teleport\"}\n").contains("teleport"));
        assert!(error("{\"t\":1,\"event\":\"gap\",\"device\":\"m\",\"why\":1}\n").contains("why"));
        assert!(error("{\"t\":1,\"event\":\"bytes\",\"device\":\"m\",\"hex\":\"4z\"}\n").contains("hex"));
        assert!(
            error("{\"t\":5,\"event\":\"finish\"}\n{\"t\":4,\"event\":\"finish\"}\n")
                .contains("line 3: time runs backwards")
        );
        assert!(
            error("{\"t\":1,\"event\":\"bytes\",\"device\":\"m\",\"text\":\"x\"}\n")
                .contains("has not joined")
        );
        assert!(error("{\"t\":-5,\"event\":\"finish\"}\n").contains("t is -5"));
        let plate =
            r#"{"t":1,"event":"arm","unit":"a","component":"b","rule":"c","plate":{"capacitance":"40uf"}}"#;
        assert!(error(&format!("{plate}\n")).contains("did you mean \"uF\""));
    }

    #[test]
    fn a_line_cut_off_by_a_crash_costs_only_itself() {
        let recording = read(&format!("{HEAD}{{\"t\":1,\"event\":\"finish\"}}\n{{\"t\":2,\"eve")).unwrap();
        assert!(recording.cut_off);
        assert_eq!(recording.events.len(), 1);
    }

    proptest::proptest! {
        #[test]
        fn never_panics(text in "(\\PC|\n){0,200}") {
            let _ = read(&format!("{HEAD}{text}"));
        }

        #[test]
        fn answers_come_back_as_they_were(number in proptest::option::of(proptest::num::u32::ANY), yes: bool) {
            let event = Event::Round(judge::round::Event::Answer { question: number, yes });
            let line = serde_json::to_string(&LineEvent::of(7, &event).unwrap()).unwrap();
            // Without a number the line is the one that older programs wrote.
            proptest::prop_assert_eq!(number.is_none(), line == format!("{{\"event\":\"answer\",\"t\":7,\"yes\":{yes}}}"));
            let recording = read(&format!("{HEAD}{line}\n")).unwrap();
            proptest::prop_assert_eq!(format!("{:?}", recording.events[0].event), format!("{:?}", Some(event)));
        }

        #[test]
        fn bytes_come_back_as_they_were(data in proptest::collection::vec(proptest::num::u8::ANY, 0..64)) {
            let line = LineEvent::bytes(7, "meter", &data);
            let joined = "{\"t\":0,\"event\":\"joined\",\"device\":\"meter\"}";
            let text = format!("{HEAD}{joined}\n{}\n", serde_json::to_string(&line).unwrap());
            match &read(&text).unwrap().events[1].event {
                Some(Event::Bytes { data: back, .. }) => proptest::prop_assert_eq!(back, &data),
                other => proptest::prop_assert!(false, "{:?}", other),
            }
        }
    }
}
