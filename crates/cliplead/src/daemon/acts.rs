//! What people do, and new rules, on their way to the round. Decides nothing but that an act is for the check that was seen.

use judge::rule::RuleSet;
use record::plain_lines;
use visit::act::{Act, By};
use visit::round;

use super::context::rules_state;
use super::core::Core;
use crate::output::talk;

impl Core {
    pub(super) fn act(&mut self, act: Act, by: By, check: Option<u64>) -> Result<(), String> {
        let armed = self.pipeline.round().armed();
        if let Some(seen) = check
            && armed.map(u64::from) != Some(seen)
        {
            return Err("the check on your page is no longer armed; look again".to_owned());
        }
        self.step_round(round::Event::Act { act, by })
    }

    pub(super) fn new_rules(&mut self, result: Result<RuleSet, String>) {
        match result {
            Ok(set) => {
                talk(&format!("cliplead: new rules in force: {} rules", set.iter().count()));
                self.context.rules = rules_state(&set, None);
                self.book.rules(&set);
                let _ = self.step_round(round::Event::Rules(set));
            }
            Err(why) => {
                talk(&format!(
                    "cliplead: the changed rules are refused, the last good ones stay in force: {}",
                    plain_lines(&why, "    ")
                ));
                self.context.rules.refused = Some(why);
            }
        }
    }
}
