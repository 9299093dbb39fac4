//! Greets the system bus, for at most a second: the first line of the D-Bus authentication (D-Bus specification,
//! "Authentication Protocol", EXTERNAL), and nothing more. Sends no message.

use std::fmt::Write as _;
use std::io::{Read as _, Write as _};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::sync::mpsc;
use std::time::Duration;

use super::{Finding, Machine, State};
use crate::{Remedy, RunPolicy};

/// Time limit for the bus's reply.
const ANSWER_TIME_MAX: Duration = Duration::from_secs(1);
const SOCKET: &str = "/run/dbus/system_bus_socket";

pub(crate) fn system_bus(machine: &Machine) -> Finding {
    const TOPIC: &str = "system bus";
    const WHY: &str = "The Bluetooth service is reached over the system bus.";
    let found = |state, seen: String| Finding::new(TOPIC, SOCKET, state, seen, WHY);
    if !machine.has(SOCKET) {
        let finding = found(State::Blocked, "there is no socket, so no bus".to_owned());
        return if machine.has("run/systemd/system") {
            finding.with(Remedy::root(
                RunPolicy::OnRequest,
                "starts the bus",
                &["systemctl", "start", "dbus"],
            ))
        } else {
            finding.with(Remedy::advice("start the bus; in a container hand the machine's socket in"))
        };
    }
    let Some(account) = machine.account.as_ref().filter(|account| account.is_process) else {
        return found(State::Unknown, "the bus can be greeted in the name of this process only".to_owned());
    };
    match greet(machine.at(SOCKET), account.uid) {
        Ok(answer) if answer.starts_with("OK ") => found(State::Fine, "answers".to_owned()),
        Ok(answer) => {
            let seen = format!("does not let us in: {}", super::machine::clean(answer.trim()));
            found(State::Blocked, seen)
        }
        Err(why) => found(State::Blocked, why),
    }
}

/// The first line of the bus's reply. Connecting can block in the kernel, so it runs on a thread of its own.
fn greet(socket: PathBuf, uid: u32) -> Result<String, String> {
    let (sender, answer) = mpsc::sync_channel(1);
    let work = move || {
        // Whoever asked may be gone; then nobody wants the answer.
        let _ = sender.send(talk(&socket, uid).map_err(|error| format!("does not answer: {error}")));
    };
    std::thread::Builder::new()
        .name("bus greeting".to_owned())
        .spawn(work)
        .map_err(|error| format!("could not be asked: {error}"))?;
    answer.recv_timeout(ANSWER_TIME_MAX * 3).unwrap_or_else(|_| Err("does not answer in time".to_owned()))
}

fn talk(socket: &PathBuf, uid: u32) -> std::io::Result<String> {
    let mut stream = UnixStream::connect(socket)?;
    stream.set_read_timeout(Some(ANSWER_TIME_MAX))?;
    stream.set_write_timeout(Some(ANSWER_TIME_MAX))?;
    let mut hex = String::new();
    for byte in uid.to_string().bytes() {
        let _ = write!(hex, "{byte:02x}");
    }
    stream.write_all(format!("\0AUTH EXTERNAL {hex}\r\n").as_bytes())?;
    let mut buffer = [0_u8; 256];
    let count = stream.read(&mut buffer)?;
    Ok(String::from_utf8_lossy(buffer.get(..count).unwrap_or_default()).into_owned())
}
