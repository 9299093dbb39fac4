//! What a person should see of the round now. Decides nothing.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Instant;

use super::{Check, CheckView, Owed, Phase, Progress, Round, View};
use crate::hold::Power;

/// What is to be done while the visit is paused.
const PAUSED: &str = "The visit is paused. Resume it to go on; every hold point is open again.";

impl Round {
    /// The picture at `now`, which should not be earlier than the last step.
    #[must_use]
    pub fn view(&self, now: Instant) -> View {
        let now = now.max(self.now);
        let check = self.check.as_ref();
        let settling = |check: &Check| self.live.device().map(|device| check.settling_text(device));
        View {
            check: check.map(|check| {
                let asks = check.phase() == Phase::HoldPoints;
                let hold_points = self.ledger.views(asks, check.proof_says(), now);
                let picture = check.view(hold_points, &self.settings);
                match self.prompt() {
                    Some(prompt) => CheckView { prompt, ..picture },
                    None => picture,
                }
            }),
            live: self.live.view(check.and_then(settling).unwrap_or_default(), now),
            verdict: check.and_then(|check| check.verdict(now)),
            amendment_changes: check.map_or(0, Check::amendment_changes),
            amendment_is_live: check.is_some_and(|check| check.amendment_is_live(now)),
            paused: self.paused,
            route_ended: self.ended.is_some(),
            unit_state: self.unit_tag().and_then(|unit_tag| self.ledger.state_of(unit_tag)),
            contradicted: self.contradicted.clone(),
            owed_first: self.is_owed_first(),
            owed: self.restoration.owed(self.unit_tag()).cloned().collect(),
        }
    }

    /// What is to be done that the armed check does not know.
    fn prompt(&self) -> Option<String> {
        if self.paused {
            return Some(PAUSED.to_string());
        }
        if let Some((unit_tag, sign)) = &self.contradicted {
            return Some(format!(
                "{unit_tag} shows life ({sign}) although it counted as isolated. Hands off. If it was switched on on purpose, say \
                 power back; else lock it out and prove it dead anew."
            ));
        }
        if self.is_owed_first() {
            let what: Vec<String> = self.restoration.owed(self.unit_tag()).map(Owed::in_words).collect();
            return Some(format!("Before it gets power, put back and say so: {}.", what.join("; ")));
        }
        let Progress { checks, judged } = self.ended?;
        Some(format!("The route is at its end: {judged} of {checks} checks have a verdict."))
    }

    /// The armed check asks for power, and what was taken off for a test is not back.
    fn is_owed_first(&self) -> bool {
        let asks = self.check.as_ref().is_some_and(|check| check.phase() == Phase::HoldPoints);
        let open = self.ledger.open();
        let live = open.first().is_some_and(|name| crate::hold::of(name).power == Power::Live);
        asks && live && self.why_not_on().is_some()
    }
}
