//! The request guard: parses `Host` and `Origin` and admits only listed authorities (against DNS rebinding and CSRF).
//! Does not read sockets, does not know what a route does, and never resolves a name.

use std::fmt;
use std::net::{Ipv4Addr, Ipv6Addr};

/// Longest `Host` or `Origin` value accepted, in bytes.
pub const VALUE_BYTES_MAX: usize = 300;
/// The port of a plain `http` address that names none (RFC 9110, 4.2.1).
const HTTP_PORT: u16 = 80;

/// A host as a browser writes it: a name, an IPv4 literal in dotted-quad form, or an IPv6 literal.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Host {
    /// A registered name, lower case. A final dot is kept: `localhost.` and `localhost` are different names.
    Name(String),
    /// A dotted quad with no leading zeros.
    V4(Ipv4Addr),
    /// A bracketed IPv6 literal, compared by its value.
    V6(Ipv6Addr),
}

/// A host with its port.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Authority {
    /// The host.
    pub host: Host,
    /// The port; 80 if the text named none.
    pub port: u16,
}

impl fmt::Display for Authority {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.host {
            Host::Name(name) => write!(f, "{name}:{}", self.port),
            Host::V4(ip) => write!(f, "{ip}:{}", self.port),
            Host::V6(ip) => write!(f, "[{ip}]:{}", self.port),
        }
    }
}

/// Why a request was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// A header that cannot be parsed, is missing, or occurs twice: status 400.
    Malformed(&'static str),
    /// A well-formed host that is not on the list: status 421.
    NotListed,
    /// Another page's request: status 403.
    CrossOrigin(&'static str),
}

/// The headers that the guard examines, as raw bytes, with every occurrence of each.
#[derive(Clone, Debug, Default)]
pub struct RequestHeaders<'a> {
    /// Authority of the request target (absolute form), if it has one.
    pub target: Option<&'a [u8]>,
    /// All `Host` values.
    pub hosts: Vec<&'a [u8]>,
    /// All `Origin` values.
    pub origins: Vec<&'a [u8]>,
    /// All `Sec-Fetch-Site` values.
    pub fetch_sites: Vec<&'a [u8]>,
    /// True for a top-level navigation to the page itself: a link on another page may open it, nothing more.
    pub opens_page: bool,
    /// True if the request may change state: then `Origin` is required.
    pub changes_state: bool,
}

/// The list of authorities this server answers to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AllowedHosts {
    list: Vec<Authority>,
}

impl AllowedHosts {
    /// Builds the list from names and IP literals. An entry without a port gets `port`, the bound one.
    ///
    /// # Errors
    /// The first entry that is not a host, as it was written.
    pub fn new<'a>(entries: impl IntoIterator<Item = &'a str>, port: u16) -> Result<Self, String> {
        let mut list = Vec::new();
        for entry in entries {
            let (host, own_port) = split_port(entry.as_bytes()).map_err(|_| entry.to_owned())?;
            list.push(Authority { host, port: own_port.unwrap_or(port) });
        }
        list.sort();
        list.dedup();
        Ok(Self { list })
    }

    /// The list, for the page that tells a refused client what is allowed.
    #[must_use]
    pub fn list(&self) -> &[Authority] {
        &self.list
    }

    /// Admits or refuses one request.
    ///
    /// # Errors
    /// [`Refusal`] with the reason.
    pub fn admit(&self, visit: &RequestHeaders<'_>) -> Result<(), Refusal> {
        let host = match visit.hosts.as_slice() {
            [one] => parse_authority(one)?,
            [] => return Err(Refusal::Malformed("the Host header is missing")),
            _ => return Err(Refusal::Malformed("there is more than one Host header")),
        };
        if let Some(target) = visit.target
            && parse_authority(target)? != host
        {
            return Err(Refusal::Malformed("the request target and the Host header differ"));
        }
        if !self.list.contains(&host) {
            return Err(Refusal::NotListed);
        }
        match visit.origins.as_slice() {
            [] if visit.changes_state => Err(Refusal::CrossOrigin("the Origin header is missing")),
            [] => Ok(()),
            [one] => match parse_origin(one)? {
                Some(origin) if origin == host => Ok(()),
                _ => Err(Refusal::CrossOrigin(
                    "the request comes from another page (Origin is not this address)",
                )),
            },
            _ => Err(Refusal::Malformed("there is more than one Origin header")),
        }?;
        match visit.fetch_sites.as_slice() {
            [] | [b"same-origin" | b"none"] => Ok(()),
            [_] if visit.opens_page => Ok(()),
            [_] => Err(Refusal::CrossOrigin("the request comes from another page (Sec-Fetch-Site)")),
            _ => Err(Refusal::Malformed("there is more than one Sec-Fetch-Site header")),
        }
    }
}

/// Parses a `Host` header: `host [":" port]` (RFC 9110, 7.2).
///
/// # Errors
/// [`Refusal::Malformed`] for anything else, user information included.
pub fn parse_authority(value: &[u8]) -> Result<Authority, Refusal> {
    let (host, port) = split_port(value)?;
    Ok(Authority { host, port: port.unwrap_or(HTTP_PORT) })
}

/// Parses an `Origin` header (RFC 6454, 7.1). `None` for the opaque `null`, for a list, and for any scheme but
/// `http`, which this server never has.
///
/// # Errors
/// [`Refusal::Malformed`] if it is not an origin at all.
pub fn parse_origin(value: &[u8]) -> Result<Option<Authority>, Refusal> {
    if value == b"null" {
        return Ok(None);
    }
    match value.strip_prefix(b"http://") {
        Some(authority) => parse_authority(authority).map(Some),
        None if value.windows(3).any(|three| three == b"://") && value.is_ascii() => Ok(None),
        None => Err(Refusal::Malformed("the Origin header is no origin")),
    }
}

fn split_port(value: &[u8]) -> Result<(Host, Option<u16>), Refusal> {
    if value.is_empty() {
        return Err(Refusal::Malformed("the host is empty"));
    }
    if value.len() > VALUE_BYTES_MAX {
        return Err(Refusal::Malformed("the host is too long"));
    }
    let text = std::str::from_utf8(value).map_err(|_| Refusal::Malformed("the host is not ASCII"))?;
    if let Some(rest) = text.strip_prefix('[') {
        let (inside, after) = rest.split_once(']').ok_or(Refusal::Malformed("the bracket is not closed"))?;
        let ip = inside.parse().map_err(|_| Refusal::Malformed("no IPv6 address between the brackets"))?;
        let port = match after.strip_prefix(':') {
            Some(digits) => Some(parse_port(digits)?),
            None if after.is_empty() => None,
            None => return Err(Refusal::Malformed("text follows the bracket")),
        };
        return Ok((Host::V6(ip), port));
    }
    match text.split_once(':') {
        Some((host, digits)) => Ok((parse_name(host)?, Some(parse_port(digits)?))),
        None => Ok((parse_name(text)?, None)),
    }
}

fn parse_port(digits: &str) -> Result<u16, Refusal> {
    // No sign, no leading zero: one spelling for each port, as browsers write it.
    let plain = digits.bytes().all(|b| b.is_ascii_digit()) && !digits.starts_with('0');
    match digits.parse() {
        Ok(port) if plain => Ok(port),
        _ => Err(Refusal::Malformed("the port is no number from 1 to 65535")),
    }
}

/// A dotted quad, or a name of letters, digits, hyphens, underscores and dots. Decimal, octal and hexadecimal
/// spellings of an address become names, which are on no list.
fn parse_name(text: &str) -> Result<Host, Refusal> {
    if let Ok(ip) = text.parse::<Ipv4Addr>() {
        return Ok(Host::V4(ip));
    }
    let good = text.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.'));
    let labels = text.strip_suffix('.').unwrap_or(text);
    if !good || labels.split('.').any(str::is_empty) {
        return Err(Refusal::Malformed("the host is no name and no address"));
    }
    Ok(Host::Name(text.to_ascii_lowercase()))
}

#[cfg(test)]
mod tests;
