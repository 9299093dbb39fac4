//! Bluetooth meters against a bus and service of our own ([`fake`]): selectors, the basic path, and every fault of a
//! radio. Uses tokio's paused clock. Decodes the packets with `wire`, so that a wrong value shows.

mod both;
mod conform;
mod fake;
mod faults;
mod leaving;
#[cfg(feature = "ble-portable")]
mod library;
mod twins;
mod unreadable;

use std::collections::BTreeSet;
use std::time::Duration;

use quantity::State;
use wire::{Decoder, Item, Profile};

use super::{next, until};
use crate::{
    Adapter, BlePlace, GapReason, Link, LinkEvent, LinkState, OpenOptions, SelectorFault, Unavailable,
};
use both::{adapter, pass, portable};
use fake::{Attribute, Device, Fake, full};

const SILENCE: Duration = Duration::from_secs(3);
/// `supply air` is channel 0, `return air` channel 1; both are Temperature (0x2A6E) of one Environmental Sensing service.
const PROFILE: &str = "profile = 1\nid = \"twins\"\n[frame]\nkind = \"packet\"\n[decode]\nkind = \"gatt\"\n\
    [[decode.channel]]\nnumber = 0\ncharacteristic = \"0x2A6E\"\nlabel = \"supply air\"\n\
    [[decode.channel]]\nnumber = 1\ncharacteristic = \"0x2A6E\"\ninstance = 2\n\
    [[decode.channel]]\nnumber = 2\ncharacteristic = \"0x2A6F\"\n";

/// The same for a meter without twins.
const PORTABLE_PROFILE: &str = "profile = 1\nid = \"single\"\n[frame]\nkind = \"packet\"\n[decode]\nkind = \"gatt\"\n\
    [[decode.channel]]\nnumber = 0\ncharacteristic = \"0x2A6E\"\nlabel = \"supply air\"\n\
    [[decode.channel]]\nnumber = 1\ncharacteristic = \"0x2A6F\"\n\
    [[decode.channel]]\nnumber = 2\ncharacteristic = \"9f3c1d20-5b7e-4c1a-9d55-0a6b2e4f8c31\"\n";
/// A characteristic that no standard defines.
const VENDOR: &str = "9f3c1d20-5b7e-4c1a-9d55-0a6b2e4f8c31";

fn profile() -> Profile {
    Profile::parse(if portable() { PORTABLE_PROFILE } else { PROFILE }).unwrap()
}

fn part(uuid: u16, flags: &[&'static str], label: &str) -> Attribute {
    let descriptors = vec![(0x2901, label.as_bytes().to_vec())];
    Attribute { uuid: full(uuid), flags: flags.to_vec(), value: vec![0x10, 0x0E], descriptors }
}

/// The meter of most tests: twins and one that is asked. The portable backend cannot tell twins apart ([`twins`]), so that one's
/// are two that differ in their UUIDs.
fn meter(address: &'static str) -> Device {
    let twins = twin_meter(address);
    if !portable() {
        return twins;
    }
    let parts = vec![
        part(0x2A6E, &["notify"], "supply air"),
        part(0x2A6F, &["indicate"], "return air"),
        Attribute {
            descriptors: vec![(0x2901, b"battery".to_vec()), (0x2904, vec![0x06, 0xFE, 0x28, 0x27, 1, 0, 0])],
            uuid: VENDOR.to_owned(),
            ..part(0, &["read"], "")
        },
        part(0x2A00, &["read"], "its name"),
    ];
    Device { parts, ..twins }
}

fn twin_meter(address: &'static str) -> Device {
    Device {
        address,
        name: "Air probe",
        rssi: Some(-60),
        random: false,
        connected: false,
        service: 0x181A,
        parts: vec![
            part(0x2A6E, &["notify"], "supply air"),
            part(0x2A6E, &["indicate"], "return air"),
            part(0x2A6F, &["read"], "humidity"),
            part(0x2A00, &["read"], "its name"),
        ],
    }
}

const FIRST: &str = "C0:11:22:33:44:01";
const SECOND: &str = "C0:11:22:33:44:02";

fn open(fake: &Fake, rest: &str) -> Box<dyn Link> {
    let options = OpenOptions { silence: Some(SILENCE), ..OpenOptions::default() };
    adapter(fake).open(&format!("ble:{rest}").parse().unwrap(), &options).unwrap()
}

/// A link with its decoder, and every value that was ever sent.
struct Follower {
    link: Box<dyn Link>,
    decoder: Decoder,
    sent: BTreeSet<(u8, i64)>,
    next: i64,
    wrong: Vec<String>,
    states: Vec<String>,
}

impl Follower {
    fn new(link: Box<dyn Link>) -> Self {
        let decoder = Decoder::new(&profile());
        // Humidity is asked for and always 36.00 %.
        Self { link, decoder, sent: BTreeSet::from([(2, 3600)]), next: 0, wrong: vec![], states: vec![] }
    }

    /// Sends a value of each of the twins that no value sent before equals.
    async fn send(&mut self, fake: &Fake, device: &Device) {
        self.next += 1;
        for (part, from) in [(0_u8, 1000), (1, 3000)] {
            let raw = from + self.next;
            self.sent.insert((part, raw));
            let bytes = i16::try_from(raw).unwrap().to_le_bytes().to_vec();
            assert!(
                fake.notify(&device.part_path(part.into()), bytes).await,
                "nobody listens to part {part}"
            );
        }
    }

    /// Takes one event; gives the readings in it as channel and hundredths.
    async fn step(&mut self) -> Vec<(u8, i64)> {
        let mut got = vec![];
        match next(&mut *self.link).await {
            LinkEvent::State(state) => self.states.push(state.to_string()),
            LinkEvent::Gap(_) => self.decoder.gap(quantity::Instant::ZERO),
            LinkEvent::Bytes(bytes) => {
                self.decoder.bytes(quantity::Instant::ZERO, &bytes, &mut |item| match item {
                    Item::Reading(reading) => match reading.state {
                        State::Value(shown) if shown.exponent() == -2 => {
                            got.push((reading.channel, shown.mantissa()))
                        }
                        other => self.wrong.push(format!("{other:?}")),
                    },
                    Item::Fault(fault) => self.wrong.push(fault.to_string()),
                })
            }
        }
        self.wrong
            .extend(got.iter().filter(|r| !self.sent.contains(r)).map(|r| format!("{r:?} was never sent")));
        got
    }

    /// Waits until the link says it is open and both twins are subscribed to.
    async fn opened(&mut self, fake: &Fake, device: &Device) {
        self.states.clear();
        while self.states.last().is_none_or(|state| *state != LinkState::Syncing.to_string()) {
            self.step().await;
        }
        let paths = [device.part_path(0), device.part_path(1)];
        fake.until(|world| paths.iter().all(|path| world.subscribed(path))).await;
    }

    /// Sends, and waits for exactly these values on both twins.
    async fn delivers(&mut self, fake: &Fake, device: &Device) {
        self.send(fake, device).await;
        let mut missing = BTreeSet::from([(0, 1000 + self.next), (1, 3000 + self.next)]);
        while !missing.is_empty() {
            for reading in self.step().await {
                missing.remove(&reading);
            }
        }
        assert_eq!(self.wrong, Vec::<String>::new());
    }
}

#[test]
fn places() {
    for (text, want) in [
        ("c0:11:22:33:44:01", BlePlace::Address(FIRST.to_owned())),
        ("name=Air probe", BlePlace::Name("Air probe".to_owned())),
        ("service=0x181A", BlePlace::Service(wire::gatt::Uuid::from_short(0x181A))),
        (
            "service=0000181a-0000-1000-8000-00805F9B34FB",
            BlePlace::Service(wire::gatt::Uuid::from_short(0x181A)),
        ),
    ] {
        assert_eq!(BlePlace::parse(text), Ok(want.clone()));
        assert_eq!(BlePlace::parse(&want.to_string()), Ok(want));
    }
    assert_eq!(BlePlace::parse(""), Err(SelectorFault::RestMissing));
    for bad in
        ["C0:11:22:33:44", "C0:11:22:33:44:0G", "C0:11:22:33:44:01:02", "name=", "service=181A", "Air probe"]
    {
        assert_eq!(BlePlace::parse(bad), Err(SelectorFault::BadBle), "{bad}");
    }
}

#[tokio::test(start_paused = true)]
async fn of_two_with_one_name_none_is_chosen() {
    let fake = Fake::new(vec![meter(FIRST), meter(SECOND)]);
    for rest in ["name=Air probe", "service=0x181A"] {
        let mut link = open(&fake, rest);
        let devices = vec![format!("ble:{SECOND}"), format!("ble:{FIRST}")];
        let told = loop {
            match next(&mut *link).await {
                LinkEvent::State(LinkState::Absent(told)) => break told,
                LinkEvent::State(LinkState::Opening) => {}
                other => panic!("{other:?}"),
            }
        };
        let Unavailable::SeveralInRange { devices: mut told, .. } = told else { panic!("{told:?}") };
        told.sort();
        assert_eq!(told, devices.into_iter().rev().collect::<Vec<_>>());
    }
    fake.change(|world| assert_eq!(world.called("Connect"), 0));
    let mut follower = Follower::new(open(&fake, SECOND));
    follower.opened(&fake, &meter(SECOND)).await;
    follower.delivers(&fake, &meter(SECOND)).await;
}

#[tokio::test(start_paused = true)]
async fn a_radio_that_is_off_is_told_and_left_off() {
    let fake = Fake::new(vec![meter(FIRST)]);
    fake.change(|world| world.powered = false);
    let mut link = open(&fake, FIRST);
    until(&mut *link, &LinkState::Absent(Unavailable::RadioOff)).await;
    assert!(matches!(adapter(&fake).scan().unwrap().await, Err(Unavailable::RadioOff)));
    fake.change(|world| {
        assert_eq!((world.called("Set"), world.called("StartDiscovery"), world.powered), (0, 0, false));
        world.radio = false;
    });
    until(&mut *link, &LinkState::Absent(Unavailable::NoRadio)).await;
}

#[tokio::test(start_paused = true)]
async fn a_scan_lists_what_is_in_range_and_connects_to_nothing() {
    let away = Device { rssi: None, ..meter(SECOND) };
    let fake = Fake::new(vec![Device { random: true, ..meter(FIRST) }, away]);
    let found = adapter(&fake).scan().unwrap().await.unwrap();
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].selector.as_ref().unwrap().as_str(), format!("ble:{FIRST}"));
    assert!(found[0].description.contains("\"Air probe\", services 0x181A; its address may change"));
    fake.change(|world| assert_eq!(world.called("Connect"), 0));
}
