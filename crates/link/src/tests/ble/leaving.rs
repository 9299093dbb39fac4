//! What a link leaves behind at the Bluetooth service: nothing connected, no scan running, however it ends and
//! wherever it is. The service keeps a connection whose client has gone, so whoever connected must disconnect.

use super::*;
use crate::{CLOSE_TIME_MAX, Registry};

/// A link from a registry, as in a program.
fn link_of(fake: &Fake) -> (Registry, Box<dyn Link>) {
    let registry = Registry::new().with(adapter(fake));
    let options = OpenOptions { silence: Some(SILENCE), ..OpenOptions::default() };
    let link = registry.open(&format!("ble:{FIRST}"), &options).unwrap();
    (registry, link)
}

/// The scan ends as soon as it has shown the meter, and before anything else is asked of the radio.
#[tokio::test(start_paused = true)]
async fn the_scan_ends_before_the_meter_is_connected() {
    let fake = Fake::new(vec![meter(FIRST)]);
    let mut follower = Follower::new(open(&fake, "name=Air probe"));
    follower.opened(&fake, &meter(FIRST)).await;
    fake.change(|world| {
        assert_eq!(world.left(), (1, 0));
        assert_eq!((world.called("StartDiscovery"), world.called("StopDiscovery")), (1, 1));
        assert!(world.first("StopDiscovery") < world.first("Connect"), "{:?}", world.log);
    });
}

#[tokio::test(start_paused = true)]
async fn the_scan_ends_when_nothing_was_found() {
    let fake = Fake::new(vec![]);
    let mut link = open(&fake, FIRST);
    until(&mut *link, &LinkState::Absent(Unavailable::NotFound { what: format!("ble:{FIRST}") })).await;
    fake.change(|world| assert_eq!((world.called("StopDiscovery"), world.left()), (1, (0, 0))));
}

/// Somebody's scan is not ours to stop.
#[tokio::test(start_paused = true)]
async fn a_scan_that_was_refused_is_not_stopped() {
    let fake = Fake::new(vec![]);
    fake.change(|world| world.powered = false);
    let off = adapter(&fake).scan().unwrap().await.unwrap_err().to_string();
    assert!(off.contains("radio is off"), "{off}");
    fake.change(|world| {
        world.powered = true;
        world.refused.insert("StartDiscovery", 1);
    });
    let refused = adapter(&fake).scan().unwrap().await.unwrap_err().to_string();
    assert!(refused.contains("refused by the test"), "{refused}");
    fake.change(|world| assert_eq!(world.called("StopDiscovery"), 0));
}

#[tokio::test(start_paused = true)]
async fn a_scan_for_the_list_ends_whole_or_broken_off() {
    let fake = Fake::new(vec![meter(FIRST)]);
    let adapter = adapter(&fake);
    adapter.scan().unwrap().await.unwrap();
    fake.change(|world| assert_eq!((world.called("StopDiscovery"), world.left()), (1, (0, 0))));
    let begun = async {
        tokio::select! {
            _ = adapter.scan().unwrap() => panic!("a scan takes its time"),
            () = fake.until(|world| world.called("StartDiscovery") == 2) => {}
        }
    };
    begun.await;
    assert_eq!(adapter.close().await, 0);
    fake.change(|world| assert_eq!((world.called("StopDiscovery"), world.left()), (2, (0, 0))));
}

/// The program ends while the link is at each of its stages; a method without an answer holds it there.
#[tokio::test(start_paused = true)]
async fn closing_lets_go_at_every_stage() {
    for stage in ["StartDiscovery", "Connect", "ReadValue", "StartNotify", "open"] {
        let fake = Fake::new(vec![meter(FIRST)]);
        if stage != "open" {
            fake.change(|world| world.muted.insert(stage));
        }
        let (registry, mut link) = link_of(&fake);
        let called = if stage == "open" { "StartNotify" } else { stage };
        fake.until(|world| world.called(called) > 0).await;
        assert_eq!(registry.close().await, Ok(()), "{stage}");
        // What the service did not answer it may have done all the same; it was asked to end that too.
        let stopped = if stage == "StartDiscovery" { "StopDiscovery" } else { "Disconnect" };
        fake.change(|world| {
            assert_eq!(world.left(), (0, 0), "{stage}: {:?}", world.log);
            assert_eq!(world.called(stopped), 1, "{stage}: {:?}", world.log);
        });
        // Whoever still reads is told that it is over.
        until(&mut *link, &LinkState::Ended).await;
        assert_eq!(link.next().await, None);
    }
}

/// The usual end of a command: the link is dropped, then the program ends.
#[tokio::test(start_paused = true)]
async fn closing_waits_for_links_that_were_dropped_before() {
    let fake = Fake::new(vec![meter(FIRST)]);
    let (registry, link) = link_of(&fake);
    fake.until(|world| world.subscribed(&meter(FIRST).part_path(0))).await;
    drop(link);
    assert_eq!(registry.close().await, Ok(()));
    fake.change(|world| assert_eq!((world.called("Disconnect"), world.left()), (1, (0, 0))));
}

/// A service that gives no answer holds no program up, and what is left is said.
#[tokio::test(start_paused = true)]
async fn closing_has_an_end_and_says_what_is_left() {
    let fake = Fake::new(vec![meter(FIRST)]);
    let (registry, link) = link_of(&fake);
    fake.until(|world| world.subscribed(&meter(FIRST).part_path(0))).await;
    fake.change(|world| world.muted.insert("Disconnect"));
    let begun = tokio::time::Instant::now();
    let left = registry.close().await.unwrap_err();
    let took = begun.elapsed();
    assert!(took == CLOSE_TIME_MAX || portable() && took > CLOSE_TIME_MAX, "{took:?}");
    assert_eq!(left.links, [("ble", 1)]);
    assert!(left.to_string().contains("bluetoothctl disconnect"), "{left}");
    drop(link);
}

/// An adapter around another passes the word on.
#[tokio::test(start_paused = true)]
async fn closing_reaches_through_every_wrapper() {
    let profile = Profile::parse(PROFILE).unwrap();
    let fake = Fake::new(vec![meter(FIRST)]);
    let ble = || adapter(&fake);
    let rates = crate::FaultRates::default();
    let adapters: [Box<dyn Adapter>; 3] = [
        Box::new(crate::TracedAdapter::new(ble(), |_, _| {})),
        Box::new(crate::PolledAdapter::new(ble(), &profile)),
        Box::new(crate::FaultyAdapter::new(ble(), 1, rates, |_, _| {})),
    ];
    for adapter in adapters {
        let options = OpenOptions { silence: Some(SILENCE), ..OpenOptions::default() };
        let _link = adapter.open(&format!("ble:{FIRST}").parse().unwrap(), &options).unwrap();
        fake.until(|world| world.subscribed(&meter(FIRST).part_path(0))).await;
        assert_eq!(adapter.close().await, 0);
        fake.change(|world| assert_eq!(world.left(), (0, 0)));
    }
}

/// A link that lost its meter says nothing to it: the word would hit the next connection.
#[tokio::test(start_paused = true)]
async fn a_meter_that_went_by_itself_is_not_disconnected_again() {
    let fake = Fake::new(vec![meter(FIRST)]);
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &meter(FIRST)).await;
    fake.disconnect(0).await;
    follower.opened(&fake, &meter(FIRST)).await;
    fake.change(|world| assert_eq!((world.called("Connect"), world.called("Disconnect")), (2, 0)));
}
