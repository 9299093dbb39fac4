//! Small pieces of a profile's text. Does not decide their content.

use crate::{Observation, ProfileHeader};

/// A quoted TOML string.
pub(crate) fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// Bytes as a TOML list: `[0xA5, 0x5A]`.
pub(crate) fn bytes(bytes: &[u8]) -> String {
    let all: Vec<String> = bytes.iter().map(|b| format!("0x{b:02X}")).collect();
    format!("[{}]", all.join(", "))
}

/// Everything before the `[frame]` table.
pub(crate) fn opening(head: ProfileHeader<'_>, agree: &str, seen: &[Observation]) -> String {
    let mut text = String::from("# Learned from a recording. What the display showed meanwhile:\n");
    for observation in seen {
        text.push_str(&format!(
            "#   {:.3} s to {:.3} s: {}\n",
            observation.from.seconds(),
            observation.to.seconds(),
            observation.shown.text()
        ));
    }
    text.push_str(
        "# What was not shown is not known, and gives no reading. No accuracy is stated: only the rounding of the\n\
         # display counts until rows of [[accuracy]] are copied from the meter's manual.\n",
    );
    text.push_str(&format!("profile = 1\nid = {}\ntitle = {}\n", quoted(head.id), quoted(head.title)));
    text.push_str(agree);
    text.push('\n');
    if !head.link.is_empty() {
        text.push_str(head.link);
        text.push('\n');
    }
    text
}
