//! The bare engine: rhai without its standard functions, with all operators our own and every limit set. Holds the
//! limits and the reason for each value; knows nothing of headers or judgements.

use alloc::format;
use alloc::string::ToString;
use alloc::sync::Arc;
use core::sync::atomic::{AtomicU32, Ordering};

use rhai::{Engine, LexError, OptimizationLevel, Token};

use crate::limits::CALL_LEVELS_MAX;
use crate::{functions, judgement, operators};

/// Operations in one call of `judge`; a shipped rule takes about 50.
pub(crate) const OPERATIONS_MAX: u64 = 20_000;
/// Bytes of one rule file.
pub(crate) const SOURCE_BYTES_MAX: usize = 32 * 1024;
/// Tokens of one rule file; rhai parses some constructs in quadratic time and has no limit of its own.
const TOKENS_MAX: u32 = 8_000;
const STRING_BYTES_MAX: usize = 4 * 1024;
const ARRAY_ITEMS_MAX: usize = 256;
const MAP_ITEMS_MAX: usize = 64;
const VARIABLES_MAX: usize = 64;
const FUNCTIONS_MAX: usize = 64;
const EXPRESSION_DEPTH_MAX: usize = 64;
const FUNCTION_EXPRESSION_DEPTH_MAX: usize = 32;

/// Keywords of rhai that neither a rule nor a decode script has.
const DISABLED: [&str; 23] = [
    "eval",
    "Fn",
    "call",
    "curry",
    "import",
    "export",
    "is_shared",
    "is_def_var",
    "is_def_fn",
    "debug",
    "print",
    "type_of",
    "this",
    "private",
    "global",
    "loop",
    "do",
    "for",
    "until",
    "try",
    "catch",
    "throw",
    "switch",
];

/// Loop keywords, which a decode script has and a rule does not.
const LOOPS: [&str; 3] = ["while", "break", "continue"];

/// An engine for one set of rules, and the number of tokens it has read.
pub(crate) struct Sandbox {
    pub(crate) engine: Engine,
    tokens: Arc<AtomicU32>,
}

impl Sandbox {
    pub(crate) fn new() -> Self {
        let mut sandbox = Self::bare(number_token);
        let engine = &mut sandbox.engine;
        engine.set_allow_looping(false);
        for word in LOOPS {
            engine.disable_symbol(word);
        }
        operators::register(engine);
        functions::register(engine);
        judgement::register(engine);
        sandbox
    }

    /// Limits, and nothing to call; `read` may replace one token with another.
    pub(crate) fn bare(read: fn(Token) -> Token) -> Self {
        let mut engine = Engine::new_raw();
        set_limits(&mut engine);
        let tokens = Arc::new(AtomicU32::new(0));
        let counted = Arc::clone(&tokens);
        #[allow(deprecated, reason = "rhai marks it volatile, not deprecated; the version is pinned")]
        engine.on_parse_token(move |token, _, _| {
            if counted.fetch_add(1, Ordering::Relaxed) >= TOKENS_MAX {
                let text = format!("the file is too long: more than {TOKENS_MAX} words and signs");
                return Token::LexError(LexError::Runtime(text).into());
            }
            read(token)
        });
        Self { engine, tokens }
    }

    /// Call before each file.
    pub(crate) fn reset_token_count(&self) {
        self.tokens.store(0, Ordering::Relaxed);
    }
}

/// Whole numbers become floats before the parser sees them, so `7 / 2` is 3.5 and a rule contains no integers.
fn number_token(token: Token) -> Token {
    match token {
        #[allow(clippy::cast_precision_loss, reason = "beyond 2^53 the nearest float is what is meant")]
        Token::IntegerConstant(n) => Token::FloatConstant(((n as f64).into(), n.to_string().into()).into()),
        other => other,
    }
}

fn set_limits(engine: &mut Engine) {
    engine
        // A folded constant would escape our operators.
        .set_optimization_level(OptimizationLevel::None)
        // Fast operators are rhai's own: they compare with an epsilon and hold `() < 5` false.
        .set_fast_operators(false)
        .set_strict_variables(true)
        .set_fail_on_invalid_map_property(true)
        .set_allow_shadowing(false)
        .set_allow_anonymous_fn(false)
        .set_allow_switch_expression(false)
        .set_allow_loop_expressions(false)
        .set_max_operations(OPERATIONS_MAX)
        .set_max_string_size(STRING_BYTES_MAX)
        .set_max_array_size(ARRAY_ITEMS_MAX)
        .set_max_map_size(MAP_ITEMS_MAX)
        .set_max_variables(VARIABLES_MAX)
        .set_max_functions(FUNCTIONS_MAX)
        .set_max_call_levels(CALL_LEVELS_MAX)
        .set_max_expr_depths(EXPRESSION_DEPTH_MAX, FUNCTION_EXPRESSION_DEPTH_MAX)
        .set_max_strings_interned(64);
    for symbol in DISABLED {
        engine.disable_symbol(symbol);
    }
}

#[cfg(test)]
mod tests;
