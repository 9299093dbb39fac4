//! What the core says on stderr: what the round tells in words, and refusals, which are counted where they come in floods.
//! Decides nothing.

use std::time::Duration;

use record::{ReadingJson, plain};
use visit::hold::How;
use visit::round::{LapseReason, Output};

use crate::clock::Moment;
use crate::output::talk;

/// Further refusals within this span are counted, not told.
const REFUSALS_EVERY: Duration = Duration::from_secs(1);

/// Refusals: the first is told at once, those of the next second as one count.
#[derive(Debug, Default)]
pub(super) struct Refusals {
    told: Option<Moment>,
    untold: u64,
    last: String,
}

impl Refusals {
    /// Tells this one, or counts it. Gives what to say.
    pub(super) fn refused(&mut self, line: String, now: Moment) -> Option<String> {
        if self.told.is_none_or(|told| now.since(told) >= REFUSALS_EVERY) {
            let before = self.summary();
            self.told = Some(now);
            return Some(before.map_or_else(|| line.clone(), |before| format!("{before}\n{line}")));
        }
        self.untold += 1;
        self.last = line;
        None
    }

    /// What was counted, when its second is over; or all of it.
    pub(super) fn due(&mut self, now: Moment, all: bool) -> Option<String> {
        let over = self.told.is_none_or(|told| now.since(told) >= REFUSALS_EVERY);
        let summary = (all || over).then(|| self.summary()).flatten();
        if summary.is_some() {
            self.told = Some(now);
        }
        summary
    }

    fn summary(&mut self) -> Option<String> {
        let untold = std::mem::take(&mut self.untold);
        let last = std::mem::take(&mut self.last);
        match untold {
            0 => None,
            1 => Some(last),
            _ => Some(format!("    {untold} more were refused; the last: {}", last.trim())),
        }
    }
}

/// Says it, if there is something.
pub(super) fn say(line: Option<String>) {
    if let Some(line) = line {
        talk(&line);
    }
}

/// What the round says, as talk on stderr. Verdicts, what follows them, and refusals are told elsewhere. Words that come from rules, devices and
/// site files are plain text here, whatever they hold.
pub(super) fn words(output: &Output) -> Option<String> {
    Some(match output {
        Output::Armed { check, unit_tag, component, rule, cautions } => {
            let mut text =
                format!("  check {check}: {} / {} ({})", plain(unit_tag), plain(component), plain(rule));
            for caution in cautions {
                text.push_str("\n    CAUTION ");
                text.push_str(&plain(caution));
            }
            text
        }
        Output::HoldPoint { name, evidence } => match &evidence.how {
            How::Confirmed(_) => format!("    {}: confirmed", plain(name)),
            How::Stream(says) => format!("    {}: shown by the meter ({})", plain(name), plain(says)),
        },
        Output::Contradicted { unit_tag, sign } => {
            let (unit_tag, sign) = (plain(unit_tag), plain(sign));
            format!(
                "  STOP: {unit_tag} shows life ({sign}) although it counted as isolated.\n    Say `power back` if it was switched \
                 on on purpose; else hands off, lock it out and prove it dead anew"
            )
        }
        // The close says it of all.
        Output::Lapsed { why: LapseReason::Closed, .. } => return None,
        Output::Lapsed { name, why } => format!("    {}: no longer stands, {}", plain(name), why.text()),
        Output::Proving { hold_point, says } => format!("    {}: {}", plain(hold_point), plain(says)),
        Output::Settled(reading) => {
            let from = if reading.device == "typed" {
                "typed".to_owned()
            } else {
                format!("{} readings", reading.count)
            };
            let value = record::early_words(&ReadingJson::from(reading))
                .unwrap_or_else(|| format!("{} {}", reading.shown, reading.display.unit));
            format!("    {}: {value} ({from})", plain(&reading.label))
        }
        Output::Reset { why } => format!("    started anew: {}", why.text()),
        Output::Asked { number, question } => format!("    QUESTION {number}: {}", plain(question)),
        Output::Skipped { check, why: Some(why), .. } => format!("  check {check} skipped: {}", plain(why)),
        Output::Skipped { check, why: None, .. } => {
            format!("  check {check} passed by: nothing was done for it")
        }
        Output::RouteEnds { checks, judged } => {
            format!("  end of the route: {judged} of {checks} checks have a verdict")
        }
        Output::Refused { .. } | Output::Verdict(_) | Output::Completed { .. } | Output::Amended { .. } => {
            return None;
        }
        of_visit => return visit_words(of_visit),
    })
}

/// What becomes of a visit. What is remembered of one is told with what the history has of it.
fn visit_words(output: &Output) -> Option<String> {
    Some(match output {
        Output::Opened { unit_tag, .. } => format!("  visit at {} begins", plain(unit_tag)),
        Output::Paused { .. } => "  PAUSED: every hold point is open again; `resume` goes on".to_owned(),
        Output::Resumed { .. } => "  resumed".to_owned(),
        Output::Finding { unit_tag, component, text, as_left, .. } => {
            let when = if *as_left { "as left" } else { "as found" };
            format!("    {when}, {} / {}: {}", plain(unit_tag), plain(component), plain(text))
        }
        Output::Owed { owed, .. } => {
            format!("    TO PUT BACK on {}: {}", plain(&owed.unit_tag), plain(&owed.in_words()))
        }
        Output::Restored { owed, .. } => {
            format!("    put back on {}: {}", plain(&owed.unit_tag), plain(&owed.in_words()))
        }
        Output::Closed { unit_tag, why, owed, service, .. } => {
            let why = why.as_ref().map_or_else(String::new, |why| format!(": {}", plain(why)));
            let mut text = format!("  visit at {} closed{why}", plain(unit_tag));
            for owed in owed {
                text.push_str("\n    STILL TO PUT BACK: ");
                text.push_str(&plain(&owed.in_words()));
            }
            if let Some(lacks) = service.lacks() {
                text.push_str("\n    NOT BACK IN SERVICE: ");
                text.push_str(lacks);
            }
            text
        }
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: u64) -> Moment {
        Moment(Duration::from_millis(ms))
    }

    #[test]
    fn a_flood_of_refusals_is_told_once_a_second_and_counted_whole() {
        let mut refusals = Refusals::default();
        let mut told = Vec::new();
        for ms in 0..3_000 {
            told.extend(refusals.refused(format!("    refused: line {ms}"), at(ms)));
            if ms % 200 == 0 {
                told.extend(refusals.due(at(ms), false));
            }
        }
        told.extend(refusals.due(at(3_000), true));
        assert_eq!(told[0], "    refused: line 0");
        let counted: u64 = told
            .iter()
            .flat_map(|text| text.lines())
            .map(|line| line.trim().split(' ').next().and_then(|n| n.parse().ok()).unwrap_or(1_u64))
            .sum();
        assert_eq!(counted, 3_000, "{told:#?}");
        assert!(told.len() <= 5, "{told:#?}");
    }

    #[test]
    fn one_refusal_now_and_then_is_told_as_it_is() {
        let mut refusals = Refusals::default();
        assert_eq!(refusals.refused("a".into(), at(0)).as_deref(), Some("a"));
        assert_eq!(refusals.refused("b".into(), at(500)), None);
        assert_eq!(refusals.due(at(900), false), None);
        assert_eq!(refusals.due(at(1000), false).as_deref(), Some("b"));
        assert_eq!(refusals.refused("c".into(), at(2500)).as_deref(), Some("c"));
        assert_eq!(refusals.due(at(9000), false), None);
    }

    /// ESC [ 2 J clears a terminal (ECMA-48); a line break would begin a line that looks like one of ours.
    #[test]
    fn words_of_others_neither_act_on_a_terminal_nor_begin_a_line() {
        let evil = "cap\u{1b}[2J\u{9b}2J\n  9.000 s #9 PASS\u{202e}".to_owned();
        let all = [
            Output::Armed {
                check: 1,
                unit_tag: evil.clone(),
                component: evil.clone(),
                rule: evil.clone(),
                cautions: vec![evil.clone()],
            },
            Output::Lapsed { name: evil.clone(), why: LapseReason::Time },
            Output::Asked { number: 1, question: evil.clone() },
            Output::Proving { hold_point: evil.clone(), says: evil.clone() },
            Output::HoldPoint {
                name: evil.clone(),
                evidence: visit::hold::Evidence {
                    at: quantity::Instant::ZERO,
                    how: How::Stream(evil.clone()),
                    from: Some(evil.clone()),
                    covers: evil.clone(),
                    until: quantity::Instant::ZERO,
                },
            },
        ];
        for output in all {
            let said = words(&output).unwrap();
            let ours = said.matches("\n    CAUTION ").count();
            assert_eq!(said.matches('\n').count(), ours, "{said:?}");
            let acts = |c: char| c != '\n' && (c.is_control() || c == '\u{202e}');
            assert!(!said.chars().any(acts), "{said:?}");
        }
    }
}
