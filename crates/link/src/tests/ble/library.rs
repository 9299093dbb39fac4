//! The guard around the library of the portable backend: what panics there, what hangs there, and what remains. Each
//! test runs in a process of its own when started from a process that tests the other backend.

use std::sync::atomic::Ordering;

use super::both::Tested;
use super::both::portable_runs::apart;
use super::*;

/// Threads of this process that the library lives on.
fn threads() -> usize {
    let tasks = std::fs::read_dir("/proc/self/task").unwrap().flatten();
    let named = tasks.filter(|task| {
        std::fs::read_to_string(task.path().join("comm")).is_ok_and(|name| name.trim() == "bluetooth")
    });
    named.count()
}

fn open_by(adapter: &Tested) -> Follower {
    let options = OpenOptions { silence: Some(SILENCE), ..OpenOptions::default() };
    Follower::new(adapter.open(&format!("ble:{FIRST}").parse().unwrap(), &options).unwrap())
}

/// A panic there is counted and told, and costs the call that it hit, not the session: the values go on.
#[tokio::test(start_paused = true)]
async fn a_panic_on_the_librarys_thread_is_counted_and_costs_no_value() {
    if !portable() {
        return apart("a_panic_on_the_librarys_thread_is_counted_and_costs_no_value");
    }
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let adapter = adapter(&fake);
    let Tested::Portable(library) = &adapter else { panic!("not the portable backend") };
    let mut follower = open_by(&adapter);
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    follower.states.clear();
    // The next call is that for the part that is asked once a second.
    library.trip_library().store(true, Ordering::Relaxed);
    for _ in 0..100 {
        if follower.link.counters().panics > 0 {
            break;
        }
        follower.delivers(&fake, &device).await;
        pass(SILENCE / 30).await;
    }
    assert!(!library.trip_library().load(Ordering::Relaxed));
    follower.delivers(&fake, &device).await;
    while !follower.step().await.contains(&(2, 3600)) {}
    assert!(!follower.states.iter().any(|state| state.starts_with("lost")), "{:?}", follower.states);
    assert_eq!((follower.link.counters().panics, follower.link.counters().gaps), (1, 0));
}

/// A panic while the meter is being opened costs that attempt.
#[tokio::test(start_paused = true)]
async fn a_panic_while_it_opens_costs_the_attempt() {
    if !portable() {
        return apart("a_panic_while_it_opens_costs_the_attempt");
    }
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let adapter = adapter(&fake);
    let Tested::Portable(library) = &adapter else { panic!("not the portable backend") };
    library.trip_library().store(true, Ordering::Relaxed);
    let mut follower = open_by(&adapter);
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    assert_eq!(follower.link.counters().open_failed, 1);
}

/// The end of a link ends the thread and every task of the library on it.
#[tokio::test(start_paused = true)]
async fn nothing_of_the_library_outlives_its_link() {
    if !portable() {
        return apart("nothing_of_the_library_outlives_its_link");
    }
    let fake = Fake::new(vec![meter(FIRST)]);
    for _ in 0..3 {
        let mut follower = Follower::new(open(&fake, FIRST));
        follower.opened(&fake, &meter(FIRST)).await;
        assert_eq!(threads(), 1);
        drop(follower);
        fake.until(|world| world.notifying.is_empty() && world.left() == (0, 0)).await;
        while threads() > 0 {
            tokio::task::yield_now().await;
        }
    }
}

/// The library's constructor hangs: each attempt is given up in its time, and only so many threads wait in it.
#[tokio::test]
async fn a_constructor_that_hangs_costs_a_bounded_number_of_threads() {
    if !portable() {
        return apart("a_constructor_that_hangs_costs_a_bounded_number_of_threads");
    }
    let mute = Fake::that_says_nothing();
    let mut link = open(&mute, FIRST);
    let told = loop {
        if let LinkEvent::State(LinkState::Absent(Unavailable::NoBluetooth { detail })) =
            next(&mut *link).await
            && detail.contains("earlier attempts")
        {
            break detail;
        }
    };
    assert_eq!(told, "4 earlier attempts still wait for its answer");
    assert!(threads() <= 4, "{}", threads());
}
