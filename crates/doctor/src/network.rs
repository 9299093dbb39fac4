//! A serial server named in a site's file: whether its name resolves and its port accepts a connection, within two
//! seconds. Examines nothing that was not named; sends no byte.

use std::net::{IpAddr, SocketAddr, TcpStream, ToSocketAddrs as _};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use super::remedy::Remedy;
use super::{Finding, State};
use link::{TcpHost, TcpPlace};

/// Time limit for the name and for the connection, each.
const TIME_MAX: Duration = Duration::from_secs(2);
/// The most addresses tried.
const ADDRESSES_MAX: usize = 4;

/// Connects to the place once and disconnects.
#[must_use]
pub fn tcp(place: &TcpPlace) -> Finding {
    const TOPIC: &str = "device";
    const WHY: &str =
        "The daemon tries this server for ever and reads nothing until it takes the connection.";
    let hindered = |seen: String, advice: &str| {
        Finding::new(TOPIC, format!("tcp:{place}"), State::Blocked, seen, WHY).with(Remedy::advice(advice))
    };
    let addresses = match addresses(place) {
        Ok(addresses) => addresses,
        Err(seen) => return hindered(seen, "check the spelling, or write the server's address"),
    };
    let end = Instant::now() + TIME_MAX;
    let mut last = "has no address".to_owned();
    for address in addresses.into_iter().take(ADDRESSES_MAX) {
        let left = end.saturating_duration_since(Instant::now());
        if left.is_zero() {
            break;
        }
        match TcpStream::connect_timeout(&address, left) {
            Ok(_) => {
                return Finding::new(
                    TOPIC,
                    format!("tcp:{place}"),
                    State::Fine,
                    format!("{address} takes a connection"),
                    WHY,
                );
            }
            Err(error) => last = format!("{address}: {error}"),
        }
    }
    hindered(
        last,
        "look at its power, its cable and its port number; many servers take one client at a time, so a running \
         cliplead may be the one that holds it",
    )
}

fn addresses(place: &TcpPlace) -> Result<Vec<SocketAddr>, String> {
    let name = match &place.host {
        TcpHost::Address(address) => return Ok(vec![SocketAddr::new(IpAddr::clone(address), place.port)]),
        TcpHost::Name(name) => name.clone(),
    };
    let port = place.port;
    let (sender, answer) = mpsc::sync_channel(1);
    // The system's look-up has no limit of its own; a late answer finds nobody.
    let work = move || {
        let found = (name.as_str(), port).to_socket_addrs().map(|found| found.take(ADDRESSES_MAX).collect());
        let _ = sender.send(found.map_err(|error| format!("its name has no address: {error}")));
    };
    std::thread::Builder::new()
        .name("name look-up".to_owned())
        .spawn(work)
        .map_err(|error| format!("its name could not be looked up: {error}"))?;
    answer.recv_timeout(TIME_MAX).unwrap_or_else(|_| Err("its name is not answered in time".to_owned()))
}
