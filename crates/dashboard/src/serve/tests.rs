//! The whole server over real loopback sockets. Nothing here waits for a time; each step waits for bytes, and a bound
//! only ends a hang.

use super::*;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

const HANG: Duration = Duration::from_secs(60);

struct Bench {
    port: u16,
    view: watch::Sender<Arc<str>>,
    actions: mpsc::Receiver<ActRequest>,
    stop: oneshot::Sender<()>,
    task: JoinHandle<Result<(), ServeError>>,
}

fn texts(view: watch::Receiver<Arc<str>>) -> Texts {
    Texts { view, route: watch::channel(Arc::from("{}")).1 }
}

async fn bench() -> Bench {
    bench_with(Config::default()).await
}

async fn bench_with(config: Config) -> Bench {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let (view, views) = watch::channel(Arc::<str>::from("{\"seq\":1}"));
    let (send, actions) = mpsc::channel(4);
    let (stop, stopped) = oneshot::channel::<()>();
    let shutdown = async move { stopped.await.unwrap_or(()) };
    let task = tokio::spawn(serve(listener, config, texts(views), send, shutdown));
    Bench { port, view, actions, stop, task }
}

impl Bench {
    async fn send(&self, request: &str) -> TcpStream {
        let mut socket = TcpStream::connect(("127.0.0.1", self.port)).await.unwrap();
        let request = request.replace("PORT", &self.port.to_string());
        socket.write_all(request.as_bytes()).await.unwrap();
        socket
    }
}

async fn until(socket: &mut TcpStream, mark: &str) -> String {
    let mut said = Vec::new();
    timeout(HANG, async {
        while !String::from_utf8_lossy(&said).contains(mark) {
            let mut bytes = [0; 4096];
            let count = socket.read(&mut bytes).await.unwrap();
            assert!(count > 0, "ended without {mark:?}: {}", String::from_utf8_lossy(&said));
            said.extend_from_slice(&bytes[..count]);
        }
    })
    .await
    .unwrap();
    String::from_utf8(said).unwrap()
}

#[tokio::test]
async fn a_view_goes_out_an_action_comes_in_and_the_shutdown_ends_all() {
    let mut bench = bench().await;
    let mut stream = bench.send("GET /events HTTP/1.1\r\nhost: localhost:PORT\r\n\r\n").await;
    let head = until(&mut stream, "{\"seq\":1}").await;
    assert!(head.starts_with("HTTP/1.1 200 OK"), "{head}");
    bench.view.send_replace("{\"seq\":2,\"site\":\"a\"}".into());
    until(&mut stream, "{\"seq\":2,\"site\":\"a\"}").await;
    until(&mut stream, "event: beat").await;

    let body = r#"{"do":"answer","question":5,"yes":true,"check":null}"#;
    let mut act = bench
        .send(&format!(
            "POST /act HTTP/1.1\r\nhost: 127.0.0.1:PORT\r\norigin: http://127.0.0.1:PORT\r\nx-cliplead: 1\r\n\
             content-type: application/json\r\ncontent-length: {}\r\n\r\n{body}",
            body.len()
        ))
        .await;
    let asked = timeout(HANG, bench.actions.recv()).await.unwrap().unwrap();
    assert_eq!(asked.act, visit::act::Act::Answer { question: Some(5), yes: true });
    asked.reply.send(Err("no question is open".to_owned())).unwrap();
    assert!(until(&mut act, "no question is open").await.starts_with("HTTP/1.1 409"));

    bench.stop.send(()).unwrap();
    timeout(HANG, bench.task).await.unwrap().unwrap().unwrap();
    let mut rest = Vec::new();
    timeout(HANG, stream.read_to_end(&mut rest)).await.unwrap().unwrap();
}

#[tokio::test]
async fn raw_heads_that_no_client_library_would_send() {
    let bench = bench().await;
    for (request, wanted) in [
        ("GET / HTTP/1.1\r\nhost: 127.0.0.1:PORT\r\n\r\n", "200"),
        ("GET http://127.0.0.1:PORT/ HTTP/1.1\r\nhost: 127.0.0.1:PORT\r\n\r\n", "200"),
        ("GET http://evil.example/ HTTP/1.1\r\nhost: 127.0.0.1:PORT\r\n\r\n", "400"),
        ("GET / HTTP/1.1\r\nhost: 127.0.0.1:PORT\r\nhost: 127.0.0.1:PORT\r\n\r\n", "400"),
        ("GET / HTTP/1.1\r\n\r\n", "400"),
        ("GET / HTTP/1.0\r\n\r\n", "400"),
        ("GET / HTTP/1.1\r\nhost: evil.example\r\n\r\n", "421"),
        ("GET / HTTP/1.1\r\nhost: \x01\r\n\r\n", "400"),
        ("GET / HTTP/1.1\r\nhost: 127.0.0.1:PORT\r\norigin: http://evil.example\r\n\r\n", "403"),
        ("OPTIONS /act HTTP/1.1\r\nhost: 127.0.0.1:PORT\r\norigin: http://evil.example\r\n\r\n", "403"),
        ("GET /act?do=next HTTP/1.1\r\nhost: 127.0.0.1:PORT\r\n\r\n", "405"),
        ("junk\r\n\r\n", "400"),
    ] {
        let mut socket = bench.send(request).await;
        let said = until(&mut socket, "\r\n\r\n").await;
        assert_eq!(said.get(9..12), Some(wanted), "{request:?} -> {said}");
    }
}

#[tokio::test]
async fn an_address_beyond_loopback_is_not_served() {
    let listener = TcpListener::bind("0.0.0.0:0").await.unwrap();
    let (_view, views) = watch::channel(Arc::<str>::from("{}"));
    let (send, _actions) = mpsc::channel(1);
    let result = serve(listener, Config::default(), texts(views), send, std::future::pending()).await;
    assert!(matches!(result, Err(ServeError::BeyondLoopback(_))));
}

/// 10 MB of views for a reader that takes none of them: what waits for it in the kernel is old by the time it is read, and
/// memory that 31 others would like too. The second reader paces the views.
#[tokio::test]
async fn little_waits_for_a_reader_that_takes_nothing() {
    let limits = crate::Limits {
        view_gap: Duration::ZERO,
        write_stall: Duration::from_secs(3600),
        ..Default::default()
    };
    let bench = bench_with(Config { limits, ..Config::default() }).await;
    let mut stuck = bench.send("GET /events HTTP/1.1\r\nhost: localhost:PORT\r\n\r\n").await;
    let mut reader = bench.send("GET /events HTTP/1.1\r\nhost: localhost:PORT\r\n\r\n").await;
    let filling = "x".repeat(1 << 15);
    for number in 0..320 {
        bench.view.send_replace(format!("{{\"site\":\"{filling}\",\"n\":{number}.0}}").into());
        until(&mut reader, &format!("\"n\":{number}.0")).await;
    }
    bench.stop.send(()).unwrap();
    timeout(HANG, bench.task).await.unwrap().unwrap().unwrap();
    let mut waiting = Vec::new();
    let _ = timeout(HANG, stuck.read_to_end(&mut waiting)).await.unwrap();
    assert!(waiting.len() < 1 << 20, "{} bytes waited", waiting.len());
}
