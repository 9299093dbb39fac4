//! What people do to the round, and new rules: turned into the round's events. Decides nothing.

use judge::rule::RuleSet;
use quantity::parse_typed;
use record::plain_lines;
use visit::round;

use super::around::rules_state;
use super::core::{Act, Core};
use crate::output::talk;

impl Core {
    pub(super) fn act(&mut self, act: Act, check: Option<u64>) -> Result<(), String> {
        let armed = self.pipeline.round().armed();
        if let Some(seen) = check
            && armed.map(u64::from) != Some(seen)
        {
            return Err("the check on your page is no longer armed; look again".to_owned());
        }
        let event = match act {
            Act::Confirm(hold_point) => round::Event::Confirm { hold_point },
            Act::Withdraw(hold_point) => round::Event::Withdraw { hold_point },
            Act::Type { point, text } if round::reads_open(&text) => round::Event::Open { point },
            Act::Type { point, text } => {
                let value = parse_typed(&text).map_err(|error| error.to_string())?;
                // The pipeline knows the meter that typed values are read off.
                round::Event::Typed { point, value, accuracy: None }
            }
            Act::Answer { question, yes } => round::Event::Answer { question: Some(question), yes },
            Act::Again => round::Event::Again,
            Act::Next => return self.arm_next(),
            Act::Finish => round::Event::Finish,
            Act::Energised => round::Event::Energised,
        };
        self.step_round(event)
    }

    /// Arms the next check of the route.
    pub(super) fn arm_next(&mut self) -> Result<(), String> {
        let Some(plan) = self.route.get(self.next).cloned() else {
            return Err("the route is at its end: there is no next check".to_owned());
        };
        self.next += 1;
        self.step_round(round::Event::Arm(Box::new(plan)))
    }

    pub(super) fn new_rules(&mut self, result: Result<RuleSet, String>) {
        match result {
            Ok(set) => {
                talk(&format!("cliplead: new rules in force: {} rules", set.iter().count()));
                self.around.rules = rules_state(&set, None);
                let _ = self.step_round(round::Event::Rules(set));
            }
            Err(why) => {
                talk(&format!(
                    "cliplead: the changed rules are refused, the last good ones stay in force: {}",
                    plain_lines(&why, "    ")
                ));
                self.around.rules.refused = Some(why);
            }
        }
    }
}
