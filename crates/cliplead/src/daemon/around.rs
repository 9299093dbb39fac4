//! What stands around a round on the page, as it is before the first event. Does not follow it; `page` does.

use judge::rule::RuleSet;
use record::{DeviceState, RulesState, ViewContext};

use crate::config::Config;

/// What stands around a round at its start.
pub(super) fn around(config: &Config, rules: &RuleSet, refused: Option<String>) -> ViewContext {
    let opening = |device: &crate::config::DeviceConfig| DeviceState {
        name: device.name.clone(),
        state: "opening".to_owned(),
        ..DeviceState::default()
    };
    ViewContext {
        site: config.site.clone(),
        rules: rules_state(rules, refused),
        devices: config.devices.iter().map(opening).collect(),
        ..ViewContext::default()
    }
}

pub(super) fn rules_state(set: &RuleSet, refused: Option<String>) -> RulesState {
    RulesState {
        count: set.iter().count(),
        hash: set.hash().get(..8).unwrap_or_default().to_owned(),
        refused,
    }
}
