//! The serial server's selector, look-up, connection, refusals and loss, all on this machine's loopback.

use std::io::{self, Read as _, Write as _};
use std::net::{SocketAddr, TcpListener};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, mpsc};
use std::time::Duration;

use proptest::prelude::*;
use tokio::net::TcpSocket;

use super::{bytes, next, until};
use crate::supervise::Opener;
use crate::tcp::open::{CONNECT_TIME_MAX, Resolve, TcpOpener, absence, is_own_echo, socket_for};
use crate::{
    Adapter, Disconnect, GapReason, Link, LinkEvent, LinkState, OpenError, OpenOptions, Selector,
    SelectorFault, TcpAdapter, TcpHost, TcpPlace, Unavailable,
};

fn loopback() -> SocketAddr {
    "127.0.0.1:0".parse().unwrap()
}

fn open(adapter: &TcpAdapter, rest: impl std::fmt::Display, options: &OpenOptions) -> Box<dyn Link> {
    adapter.open(&format!("tcp:{rest}").parse().unwrap(), options).unwrap()
}

/// A port of this machine that is taken and on which nobody listens yet.
fn held_port() -> (TcpSocket, SocketAddr) {
    let socket = TcpSocket::new_v4().unwrap();
    socket.bind(loopback()).unwrap();
    let address = socket.local_addr().unwrap();
    (socket, address)
}

fn resolving(answer: impl Fn() -> io::Result<Vec<SocketAddr>> + Send + Sync + 'static) -> Resolve {
    Arc::new(move |_, _| answer())
}

fn opener(rest: &str, resolve: Resolve) -> TcpOpener {
    TcpOpener::new(TcpPlace::parse(rest).unwrap(), resolve)
}

#[test]
fn places() {
    let name = "a".repeat(63);
    for (text, host) in [
        ("192.168.4.20:4001", "192.168.4.20"),
        ("[::1]:4001", "[::1]"),
        ("[2001:db8::7]:65535", "[2001:db8::7]"),
        ("localhost:1", "localhost"),
        ("server-2.plant_a.lan:23", "server-2.plant_a.lan"),
        ("4th-floor:4001", "4th-floor"),
        (&format!("{name}:7"), &name),
    ] {
        let place = TcpPlace::parse(text).unwrap();
        assert_eq!(place.to_string(), text);
        assert_eq!(place.host.to_string(), host);
        assert!(TcpAdapter::new().validate(&format!("tcp:{text}").parse().unwrap()).is_ok());
    }
    for (text, fault) in [
        ("", SelectorFault::RestMissing),
        ("localhost", SelectorFault::BadPort),
        ("localhost:", SelectorFault::BadPort),
        ("localhost:0", SelectorFault::BadPort),
        ("localhost:65536", SelectorFault::BadPort),
        ("localhost:+80", SelectorFault::BadPort),
        ("localhost:0x50", SelectorFault::BadPort),
        ("localhost:080", SelectorFault::BadPort),
        ("[::1]", SelectorFault::BadPort),
        ("[::1]:", SelectorFault::BadPort),
        ("::1", SelectorFault::BareIpv6),
        ("2001:db8::7:4001", SelectorFault::BareIpv6),
        ("2001:db8:1:2:3:4:5:7:4001", SelectorFault::BareIpv6),
        ("[::1:4001", SelectorFault::BadHost),
        ("[fe80::1%eth0]:4001", SelectorFault::BadHost),
        ("[127.0.0.1]:4001", SelectorFault::BadHost),
        ("//localhost:4001", SelectorFault::BadHost),
        ("user@localhost:4001", SelectorFault::BadHost),
        ("local host:4001", SelectorFault::BadHost),
        (":4001", SelectorFault::BadHost),
        ("a..b:1", SelectorFault::BadHost),
        ("-a:1", SelectorFault::BadHost),
        ("a:b:1", SelectorFault::BadHost),
        // Resolvers read these as 10.0.0.1 and 127.0.0.1 (inet_aton).
        ("10.1:4001", SelectorFault::BadHost),
        ("2130706433:4001", SelectorFault::BadHost),
        ("0x7f000001:4001", SelectorFault::BadHost),
        ("300.1.1.1:4001", SelectorFault::BadHost),
        ("0.0.0.0:4001", SelectorFault::BadHost),
        ("[::]:4001", SelectorFault::BadHost),
        ("224.0.0.1:4001", SelectorFault::BadHost),
        ("255.255.255.255:4001", SelectorFault::BadHost),
    ] {
        assert_eq!(TcpPlace::parse(text), Err(fault), "{text}");
    }
    let long = format!("{name}.{name}.{name}.{}", "a".repeat(62));
    assert_eq!(TcpPlace::parse(&format!("{long}:1")), Err(SelectorFault::BadHost), "254 bytes");
    assert!(TcpPlace::parse(&format!("{}:1", long.strip_prefix('a').unwrap())).is_ok(), "253 bytes");
    assert_eq!(TcpPlace::parse(&format!("a{name}:1")), Err(SelectorFault::BadHost));
    let refused = TcpAdapter::new().validate(&"tcp:::1".parse::<Selector>().unwrap());
    assert!(matches!(&refused, Err(OpenError::BadSelector { .. })), "{refused:?}");
    assert!(refused.unwrap_err().to_string().contains("tcp:[2001:db8::7]:4001"));
}

proptest! {
    #[test]
    fn any_place_is_refused_or_read_back_the_same(text in "(\\[)?[a-zA-Z0-9.:_%-]{0,24}(\\])?(:[0-9]{0,6})?|.{0,40}") {
        if let Ok(place) = TcpPlace::parse(&text) {
            prop_assert!(place.port != 0);
            prop_assert_eq!(TcpPlace::parse(&place.to_string()), Ok(place));
        }
    }

    /// What the standard library reads as an address and a port means the same here.
    #[test]
    fn addresses_mean_what_the_standard_library_says(
        v4 in any::<[u8; 4]>(), v6 in any::<[u16; 8]>(), port in 1_u16.., six in any::<bool>(),
    ) {
        let address = if six { SocketAddr::from((v6, port)) } else { SocketAddr::from((v4, port)) };
        match TcpPlace::parse(&address.to_string()) {
            Ok(place) => {
                prop_assert_eq!(place, TcpPlace { host: TcpHost::Address(address.ip()), port });
            }
            Err(_) => {
                let ip = address.ip();
                let broadcast = ip.to_string() == "255.255.255.255";
                prop_assert!(ip.is_unspecified() || ip.is_multicast() || broadcast);
            }
        }
    }
}

#[tokio::test]
async fn an_address_needs_no_look_up() {
    let asked = |rest| opener(rest, resolving(|| panic!("nothing to look up")));
    let v6 = asked("[::1]:4001").addresses().await;
    assert_eq!(v6, Ok(vec!["[::1]:4001".parse().unwrap()]));
    let v4 = asked("127.0.0.1:4001").addresses().await;
    assert_eq!(v4, Ok(vec!["127.0.0.1:4001".parse().unwrap()]));
}

#[tokio::test]
async fn a_refused_port_is_told_and_found_when_somebody_listens() {
    let (socket, address) = held_port();
    let mut link = open(&TcpAdapter::new(), address, &OpenOptions::default());
    let refused = Unavailable::Refused { address: address.to_string() };
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Opening));
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Absent(refused)));
    let _server = socket.listen(8).unwrap();
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Syncing));
    assert!(link.line_settings().is_none());
}

/// A server whose queue of waiting connections is full leaves the next one without an answer, as a switched-off host does.
#[tokio::test(start_paused = true)]
#[cfg(target_os = "linux")]
async fn a_host_that_does_not_answer_is_told_after_the_time_limit() {
    let (socket, address) = held_port();
    let _deaf = socket.listen(1).unwrap();
    let _waiting =
        [std::net::TcpStream::connect(address).unwrap(), std::net::TcpStream::connect(address).unwrap()];
    let begin = tokio::time::Instant::now();
    let mut link = open(&TcpAdapter::new(), address, &OpenOptions::default());
    until(&mut *link, &LinkState::Absent(Unavailable::Unanswered { address: address.to_string() })).await;
    let took = begin.elapsed();
    assert!(took >= CONNECT_TIME_MAX && took < 2 * CONNECT_TIME_MAX, "{took:?}");
}

#[tokio::test]
async fn an_unknown_name_is_told_in_the_systems_words() {
    let failing = resolving(|| Err(io::Error::other("no such name")));
    let mut link = open(&TcpAdapter::resolving(failing), "meter.lan:4001", &OpenOptions::default());
    let absence =
        Unavailable::NameUnknown { host: "meter.lan".to_owned(), detail: "no such name".to_owned() };
    until(&mut *link, &LinkState::Absent(absence)).await;

    let nothing = opener("meter.lan:4001", resolving(|| Ok(Vec::new()))).open().await;
    assert!(matches!(nothing, Err(Unavailable::NameUnknown { .. })), "{nothing:?}");
    let broken = opener("meter.lan:4001", resolving(|| panic!("on purpose"))).open().await;
    assert!(matches!(broken, Err(Unavailable::NameUnknown { .. })), "{broken:?}");
}

#[tokio::test(start_paused = true)]
async fn a_stuck_look_up_is_told_waited_for_and_asked_once() {
    let (socket, address) = held_port();
    let _server = socket.listen(8).unwrap();
    let (answer, wait) = mpsc::channel();
    let (wait, asked) = (Mutex::new(wait), Arc::new(AtomicUsize::new(0)));
    let count = Arc::clone(&asked);
    let slow = resolving(move || {
        count.fetch_add(1, Ordering::SeqCst);
        wait.lock().unwrap().recv().map_err(io::Error::other)
    });
    let opener = opener("meter.lan:4001", slow);
    let unanswered = Unavailable::NameUnanswered { host: "meter.lan".to_owned() };
    for _ in 0..3 {
        assert_eq!(opener.open().await.err(), Some(unanswered.clone()));
    }
    answer.send(vec![address]).unwrap();
    // The time that passes here is not the thread's: ask until it has answered.
    let found = async {
        loop {
            match opener.open().await {
                Ok(stream) => return stream,
                Err(absence) => assert_eq!(absence, unanswered),
            }
            std::thread::yield_now();
        }
    };
    assert_eq!(found.await.peer_addr().unwrap(), address);
    assert_eq!(asked.load(Ordering::SeqCst), 1);
}

#[tokio::test]
async fn the_addresses_of_a_name_are_tried_in_turn() {
    let (_nobody, dead) = held_port();
    let (_nobody_either, dead_too) = held_port();
    let (socket, alive) = held_port();
    let _server = socket.listen(8).unwrap();
    let stream = opener("meter.lan:4001", resolving(move || Ok(vec![dead, alive]))).open().await.unwrap();
    assert_eq!(stream.peer_addr().unwrap(), alive);
    let refused = opener("meter.lan:4001", resolving(move || Ok(vec![dead, dead_too]))).open().await;
    assert_eq!(refused.err(), Some(Unavailable::Refused { address: dead_too.to_string() }));

    // No stream leads to a broadcast address; the system says so without sending anything.
    let nowhere: SocketAddr = "255.255.255.255:4001".parse().unwrap();
    for addresses in [[dead, nowhere], [nowhere, dead]] {
        let refused = opener("meter.lan:4001", resolving(move || Ok(addresses.to_vec()))).open().await;
        assert_eq!(refused.err(), Some(Unavailable::Refused { address: dead.to_string() }), "{addresses:?}");
    }
    let unreachable = opener("meter.lan:4001", resolving(move || Ok(vec![nowhere]))).open().await;
    assert!(matches!(unreachable, Err(Unavailable::Unreachable { .. })), "{unreachable:?}");
}

#[tokio::test]
async fn requests_reach_the_server_and_answers_come_back() {
    let server = TcpListener::bind(loopback()).unwrap();
    let mut link = open(&TcpAdapter::new(), server.local_addr().unwrap(), &OpenOptions::default());
    until(&mut *link, &LinkState::Syncing).await;
    let far = tokio::task::spawn_blocking(move || {
        let (mut far, _) = server.accept().unwrap();
        let mut got = [0; 5];
        far.read_exact(&mut got).unwrap();
        assert_eq!(&got, b"READ?");
        far.write_all(b"44.70 uF\n").unwrap();
        far
    });
    link.requests().unwrap().send(b"READ?".to_vec()).unwrap();
    assert_eq!(bytes(&mut *link, 9).await, b"44.70 uF\n");
    drop(far.await.unwrap());
    assert_eq!(next(&mut *link).await, LinkEvent::Gap(GapReason::Lost(Disconnect::Closed)));
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Lost(Disconnect::Closed)));
}

#[tokio::test(start_paused = true)]
async fn a_server_that_falls_silent_is_lost_after_the_silence_time() {
    let server = TcpListener::bind(loopback()).unwrap();
    let options = OpenOptions { silence: Some(Duration::from_secs(3)), ..OpenOptions::default() };
    let mut link = open(&TcpAdapter::new(), server.local_addr().unwrap(), &options);
    until(&mut *link, &LinkState::Syncing).await;
    let (mut far, _) = server.accept().unwrap();
    far.write_all(b"reading").unwrap();
    assert_eq!(bytes(&mut *link, 7).await, b"reading");
    until(&mut *link, &LinkState::Lost(Disconnect::Silent { after_ms: 3000 })).await;
    // Closed on this side too.
    assert_eq!(far.read(&mut [0; 8]).unwrap(), 0);
    until(&mut *link, &LinkState::Syncing).await;
}

#[tokio::test]
async fn a_connection_to_itself_is_seen_through() {
    let (socket, address) = held_port();
    let mut itself = socket.connect(address).await.unwrap();
    assert!(is_own_echo(&itself));
    // This is what it would do: the request comes back as a reading.
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
    itself.write_all(b"READ?").await.unwrap();
    let mut got = [0; 5];
    itself.read_exact(&mut got).await.unwrap();
    assert_eq!(&got, b"READ?");

    let server = TcpListener::bind(loopback()).unwrap();
    let other = tokio::net::TcpStream::connect(server.local_addr().unwrap()).await.unwrap();
    assert!(!is_own_echo(&other));
}

#[tokio::test]
async fn keepalive_is_on_and_small_requests_do_not_wait() {
    let server = TcpListener::bind(loopback()).unwrap();
    let address = server.local_addr().unwrap();
    let socket = socket_for(address).unwrap();
    assert!(socket.keepalive().unwrap());
    assert!(socket.connect(address).await.unwrap().nodelay().unwrap());
}

#[test]
fn each_refusal_says_what_to_do() {
    let address = "192.0.2.7:4001".parse().unwrap();
    for (kind, words) in [
        (io::ErrorKind::ConnectionRefused, ["192.0.2.7:4001 takes no connection", "check the port"]),
        (io::ErrorKind::TimedOut, ["192.0.2.7:4001 does not answer", "check that the serial server is on"]),
        (io::ErrorKind::HostUnreachable, ["no way to 192.0.2.7:4001", "check the cable or the Wi-Fi"]),
        (io::ErrorKind::NetworkUnreachable, ["no way to 192.0.2.7:4001", "in the same network"]),
        (io::ErrorKind::PermissionDenied, ["permission denied", "check the cable"]),
    ] {
        let told = absence(address, &kind.into()).to_string();
        assert!(words.iter().all(|part| told.contains(part)), "{told:?} lacks one of {words:?}");
    }
    let host = || "meter.lan".to_owned();
    for absence in [
        Unavailable::NameUnknown { host: host(), detail: "x".to_owned() },
        Unavailable::NameUnanswered { host: host() },
    ] {
        let told = absence.to_string();
        assert!(told.contains("meter.lan") && told.contains("write the address in its place"), "{told}");
    }
}
