//! What a check still waits for, said on stderr once it has lasted. The round gives the reason in words, with figures that
//! change from reading to reading; here each reason is told once a contact. Decides nothing.

use std::time::Duration;

use crate::clock::Moment;

/// A reason is told when it has lasted so long: a meter that is quick needs no words.
const LASTED: Duration = Duration::from_secs(2);
/// The round's words for leads in the air.
const NO_CONTACT: &str = "no contact";
/// Reasons remembered as told; a contact has fewer.
const TOLD_MAX: usize = 8;

/// The reason of the moment, and those that were told.
#[derive(Debug, Default)]
pub(super) struct Waits {
    now: Option<(String, Moment)>,
    told: Vec<String>,
}

impl Waits {
    /// Takes the reason as it stands, empty while nothing settles. Gives what to say.
    pub(super) fn look(&mut self, reason: &str, now: Moment) -> Option<String> {
        // Leads that hang in the air wait for a hand, and the prompt says so.
        if reason.is_empty() || reason == NO_CONTACT {
            *self = Self::default();
            return None;
        }
        let kind = kind(reason);
        let since = match &self.now {
            Some((same, since)) if *same == kind => *since,
            _ => {
                self.now = Some((kind, now));
                return None;
            }
        };
        if now.since(since) < LASTED || self.told.contains(&kind) || self.told.len() >= TOLD_MAX {
            return None;
        }
        self.told.push(kind);
        Some(format!("    waits: {}", record::plain(without_count(reason))))
    }
}

/// The reason without its figures, which change all the while.
fn kind(reason: &str) -> String {
    without_count(reason).chars().filter(|c| !c.is_ascii_digit() && !matches!(c, '.' | '+' | '-')).collect()
}

/// Without the guess how many readings are left, which would be old before it is read.
fn without_count(reason: &str) -> &str {
    reason.split_once("; about ").map_or(reason, |(reason, _)| reason)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: u64) -> Moment {
        Moment(Duration::from_millis(ms))
    }

    /// What was said, by the second, of a reason for each 200 ms.
    fn said(reasons: impl Iterator<Item = (u64, String)>) -> Vec<(u64, String)> {
        let mut waits = Waits::default();
        reasons.filter_map(|(ms, reason)| Some((ms, waits.look(&reason, at(ms))?))).collect()
    }

    #[test]
    fn a_reason_is_told_once_when_it_has_lasted_whatever_its_figures() {
        let reasons = (0..50).map(|n| {
            (
                200 * n,
                format!("still warming {}.{} °F a minute; about {} more readings", 3 + n % 2, n % 10, 60 - n),
            )
        });
        assert_eq!(said(reasons), [(2_000, "    waits: still warming 3.0 °F a minute".to_owned())]);
    }

    #[test]
    fn what_passes_quickly_is_not_told() {
        let reasons = (0..50).map(|n| (200 * n, if n % 8 < 4 { "it jumps" } else { "it drifts" }.to_owned()));
        assert_eq!(said(reasons), []);
    }

    #[test]
    fn each_reason_of_a_contact_is_told_once_and_again_at_the_next_contact() {
        let reason = |n| match n / 15 {
            0 | 2 => "it drifts",
            1 => "it jumps",
            3 => "no contact",
            _ => "it drifts",
        };
        let told: Vec<_> = said((0..75).map(|n| (200 * n, reason(n).to_owned())))
            .into_iter()
            .map(|(_, said)| said)
            .collect();
        assert_eq!(told, ["    waits: it drifts", "    waits: it jumps", "    waits: it drifts"]);
    }

    #[test]
    fn no_contact_tells_more_than_a_few_lines() {
        let reasons = (0..1_000).map(|n| (200 * n, "x".repeat(usize::try_from(n / 15).unwrap() + 1)));
        assert_eq!(said(reasons).len(), TOLD_MAX);
    }
}
