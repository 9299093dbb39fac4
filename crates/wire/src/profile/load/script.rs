//! Loads the decoding by a script: its text, and which values it reads. Does not know its language.

use alloc::format;

use super::LoadResult;
use super::gatt;
use super::table::{Node, Table};
use crate::decode::script::ScriptDecode;
use crate::error::ProfileError;
use crate::script::ScriptCompiler;

/// The `[decode]` table of kind `script`; `packets` where frames are values of characteristics.
pub(super) fn load_decode(
    table: &Table<'_>,
    kind: Node<'_>,
    packets: bool,
    scripts: Option<&dyn ScriptCompiler>,
) -> LoadResult<ScriptDecode> {
    let keys = ["kind", "script", "characteristic", "service", "instance", "label"];
    table.only(if packets { &keys } else { keys.get(..2).unwrap_or_default() })?;
    let characteristic = packets.then(|| gatt::load_named(table)).transpose()?;
    let node =
        table.need("script", "script = ''' and, on lines of their own, fn decode(frame) { ... } and '''")?;
    let text = node.str()?;
    let Some(lines_before) = node.lines_before_text() else {
        return Err(node.error(
            "a script stands between ''' and ''', each on a line of its own, so that its lines can be named",
        ));
    };
    let Some(scripts) = scripts else {
        return Err(kind.error("this profile has a decode script, and this reader of profiles runs none"));
    };
    let script = scripts.compile(text).map_err(|error| ProfileError {
        line: lines_before + error.line.max(1),
        column: error.column.max(1),
        message: format!("decode script: {}", error.message),
    })?;
    Ok(ScriptDecode { script, lines_before, characteristic })
}
