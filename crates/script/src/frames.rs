//! Decode scripts: a profile's own `fn decode(frame)` for frames that no table describes. Compiles, analyses and runs
//! them behind the same walls as rules: a closed language and a bare engine with limits.
//!
//! In addition to what a rule may use, a decode script has whole numbers with bit operators (`&`, `|`, `^`, `<<`,
//! `>>`) and `while`; it has no formulas, readings or nameplate. A call receives a frame and returns what it shows;
//! nothing is kept from one frame to the next. There is no clock, so the same frame always gives the same result.
//!
//! Does not: cut frames from bytes, compare frames for agreement, or limit how often it is called; `wire` does.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::sync::Arc;
use core::fmt;
use core::sync::atomic::AtomicU32;

use rhai::{AST, CallFnOptions, Dynamic, Engine, LexError, ParseError, ParseErrorType, Scope};
use wire::script::{FrameScript, ScriptCompiler, ScriptError, ScriptOutput};

use crate::diagnostic::{At, did_you_mean};
use crate::engine::Sandbox;
use crate::load;
use crate::run::failed;

mod analysis;
mod functions;
mod numbers;
mod values;

use functions::ChecksumWork;
pub use functions::{FRAME_FUNCTIONS, FrameFunction};
use values::{Bytes, FrameResult};

/// Steps in one call of `decode`; reading eight digits bit by bit takes some 300.
const STEPS_MAX: u64 = 5_000;

/// Compiles decode scripts. Each gets an engine of its own.
#[derive(Clone, Copy, Debug, Default)]
pub struct FrameScripts;

impl ScriptCompiler for FrameScripts {
    fn compile(&self, text: &str) -> Result<Arc<dyn FrameScript>, ScriptError> {
        load::readable(text).map_err(|(at, message)| error(at, message))?;
        let mut sandbox = Sandbox::bare(|token| token);
        let engine = &mut sandbox.engine;
        engine.set_max_operations(STEPS_MAX);
        numbers::register(engine);
        functions::register(engine);
        sandbox.reset_token_count();
        let ast = sandbox.engine.compile(text).map_err(|e| error(e.position(), explain(&e)))?;
        analysis::analyse(&ast)?;
        Ok(Arc::new(Script { engine: sandbox.engine, ast: ast.clone_functions_only() }))
    }
}

/// A script that passed the analysis.
struct Script {
    engine: Engine,
    ast: AST,
}

impl fmt::Debug for Script {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("decode script")
    }
}

impl FrameScript for Script {
    fn decode(&self, frame: &[u8]) -> Result<ScriptOutput, ScriptError> {
        let spent = ChecksumWork(Arc::new(AtomicU32::new(0)));
        let options = CallFnOptions::new().eval_ast(false).with_tag(Dynamic::from(spent));
        let frame = Bytes(frame.into());
        let given = self
            .engine
            .call_fn_with_options::<Dynamic>(options, &mut Scope::new(), &self.ast, "decode", (frame,))
            .map_err(|e| {
                let (at, message) = failed(*e, STEPS_MAX);
                error(at, message)
            })?;
        match given.try_cast_result::<FrameResult>() {
            Ok(said) => Ok(said.0),
            Err(other) => {
                let text = format!(
                    "decode gave {}; it gives reading(...), overload(...), no_value(...), all_of(...), refuse(...) or ignored()",
                    numbers::kind_of(&other)
                );
                Err(error(At::default(), text))
            }
        }
    }
}

fn error(at: impl Into<At>, message: impl Into<String>) -> ScriptError {
    let At { line, column } = at.into();
    ScriptError { line, column, message: message.into() }
}

/// rhai's parse error in our words, if these differ from those for rules.
fn explain(error: &ParseError) -> String {
    match error.err_type() {
        ParseErrorType::Reserved(word) | ParseErrorType::BadInput(LexError::ImproperSymbol(word, _)) => {
            format!("{word} is not part of the language of decode scripts")
        }
        ParseErrorType::VariableUndefined(name) => {
            format!("nothing is named {name} here{}", did_you_mean(name, ["frame"]))
        }
        ParseErrorType::TooManyFunctions => "too many functions in one script".to_string(),
        _ => load::explain(error),
    }
}

#[cfg(test)]
mod tests;
