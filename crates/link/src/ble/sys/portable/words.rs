//! What the library's errors say, as faults of a call. Adds the service's own name of an error where the library's text leaves it
//! out: the name tells what mends it.

use super::super::library::Error;
use crate::ble::central::CallFault;

/// The fault in words: `org.bluez.Error.NotPermitted: ...` where the service named it, else the library's own.
pub(super) fn fault(error: &Error) -> CallFault {
    let words = error.to_string();
    CallFault::Refused(match name(&format!("{error:?}")) {
        Some(name) if !words.contains(&name) => format!("{name}: {words}"),
        _ => words,
    })
}

/// The name of an error on the bus, from the text for programmers: `... (org.bluez.Error.Failed)`.
fn name(debug: &str) -> Option<String> {
    let is_part = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '_');
    let begins = debug.find("(org.")?.saturating_add(1);
    let rest = debug.get(begins..)?;
    let end = rest.find(|c: char| !is_part(c))?;
    rest.get(end..)?.starts_with(')').then(|| rest.get(..end).map(str::to_owned)).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_of_an_error_is_kept() {
        let debug = "Other(DbusError(D-Bus error: refused by the test (org.bluez.Error.NotPermitted)))";
        assert_eq!(name(debug).as_deref(), Some("org.bluez.Error.NotPermitted"));
        for none in ["NotConnected", "Other(\"(org.bluez\")", "(organ)", "(org.bluez Error)"] {
            assert_eq!(name(none), None, "{none}");
        }
        let CallFault::Refused(words) = fault(&Error::NotConnected) else { panic!("not refused") };
        assert_eq!(words, Error::NotConnected.to_string());
    }
}
