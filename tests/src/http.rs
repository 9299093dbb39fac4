//! The page over plain HTTP/1.1, written by hand on a socket, so that wrong requests can be sent too (RFC 9110, 9112).

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::time::Instant;

use serde_json::Value;

use crate::HANG;

/// Where a page is.
#[derive(Clone, Copy, Debug)]
pub struct Page {
    address: SocketAddr,
}

/// An answer.
#[derive(Debug)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The header lines, lower case.
    pub head: String,
    /// The body.
    pub body: String,
}

impl Page {
    pub(crate) fn at(address: SocketAddr) -> Self {
        Self { address }
    }

    /// Its address.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// GET with the right Host.
    #[must_use]
    pub fn fetch(&self, path: &str) -> Answer {
        self.send(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\n", self.address), "")
    }

    /// The view.
    ///
    /// # Panics
    /// When it is no JSON.
    #[must_use]
    pub fn view(&self) -> Value {
        let answer = self.fetch("/view");
        assert_eq!(answer.status, 200, "{answer:?}");
        serde_json::from_str(&answer.body).expect("the view is JSON")
    }

    /// Follows the page's stream until a view is as wanted.
    ///
    /// # Panics
    /// When none comes; with the last one.
    pub fn view_until(&self, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let deadline = Instant::now() + HANG;
        let mut stream = self.connect();
        write!(stream, "GET /events HTTP/1.1\r\nHost: {}\r\n\r\n", self.address).expect("a request");
        let mut last = Value::Null;
        for line in BufReader::new(stream).lines() {
            let line = line.expect("the stream of views goes on");
            // A beat has `data: 0`; chunk sizes stand on lines of their own.
            if let Some(data) = line.strip_prefix("data: ").filter(|data| data.starts_with('{')) {
                last = serde_json::from_str(data).expect("the view is JSON");
                if wanted(&last) {
                    return last;
                }
            }
            assert!(Instant::now() < deadline, "no view came with {what}; the last one: {last:#}");
        }
        panic!("the stream of views ended before {what}; the last one: {last:#}");
    }

    fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect_timeout(&self.address, HANG).expect("the page listens");
        stream.set_read_timeout(Some(HANG)).expect("a socket");
        stream
    }

    /// An action as the page sends it.
    #[must_use]
    pub fn act(&self, body: &Value) -> Answer {
        let body = body.to_string();
        let head = format!(
            "POST /act HTTP/1.1\r\nHost: {a}\r\nOrigin: http://{a}\r\nX-Cliplead: 1\r\nContent-Type: application/json\r\n",
            a = self.address
        );
        self.send(&head, &body)
    }

    /// An action that must be taken.
    ///
    /// # Panics
    /// When it is refused.
    pub fn done(&self, body: &Value) {
        let answer = self.act(body);
        assert_eq!(answer.status, 200, "{body}: {}", answer.body);
    }

    /// Confirms hold points.
    pub fn confirm(&self, names: &[&str]) {
        for name in names {
            self.done(&serde_json::json!({"do": "confirm", "hold_point": name}));
        }
    }

    /// Sends request line and headers as they stand, then a body.
    ///
    /// # Panics
    /// When there is no answer.
    #[must_use]
    pub fn send(&self, head: &str, body: &str) -> Answer {
        let mut stream = self.connect();
        let request = format!("{head}Content-Length: {}\r\nConnection: close\r\n\r\n{body}", body.len());
        stream.write_all(request.as_bytes()).expect("a request");
        read_answer(stream)
    }
}

fn read_answer(stream: TcpStream) -> Answer {
    let mut reader = BufReader::new(stream);
    let mut head = String::new();
    loop {
        let mut line = String::new();
        let read = reader.read_line(&mut line).expect("an answer");
        if read == 0 || line == "\r\n" {
            break;
        }
        head.push_str(&line.to_lowercase());
    }
    let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).expect("a status");
    let mut body = String::new();
    reader.read_to_string(&mut body).expect("a body");
    Answer { status, head, body }
}
