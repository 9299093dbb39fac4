//! Every fault of a radio, its service and its bus: afterwards correct values again, none wrong, nothing restarted by
//! hand. Which faults occur and what a library sees of them was measured with a real service; each test states it.

use tokio::time::Instant;

use super::*;

/// Recovers within this time after the repair, by the paused clock: a scan and the waits between attempts.
const BACK_MAX: Duration = Duration::from_secs(15);

/// A fault, then its mending; the same link must give right values again. Gives how often it connected.
async fn heals(name: &str, fault: impl AsyncFnOnce(&Fake), mend: impl AsyncFnOnce(&Fake)) -> u32 {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let mut follower = Follower::new(open(&fake, "name=Air probe"));
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    fault(&fake).await;
    while !follower.states.iter().any(|state| state.starts_with("lost")) {
        follower.step().await;
    }
    let gaps = follower.link.counters().gaps;
    assert!(gaps >= 1, "{name}: a loss without a gap");
    mend(&fake).await;
    let back = Instant::now();
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    let took = back.elapsed();
    println!("{name}: back after {} ms, {} wrong", took.as_millis(), follower.wrong.len());
    assert!(portable() || took <= BACK_MAX, "{name}: {took:?}");
    follower.delivers(&fake, &device).await;
    assert_eq!((follower.wrong.len(), follower.decoder.counters().faults()), (0, 0), "{name}");
    assert_eq!(follower.link.counters().panics, 0);
    fake.change(|world| {
        assert!(!world.switched_on && (portable() || world.called("Set") == 0), "{name}: a property was set");
        world.called("Connect")
    })
}

async fn nothing(_: &Fake) {}

/// Measured: only `Connected` tells it.
#[tokio::test(start_paused = true)]
async fn a_broken_link() {
    assert_eq!(heals("broken link", async |fake| fake.disconnect(0).await, nothing).await, 2);
}

#[tokio::test(start_paused = true)]
async fn connecting_fails_a_few_times() {
    let fault = async |fake: &Fake| {
        fake.change(|world| world.refused.insert("Connect", 3));
        fake.disconnect(0).await;
    };
    assert_eq!(heals("failed connects", fault, nothing).await, 5);
}

#[tokio::test(start_paused = true)]
async fn the_radio_is_switched_off_and_on() {
    heals("radio off and on", async |fake| fake.power(false).await, async |fake| fake.power(true).await)
        .await;
}

#[tokio::test(start_paused = true)]
async fn the_device_is_removed_and_comes_back() {
    let fault = async |fake: &Fake| drop(fake.remove(0).await);
    let mend = async |fake: &Fake| fake.change(|world| world.devices.push(meter(FIRST)));
    heals("removed and added", fault, mend).await;
}

#[tokio::test(start_paused = true)]
async fn the_service_is_started_anew_and_the_bus_tells() {
    heals("service restart, told", async |fake| fake.restart(true).await, nothing).await;
}

/// Measured: after a restart nobody told of, `Connected` may still be true and no value comes.
#[tokio::test(start_paused = true)]
async fn the_service_is_started_anew_and_nobody_tells() {
    assert!(heals("service restart, not told", async |fake| fake.restart(false).await, nothing).await >= 2);
}

/// The first step against silence is enough here: no second connection is made. Humidity is asked for and goes on; it does
/// not hide that the twins are silent.
#[tokio::test(start_paused = true)]
async fn notifications_end_without_a_word() {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    fake.change(|world| world.notifying.clear());
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    fake.change(|world| assert_eq!((world.called("Connect"), world.called("Disconnect")), (1, 0)));
    assert_eq!(follower.link.counters().gaps, 1);
}

#[tokio::test(start_paused = true)]
async fn a_silent_meter_is_opened_anew_and_each_step_is_told() {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    follower.states.clear();
    fake.until(|world| world.called("Connect") == 2).await;
    follower.opened(&fake, &device).await;
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    assert_eq!(follower.link.counters().gaps, 2);
    fake.change(|world| assert_eq!((world.called("StopNotify"), world.called("Disconnect")), (2, 1)));
}

#[tokio::test(start_paused = true)]
async fn the_bus_goes_and_comes_back() {
    heals("bus gone and back", async |fake| fake.bus_down(), async |fake| fake.bus_up()).await;
}

/// One method of the service or the bus gives no answer: each costs its time limit, no more.
async fn without_an_answer(method: &'static str) {
    let fault = async |fake: &Fake| {
        fake.change(|world| world.muted.insert(method));
        fake.disconnect(0).await;
    };
    let mend = async |fake: &Fake| {
        let before = fake.change(|world| world.called(method));
        fake.until(|world| world.called(method) > before).await;
        fake.change(|world| world.muted.clear());
    };
    heals(method, fault, mend).await;
}

/// A test of its own for each, so that they run side by side.
macro_rules! without_an_answer {
    ($($name:ident: $method:literal),* $(,)?) => {$(
        #[tokio::test(start_paused = true)]
        async fn $name() {
            without_an_answer($method).await;
        }
    )*};
}

without_an_answer! {
    a_greeting_without_an_answer: "Hello",
    a_list_without_an_answer: "GetManagedObjects",
    a_connect_without_an_answer: "Connect",
    a_subscription_without_an_answer: "StartNotify",
    a_descriptor_without_an_answer: "ReadValue",
    a_rule_for_signals_without_an_answer: "AddMatch",
}

/// A socket that takes connections and says nothing: measured, the usual library blocks its thread for ever.
#[tokio::test(start_paused = true)]
async fn a_bus_that_says_nothing_is_told() {
    let mute = Fake::that_says_nothing();
    let adapter = adapter(&mute);
    let mut link = adapter.open(&format!("ble:{FIRST}").parse().unwrap(), &OpenOptions::default()).unwrap();
    let told = Unavailable::NoBluetooth { detail: "no answer in 5 s".to_owned() };
    until(&mut *link, &LinkState::Absent(told)).await;
}

/// Another meter of the same name comes while the first is away: it does not take its place.
#[tokio::test(start_paused = true)]
async fn another_device_of_the_name_does_not_take_its_place() {
    let fake = Fake::new(vec![meter(FIRST)]);
    let mut follower = Follower::new(open(&fake, "name=Air probe"));
    follower.opened(&fake, &meter(FIRST)).await;
    follower.delivers(&fake, &meter(FIRST)).await;
    fake.remove(0).await;
    fake.change(|world| world.devices.push(meter(SECOND)));
    let what = format!("ble:name=Air probe (it was {FIRST})");
    until(&mut *follower.link, &LinkState::Absent(Unavailable::NotFound { what })).await;
    fake.change(|world| assert_eq!(world.called("Connect"), 1));
    fake.change(|world| world.devices.push(meter(FIRST)));
    follower.decoder.gap(quantity::Instant::ZERO);
    follower.opened(&fake, &meter(FIRST)).await;
    follower.delivers(&fake, &meter(FIRST)).await;
}

/// An address that changes by itself, for privacy, with name and services the same.
#[tokio::test(start_paused = true)]
async fn an_address_that_changes_is_found_again() {
    let fake = Fake::new(vec![Device { random: true, ..meter(FIRST) }]);
    let mut follower = Follower::new(open(&fake, "service=0x181A"));
    follower.opened(&fake, &meter(FIRST)).await;
    follower.delivers(&fake, &meter(FIRST)).await;
    fake.remove(0).await;
    fake.change(|world| world.devices.push(Device { random: true, ..meter(SECOND) }));
    follower.opened(&fake, &meter(SECOND)).await;
    follower.delivers(&fake, &meter(SECOND)).await;
}

/// A device that is remembered and not in range is not connected to.
#[tokio::test(start_paused = true)]
async fn a_remembered_device_is_not_there() {
    let fake = Fake::new(vec![Device { rssi: None, ..meter(FIRST) }]);
    let mut link = open(&fake, FIRST);
    until(&mut *link, &LinkState::Absent(Unavailable::NotFound { what: format!("ble:{FIRST}") })).await;
    fake.change(|world| assert_eq!(world.called("Connect"), 0));
}

#[tokio::test(start_paused = true)]
async fn a_storm_with_a_reader_that_sleeps_is_bounded_and_counted() {
    const STORM: usize = 4_000;
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    let before = follower.link.counters();
    for _ in 0..STORM / 2 {
        follower.send(&fake, &device).await;
    }
    let packet = 33 + 2 + "supply air".len() + 1 + 2 + 8;
    while follower.link.counters().received_bytes < before.received_bytes + (STORM * packet) as u64 {
        tokio::task::yield_now().await;
    }
    let counted = follower.link.counters();
    assert!(counted.queued_bytes_peak <= OpenOptions::default().queue_bytes, "{counted:?}");
    assert!(counted.dropped_bytes > 0, "{counted:?}");
    let last = (0, 1000 + follower.next);
    while !follower.step().await.contains(&last) {}
    assert_eq!(follower.wrong, Vec::<String>::new());
}

/// A value longer than a packet holds is told as a gap, not cut.
#[tokio::test(start_paused = true)]
async fn a_value_too_long_is_a_counted_gap() {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &device).await;
    assert!(fake.notify(&device.part_path(0), vec![0; 512]).await);
    while next(&mut *follower.link).await != LinkEvent::Gap(GapReason::Overflow { bytes: 512 }) {}
    follower.delivers(&fake, &device).await;
}

/// One that is in range and takes no connection delays no other.
#[tokio::test(start_paused = true)]
async fn a_bad_device_does_not_delay_a_good_one() {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone(), Device { parts: vec![], ..meter(SECOND) }]);
    let mut bad = open(&fake, SECOND);
    let mut good = Follower::new(open(&fake, FIRST));
    good.opened(&fake, &device).await;
    for _ in 0..5 {
        good.delivers(&fake, &device).await;
    }
    loop {
        match next(&mut *bad).await {
            LinkEvent::State(LinkState::Absent(Unavailable::NotConnected { device, .. })) => {
                break assert_eq!(device, SECOND);
            }
            LinkEvent::State(LinkState::Opening) => {}
            other => panic!("{other:?}"),
        }
    }
    assert!(!good.states.iter().any(|state| state.starts_with("lost") || state.starts_with("absent")));
}

/// One of two that send falls silent: it is subscribed to again by itself, and the other is never lost.
#[tokio::test(start_paused = true)]
async fn one_characteristic_that_falls_silent_is_subscribed_to_again() {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    let (kept, ended) = (device.part_path(0), device.part_path(1));
    fake.change(|world| world.notifying.retain(|(_, path)| *path != ended));
    follower.states.clear();
    while !fake.change(|world| world.subscribed(&ended)) {
        follower.next += 1;
        let raw = 1000 + follower.next;
        follower.sent.insert((0, raw));
        assert!(fake.notify(&kept, i16::try_from(raw).unwrap().to_le_bytes().to_vec()).await);
        while !follower.step().await.contains(&(0, raw)) {}
        pass(SILENCE / 10).await;
    }
    follower.delivers(&fake, &device).await;
    assert!(!follower.states.iter().any(|state| state.starts_with("lost")), "{:?}", follower.states);
    assert_eq!((follower.wrong.len(), follower.link.counters().gaps), (0, 0));
}

/// The code that takes signals fails: counted, told as a loss, and the meter is open again with right values.
#[tokio::test(start_paused = true)]
async fn a_panic_in_a_session_is_counted_and_healed() {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    let adapter = adapter(&fake);
    let options = OpenOptions { silence: Some(SILENCE), ..OpenOptions::default() };
    let link = adapter.open(&format!("ble:{FIRST}").parse().unwrap(), &options).unwrap();
    let mut follower = Follower::new(link);
    for panics in 1..=3 {
        follower.opened(&fake, &device).await;
        follower.delivers(&fake, &device).await;
        follower.states.clear();
        adapter.trip().store(true, std::sync::atomic::Ordering::Relaxed);
        follower.send(&fake, &device).await;
        while !follower.states.iter().any(|state| state.contains("a defect, please report it")) {
            follower.step().await;
        }
        assert_eq!(follower.link.counters().panics, panics);
    }
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
}

/// A meter that refuses every subscription says what to do; it is tried again and taken when it no longer refuses.
#[tokio::test(start_paused = true)]
async fn a_meter_that_refuses_to_send_is_told_and_tried_again() {
    let device = Device { parts: vec![part(0x2A6E, &["notify"], "supply air")], ..meter(FIRST) };
    let fake = Fake::new(vec![device.clone()]);
    fake.change(|world| world.refused.insert("StartNotify", 2));
    let mut link = open(&fake, FIRST);
    let mut lost = 0;
    while lost < 2 {
        if let LinkEvent::State(LinkState::Lost(loss)) = next(&mut *link).await {
            assert!(loss.to_string().contains("bluetoothctl pair"), "{loss}");
            lost += 1;
        }
    }
    fake.until(|world| world.subscribed(&device.part_path(0))).await;
}
