//! Units and quantities as profiles write them. Does not hold their tables; crate `quantity` does.

use quantity::Coupling;

use super::table::Node;
use crate::error::ProfileError;
use crate::unit_spec::{UnitSpec, parse_unit, validate_coupling};

/// A unit as profiles write it: `uF`, `V ac`.
pub(super) fn unit_word(node: Node<'_>) -> Result<UnitSpec, ProfileError> {
    parse_unit(node.str()?).map_err(|message| node.error(message))
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
    validate_coupling(kind, coupling).map_err(|message| node.error(message))?;
    Ok((kind, coupling))
}
