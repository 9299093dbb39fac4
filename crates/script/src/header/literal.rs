//! The arguments that a declaration may have: texts, numbers, lists of texts, and the name of another nameplate item. Reads them
//! as they stand; executes nothing.

use alloc::vec::Vec;

use rhai::{Expr, ImmutableString, Position};

/// A literal argument.
pub(super) enum Literal {
    Text(ImmutableString),
    Number(f64),
    Texts(Vec<(ImmutableString, Position)>),
    SameAs(ImmutableString),
}

/// The literal of this expression; `None` for anything else.
pub(super) fn literal(expression: &Expr) -> Option<Literal> {
    match expression {
        Expr::StringConstant(text, _) => Some(Literal::Text(text.clone())),
        Expr::FloatConstant(number, _) if number.is_finite() => Some(Literal::Number(**number)),
        Expr::Array(items, _) => items
            .iter()
            .map(|item| match item {
                Expr::StringConstant(text, position) => Some((text.clone(), *position)),
                _ => None,
            })
            .collect::<Option<Vec<_>>>()
            .map(Literal::Texts),
        Expr::FnCall(call, _) if call.name == "same_as" => match call.args.as_slice() {
            [Expr::StringConstant(text, _)] => Some(Literal::SameAs(text.clone())),
            _ => None,
        },
        _ => None,
    }
}
