//! Selects a serial server: `HOST:PORT`. Parses and prints it; queries no name server and touches no network.

use std::fmt;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use crate::error::SelectorFault;

/// The longest host name, in bytes, and the longest of its parts (RFC 1035, 2.3.4).
const NAME_BYTES_MAX: usize = 253;
const LABEL_BYTES_MAX: usize = 63;

/// The port of a serial server.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TcpPlace {
    /// The machine.
    pub host: TcpHost,
    /// The port, 1 to 65535.
    pub port: u16,
}

/// A machine on the network.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TcpHost {
    /// Its address.
    Address(IpAddr),
    /// Its name, looked up at each opening.
    Name(String),
}

impl fmt::Display for TcpHost {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Address(IpAddr::V6(address)) => write!(f, "[{address}]"),
            Self::Address(IpAddr::V4(address)) => write!(f, "{address}"),
            Self::Name(name) => f.write_str(name),
        }
    }
}

impl fmt::Display for TcpPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.host, self.port)
    }
}

impl TcpPlace {
    /// Parses the part of a selector after `tcp:`. An IPv6 address is in brackets.
    ///
    /// # Errors
    /// What is wrong with it and what to write instead.
    pub fn parse(rest: &str) -> Result<Self, SelectorFault> {
        if rest.is_empty() {
            return Err(SelectorFault::RestMissing);
        }
        if rest.parse::<Ipv6Addr>().is_ok() {
            return Err(SelectorFault::BareIpv6);
        }
        let (host, port) = rest.rsplit_once(':').ok_or(SelectorFault::BadPort)?;
        if let Some(inner) = host.strip_prefix('[').and_then(|host| host.strip_suffix(']')) {
            let address: Ipv6Addr = inner.parse().map_err(|_| SelectorFault::BadHost)?;
            return Ok(Self { host: one_machine(address.into())?, port: parse_port(port)? });
        }
        if rest.starts_with('[') {
            // The last colon was inside the brackets, or the brackets do not close.
            return Err(if rest.ends_with(']') { SelectorFault::BadPort } else { SelectorFault::BadHost });
        }
        if host.parse::<Ipv6Addr>().is_ok() {
            return Err(SelectorFault::BareIpv6);
        }
        Ok(Self { host: parse_host(host)?, port: parse_port(port)? })
    }
}

/// Decimal digits without a sign or a leading zero.
fn parse_port(text: &str) -> Result<u16, SelectorFault> {
    let plain = text.bytes().all(|b| b.is_ascii_digit()) && !text.starts_with('0');
    text.parse().ok().filter(|_| plain).ok_or(SelectorFault::BadPort)
}

/// An IPv4 address or a name. A name whose last part is a number is neither: some resolvers would take `10.1` for 10.0.0.1.
fn parse_host(text: &str) -> Result<TcpHost, SelectorFault> {
    if let Ok(address) = text.parse::<Ipv4Addr>() {
        return one_machine(address.into());
    }
    let good_label = |label: &str| {
        (1..=LABEL_BYTES_MAX).contains(&label.len())
            && label.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_'))
            && !label.starts_with('-')
            && !label.ends_with('-')
    };
    let number_last = text.rsplit('.').next().is_some_and(|last| {
        let hex = last.strip_prefix("0x").or_else(|| last.strip_prefix("0X"));
        last.bytes().all(|b| b.is_ascii_digit())
            || hex.is_some_and(|digits| digits.bytes().all(|b| b.is_ascii_hexdigit()))
    });
    if text.len() <= NAME_BYTES_MAX && text.split('.').all(good_label) && !number_last {
        Ok(TcpHost::Name(text.to_owned()))
    } else {
        Err(SelectorFault::BadHost)
    }
}

/// "Any machine" and "many machines" name no meter.
fn one_machine(address: IpAddr) -> Result<TcpHost, SelectorFault> {
    let broadcast = address == IpAddr::V4(Ipv4Addr::BROADCAST);
    if address.is_unspecified() || address.is_multicast() || broadcast {
        Err(SelectorFault::BadHost)
    } else {
        Ok(TcpHost::Address(address))
    }
}
