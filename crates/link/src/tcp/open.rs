//! One attempt to reach a serial server: resolve its name, connect to one of its addresses. Each step has its own
//! time limit, and each failure becomes an [`Unavailable`] that says what to do.

use std::io;
use std::net::{SocketAddr, ToSocketAddrs};
use std::sync::Arc;
use std::thread;
use std::time::Duration;

use tokio::net::{TcpSocket, TcpStream};
use tokio::sync::{Mutex, oneshot};
use tokio::time::timeout;

use super::place::{TcpHost, TcpPlace};
use crate::error::Unavailable;
use crate::event::Disconnect;
use crate::supervise::Opener;

/// After this long a pending look-up is reported; the look-up itself continues.
const RESOLVE_TIME_MAX: Duration = Duration::from_secs(5);
/// The longest wait for one address to answer.
pub(crate) const CONNECT_TIME_MAX: Duration = Duration::from_secs(3);
/// The most addresses of one name that are tried at each opening.
const ADDRESSES_MAX: usize = 4;

type Answer = io::Result<Vec<SocketAddr>>;
/// Gives the addresses of a name; may keep its caller waiting.
pub(crate) type Resolve = Arc<dyn Fn(&str, u16) -> Answer + Send + Sync>;

/// As the system looks names up: hosts file, name server, local discovery.
pub(crate) fn system_resolve(name: &str, port: u16) -> Answer {
    (name, port).to_socket_addrs().map(Iterator::collect)
}

/// Connects to one place. At most one look-up runs at a time, on a thread of its own, because it cannot be called off and
/// must hold up neither the other devices nor the end of the program.
pub(crate) struct TcpOpener {
    place: TcpPlace,
    resolve: Resolve,
    /// A look-up that has not answered yet.
    pending: Mutex<Option<oneshot::Receiver<Answer>>>,
}

impl TcpOpener {
    pub(crate) fn new(place: TcpPlace, resolve: Resolve) -> Self {
        Self { place, resolve, pending: Mutex::new(None) }
    }

    /// Where to connect, the best first.
    pub(crate) async fn addresses(&self) -> Result<Vec<SocketAddr>, Unavailable> {
        let name = match &self.place.host {
            TcpHost::Address(address) => return Ok(vec![SocketAddr::new(*address, self.place.port)]),
            TcpHost::Name(name) => name,
        };
        let unknown = |detail: String| Unavailable::NameUnknown { host: name.clone(), detail };
        let mut pending = self.pending.lock().await;
        let mut answer = match pending.take() {
            Some(answer) => answer,
            None => self.ask(name).map_err(|error| unknown(error.to_string()))?,
        };
        match timeout(RESOLVE_TIME_MAX, &mut answer).await {
            Ok(Ok(Ok(addresses))) if addresses.is_empty() => Err(unknown("it has no address".to_owned())),
            Ok(Ok(Ok(addresses))) => Ok(addresses),
            Ok(Ok(Err(error))) => Err(unknown(error.to_string())),
            Ok(Err(_thread_gone)) => Err(unknown("the look-up failed".to_owned())),
            Err(_elapsed) => {
                *pending = Some(answer);
                Err(Unavailable::NameUnanswered { host: name.clone() })
            }
        }
    }

    fn ask(&self, name: &str) -> io::Result<oneshot::Receiver<Answer>> {
        let (sender, answer) = oneshot::channel();
        let (name, port, resolve) = (name.to_owned(), self.place.port, Arc::clone(&self.resolve));
        thread::Builder::new().name("look-up".to_owned()).spawn(move || {
            // Nobody waits any more when the link was dropped.
            let _ = sender.send(resolve(&name, port));
        })?;
        Ok(answer)
    }
}

impl Opener for TcpOpener {
    type Stream = TcpStream;
    const END_OF_STREAM: Disconnect = Disconnect::Closed;

    async fn open(&self) -> Result<TcpStream, Unavailable> {
        let mut told: Option<Unavailable> = None;
        for address in self.addresses().await?.into_iter().take(ADDRESSES_MAX) {
            match connect(address).await {
                Ok(stream) => return Ok(stream),
                // A host that answers "no" says more than one that cannot be reached.
                Err(refused @ Unavailable::Refused { .. }) => told = Some(refused),
                Err(absence) => told = told.or(Some(absence)),
            }
        }
        Err(told.unwrap_or_else(|| Unavailable::NotFound { what: self.place.to_string() }))
    }
}

/// A socket for `address`. Keepalive finds, in the system's own time (two hours unless set otherwise), a server that went
/// away without a word; the silence time of the options finds it sooner. Requests are small and must not wait for each other.
pub(crate) fn socket_for(address: SocketAddr) -> io::Result<TcpSocket> {
    let socket = if address.is_ipv4() { TcpSocket::new_v4()? } else { TcpSocket::new_v6()? };
    socket.set_keepalive(true)?;
    socket.set_nodelay(true)?;
    Ok(socket)
}

async fn connect(address: SocketAddr) -> Result<TcpStream, Unavailable> {
    let attempt = async { socket_for(address)?.connect(address).await };
    match timeout(CONNECT_TIME_MAX, attempt).await {
        Ok(Ok(stream)) if is_own_echo(&stream) => Err(Unavailable::Refused { address: address.to_string() }),
        Ok(Ok(stream)) => Ok(stream),
        Ok(Err(error)) => Err(absence(address, &error)),
        Err(_elapsed) => Err(unanswered(address)),
    }
}

/// Whether the connection leads back to its own socket. That happens when nobody listens on a port of this machine and the
/// system picks the same port for the near end; every request would come back as if a meter had sent it.
pub(crate) fn is_own_echo(stream: &TcpStream) -> bool {
    matches!((stream.local_addr(), stream.peer_addr()), (Ok(near), Ok(far)) if near == far)
}

fn unanswered(address: SocketAddr) -> Unavailable {
    Unavailable::Unanswered { address: address.to_string() }
}

/// Maps the system's error to what a person can do about it.
pub(crate) fn absence(address: SocketAddr, error: &io::Error) -> Unavailable {
    match error.kind() {
        io::ErrorKind::ConnectionRefused | io::ErrorKind::ConnectionReset => {
            Unavailable::Refused { address: address.to_string() }
        }
        io::ErrorKind::TimedOut => unanswered(address),
        _ => Unavailable::Unreachable { address: address.to_string(), detail: error.to_string() },
    }
}
