//! `cliplead devices watch ble:...` and `devices list --scan` on a bus and a Bluetooth service of our own.

#[path = "../../crates/link/src/tests/ble/fake.rs"]
#[allow(dead_code, reason = "the faults are for the checks of crate link")]
mod fake;

use std::process::{Command, Output, Stdio};

use checks::program;
use fake::{Attribute, Device, Fake, full};

fn probe() -> Device {
    let part = |flags: &[&'static str], label: &str| Attribute {
        uuid: full(0x2A6E),
        flags: flags.to_vec(),
        value: vec![],
        descriptors: vec![(0x2901, label.as_bytes().to_vec())],
    };
    Device {
        address: "C0:11:22:33:44:01",
        name: "Air probe",
        rssi: Some(-60),
        random: false,
        connected: false,
        service: 0x181A,
        parts: vec![part(&["notify"], "supply air"), part(&["notify"], "return air")],
    }
}

/// Starts the program on the bus of the fake; the thread ends with it.
fn start(fake: &Fake, arguments: &'static [&'static str]) -> tokio::task::JoinHandle<Output> {
    let mut command = Command::new(program());
    command.args(arguments).env("DBUS_SYSTEM_BUS_ADDRESS", fake.address()).stdin(Stdio::null());
    tokio::task::spawn_blocking(move || command.output().unwrap())
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Readings of twins through the whole program, a broken link in between, no restart.
#[tokio::test]
async fn watched_through_a_broken_link() {
    let device = probe();
    let fake = Fake::new(vec![device.clone()]);
    let arguments =
        &["devices", "watch", "ble:name=Air probe", "--profile", "generic-gatt-meter", "--count", "4"];
    let running = start(&fake, arguments);
    for raw in [1284_i16, 1291] {
        fake.until(|world| (0..2).all(|part| world.subscribed(&device.part_path(part)))).await;
        assert!(fake.notify(&device.part_path(0), raw.to_le_bytes().to_vec()).await);
        assert!(fake.notify(&device.part_path(1), (raw + 1000).to_le_bytes().to_vec()).await);
        if raw == 1284 {
            fake.disconnect(0).await;
        }
    }
    let ended = running.await.unwrap();
    let (out, err) = (text(&ended.stdout), text(&ended.stderr));
    assert_eq!(ended.status.code(), Some(0), "{err}");
    let readings: Vec<&str> =
        out.lines().filter_map(|line| line.split_once("reading  ")).map(|(_, r)| r).collect();
    let (supply, back) = ("°C  (channel 0, supply air)", "°C  (channel 1, return air)");
    let want = [("12.84", supply), ("22.84", back), ("12.91", supply), ("22.91", back)];
    assert_eq!(readings, want.map(|(value, which)| format!("{value} {which}")), "{out}{err}");
    assert!(
        err.contains("gap: the device is gone") && err.contains("4 readings from 4 frames; 0 drops"),
        "{err}"
    );
}

/// The same word for programs.
#[tokio::test]
async fn labels_stand_in_the_json() {
    let device = probe();
    let fake = Fake::new(vec![device.clone()]);
    let arguments = &[
        "devices",
        "watch",
        "ble:name=Air probe",
        "--profile",
        "generic-gatt-meter",
        "--count",
        "1",
        "--format",
        "json",
    ];
    let running = start(&fake, arguments);
    let path = device.part_path(1);
    fake.until(|world| world.subscribed(&path)).await;
    assert!(fake.notify(&path, 1284_i16.to_le_bytes().to_vec()).await);
    let ended = running.await.unwrap();
    let out = text(&ended.stdout);
    assert!(out.contains(r#""channel":1"#) && out.contains(r#""label":"return air""#), "{out}");
}

#[tokio::test]
async fn listed_only_when_asked_and_a_radio_that_is_off_is_told() {
    let fake = Fake::new(vec![probe()]);
    let plain = start(&fake, &["devices", "list"]).await.unwrap();
    assert!(!text(&plain.stdout).contains("ble:"));
    fake.change(|world| assert_eq!(world.called("Hello"), 0));
    let scanned = start(&fake, &["devices", "list", "--scan"]).await.unwrap();
    assert!(text(&scanned.stdout).contains("ble:C0:11:22:33:44:01"), "{}", text(&scanned.stderr));
    fake.power(false).await;
    let off = start(&fake, &["devices", "list", "--scan"]).await.unwrap();
    assert_eq!(off.status.code(), Some(0));
    assert!(
        text(&off.stderr).contains("no Bluetooth scan: the Bluetooth radio is off"),
        "{}",
        text(&off.stderr)
    );
    fake.change(|world| {
        assert_eq!((world.called("Set"), world.called("Connect"), world.powered), (0, 0, false))
    });
}

/// How a command is brought to its end, once it is where the test wants it.
#[derive(Clone, Copy, Debug, PartialEq)]
enum End {
    /// By this signal.
    Signal(&'static str),
    /// By so many values that it waits for.
    Values(i16),
    /// By nothing but itself.
    Itself,
    /// Its reader goes away, and one more value comes.
    NoReader,
}

/// Every way out of every command that uses the radio leaves nothing connected and no scan running, and says so itself: the fake
/// service, like the real one, keeps a connection whose client has gone.
#[tokio::test]
async fn nothing_is_left_connected_or_scanning_however_a_command_ends() {
    const ADDRESS: &str = "ble:C0:11:22:33:44:01";
    let watch = ["devices", "watch", ADDRESS, "--profile", "generic-gatt-meter"];
    let counted = ["devices", "watch", ADDRESS, "--profile", "generic-gatt-meter", "--count", "2"];
    let learn = ["devices", "learn", ADDRESS, "--bytes", "60", "--seconds", "600"];
    let scan = ["devices", "list", "--scan"];
    let folder = checks::Folder::new("bluetooth-run");
    let site =
        format!("[[device]]\nname = \"probe\"\nselector = \"{ADDRESS}\"\nprofile = \"generic-gatt-meter\"\n");
    let site = folder.write("site.toml", site).display().to_string();
    let run = ["run", site.as_str()];
    let cases: [(&[&str], End, i32); 12] = [
        (&run, End::Signal("HUP"), 0),
        (&run, End::Signal("INT"), 0),
        (&run, End::Signal("TERM"), 0),
        (&watch, End::Signal("INT"), 0),
        (&watch, End::Signal("TERM"), 0),
        (&watch, End::NoReader, 0),
        (&counted, End::Values(2), 0),
        (&learn, End::Signal("INT"), 2),
        (&learn, End::Signal("TERM"), 2),
        (&learn, End::Values(3), 1),
        (&scan, End::Itself, 0),
        (&scan, End::Signal("INT"), 2),
    ];
    for (arguments, end, want) in cases {
        let device = probe();
        let fake = Fake::new(vec![device.clone()]);
        let mut child = Command::new(program())
            .args(arguments)
            .env("DBUS_SYSTEM_BUS_ADDRESS", fake.address())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let is_scan = arguments.contains(&"list");
        let path = device.part_path(0);
        fake.until(
            |world| if is_scan { world.called("StartDiscovery") > 0 } else { world.subscribed(&path) },
        )
        .await;
        match end {
            End::Itself => {}
            End::Signal(name) => {
                let sent = Command::new("kill").args([&format!("-{name}"), &child.id().to_string()]).status();
                assert!(sent.unwrap().success());
            }
            End::Values(many) => {
                for raw in 0..many {
                    assert!(fake.notify(&path, raw.to_le_bytes().to_vec()).await);
                }
            }
            End::NoReader => {
                drop(child.stdout.take());
                assert!(fake.notify(&path, 1284_i16.to_le_bytes().to_vec()).await);
            }
        }
        let ended = tokio::task::spawn_blocking(move || child.wait_with_output().unwrap()).await.unwrap();
        let err = text(&ended.stderr);
        assert_eq!(ended.status.code(), Some(want), "{arguments:?} {end:?}: {err}");
        fake.change(|world| {
            let said = (world.called("Disconnect"), world.called("StopDiscovery"));
            let want = if is_scan { (0, 1) } else { (1, 1) };
            assert_eq!((world.left(), said), ((0, 0), want), "{arguments:?} {end:?}: {:?}\n{err}", world.log);
        });
    }
}
