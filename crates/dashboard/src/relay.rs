//! Between the daemon and the event streams: takes each view once, stamps it with the time it came, thins it to the
//! agreed rate and writes its stream form once for all readers. It keeps the newest view only and reads none of it.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

/// A view, and when the daemon last stood by it.
#[derive(Clone, Debug)]
pub(crate) struct Stamped {
    /// The JSON text as it came.
    pub(crate) text: Arc<str>,
    /// Its `data:` lines and the blank line that ends the event.
    pub(crate) data: Bytes,
    /// When the daemon last sent it; sending the same text again renews it.
    pub(crate) renewed: Instant,
}

impl Stamped {
    pub(crate) fn new(text: Arc<str>, renewed: Instant) -> Self {
        let mut data = String::with_capacity(text.len() + 16);
        for line in text.split(['\n', '\r']).filter(|line| !line.is_empty()) {
            data.push_str("data: ");
            data.push_str(line);
            data.push('\n');
        }
        data.push('\n');
        Self { text, data: Bytes::from(data), renewed }
    }
}

/// Runs until the daemon drops its end; then `out` is dropped, which ends every stream.
pub(crate) async fn relay(mut view: watch::Receiver<Arc<str>>, out: watch::Sender<Stamped>, gap: Duration) {
    let mut next_at = Instant::now();
    while view.changed().await.is_ok() {
        let renewed = Instant::now();
        if *view.borrow_and_update() == out.borrow().text {
            out.send_if_modified(|stamped| {
                stamped.renewed = renewed;
                false
            });
            continue;
        }
        if renewed < next_at {
            sleep_until(next_at).await;
        }
        let newest = Arc::clone(&view.borrow_and_update());
        out.send_replace(Stamped::new(newest, renewed));
        next_at = Instant::now() + gap;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::task::yield_now;
    use tokio::time::advance;

    const GAP: Duration = Duration::from_millis(200);

    #[tokio::test(start_paused = true)]
    async fn a_flood_is_thinned_to_five_a_second_and_the_newest_comes_through() {
        let (send, receive) = watch::channel(Arc::<str>::from("{}"));
        let (out, mut stamped) = watch::channel(Stamped::new("{}".into(), Instant::now()));
        let task = tokio::spawn(relay(receive, out, GAP));
        let flood = tokio::spawn(async move {
            for n in 0..1000 {
                send.send_replace(format!("{{\"seq\":{n}}}").into());
                advance(Duration::from_millis(2)).await;
            }
            send
        });
        let mut count = 0;
        let mut last = String::new();
        while last != "{\"seq\":999}" {
            stamped.changed().await.unwrap();
            last = stamped.borrow_and_update().text.to_string();
            count += 1;
        }
        assert!((9..=12).contains(&count), "{count} views in 2 s");
        drop(flood.await.unwrap());
        task.await.unwrap();
        assert!(stamped.changed().await.is_err());
    }

    #[tokio::test(start_paused = true)]
    async fn the_same_text_renews_the_stamp_without_an_event() {
        let (send, receive) = watch::channel(Arc::<str>::from("{}"));
        let (out, mut stamped) = watch::channel(Stamped::new("{}".into(), Instant::now()));
        tokio::spawn(relay(receive, out, GAP));
        stamped.mark_unchanged();
        advance(Duration::from_secs(7)).await;
        assert_eq!(stamped.borrow().renewed.elapsed().as_secs(), 7);
        send.send_replace("{}".into());
        for _ in 0..4 {
            yield_now().await;
        }
        assert!(stamped.borrow().renewed.elapsed() < Duration::from_millis(10));
        assert!(!stamped.has_changed().unwrap());
    }

    #[test]
    fn a_view_of_several_lines_stays_one_event() {
        let stamped = Stamped::new("{\n \"a\":1,\r\n\"b\":2}".into(), Instant::now());
        assert_eq!(&stamped.data[..], b"data: {\ndata:  \"a\":1,\ndata: \"b\":2}\n\n");
    }
}
