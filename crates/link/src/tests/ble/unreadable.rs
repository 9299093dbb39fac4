//! Descriptors that a meter refuses to let read: each costs only what depends on it, and the error says what to do.

use super::*;
use crate::Remedy;

/// Two temperatures, the second with a vendor's neighbour that no profile names.
fn neighbours() -> Device {
    let mut vendor = part(0x2A6E, &["notify"], "internal");
    vendor.uuid = "6e400003-b5a3-f393-e0a9-e50e24dcca9e".to_owned();
    let mut parts = meter(FIRST).parts;
    parts.push(vendor);
    Device { parts, ..meter(FIRST) }
}

/// Why the meter is not open.
async fn absent(link: &mut dyn Link) -> Unavailable {
    loop {
        match next(link).await {
            LinkEvent::State(LinkState::Absent(absence)) => return absence,
            LinkEvent::State(LinkState::Opening) => {}
            other => panic!("{other:?}"),
        }
    }
}

#[tokio::test(start_paused = true)]
async fn a_label_that_nobody_may_read_costs_the_label_alone() {
    for error in ["NotPermitted", "NotAuthorized", "NotSupported", "Failed"] {
        let device = neighbours();
        let fake = Fake::new(vec![device.clone()]);
        let error: &'static str = format!("org.bluez.Error.{error}").leak();
        fake.change(|world| world.unreadable.insert(device.descriptor_path(4, 0), error));
        let mut follower = Follower::new(open(&fake, FIRST));
        follower.opened(&fake, &device).await;
        // "supply air" is found by its label still.
        follower.delivers(&fake, &device).await;
        fake.change(|world| assert_eq!(world.called("Connect"), 1, "{error}"));
    }
}

/// The label of a channel that goes by it: that channel is silent, its twin is not taken for it.
#[tokio::test(start_paused = true)]
async fn a_channel_by_a_label_that_cannot_be_read_gives_nothing() {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    fake.change(|world| {
        world.unreadable.insert(device.descriptor_path(0, 0), "org.bluez.Error.NotPermitted")
    });
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &device).await;
    follower.send(&fake, &device).await;
    let want = (1, 3000 + follower.next);
    loop {
        let got = follower.step().await;
        assert!(got.iter().all(|(channel, _)| *channel != 0), "{got:?}");
        if got.contains(&want) {
            break;
        }
    }
    assert_eq!(follower.wrong, Vec::<String>::new());
}

/// A refusal that passes is waited for: nothing is lost.
#[tokio::test(start_paused = true)]
async fn a_descriptor_that_is_refused_once_is_read_again() {
    let device = meter(FIRST);
    let fake = Fake::new(vec![device.clone()]);
    fake.change(|world| world.refused.insert("ReadValue", 2));
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &device).await;
    follower.delivers(&fake, &device).await;
    fake.change(|world| assert_eq!(world.called("Connect"), 1));
}

/// Without its format a value could be taken for something else: it is left out, its neighbours are not, and they keep their
/// numbers.
#[tokio::test(start_paused = true)]
async fn a_format_that_cannot_be_read_costs_its_characteristic_alone() {
    let mut device = neighbours();
    device.parts[4].descriptors.push((0x2904, vec![0x0E, 0xFE, 0x2F, 0x27, 1, 0, 0]));
    device.parts.swap(0, 4);
    let fake = Fake::new(vec![device.clone()]);
    fake.change(|world| {
        world.unreadable.insert(device.descriptor_path(0, 1), "org.bluez.Error.NotPermitted")
    });
    let mut link = open(&fake, FIRST);
    until(&mut *link, &LinkState::Syncing).await;
    let (twin, vendor) = (device.part_path(1), device.part_path(0));
    fake.until(|world| world.subscribed(&twin)).await;
    assert!(fake.change(|world| !world.subscribed(&vendor)));
    assert!(fake.notify(&twin, vec![0x65, 0x08]).await);
    loop {
        if let LinkEvent::Bytes(bytes) = next(&mut *link).await {
            // The index stands behind sync and kind (`wire::packet`).
            if bytes[3] == 1 {
                break;
            }
        }
    }
}

/// Nothing is left, and the advice fits why.
#[tokio::test(start_paused = true)]
async fn advice_fits_the_cause() {
    let only = |flags: &[&'static str]| Device { parts: vec![part(0x2A6E, flags, "x")], ..meter(FIRST) };
    let with_format = || {
        let mut device = only(&["notify"]);
        device.parts[0].descriptors = vec![(0x2904, vec![0x0E, 0xFE, 0x2F, 0x27, 1, 0, 0])];
        device
    };
    let pairing = "bluetoothctl pair C0:11:22:33:44:01";
    type Fault = fn(&mut fake::World, &Device);
    let cases: [(&str, Device, Fault, Remedy, &str); 5] = [
        (
            "a format that wants pairing",
            with_format(),
            |world, device| {
                world.unreadable.insert(device.descriptor_path(0, 0), "org.bluez.Error.NotAuthorized");
            },
            Remedy::Pair,
            pairing,
        ),
        ("nothing that sends", only(&["write"]), |_, _| {}, Remedy::Choose, "devices list --scan"),
        (
            "held by another",
            only(&["notify"]),
            |world, _| {
                world.refused.insert("Connect", 1);
            },
            Remedy::Release,
            "close the program or telephone",
        ),
        (
            "a service without an answer",
            only(&["notify"]),
            |world, _| {
                world.muted.insert("ReadValue");
            },
            Remedy::Service,
            "restart bluetooth",
        ),
        (
            "services that do not come",
            only(&["notify"]),
            |world, _| world.unresolved = true,
            Remedy::Forget,
            "bluetoothctl remove C0:11:22:33:44:01",
        ),
    ];
    for (name, device, fault, want, words) in cases {
        let fake = Fake::new(vec![device.clone()]);
        fake.change(|world| fault(world, &device));
        let absence = absent(&mut *open(&fake, FIRST)).await;
        let Unavailable::NotConnected { mend, .. } = &absence else { panic!("{name}: {absence:?}") };
        assert_eq!(*mend, want, "{name}");
        assert!(absence.to_string().contains(words), "{name}: {absence}");
    }
}
