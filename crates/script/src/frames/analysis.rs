//! The first wall around a decode script: every node of its syntax tree is allowed, every call names a function with
//! a matching number of arguments, every word in it is known. Does not know types; the engine rejects what does not
//! fit, with its line.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use rhai::{AST, ASTFlags, ASTNode, Expr, FnCallExpr, ImmutableString, Position, Stmt};
use wire::script::ScriptError;

use super::error;
use super::functions::{check_word, names};
use super::numbers::is_known;
use crate::diagnostic::{At, did_you_mean};

type Analysis = Result<(), (At, String)>;

/// A function of the script: name and number of values.
type Own = (ImmutableString, usize);

/// The first thing in the text that is not allowed.
pub(super) fn analyse(ast: &AST) -> Result<(), ScriptError> {
    let own: Vec<Own> = ast
        .shared_lib()
        .iter_script_fn_info()
        .map(|(.., function)| (function.name.clone(), function.params.len()))
        .collect();
    let mut found: Vec<(At, String)> = Vec::new();
    for (.., function) in ast.shared_lib().iter_script_fn_info() {
        let name = function.name.as_str();
        if names().any(|(known, _)| known == name) {
            let text = format!("{name} is a word of decode scripts; name this function otherwise");
            found.push((function.body.start_position().into(), text));
        }
        if own.iter().filter(|(other, _)| other.as_str() == name).count() > 1 {
            found.push((function.body.start_position().into(), format!("two functions are named {name}")));
        }
    }
    if let Some(statement) = ast.statements().iter().find(|statement| !matches!(statement, Stmt::Noop(_))) {
        found.push((
            statement.position().into(),
            "only functions stand in a decode script: fn decode(frame) { ... }".into(),
        ));
    }
    ast.walk(&mut |path: &[ASTNode<'_>]| {
        let checked = match path.last() {
            Some(ASTNode::Stmt(statement)) => check_statement(statement, &own),
            Some(ASTNode::Expr(expression)) => check_expression(expression, &own),
            _ => Ok(()),
        };
        found.extend(checked.err());
        true
    });
    // The first in the text; one without a place only where nothing else was found.
    if let Some((at, text)) = found.into_iter().min_by_key(|(at, _)| (at.line == 0, *at)) {
        return Err(error(at, text));
    }
    if own.iter().any(|(name, takes)| name == "decode" && *takes == 1) {
        return Ok(());
    }
    Err(error(At::default(), "there is no fn decode(frame) { ... }; it is called for every frame"))
}

fn check_statement(statement: &Stmt, own: &[Own]) -> Analysis {
    let not = |at: Position, what: &str| Err((At::from(at), format!("{what} is not part of decode scripts")));
    match statement {
        Stmt::Noop(_) | Stmt::If(..) | Stmt::While(..) | Stmt::Var(..) | Stmt::Block(_) | Stmt::Expr(_) => {
            Ok(())
        }
        Stmt::Assignment(assignment) => match &assignment.1.lhs {
            Expr::Variable(..) => Ok(()),
            other => not(other.start_position(), "changing anything but a name set with let"),
        },
        Stmt::FnCall(call, at) => check_call(call, *at, call.args.len(), own),
        Stmt::Return(_, flags, at) | Stmt::BreakLoop(_, flags, at)
            if flags.contains(ASTFlags::BREAK) && matches!(statement, Stmt::Return(..)) =>
        {
            not(*at, "throw")
        }
        Stmt::BreakLoop(Some(_), _, at) => not(*at, "break with a value"),
        Stmt::Return(..) | Stmt::BreakLoop(None, ..) => Ok(()),
        other => not(other.position(), "this"),
    }
}

fn check_expression(expression: &Expr, own: &[Own]) -> Analysis {
    let at = expression.start_position();
    let not = |what: &str| Err((At::from(at), format!("{what} is not part of decode scripts")));
    match expression {
        Expr::BoolConstant(..)
        | Expr::IntegerConstant(..)
        | Expr::FloatConstant(..)
        | Expr::StringConstant(..)
        | Expr::Variable(..)
        | Expr::And(..)
        | Expr::Or(..)
        | Expr::Stmt(_) => Ok(()),
        Expr::FnCall(call, at) => check_call(call, *at, call.args.len(), own),
        Expr::MethodCall(call, at) => check_call(call, *at, call.args.len() + 1, own),
        Expr::Dot(_, flags, _) if !flags.contains(ASTFlags::NEGATED) => Ok(()),
        Expr::Property(..) => not("a field; functions are called as name(x), which"),
        Expr::Array(..) | Expr::Index(..) => not("a list; a byte is u8(frame, at), and [ ]"),
        Expr::Map(..) => not("a group of values"),
        Expr::InterpolatedString(..) => not("a text made at run time"),
        _ => not("this"),
    }
}

fn check_call(call: &FnCallExpr, at: Position, takes: usize, own: &[Own]) -> Analysis {
    let name = call.name.as_str();
    let wrong = |text: String| Err((At::from(at), text));
    if call.capture_parent_scope {
        return wrong(format!("{name}!(...) is not part of decode scripts; give the function what it needs"));
    }
    if call.op_token.is_some() {
        return if is_known(name) { Ok(()) } else { wrong(format!("{name} is not part of decode scripts")) };
    }
    if own.iter().any(|(known, wants)| known == name && *wants == takes) {
        return Ok(());
    }
    let Some((_, counts)) = names().find(|(known, _)| *known == name) else {
        if own.iter().any(|(known, _)| known == name) {
            return wrong(format!("{name} is called with another number of values than it takes"));
        }
        let known = names().map(|(known, _)| known).chain(own.iter().map(|(known, _)| known.as_str()));
        return wrong(format!("no function is named {name}{}", did_you_mean(name, known)));
    };
    if !counts.contains(&takes) {
        let counts: Vec<String> = counts.iter().map(|count| format!("{count}")).collect();
        return wrong(format!("{name} takes {} values; {takes} were given", counts.join(" or ")));
    }
    // A method's first argument precedes the dot.
    let before = takes - call.args.len();
    for (place, argument) in call.args.iter().enumerate() {
        if let Expr::StringConstant(word, at) = argument {
            check_word(name, place + before, takes, word).map_err(|text| (At::from(*at), text))?;
        }
    }
    Ok(())
}
