//! Units and quantities as profiles write them. Does not hold their tables; crate `quantity` does.

use alloc::format;
use alloc::string::String;

use quantity::{Coupling, Unit};

use super::table::Node;
use crate::decode::{UnitWord, takes_coupling};
use crate::error::ProfileError;

/// A unit as profiles write it: `uF`, `V ac`.
pub(super) fn unit_word(node: Node<'_>) -> Result<UnitWord, ProfileError> {
    parse_unit(node.str()?).map_err(|message| node.error(message))
}

/// As `unit_word`, of a text alone.
pub(crate) fn parse_unit(text: &str) -> Result<UnitWord, String> {
    if let Ok(unit) = Unit::parse(text) {
        return Ok(UnitWord { unit, coupling: None });
    }
    let (head, coupling) = Coupling::strip_from(text);
    let unit = Unit::parse(head).map_err(|error| {
        format!("{error}; write a unit as cliplead prints it, for example \"uF\" or \"V ac\"")
    })?;
    check_coupling(unit.kind(), coupling)?;
    Ok(UnitWord { unit, coupling })
}

pub(super) fn check_coupling(kind: quantity::Kind, coupling: Option<Coupling>) -> Result<(), String> {
    match coupling {
        Some(coupling) if !takes_coupling(kind) => {
            Err(format!("{kind} is not {coupling}; leave {coupling} away"))
        }
        _ => Ok(()),
    }
}

/// A kind of quantity with an optional `ac` or `dc`: `voltage ac`.
pub(super) fn kind_word(node: Node<'_>) -> Result<(quantity::Kind, Option<Coupling>), ProfileError> {
    let text = node.str()?;
    let (head, coupling) = match quantity::Kind::from_name(text) {
        Some(_) => (text, None),
        None => Coupling::strip_from(text),
    };
    let kind = quantity::Kind::from_name(head).ok_or_else(|| {
        let names = quantity::Kind::ALL.map(quantity::Kind::name);
        node.error(format_args!("unknown quantity {text:?}; {}", crate::error::suggest(head, &names)))
    })?;
    check_coupling(kind, coupling).map_err(|message| node.error(message))?;
    Ok((kind, coupling))
}
