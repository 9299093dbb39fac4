//! The dashboard's settings, and the errors for those it rejects. Opens nothing.

use std::fmt;
use std::io;
use std::net::SocketAddr;
use std::time::Duration;

use crate::guard::AllowedHosts;

/// Settings of the dashboard. `Config::default()` answers on loopback only, under its address and `localhost`.
#[derive(Clone, Debug, Default)]
pub struct Config {
    /// Further names and IP literals allowed in the `Host` header, as `name`, `name:port`, `192.0.2.7` or
    /// `[2001:db8::7]`. Without a port, the bound port applies.
    pub allowed_hosts: Vec<String>,
    /// Required for listening on anything but loopback. There is no pairing yet: whoever reaches the address can
    /// confirm a hold point.
    pub allow_beyond_loopback: bool,
    /// Limits on clients.
    pub limits: Limits,
}

/// Limits on clients.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Concurrent event streams. One more evicts the stream whose reader has been stalled longest; if no reader is
    /// stalled, it evicts the oldest stream, whose page reconnects by itself.
    pub streams_max: usize,
    /// Concurrent connections. One more evicts the connection that has been idle longest.
    pub connections_max: usize,
    /// Longest body of an act, bytes.
    pub body_bytes_max: usize,
    /// Longest request head, bytes (hyper accepts no less than 8 KiB).
    pub head_bytes_max: usize,
    /// Time for a whole request head; also how long a silent connection is kept.
    pub head_time: Duration,
    /// Time for the body of an act.
    pub body_time: Duration,
    /// A reader that has taken nothing for this long is dropped.
    pub write_stall: Duration,
    /// Time the daemon has to answer an act.
    pub answer_time: Duration,
    /// Views sent at once, however close together they come: a few button presses and the verdict after them.
    pub view_burst: u32,
    /// After the burst, one more view per this interval (20 per second); the longest a view waits.
    pub view_gap: Duration,
    /// A stream sends a heartbeat after this long without an event.
    pub beat: Duration,
    /// Time for open connections to end after shutdown.
    pub shutdown_time: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            streams_max: 32,
            connections_max: 128,
            body_bytes_max: 4096,
            head_bytes_max: 16 * 1024,
            head_time: Duration::from_secs(5),
            body_time: Duration::from_secs(5),
            write_stall: Duration::from_secs(5),
            answer_time: Duration::from_secs(3),
            view_burst: 8,
            view_gap: Duration::from_millis(50),
            beat: Duration::from_secs(1),
            shutdown_time: Duration::from_secs(2),
        }
    }
}

impl Config {
    /// Whether the server may listen on this address.
    ///
    /// # Errors
    /// [`ServeError::BeyondLoopback`] unless the address is loopback or `allow_beyond_loopback` is set.
    pub fn validate(&self, addr: SocketAddr) -> Result<(), ServeError> {
        if addr.ip().is_loopback() || self.allow_beyond_loopback {
            Ok(())
        } else {
            Err(ServeError::BeyondLoopback(addr))
        }
    }

    /// The list for the guard: the bound address, `localhost` if it leads there, and `allowed_hosts`.
    pub(crate) fn allowed(&self, addr: SocketAddr) -> Result<AllowedHosts, ServeError> {
        let literal = match addr {
            SocketAddr::V4(v4) => v4.ip().to_string(),
            SocketAddr::V6(v6) => format!("[{}]", v6.ip()),
        };
        let mut entries = Vec::new();
        if addr.ip().is_unspecified() {
            entries.extend(["127.0.0.1", "[::1]", "localhost"]);
        } else {
            entries.push(literal.as_str());
        }
        if addr.ip().is_loopback() {
            entries.push("localhost");
        }
        entries.extend(self.allowed_hosts.iter().map(String::as_str));
        AllowedHosts::new(entries, addr.port()).map_err(ServeError::BadHost)
    }
}

/// Why the dashboard did not start, or stopped.
#[derive(Debug)]
pub enum ServeError {
    /// The address is not loopback and the caller did not set `allow_beyond_loopback`.
    BeyondLoopback(SocketAddr),
    /// An entry of `allowed_hosts` is not a host.
    BadHost(String),
    /// The listener's own address could not be read.
    Listener(io::Error),
}

impl fmt::Display for ServeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BeyondLoopback(addr) => write!(
                f,
                "the dashboard does not listen on {addr}: that is not a loopback address, and visitors cannot be \
                 paired yet; use 127.0.0.1 or [::1]"
            ),
            Self::BadHost(entry) => write!(
                f,
                "dashboard, allowed hosts: {entry:?} is no name, IPv4 or [IPv6] address, with or without :port; \
                 correct or remove it"
            ),
            Self::Listener(error) => write!(f, "the dashboard's socket has no address: {error}"),
        }
    }
}

impl std::error::Error for ServeError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Listener(error) => Some(error),
            Self::BeyondLoopback(_) | Self::BadHost(_) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beyond_loopback_needs_the_flag() {
        let closed = Config::default();
        let open = Config { allow_beyond_loopback: true, ..Config::default() };
        for (addr, loopback) in [
            ("127.0.0.1:80", true),
            ("127.9.9.9:80", true),
            ("[::1]:80", true),
            ("0.0.0.0:80", false),
            ("[::]:80", false),
            ("192.0.2.7:80", false),
            ("[::ffff:127.0.0.1]:80", false),
        ] {
            let addr: SocketAddr = addr.parse().unwrap();
            assert_eq!(closed.validate(addr).is_ok(), loopback, "{addr}");
            assert!(open.validate(addr).is_ok(), "{addr}");
        }
        let sentence = closed.validate("0.0.0.0:8080".parse().unwrap()).unwrap_err().to_string();
        assert!(sentence.contains("0.0.0.0:8080") && sentence.contains("127.0.0.1"), "{sentence}");
    }

    #[test]
    fn the_default_list_is_the_bound_address_and_localhost() {
        let list = |addr: &str, more: &[&str]| {
            let config =
                Config { allowed_hosts: more.iter().map(|&s| s.to_owned()).collect(), ..Config::default() };
            let allowed = config.allowed(addr.parse().unwrap()).map_err(|e| e.to_string())?;
            Ok::<_, String>(allowed.list().iter().map(ToString::to_string).collect::<Vec<_>>().join(" "))
        };
        assert_eq!(list("127.0.0.1:8", &[]).unwrap(), "localhost:8 127.0.0.1:8");
        assert_eq!(list("[::1]:8", &[]).unwrap(), "localhost:8 [::1]:8");
        assert_eq!(list("192.0.2.7:8", &[]).unwrap(), "192.0.2.7:8");
        assert_eq!(list("0.0.0.0:8", &["Roof:9"]).unwrap(), "localhost:8 roof:9 127.0.0.1:8 [::1]:8");
        assert!(list("127.0.0.1:8", &["a b"]).unwrap_err().contains("\"a b\""));
    }
}
