//! What stands around a round on the page, as it is before the first event. Does not follow it; `page` does.

use judge::rule::RuleSet;
use record::{DeviceState, RulesState, ViewContext};
use site::{Device, Site};

/// What stands around a round at its start.
pub(super) fn initial_context(site: &Site, rules: &RuleSet, refused: Option<String>) -> ViewContext {
    let opening = |device: &Device| DeviceState {
        name: device.name.clone(),
        state: "opening".to_owned(),
        ..DeviceState::default()
    };
    ViewContext {
        site: site.site.clone(),
        rules: rules_state(rules, refused),
        devices: site.devices.iter().map(opening).collect(),
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
