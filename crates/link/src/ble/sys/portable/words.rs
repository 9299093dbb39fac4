//! Turns the library's errors into call faults. Adds the service's own name of an error if the library's text omits
//! it: the name tells what to do.

use super::super::library::Error;
use crate::ble::central::CallFault;

/// The fault as text: `org.bluez.Error.NotPermitted: ...` if the service named it, otherwise the library's own text.
pub(super) fn fault(error: &Error) -> CallFault {
    let words = error.to_string();
    CallFault::Refused(match name(&format!("{error:?}")) {
        Some(name) if !words.contains(&name) => format!("{name}: {words}"),
        _ => words,
    })
}

/// The D-Bus name of an error, from its debug text: `... (org.bluez.Error.Failed)`.
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
