//! One connection over a pipe with paused time: head limits, silent and stuck visitors, the ordered end.

use super::*;
use crate::slots::Slots;
use axum::routing::get;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
use tokio::task::JoinHandle;
use tokio::time::Instant;

fn start(pipe_bytes: usize) -> (DuplexStream, JoinHandle<()>, watch::Sender<bool>) {
    start_in(&Slots::new("connections", 1), pipe_bytes)
}

fn start_in(slots: &Arc<Slots>, pipe_bytes: usize) -> (DuplexStream, JoinHandle<()>, watch::Sender<bool>) {
    let (ours, theirs) = duplex(pipe_bytes);
    let (close, closing) = watch::channel(false);
    let routes = Router::new()
        .route("/", get(|| async { "good" }))
        .route("/long", get(|| async { "x".repeat(1 << 20) }));
    let task = tokio::spawn(serve_connection(ours, routes, Limits::default(), closing, slots.take()));
    (theirs, task, close)
}

async fn answer(visitor: &mut DuplexStream) -> String {
    let mut bytes = Vec::new();
    visitor.read_to_end(&mut bytes).await.unwrap();
    String::from_utf8(bytes).unwrap()
}

#[tokio::test(start_paused = true)]
async fn a_silent_visitor_and_a_slow_head_are_ended_in_time() {
    for head in ["", "GET / HTTP/1.1\r\nhost: a\r\n"] {
        let (mut visitor, task, _close) = start(1 << 16);
        let start = Instant::now();
        visitor.write_all(head.as_bytes()).await.unwrap();
        task.await.unwrap();
        assert_eq!(start.elapsed(), Limits::default().head_time, "{head:?}");
    }
}

#[tokio::test(start_paused = true)]
async fn a_head_without_end_is_refused() {
    let too_long = format!("GET / HTTP/1.1\r\nhost: a\r\nx: {}\r\n\r\n", "y".repeat(20_000));
    let too_many = format!("GET / HTTP/1.1\r\nhost: a\r\n{}\r\n", "x: y\r\n".repeat(100));
    for head in [too_long, too_many] {
        let (mut visitor, task, _close) = start(1 << 16);
        visitor.write_all(head.as_bytes()).await.unwrap();
        let said = answer(&mut visitor).await;
        assert!(said.starts_with("HTTP/1.1 431"), "{said}");
        task.await.unwrap();
    }
}

#[tokio::test(start_paused = true)]
async fn a_reader_that_takes_nothing_is_dropped() {
    let (mut visitor, task, _close) = start(1024);
    let start = Instant::now();
    visitor.write_all(b"GET /long HTTP/1.1\r\nhost: a\r\n\r\n").await.unwrap();
    task.await.unwrap();
    assert_eq!(start.elapsed(), Limits::default().write_stall);
}

#[tokio::test(start_paused = true)]
async fn the_shutdown_ends_an_idle_connection_after_its_answer() {
    let (mut visitor, task, close) = start(1 << 16);
    visitor.write_all(b"GET / HTTP/1.1\r\nhost: a\r\n\r\n").await.unwrap();
    let mut bytes = [0; 15];
    visitor.read_exact(&mut bytes).await.unwrap();
    assert_eq!(&bytes, b"HTTP/1.1 200 OK");
    close.send_replace(true);
    task.await.unwrap();
    assert!(answer(&mut visitor).await.ends_with("good"));
}

/// Whoever sends nothing, sends a head for ever, or reads nothing, in this order; each makes room for one more.
#[tokio::test(start_paused = true)]
async fn idle_and_stuck_visitors_make_room_in_the_order_they_came() {
    let slots = Slots::new("connections", 3);
    let mut crowd = Vec::new();
    for head in ["", "GET / HTTP/1.1\r\nx: ", "GET /long HTTP/1.1\r\nhost: a\r\n\r\n"] {
        let (mut visitor, task, close) = start_in(&slots, 1024);
        visitor.write_all(head.as_bytes()).await.unwrap();
        tokio::time::advance(Duration::from_millis(10)).await;
        crowd.push((visitor, task, close));
    }
    let (begun, mut idle_ones) = (Instant::now(), Vec::new());
    for (mut idle, task, _close) in crowd {
        // It goes on sending its head, byte by byte, or takes a byte: that is no use of the place.
        let _ = idle.write_all(b"y").await;
        let (mut visitor, served, _close) = start_in(&slots, 1024);
        task.await.unwrap();
        visitor.write_all(b"GET / HTTP/1.1\r\nhost: a\r\nconnection: close\r\n\r\n").await.unwrap();
        assert!(answer(&mut visitor).await.ends_with("good"));
        served.await.unwrap();
        // The place that was given back is taken by one more who is idle.
        idle_ones.push(start_in(&slots, 1024));
    }
    assert_eq!(begun.elapsed(), Duration::ZERO);
}
