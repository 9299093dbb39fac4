//! A check to be done, as the site's file or a recording asks for it. Plain data; `plate` resolves the nameplate.

use alloc::string::String;
use alloc::vec::Vec;

use quantity::{Decimal, DeviceChannel, Unit};

use crate::model::{Slot, Supply};

/// A check to be done: which rule on which component, with what the nameplate says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// The unit's tag.
    pub unit_tag: String,
    /// The component.
    pub component: String,
    /// The rule's id.
    pub rule: String,
    /// Nameplate values as entered.
    pub plate: Vec<(String, Entered)>,
    /// Points bound to a device's channel; points of one kind without a binding take the readings of the first meter
    /// that makes contact.
    pub bindings: Vec<Binding>,
    /// What supplies the unit.
    pub supply: Supply,
    /// Where the component stands in it.
    pub slot: Slot,
}

/// A nameplate value as somebody entered it.
#[derive(Clone, Debug, PartialEq)]
pub enum Entered {
    /// Digits with their unit.
    Number {
        /// The digits.
        number: Decimal,
        /// The unit.
        unit: Unit,
    },
    /// A word: "R-410A".
    Word(String),
}

/// A point that takes its readings from one channel of one device only.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Binding {
    /// The point's name in the rule.
    pub point: String,
    /// Where from.
    pub from: DeviceChannel,
}
