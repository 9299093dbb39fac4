//! The relay in paused time: what goes out when, what does not, and that the newest always comes through.

use super::*;
use crate::events::StreamSlot;
use crate::slots::Slots;
use futures_util::StreamExt;
use tokio::task::{JoinHandle, yield_now};
use tokio::time::advance;

struct Bench {
    daemon: watch::Sender<Arc<str>>,
    page: watch::Receiver<Stamped>,
    task: JoinHandle<()>,
}

fn bench() -> Bench {
    let first = view(0, 0, "none");
    let (daemon, views) = watch::channel(first.clone());
    let (out, mut page) = watch::channel(Stamped::new(first, Instant::now()));
    page.mark_unchanged();
    Bench { daemon, page, task: tokio::spawn(relay(views, out, Limits::default())) }
}

/// A view as the daemon writes it.
fn view(seq: u64, now_ms: u64, verdict: &str) -> Arc<str> {
    format!(r#"{{"check":{{"number":1}},"now_ms":{now_ms},"seq":{seq},"verdict":"{verdict}"}}"#).into()
}

impl Bench {
    /// The daemon sends this; whatever can run then, runs, and no time passes.
    async fn send(&self, view: Arc<str>) {
        self.daemon.send_replace(view);
        settle().await;
    }

    /// Whether the page got a view since the last look, and which one it is now.
    fn got(&mut self) -> Option<String> {
        self.page.has_changed().unwrap().then(|| self.page.borrow_and_update().text.to_string())
    }
}

async fn settle() {
    for _ in 0..8 {
        yield_now().await;
    }
}

/// A reading changes at each beat of 200 ms; a verdict stands between two of them, at any place.
#[tokio::test(start_paused = true)]
async fn a_verdict_right_after_a_beat_goes_out_at_once() {
    let mut bench = bench();
    let mut seq = 0;
    for after_ms in [0, 1, 20, 60, 100, 199].repeat(10) {
        advance(Duration::from_millis(200 - after_ms)).await;
        settle().await;
        seq += 1;
        let beat = view(seq, seq, &format!("none, reading {seq}"));
        bench.send(Arc::clone(&beat)).await;
        assert_eq!(bench.got().as_deref(), Some(&*beat), "a beat that tells something");
        advance(Duration::from_millis(after_ms)).await;
        seq += 1;
        let verdict = view(seq, seq, &format!("pass {seq}"));
        let sent = Instant::now();
        bench.send(Arc::clone(&verdict)).await;
        assert_eq!(bench.got().as_deref(), Some(&*verdict), "{after_ms} ms after a beat");
        assert_eq!(sent.elapsed(), Duration::ZERO);
    }
}

#[tokio::test(start_paused = true)]
async fn views_that_tell_nothing_new_renew_the_stamp_and_send_nothing() {
    let mut bench = bench();
    for seq in 1..=1000 {
        advance(Duration::from_millis(200)).await;
        bench.send(view(seq, seq * 200, "none")).await;
        assert_eq!(bench.got(), None, "view {seq}");
        assert_eq!(bench.page.borrow().renewed.elapsed(), Duration::ZERO, "view {seq}");
    }
    // Whoever asks now gets the newest text all the same.
    assert_eq!(bench.page.borrow().text, view(1000, 200_000, "none"));
    // A daemon that stands still does not renew it.
    advance(Duration::from_secs(7)).await;
    settle().await;
    assert_eq!(bench.page.borrow().renewed.elapsed().as_secs(), 7);
    let pass = view(1001, 207_000, "pass");
    bench.send(Arc::clone(&pass)).await;
    assert_eq!(bench.got().as_deref(), Some(&*pass));
}

/// What a page hears of 200 s without news, and of a daemon that then hangs: the second figure of an id is the age of the
/// view, by which the page greys.
#[tokio::test(start_paused = true)]
async fn quiet_views_reach_a_page_as_beats_alone_and_a_hung_daemon_shows_in_them() {
    let bench = bench();
    let start = Instant::now();
    let slot = StreamSlot { stream: Slots::new("streams", 1).take(), connection: None };
    let beat = Limits::default().beat;
    let mut events = Box::pin(crate::events::stream(bench.page.clone(), start, beat, slot));
    assert!(events.next().await.unwrap().unwrap().starts_with(b"retry: 500\nevent: view\n"));
    let daemon = tokio::spawn(async move {
        for seq in 1..=1000 {
            bench.daemon.send_replace(view(seq, seq * 200, "none"));
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
        bench
    });
    let mut ages = Vec::new();
    while start.elapsed() < Duration::from_secs(205) {
        let event = String::from_utf8(events.next().await.unwrap().unwrap().to_vec()).unwrap();
        let age = event.strip_prefix("event: beat\nid: ").and_then(|rest| rest.split(['/', '\n']).nth(1));
        ages.push(age.unwrap_or_else(|| panic!("{event}")).parse::<u32>().unwrap());
    }
    let (quiet, hung) = ages.split_at(199);
    assert!(quiet.iter().all(|age| *age <= 200), "{quiet:?}");
    // The last view came after 199.8 s.
    assert_eq!(hung, [200, 1200, 2200, 3200, 4200, 5200]);
    drop(daemon.await.unwrap());
}

/// The age of a silent meter is shown in whole seconds, so it is sent in whole seconds.
#[tokio::test(start_paused = true)]
async fn the_age_of_a_silent_meter_goes_out_once_a_second() {
    let mut bench = bench();
    let silent =
        |age_ms: u64| format!(r#"{{"live":{{"age_ms":{age_ms},"shown":"9 V"}},"seq":{age_ms}}}"#).into();
    bench.send(silent(1000)).await;
    assert!(bench.got().is_some());
    let mut count = 0;
    for beat in 1..=50 {
        advance(Duration::from_millis(200)).await;
        bench.send(silent(1000 + beat * 200)).await;
        count += usize::from(bench.got().is_some());
    }
    assert_eq!(count, 10, "in 10 s");
}

#[tokio::test(start_paused = true)]
async fn a_flood_is_thinned_none_waits_longer_than_the_gap_and_the_newest_comes_through() {
    let mut bench = bench();
    let gap = Limits::default().view_gap;
    let (mut count, mut last_out) = (0, Instant::now());
    for seq in 1..=2000 {
        bench.send(view(seq, seq, &format!("v{seq}"))).await;
        if bench.got().is_some() {
            count += 1;
            last_out = Instant::now();
        }
        assert!(last_out.elapsed() <= gap, "nothing came out for {:?}", last_out.elapsed());
        advance(Duration::from_millis(1)).await;
    }
    // 2 s at one each 50 ms, and the eight at the start.
    assert!((46..=49).contains(&count), "{count} views in 2 s");
    bench.send(view(2001, 2001, "the last")).await;
    for _ in 0..50 {
        advance(Duration::from_millis(1)).await;
        settle().await;
    }
    assert_eq!(bench.got().as_deref(), Some(&*view(2001, 2001, "the last")));
}

/// A view that changed back before its turn came has nothing to tell.
#[tokio::test(start_paused = true)]
async fn what_changed_back_in_time_is_not_sent() {
    let mut bench = bench();
    for seq in 1..=8 {
        bench.send(view(seq, 0, &format!("v{seq}"))).await;
        assert!(bench.got().is_some());
    }
    bench.send(view(9, 0, "other")).await;
    assert_eq!(bench.got(), None, "all eight are spent");
    bench.send(view(10, 0, "v8")).await;
    advance(Duration::from_secs(1)).await;
    settle().await;
    assert_eq!(bench.got(), None);
}

#[tokio::test(start_paused = true)]
async fn the_last_view_goes_out_before_the_end() {
    let mut bench = bench();
    for seq in 1..=9 {
        bench.send(view(seq, 0, &format!("v{seq}"))).await;
    }
    assert_eq!(bench.got().as_deref(), Some(&*view(8, 0, "v8")), "the ninth waits");
    drop(bench.daemon);
    bench.task.await.unwrap();
    assert_eq!(&*bench.page.borrow_and_update().text, &*view(9, 0, "v9"));
    assert!(bench.page.changed().await.is_err());
}

#[tokio::test(start_paused = true)]
async fn a_view_that_is_no_object_is_compared_as_it_stands() {
    let mut bench = bench();
    for (text, goes) in [("[1]", true), ("[1]", false), ("x", true), ("x", false), ("", true), ("y", true)] {
        bench.send(text.into()).await;
        assert_eq!(bench.got().is_some(), goes, "{text:?}");
        advance(Duration::from_secs(1)).await;
    }
}

#[test]
fn a_view_of_several_lines_stays_one_event() {
    let stamped = Stamped::new("{\n \"a\":1,\r\n\"b\":2}".into(), Instant::now());
    assert_eq!(&stamped.data[..], b"data: {\ndata:  \"a\":1,\ndata: \"b\":2}\n\n");
}
