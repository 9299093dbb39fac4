//! Every route by method, host, origin, type and body, without a socket; time is paused.

use super::*;
use axum::http::request::Builder;
use futures_util::StreamExt;
use std::time::Duration;
use tower::ServiceExt;

const HOST: &str = "127.0.0.1:8080";
const CONFIRM: &str = r#"{"do":"confirm","hold_point":"locked out","check":3}"#;

struct Bench {
    routes: Router,
    actions: mpsc::Receiver<ActRequest>,
    views: watch::Sender<Stamped>,
}

fn bench() -> Bench {
    let (views, receive) = watch::channel(Stamped::new("{\"seq\":1}".into(), Instant::now()));
    let (_, route) = watch::channel(Arc::from("{\"rev\":1}"));
    let (send, actions) = mpsc::channel(2);
    let limits = Limits::default();
    let app = App {
        allowed: AllowedHosts::new(["127.0.0.1", "localhost"], 8080).unwrap(),
        limits,
        page: Page::new(),
        views: receive,
        route,
        actions: send,
        streams: Slots::new("event streams", limits.streams_max),
        started: Instant::now(),
    };
    Bench { routes: router(Arc::new(app)), actions, views }
}

fn get_request(path: &str) -> Builder {
    Request::builder().uri(path).header("host", HOST)
}

fn post_request() -> Builder {
    Request::builder()
        .method("POST")
        .uri("/act")
        .header("host", HOST)
        .header("origin", "http://127.0.0.1:8080")
        .header("sec-fetch-site", "same-origin")
        .header("content-type", "application/json")
        .header("x-cliplead", "1")
}

impl Bench {
    async fn send(&self, request: Request) -> (StatusCode, HeaderMap, String) {
        let response = self.routes.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let bytes = axum::body::to_bytes(body, 1 << 20).await.unwrap();
        (parts.status, parts.headers, String::from_utf8(bytes.to_vec()).unwrap())
    }

    async fn get(&self, path: &str) -> (StatusCode, HeaderMap, String) {
        self.send(get_request(path).body(Body::empty()).unwrap()).await
    }
}

#[tokio::test(start_paused = true)]
async fn the_page_and_the_view_come_with_strict_headers() {
    let bench = bench();
    for (path, kind) in [
        ("/", "text/html; charset=utf-8"),
        ("/view", "application/json"),
        ("/route", "application/json"),
        ("/icon.svg", "image/svg+xml"),
    ] {
        let (status, headers, _) = bench.get(path).await;
        assert_eq!((status, headers["content-type"].to_str().unwrap()), (StatusCode::OK, kind));
        let policy = headers["content-security-policy"].to_str().unwrap();
        assert!(policy.starts_with("default-src 'none'; script-src 'sha256-") && !policy.contains("unsafe"));
        for (name, value) in [
            ("cache-control", "no-store"),
            ("x-content-type-options", "nosniff"),
            ("x-frame-options", "DENY"),
        ] {
            assert_eq!(headers[name], value);
        }
        assert!(headers.keys().all(|name| !name.as_str().starts_with("access-control")));
    }
    tokio::time::advance(Duration::from_secs(7)).await;
    let (_, headers, body) = bench.get("/view").await;
    assert_eq!((body.as_str(), headers["x-view-age-ms"].to_str().unwrap()), ("{\"seq\":1}", "7000"));
    assert_eq!(bench.get("/route").await.2, "{\"rev\":1}");
    assert_eq!(bench.get("/nothing").await.0, StatusCode::NOT_FOUND);
}

#[tokio::test(start_paused = true)]
async fn a_foreign_host_gets_a_page_that_names_the_good_ones() {
    let bench = bench();
    for path in ["/", "/view", "/route", "/events", "/icon.svg", "/nothing"] {
        let request =
            Request::builder().uri(path).header("host", "evil.example").body(Body::empty()).unwrap();
        let (status, _, body) = bench.send(request).await;
        assert_eq!(status, StatusCode::MISDIRECTED_REQUEST);
        assert!(body.contains("http://127.0.0.1:8080/") && body.contains("http://localhost:8080/"), "{body}");
        assert!(!body.contains("evil") && !body.contains("seq"), "{body}");
        let request = Request::builder().uri(path).header("host", "a b").body(Body::empty()).unwrap();
        assert_eq!(bench.send(request).await.0, StatusCode::BAD_REQUEST);
        let request = Request::builder().uri(path).body(Body::empty()).unwrap();
        assert_eq!(bench.send(request).await.0, StatusCode::BAD_REQUEST);
    }
}

#[tokio::test(start_paused = true)]
async fn an_action_is_handed_on_once_and_its_answer_comes_back() {
    let mut bench = bench();
    for (answer, wanted) in [
        (Ok(()), (StatusCode::OK, r#"{"ok":true}"#)),
        (
            Err("not \"dead\" yet".to_owned()),
            (StatusCode::CONFLICT, r#"{"ok":false,"why":"not \"dead\" yet"}"#),
        ),
    ] {
        let routes = bench.routes.clone();
        let sent = tokio::spawn(routes.oneshot(post_request().body(Body::from(CONFIRM)).unwrap()));
        let asked = bench.actions.recv().await.unwrap();
        assert_eq!(asked.act, visit::act::Act::Confirm { hold_point: "locked out".into() });
        assert_eq!(asked.check, Some(3));
        asked.reply.send(answer).unwrap();
        let response = sent.await.unwrap().unwrap();
        assert_eq!(response.status(), wanted.0);
        let body = axum::body::to_bytes(response.into_body(), 4096).await.unwrap();
        assert_eq!(body, wanted.1);
    }
    assert!(bench.actions.try_recv().is_err());
}

#[tokio::test(start_paused = true)]
async fn an_action_is_refused_when_the_daemon_is_full_silent_or_gone() {
    let mut bench = bench();
    let post = || post_request().body(Body::from(CONFIRM)).unwrap();
    let routes = bench.routes.clone();
    let waiting = [tokio::spawn(routes.clone().oneshot(post())), tokio::spawn(routes.oneshot(post()))];
    tokio::task::yield_now().await;
    let (status, _, body) = bench.send(post()).await;
    assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(body.contains("press again"), "{body}");
    for task in waiting {
        assert_eq!(task.await.unwrap().unwrap().status(), StatusCode::GATEWAY_TIMEOUT);
    }
    bench.actions.close();
    while bench.actions.recv().await.is_some() {}
    assert_eq!(bench.send(post()).await.0, StatusCode::SERVICE_UNAVAILABLE);
}

/// Rows 21 and 22 of the promises: method x type x origin x fetch metadata x own header; exactly one combination acts.
#[tokio::test(start_paused = true)]
async fn of_all_combinations_one_acts() {
    let mut bench = bench();
    let (mut tried, mut acted) = (0, 0);
    for method in ["POST", "GET", "HEAD", "PUT", "PATCH", "DELETE", "OPTIONS"] {
        for kind in
            ["application/json", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""]
        {
            for origin in
                ["http://127.0.0.1:8080", "http://127.0.0.1:9999", "http://evil.example", "null", ""]
            {
                for site in ["same-origin", "same-site", "cross-site"] {
                    for own in ["1", "0", ""] {
                        let mut request = Request::builder().method(method).uri("/act").header("host", HOST);
                        for (name, value) in [
                            ("content-type", kind),
                            ("origin", origin),
                            ("sec-fetch-site", site),
                            ("x-cliplead", own),
                        ] {
                            if !value.is_empty() {
                                request = request.header(name, value);
                            }
                        }
                        tried += 1;
                        let routes = bench.routes.clone();
                        let sent = tokio::spawn(routes.oneshot(request.body(Body::from(CONFIRM)).unwrap()));
                        let response = tokio::select! {
                            biased;
                            Some(asked) = bench.actions.recv() => {
                                acted += 1;
                                assert_eq!((method, kind, origin), ("POST", "application/json", "http://127.0.0.1:8080"));
                                assert_eq!((site, own), ("same-origin", "1"));
                                asked.reply.send(Ok(())).unwrap();
                                continue;
                            }
                            response = sent => response.unwrap().unwrap(),
                        };
                        assert!(response.status().is_client_error(), "{method} {kind} {origin} {site} {own}");
                        assert!(response.headers().keys().all(|k| !k.as_str().starts_with("access-control")));
                    }
                }
            }
        }
    }
    assert_eq!((tried, acted), (1575, 1));
}

#[tokio::test(start_paused = true)]
async fn bad_bodies_are_refused_with_a_sentence() {
    let mut bench = bench();
    let long = format!("{{\"do\":\"next\"{}}}", " ".repeat(4096));
    for (body, wanted, why) in [
        ("", StatusCode::BAD_REQUEST, "the action is no JSON: "),
        ("{", StatusCode::BAD_REQUEST, "the action is no JSON: "),
        (r#"{"do":"burn"}"#, StatusCode::BAD_REQUEST, r#"the action is not known: \"burn\" is no act"#),
        (long.as_str(), StatusCode::PAYLOAD_TOO_LARGE, "the action is longer than 4096 bytes"),
    ] {
        let (status, _, answer) = bench.send(post_request().body(Body::from(body.to_owned())).unwrap()).await;
        assert_eq!(status, wanted, "{body}");
        assert!(answer.starts_with(&format!(r#"{{"ok":false,"why":"{why}"#)), "{answer}");
    }
    let never = Body::from_stream(futures_util::stream::pending::<Result<Bytes, std::io::Error>>());
    let start = Instant::now();
    assert_eq!(bench.send(post_request().body(never).unwrap()).await.0, StatusCode::REQUEST_TIMEOUT);
    assert_eq!(start.elapsed(), Limits::default().body_time);
    assert!(bench.actions.try_recv().is_err());
}

#[tokio::test(start_paused = true)]
async fn the_stream_speaks_at_once_and_the_33rd_reader_gets_the_place_of_one_who_does_not_read() {
    let bench = bench();
    let open = || async {
        let request = get_request("/events").body(Body::empty()).unwrap();
        let response = bench.routes.clone().oneshot(request).await.unwrap();
        let kind = response.headers()["content-type"].to_str().unwrap();
        assert_eq!((response.status(), kind), (StatusCode::OK, "text/event-stream"));
        response.into_body().into_data_stream()
    };
    let mut readers = Vec::new();
    for _ in 0..Limits::default().streams_max {
        readers.push(open().await);
    }
    let first = readers[0].next().await.unwrap().unwrap();
    assert_eq!(first, "retry: 500\nevent: view\nid: 0/0\ndata: {\"seq\":1}\n\n");
    let beat = readers[0].next().await.unwrap().unwrap();
    assert_eq!(beat, "event: beat\nid: 1000/1000\ndata: 0\n\n");
    for reader in 1..=40 {
        let mut newest = open().await;
        assert!(newest.next().await.unwrap().unwrap().starts_with(b"retry: 500\nevent: view"), "{reader}");
    }
    drop(bench.views);
    assert!(readers[0].next().await.is_none(), "the streams end with the daemon");
}
