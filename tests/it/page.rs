//! The page of a running daemon over plain HTTP: what it answers, whom it turns away, and that it is never ahead of the
//! verdict line. The guard itself has its own tests in crate `dashboard`.

use checks::{Daemon, Folder, Leads, Meter, Stream};
use serde_json::{Value, json};

use crate::site;

/// The armed check, hold points, live value, verdict; Host header checked. Invariants I6 and I7: a
/// verdict is on the page only once it is stored, and a past one is not live.
#[test]
fn page_view_and_acts() {
    let folder = Folder::new("page");
    let meter = Meter::plug_in(&folder.join("meter"), Leads::Open);
    let site = site::write(&folder, &site::device("meter", &meter.selector()), 2);
    let daemon = Daemon::run(&site, &[]);
    let page = daemon.page();

    let whole = page.fetch("/");
    assert_eq!(whole.status, 200);
    assert!(whole.body.contains("<!doctype html") || whole.body.contains("<!DOCTYPE html"), "{}", whole.body);
    assert!(whole.head.contains("content-security-policy"), "{}", whole.head);

    let view = page.view_until("the armed check", |view| view["check"]["number"] == 1);
    assert_eq!(view["check"]["unit"], "RTU-01");
    assert_eq!(view["check"]["phase"], "hold points");
    assert_eq!(view["check"]["hold_points"].as_array().unwrap().len(), site::HOLD_POINTS.len());
    assert_eq!(view["verdict"], Value::Null);
    assert_eq!(view["site"], "Quarry Lane (made up)");

    strangers_are_turned_away(&page);

    // An act with the number of another check is refused and changes nothing.
    let stale = page.act(&json!({"do": "confirm", "check": 99, "hold_point": "locked out"}));
    assert_eq!(stale.status, 409, "{stale:?}");
    assert!(stale.body.contains("no longer armed"), "{stale:?}");
    assert_eq!(shown_hold_points(&page.view()), 0);
    let unknown = page.act(&json!({"do": "confirm", "check": 1, "hold_point": "blessed"}));
    assert_eq!(unknown.status, 409, "{unknown:?}");

    for (index, name) in site::HOLD_POINTS.iter().enumerate() {
        page.done(&json!({"do": "confirm", "check": 1, "hold_point": name}));
        page.view_until(name, |view| shown_hold_points(view) == index + 1);
    }
    site::lift(&page, &meter);
    meter.show(Leads::microfarads(11.1));
    let view = page.view_until("a verdict", |view| view["verdict"] != Value::Null);
    // The line was printed before the page had it; the pipe may hand it over a moment later, but it was not the page
    // that came first: `stored` reads the same verdict from the disk now.
    let stored = site::stored(&folder.join("history.sqlite"));
    let line = daemon.wait_data(1)[0].clone();
    assert_eq!(stored.first(), Some(&line), "on the page but not in the history: {view:#}");
    let mut shown = view["verdict"].clone();
    assert_eq!(shown["live"], true);
    assert_eq!(shown["unsaved"], false);
    assert_eq!(shown["amended"], Value::Null);
    for of_the_view in ["live", "unsaved", "values", "amended"] {
        shown.as_object_mut().unwrap().remove(of_the_view);
    }
    assert_eq!(shown, serde_json::from_str::<Value>(&line).unwrap());
    assert_eq!(site::word(&line), "fail");
    assert_eq!(view["recent"][0]["verdict"], "fail");

    // The word came before the value was at rest: its ends, and then its figure in the same place. It is on stdout and in the
    // history before the page has it.
    let settling = shown_value(&view);
    assert_eq!(settling["settled"], false, "{settling}");
    assert!(settling["text"].as_str().unwrap().starts_with("at most 11."), "{settling}");
    let view = page.view_until("the figure", |view| shown_value(view)["settled"] == true);
    let figure = site::stored(&folder.join("history.sqlite"))[1].clone();
    assert_eq!(daemon.wait(Stream::Out, "\"event\":\"completed\""), figure);
    let written: Value = serde_json::from_str(&figure).unwrap();
    assert_eq!((&written["number"], &written["reading"]["settled"]), (&json!(1), &json!(true)), "{figure}");
    let text = shown_value(&view)["text"].as_str().unwrap().to_owned();
    assert!(text.starts_with("11.10 \u{b1} 0.") && text.ends_with(" uF, settled"), "{text}");

    // Leads off: the verdict is past, not live.
    meter.show(Leads::microfarads(0.0));
    page.view_until("a verdict that is past", |view| view["verdict"]["live"] == false);

    // The next check: the old number is stale now, and no verdict is shown for the new one.
    page.done(&json!({"do": "next", "check": 1}));
    let view = page.view_until("the next check", |view| view["check"]["number"] == 2);
    assert_ne!(view["verdict"]["live"], true, "{view:#}");
    assert_eq!(page.act(&json!({"do": "next", "check": 1})).status, 409);
    // The route has two checks: its end is no refusal.
    page.done(&json!({"do": "next", "check": 2}));
    let end = "The route is at its end: 1 of 2 checks have a verdict.";
    page.view_until("the end of the route", |view| view["check"]["prompt"] == end);
    assert_eq!(daemon.terminate().0, Some(0));
}

fn shown_hold_points(view: &Value) -> usize {
    let holds = view["check"]["hold_points"].as_array().expect("hold points");
    holds.iter().filter(|hold| hold["state"] == "shown").count()
}

/// Invariant I8; 421 is "Misdirected Request" (RFC 9110, 15.5.20).
/// What stands in the place of the verdict's value.
fn shown_value(view: &Value) -> Value {
    view["verdict"]["values"][0].clone()
}

fn strangers_are_turned_away(page: &checks::Page) {
    let a = page.address();
    let body = json!({"do": "confirm", "hold_point": "locked out"}).to_string();
    let good = "X-Cliplead: 1\r\nContent-Type: application/json\r\n";
    for (status, head) in [
        (421, "GET / HTTP/1.1\r\nHost: rebound.example\r\n".to_owned()),
        (421, "GET /view HTTP/1.1\r\nHost: rebound.example\r\n".to_owned()),
        (421, format!("GET /view HTTP/1.1\r\nHost: 192.0.2.1:{}\r\n", a.port())),
        (400, "GET /view HTTP/1.1\r\n".to_owned()),
        (404, format!("GET /other HTTP/1.1\r\nHost: {a}\r\n")),
        (405, format!("GET /act HTTP/1.1\r\nHost: {a}\r\n")),
        (
            421,
            format!(
                "POST /act HTTP/1.1\r\nHost: rebound.example\r\nOrigin: http://rebound.example\r\n{good}"
            ),
        ),
        (403, format!("POST /act HTTP/1.1\r\nHost: {a}\r\nOrigin: http://evil.example\r\n{good}")),
        (
            403,
            format!(
                "POST /act HTTP/1.1\r\nHost: {a}\r\nOrigin: http://{a}\r\nSec-Fetch-Site: cross-site\r\n{good}"
            ),
        ),
        (
            415,
            format!("POST /act HTTP/1.1\r\nHost: {a}\r\nOrigin: http://{a}\r\nContent-Type: text/plain\r\n"),
        ),
    ] {
        let posts = head.starts_with("POST");
        let answer = page.send(&head, if posts { &body } else { "" });
        assert_eq!(answer.status, status, "{head}\n{answer:?}");
        assert!(!answer.head.contains("access-control-allow-origin"), "{answer:?}");
    }
    assert_eq!(shown_hold_points(&page.view()), 0, "a stranger confirmed something");
}

/// An answer is for the question that was on the page: of two pages that answer one question the second is refused, and
/// the question that came up meanwhile stays unanswered.
#[test]
fn of_two_pages_that_answer_one_question_the_second_is_refused() {
    let folder = Folder::new("two-pages");
    let site = site::write(&folder, site::TYPED, 1);
    let daemon = Daemon::run(&site, &[]);
    let page = daemon.page();
    page.view_until("the armed check", |view| view["check"]["number"] == 1);
    page.confirm(&site::HOLD_POINTS);
    // 21.5 uF on a 12.5 uF plate: asked about the reading, then about the plate.
    page.done(&json!({"do": "type", "check": 1, "point": "capacitance", "text": "21.5 uF"}));
    let view = page.view_until("a question", |view| view["check"]["question"] != Value::Null);
    assert_eq!(view["check"]["question_number"], 1, "{view:#}");
    let yes = json!({"do": "answer", "check": 1, "question": 1, "yes": true});
    page.done(&yes);
    let second = page.act(&yes);
    assert_eq!(second.status, 409, "{second:?}");
    assert!(
        second.body.contains("question 1, which is no longer asked; now asked, as question 2"),
        "{second:?}"
    );
    let view = page.view_until("the next question", |view| view["check"]["question_number"] == 2);
    assert!(view["check"]["question"].as_str().unwrap().contains("nameplate capacitance"), "{view:#}");
    assert_eq!(view["verdict"], Value::Null);
    // An answer that names no question is none.
    assert_eq!(page.act(&json!({"do": "answer", "check": 1, "yes": true})).status, 400);
    page.done(&json!({"do": "answer", "check": 1, "question": 2, "yes": true}));
    assert_eq!(site::word(&daemon.wait_data(1)[0]), "fail");
}

/// Event streams nobody reads, as many as are served at once; then sockets that say nothing and sockets that never end
/// their request, several times as many as are served at once. All stay open while a new page comes and is served. What
/// the limit bounds is a hang: who makes room for whom, and that it takes no time, stands in crate `dashboard`.
#[test]
fn a_crowd_that_holds_every_place_keeps_no_page_out() {
    let folder = Folder::new("crowd");
    let daemon = Daemon::run(&site::write(&folder, site::TYPED, 1), &[]);
    let page = daemon.page();
    let send = |text: &str| {
        let mut socket = std::net::TcpStream::connect_timeout(&page.address(), checks::HANG).unwrap();
        // A socket that has had to make room already takes no more; that is no fault of this side.
        let _ = std::io::Write::write_all(&mut socket, text.as_bytes());
        socket
    };
    let head = |path: &str| format!("GET {path} HTTP/1.1\r\nHost: {}\r\n", page.address());
    let mut crowd: Vec<_> = (0..32).map(|_| send(&format!("{}\r\n", head("/events")))).collect();
    for _ in 0..200 {
        crowd.extend(["", "GET /vie", &head("/view")].map(send));
    }
    let begun = std::time::Instant::now();
    assert_eq!(page.fetch("/").status, 200);
    println!("beside {} sockets the page came in {:?}", crowd.len(), begun.elapsed());
    page.view_until("the armed check", |view| view["check"]["number"] == 1);
    page.confirm(&site::HOLD_POINTS);
    page.view_until("the hold points", |view| shown_hold_points(view) == site::HOLD_POINTS.len());
    drop(crowd);
    assert_eq!(daemon.terminate().0, Some(0));
}

/// A page that is closed, or a port that is taken, is told at the start.
#[test]
fn a_taken_port_is_told() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let folder = Folder::new("port");
    let site = folder.write("site.toml", format!("dashboard = \"{}\"\n", listener.local_addr().unwrap()));
    let ended = checks::Invocation::new(["run", &site.display().to_string()]).run();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.err.contains("is another cliplead running there?"), "{ended:?}");
    // Without a history nothing is stored, and the start says so.
    let site = folder.write("bare.toml", "site = \"bare\"\n");
    let daemon = Daemon::run(&site, &[]);
    daemon.wait(Stream::Err, "no verdict is stored");
    assert_eq!(daemon.terminate().0, Some(0));
}
