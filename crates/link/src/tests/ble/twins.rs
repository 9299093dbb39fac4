//! Two characteristics of one UUID in one service: both are read separately, or neither is and that is reported.
//! Never one in place of the other.

use super::*;

#[tokio::test(start_paused = true)]
async fn all_that_sends_arrives_apart_and_what_does_not_is_asked_for() {
    let fake = Fake::new(vec![meter(FIRST)]);
    for rest in [FIRST, "name=Air probe", "service=0x181A"] {
        let mut follower = Follower::new(open(&fake, rest));
        follower.opened(&fake, &meter(FIRST)).await;
        for _ in 0..3 {
            follower.delivers(&fake, &meter(FIRST)).await;
        }
        while !follower.step().await.contains(&(2, 3600)) {}
        assert_eq!(follower.wrong, Vec::<String>::new());
        assert_eq!(follower.decoder.counters().faults(), 0);
        drop(follower);
        // Dropping it lets the meter go.
        fake.until(|world| world.notifying.is_empty() && !world.devices[0].connected).await;
    }
    fake.change(|world| assert_eq!((world.switched_on, world.called("WriteValue")), (false, 0)));
}

/// What is shown of twins is one of them, and nobody knows which: neither is handed on, the others are.
#[tokio::test(start_paused = true)]
async fn twins_that_cannot_be_told_apart_are_withheld() {
    let fake = Fake::new(vec![twin_meter(FIRST)]);
    let mut link = open(&fake, FIRST);
    until(&mut *link, &LinkState::Syncing).await;
    let humidity = twin_meter(FIRST).part_path(2);
    if !portable() {
        fake.until(|world| world.subscribed(&twin_meter(FIRST).part_path(1))).await;
        return;
    }
    fake.until(|world| {
        world.log.iter().filter(|(method, path)| method == "ReadValue" && *path == humidity).count() > 2
    })
    .await;
    fake.change(|world| assert_eq!(world.called("StartNotify"), 0, "a twin was subscribed to"));
    let mut packets = 0;
    while packets < 3 {
        if let LinkEvent::Bytes(bytes) = next(&mut *link).await {
            // The index stands behind sync and kind (`wire::packet`): humidity is the third by its handle.
            assert_eq!(bytes[3], 2, "{bytes:?}");
            packets += 1;
        }
    }
}
