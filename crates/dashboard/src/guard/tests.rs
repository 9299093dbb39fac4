//! The guard against a table of 200 and more forms, and against arbitrary bytes. The forms are built, not resolved.

use super::*;
use proptest::prelude::*;

fn allowed() -> AllowedHosts {
    AllowedHosts::new(["localhost", "127.0.0.1", "[::1]", "roof-7.example", "other.example:9000"], 8080)
        .unwrap()
}

fn get<'a>(host: &'a [u8]) -> RequestHeaders<'a> {
    RequestHeaders { hosts: vec![host], ..RequestHeaders::default() }
}

fn outcome(host: &[u8]) -> u16 {
    status(allowed().admit(&get(host)))
}

fn status(result: Result<(), Refusal>) -> u16 {
    match result {
        Ok(()) => 200,
        Err(Refusal::Malformed(_)) => 400,
        Err(Refusal::NotListed) => 421,
        Err(Refusal::CrossOrigin(_)) => 403,
    }
}

/// The only forms that are answered: each is a listed host, in another case or another spelling of the same IPv6
/// address, with the bound port or the entry's own.
const GOOD: &[&str] = &[
    "localhost:8080",
    "LOCALHOST:8080",
    "LocalHost:8080",
    "127.0.0.1:8080",
    "[::1]:8080",
    "[0:0:0:0:0:0:0:1]:8080",
    "[0000:0000:0000:0000:0000:0000:0000:0001]:8080",
    "[::0:1]:8080",
    "[::0.0.0.1]:8080",
    "roof-7.example:8080",
    "Roof-7.Example:8080",
    "other.example:9000",
];

/// Well formed, not listed: 421. Each is tried as it stands and with `:8080`.
const FOREIGN: &[&str] = &[
    // another name, a name that only begins or ends like a listed one
    "evil.example",
    "localhost.evil.example",
    "evil.localhost",
    "xlocalhost",
    "localhostx",
    "localhost-",
    "-localhost",
    "local-host",
    "local.host",
    "localhos",
    "ocalhost",
    "localhost.",
    "localhost.localdomain",
    "localhost6",
    "ip6-localhost",
    "roof-7.example.",
    "roof-7.example.evil.example",
    "evil.roof-7.example",
    "roof-7",
    "roof-70.example",
    "roof_7.example",
    "xn--localhost-9na",
    // names that resolve to this machine by somebody's DNS
    "127.0.0.1.nip.example",
    "127-0-0-1.nip.example",
    "localtest.example",
    "7f000001.rbnd.example",
    "1.0.0.127.in-addr.arpa",
    // other spellings of the loopback address
    "2130706433",
    "0x7f000001",
    "0x7f.0.0.1",
    "0x7f.1",
    "017700000001",
    "0177.0.0.1",
    "127.1",
    "127.0.1",
    "127.0.0.01",
    "127.000.000.001",
    "127.0.0.1.",
    "127.0.0.1.0",
    "127.0.0.256",
    "127.0.0.2",
    "127.1.1.1",
    "0.0.0.0",
    "0",
    "0x0",
    "1",
    "255.255.255.255",
    "192.0.2.1",
    "10.0.0.1",
    "169.254.169.254",
    "[::]",
    "[::2]",
    "[::ffff:127.0.0.1]",
    "[::ffff:7f00:1]",
    "[::127.0.0.1]",
    "[fe80::1]",
    "[fd00::1]",
    "[2001:db8::1]",
    "[64:ff9b::7f00:1]",
    "other.example",
];

/// No host at all: 400.
const MALFORMED: &[&str] = &[
    "",
    " ",
    ":",
    ":8080",
    ".",
    "..",
    ".localhost:8080",
    "localhost..:8080",
    "local..host:8080",
    "localhost:",
    "localhost:0",
    "localhost:-1",
    "localhost:+8080",
    "localhost: 8080",
    "localhost:8080 ",
    " localhost:8080",
    "localhost :8080",
    "localhost\t:8080",
    "localhost:65536",
    "localhost:99999",
    "localhost:100000",
    "localhost:08080",
    "localhost:008080",
    "localhost:8080:8080",
    "localhost:8080:",
    "localhost::8080",
    "localhost:80a",
    "localhost:0x1f90",
    "localhost:8080/",
    "localhost/",
    "localhost:8080?",
    "localhost:8080#",
    "localhost#evil.example",
    "localhost\\evil.example",
    "evil.example#localhost:8080",
    "user@localhost:8080",
    "user:pw@localhost:8080",
    "localhost:8080@evil.example",
    "localhost:pw@evil.example:8080",
    "@localhost:8080",
    "localhost@",
    "localhost,evil.example",
    "localhost:8080,localhost:8080",
    "localhost;8080",
    "localhost%2eevil.example",
    "localhost%00",
    "localhost\0:8080",
    "localhost\r\n:8080",
    "localhost\n",
    "http://localhost:8080",
    "//localhost:8080",
    "*",
    "*:8080",
    "*.example",
    "[::1",
    "::1",
    "::1]:8080",
    "[::1]]:8080",
    "[[::1]]:8080",
    "[::1]8080",
    "[::1]:",
    "[::1]:0",
    "[::1]:65536",
    "[::1%25lo]:8080",
    "[::1%lo]:8080",
    "[fe80::1%eth0]:8080",
    "[]:8080",
    "[:]:8080",
    "[:::1]:8080",
    "[::1::]:8080",
    "[1]:8080",
    "[127.0.0.1]:8080",
    "[localhost]:8080",
    "[g::1]:8080",
    "[::00001]:8080",
    "[v1.x]:8080",
    "[ ::1]:8080",
    "[::1 ]:8080",
    "x[::1]:8080",
    "lоcalhost:8080",
    "localhost\u{200b}:8080",
    "ⓛocalhost:8080",
    "127。0。0。1:8080",
    "١٢٧.0.0.1:8080",
    "localhost:８０８０",
    "\"localhost\":8080",
    "'localhost':8080",
    "<localhost>:8080",
    "local host:8080",
    "localhost!:8080",
    "(localhost):8080",
    "localhost|:8080",
    "$localhost:8080",
    "localhost=1",
    "~:8080",
];

#[test]
fn two_hundred_hosts_and_only_the_listed_are_answered() {
    let mut forms = 0;
    let mut check = |host: &[u8], wanted: u16| {
        forms += 1;
        assert_eq!(outcome(host), wanted, "{:?}", String::from_utf8_lossy(host));
    };
    for host in GOOD {
        check(host.as_bytes(), 200);
    }
    for host in FOREIGN {
        check(host.as_bytes(), 421);
        check(format!("{host}:8080").as_bytes(), 421);
    }
    for host in MALFORMED {
        check(host.as_bytes(), 400);
    }
    // A listed host with another port, or with the default port, is another place.
    for host in ["localhost", "127.0.0.1", "[::1]", "roof-7.example"] {
        for port in ["", ":80", ":443", ":8081", ":808", ":1", ":65535", ":9000"] {
            check(format!("{host}{port}").as_bytes(), 421);
        }
    }
    for bytes in
        [&b"\xff"[..], b"localhost\xff:8080", b"\xc0\xae", b"local\x80host", b"\xf0\x28\x8c\x28", &[0; 40]]
    {
        check(bytes, 400);
    }
    check("a".repeat(VALUE_BYTES_MAX + 1).as_bytes(), 400);
    check("a".repeat(VALUE_BYTES_MAX).as_bytes(), 421);
    check(format!("localhost{}", ".a".repeat(145)).as_bytes(), 421);
    assert!(forms >= 200, "{forms} forms");
}

#[test]
fn a_request_has_one_host_and_one_target() {
    let allowed = allowed();
    let local: &[u8] = b"localhost:8080";
    let visit = |target: Option<&'static [u8]>, hosts: Vec<&'static [u8]>| {
        status(allowed.admit(&RequestHeaders { target, hosts, ..RequestHeaders::default() }))
    };
    assert_eq!(visit(None, vec![]), 400);
    assert_eq!(visit(None, vec![local, local]), 400);
    assert_eq!(visit(None, vec![local, b"evil.example"]), 400);
    assert_eq!(visit(Some(local), vec![local]), 200);
    assert_eq!(visit(Some(b"evil.example"), vec![local]), 400);
    assert_eq!(visit(Some(local), vec![b"evil.example"]), 400);
    assert_eq!(visit(Some(b"evil.example"), vec![b"evil.example"]), 421);
    assert_eq!(visit(Some(b"user@localhost:8080"), vec![local]), 400);
}

#[test]
fn an_origin_must_be_the_very_host() {
    let allowed = allowed();
    let visit = |host: &str, origin: &str, changes_state: bool| {
        let visit = RequestHeaders {
            hosts: vec![host.as_bytes()],
            origins: vec![origin.as_bytes()],
            changes_state,
            ..RequestHeaders::default()
        };
        status(allowed.admit(&visit))
    };
    let host = "127.0.0.1:8080";
    for changes_state in [false, true] {
        assert_eq!(visit(host, "http://127.0.0.1:8080", changes_state), 200);
        assert_eq!(visit("LOCALHOST:8080", "http://localhost:8080", changes_state), 200);
        assert_eq!(visit("[::1]:8080", "http://[::1]:8080", changes_state), 200);
        for other in [
            "null",
            "http://localhost:8080",
            "http://127.0.0.1",
            "http://127.0.0.1:80",
            "http://127.0.0.1:8081",
            "http://127.0.0.2:8080",
            "https://127.0.0.1:8080",
            "ws://127.0.0.1:8080",
            "file://",
            "chrome-extension://abcdef",
            "http://evil.example",
            "http://evil.example:8080",
            "http://127.0.0.1.evil.example:8080",
            "http://127.0.0.1:8080 http://evil.example",
        ] {
            let got = visit(host, other, changes_state);
            assert!(got == 403 || got == 400, "{other}: {got}");
        }
        for broken in
            ["", "127.0.0.1:8080", "http://", "http:127.0.0.1:8080", "http://127.0.0.1:8080/", "HTTP"]
        {
            assert_eq!(visit(host, broken, changes_state), 400, "{broken}");
        }
    }
    let twice: Vec<&[u8]> = vec![b"http://127.0.0.1:8080"; 2];
    let visit = RequestHeaders { hosts: vec![host.as_bytes()], origins: twice, ..RequestHeaders::default() };
    assert_eq!(status(allowed.admit(&visit)), 400);
    let without =
        RequestHeaders { hosts: vec![host.as_bytes()], changes_state: true, ..RequestHeaders::default() };
    assert_eq!(status(allowed.admit(&without)), 403);
}

#[test]
fn fetch_metadata_of_another_site_is_refused() {
    let allowed = allowed();
    for (site, opens_page, wanted) in [
        ("same-origin", false, 200),
        ("none", false, 200),
        ("same-site", false, 403),
        ("cross-site", false, 403),
        ("cross-site", true, 200),
        ("same-site", true, 200),
        ("Same-Origin", false, 403),
        ("", false, 403),
    ] {
        let visit = RequestHeaders {
            hosts: vec![b"localhost:8080"],
            fetch_sites: vec![site.as_bytes()],
            opens_page,
            ..RequestHeaders::default()
        };
        assert_eq!(status(allowed.admit(&visit)), wanted, "{site} {opens_page}");
    }
    let twice: Vec<&[u8]> = vec![b"same-origin"; 2];
    let visit =
        RequestHeaders { hosts: vec![b"localhost:8080"], fetch_sites: twice, ..RequestHeaders::default() };
    assert_eq!(status(allowed.admit(&visit)), 400);
}

#[test]
fn the_list_refuses_what_is_no_host() {
    for entry in ["", "a b", "http://localhost", "localhost:0", "[::1", "*", "a/b", "user@host"] {
        assert_eq!(AllowedHosts::new([entry], 8080), Err(entry.to_owned()));
    }
}

proptest! {
    #[test]
    fn no_bytes_panic_and_none_but_a_listed_host_is_answered(
        host in proptest::collection::vec(any::<u8>(), 0..64),
        origin in proptest::collection::vec(any::<u8>(), 0..64),
    ) {
        let visit = RequestHeaders { origins: vec![&origin], ..get(&host) };
        prop_assert_ne!(status(allowed().admit(&visit)), 200);
    }

    #[test]
    fn a_listed_host_with_anything_around_it_is_another_host(
        before in "[a-z0-9.@:/#\\[%-]{0,6}",
        after in "[a-z0-9.@:/#\\]%-]{0,6}",
        index in 0..GOOD.len(),
    ) {
        let host = format!("{before}{}{after}", GOOD[index]);
        // The same authority in another spelling is the only thing that may be answered.
        if outcome(host.as_bytes()) == 200 {
            let parsed = parse_authority(host.as_bytes()).unwrap();
            prop_assert!(allowed().list().contains(&parsed));
            prop_assert!(before.is_empty() && after.is_empty(), "{}", host);
        }
    }

    #[test]
    fn what_is_printed_reads_back_the_same(
        name in "[a-z0-9_-]{1,20}(\\.[a-z0-9_-]{1,20}){0,3}\\.?",
        v4 in any::<u32>(),
        v6 in any::<u128>(),
        port in 1_u16..,
    ) {
        let hosts = [parse_name(&name).unwrap(), Host::V4(Ipv4Addr::from(v4)), Host::V6(Ipv6Addr::from(v6))];
        for host in hosts {
            let authority = Authority { host, port };
            prop_assert_eq!(parse_authority(authority.to_string().as_bytes()), Ok(authority.clone()));
            let origin = format!("http://{authority}");
            prop_assert_eq!(parse_origin(origin.as_bytes()), Ok(Some(authority)));
        }
    }
}
