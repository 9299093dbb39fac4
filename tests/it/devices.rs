//! `cliplead run` with meters on pseudo-terminals: unplugged in the middle of a check, beside broken and babbling
//! devices, and ended by a signal.

use checks::{Daemon, Folder, Invocation, Leads, Meter, Stream, babble};
use history::Reader;
use serde_json::{Value, json};

use crate::site;

/// Signals of one check.
const ROUNDS: u32 = 8;

/// Link lost, the pending check resets, visibly. A verdict comes after the
/// replug without a restart. And the end: SIGTERM, exit 0, the recording whole, the round ended in the history.
#[test]
fn unplugged_in_the_middle_of_a_check() {
    let folder = Folder::new("unplug");
    let meter = Meter::plug_in(&folder.join("meter"), Leads::Open);
    let site = site::write(&folder, &site::device("meter", &meter.selector()), 2);
    let recording = folder.join("visit.jsonl").display().to_string();
    let daemon = Daemon::run(&site, &["--record", &recording]);
    let page = daemon.page();
    page.confirm(&site::HOLD_POINTS);

    // A part that is still in circuit never rests: the reading stays pending for as long as it is on.
    site::lift(&page, &meter);
    let mark = daemon.mark();
    meter.show(Leads::microfarads(12.4));
    page.view_until("a reading on its way", |view| {
        point(view)["state"] == "settling" && point(view)["shown"] != Value::Null
    });
    meter.unplug();
    // Either it was still pending and is reset, which is told, or the verdict was there already: with ten readings a
    // second the view above comes some readings before the verdict.
    daemon.wait_from(mark, Stream::Err, "started anew");
    assert_eq!(daemon.lines(Stream::Out), Vec::<String>::new(), "{}", daemon.told());
    // On a busy machine the reading may go stale before the page hears of the link.
    let lost = page.view_until("the loss", |view| {
        view.pointer("/live/state") == Some(&json!("stale")) && state(view, "meter") != "live"
    });
    assert_eq!(lost["verdict"], Value::Null, "{lost:#}");

    meter.replug();
    let line = daemon.wait_data(1)[0].clone();
    assert_eq!(site::word(&line), "pass", "{line}");

    let (code, printed) = daemon.terminate();
    assert_eq!(code, Some(0));
    let text = std::fs::read_to_string(&recording).unwrap();
    assert!(text.lines().last().unwrap().contains("\"event\":\"end\""), "{text}");
    // Told by the link at once, not only found out by silence.
    assert!(text.contains("\"event\":\"gap\""), "{text}");
    let rounds = Reader::open(&folder.join("history.sqlite")).unwrap().rounds().unwrap();
    assert_eq!(rounds.len(), 1);
    assert!(rounds[0].ended_wall_ms.is_some(), "{rounds:?}");
    assert_eq!(site::stored(&folder.join("history.sqlite")), printed);
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{}", replayed.err);
}

fn point(view: &Value) -> &Value {
    &view["check"]["points"][0]
}

fn state(view: &Value, device: &str) -> String {
    let devices = view["devices"].as_array().expect("devices");
    let found = devices.iter().find(|known| known["name"] == device).expect("the device");
    found["state"].as_str().expect("a state").to_owned()
}

/// Invariant I10: others' first verdict at most 1 s later than alone, that is ten readings of this
/// meter. Counted in readings, not in seconds, so that a slow machine changes nothing.
#[test]
fn bad_devices_beside_a_good_one() {
    let alone = readings_to_verdict(&Folder::new("alone"), "");
    let folder = Folder::new("beside");
    // 1 MB/s for longer than the check takes, bounded in case it fails.
    let babbler = babble(&folder.join("babbler"), 30);
    let more = [
        site::device("babbler", &babbler.selector()),
        site::device("bad-selector", "nosuchscheme:thing"),
        site::device("absent", &format!("serial:{}", folder.join("not-there").display())),
    ]
    .concat();
    let beside = readings_to_verdict(&folder, &more);
    assert!(beside <= alone + 10, "{beside} readings beside bad devices, {alone} alone");
}

/// Invariant I10 at its worst: a device that sends as fast as the program reads, so that there is
/// always something to be read. The page must stay fresh (it takes a view as lost after 4 s) and the others be judged.
#[test]
fn a_flood_starves_nobody() {
    let folder = Folder::new("flood");
    let meter = Meter::plug_in(&folder.join("meter"), Leads::Open);
    let more = [site::device("flood", "stdin:"), site::device("meter", &meter.selector())].concat();
    let mut daemon = Daemon::run(&site::write(&folder, &more, 1), &[]);
    let page = daemon.page();
    let mut stdin = daemon.take_stdin();
    // Ends when the daemon ends, or closes its end.
    let flood = std::thread::spawn(move || {
        use std::io::Write as _;
        let chunk = b"CAP   12.46 uF  but no frame \xff\x00 7F".repeat(1000);
        let mut sent = 0_u64;
        while stdin.write_all(&chunk).is_ok() {
            sent += chunk.len() as u64;
        }
        sent
    });
    let drops = |view: &Value| view["devices"][0]["drops"].as_u64().unwrap_or(0);
    let first = page.view_until("the flood", |view| drops(view) > 1000);
    // Ten beats of the daemon while the flood goes on.
    page.view_until("fresh views", |view| {
        view["seq"].as_u64() > first["seq"].as_u64().map(|seq| seq + 10) && drops(view) > drops(&first)
    });
    page.confirm(&site::HOLD_POINTS);
    meter.show(Leads::microfarads(12.46));
    let line = daemon.wait_data(1)[0].clone();
    assert_eq!(site::word(&line), "pass", "{line}");
    assert_eq!(daemon.terminate().0, Some(0));
    assert!(flood.join().unwrap() > 1_000_000);
}

/// Walks a check beside these devices and gives the number of readings that its value rests on.
fn readings_to_verdict(folder: &Folder, more: &str) -> u64 {
    let meter = Meter::plug_in(&folder.join("meter"), Leads::Open);
    // The good one stands last: a bad one before it must not keep it from opening.
    let site = site::write(folder, &format!("{more}{}", site::device("meter", &meter.selector())), 1);
    let daemon = Daemon::run(&site, &[]);
    let page = daemon.page();
    if !more.is_empty() {
        daemon.wait(Stream::Err, "device bad-selector cannot be used");
        page.view_until("garbage that is dropped", |view| {
            view["devices"][0]["name"] == "babbler" && view["devices"][0]["drops"].as_u64() > Some(1000)
        });
    }
    let line = site::measure(&daemon, &page, &meter, 12.46);
    let verdict: Value = serde_json::from_str(&line).unwrap();
    assert_eq!(verdict["verdict"], "pass", "{line}");
    assert_eq!(verdict["readings"][0]["device"], "meter", "{line}");
    if !more.is_empty() {
        let view = page.view();
        assert!(state(&view, "bad-selector").contains("cannot be used"), "{view:#}");
        assert_ne!(state(&view, "absent"), "live", "{view:#}");
        // Garbage is no reading: not one of a megabyte a second.
        assert_eq!(view["devices"][0]["readings"], 0, "{view:#}");
    }
    assert_eq!(daemon.terminate().0, Some(0));
    verdict["readings"][0]["count"].as_u64().unwrap()
}

/// Fixed binary frames through the whole chain, and SIGINT as the end.
#[test]
fn binary_frames_to_a_verdict() {
    let folder = Folder::new("binary");
    let class = "generic-binary-meter";
    let meter = Meter::plug_in_as(&folder.join("meter"), class, Leads::Open);
    let site = site::write(&folder, &site::device_as(class, "clamp", &meter.selector()), 1);
    let daemon = Daemon::run(&site, &[]);
    // Its live value is the probe jack half of the time, so there is no waiting for it as in `measure`.
    daemon.page().confirm(&site::HOLD_POINTS);
    meter.show(Leads::microfarads(12.46));
    let line = daemon.wait_data(1)[0].clone();
    let verdict: Value = serde_json::from_str(&line).unwrap();
    assert_eq!(
        (&verdict["verdict"], &verdict["readings"][0]["device"]),
        (&json!("pass"), &json!("clamp")),
        "{line}"
    );
    assert_eq!(daemon.end_by("INT").0, Some(0));
}

/// `devices watch` shows bytes, readings and drops as they come. As JSON the readings are SenML
/// (RFC 8428: a pack is an array of records).
#[test]
fn watched() {
    let folder = Folder::new("watch");
    let meter = Meter::plug_in(&folder.join("meter"), Leads::microfarads(38.5));
    let selector = meter.selector();
    let watch = |more: &[&str]| {
        let args = ["devices", "watch", &selector, "--profile", "generic-line-meter", "--count", "4"];
        Invocation::new(args.iter().chain(more).copied()).run()
    };
    let text = watch(&[]);
    assert_eq!(text.code, Some(0), "{text:?}");
    let readings =
        text.lines().iter().filter(|line| line.contains(" s  reading  ") && line.ends_with(" uF")).count();
    assert!(text.out.contains("bytes    CAP") && readings == 4, "{text:?}");
    assert!(text.err.contains("bytes received") && text.err.contains("readings from"), "{text:?}");
    let packs = watch(&["--format", "json"]);
    // Who joins in the middle of a line sees it dropped, which is a line of its own.
    let readings: Vec<&str> = packs.lines().into_iter().filter(|line| line.starts_with('[')).collect();
    assert_eq!(readings.len(), 4, "{packs:?}");
    for line in readings {
        let pack: Value = serde_json::from_str(line).unwrap();
        assert!(pack[0]["n"].is_string() && pack[0]["v"].is_number() && pack[0]["u"] == "F", "{line}");
    }
}

/// Manual entry is an adapter too: a typed value gets the same verdict as one from the command line.
#[test]
fn typed_on_stdin() {
    let folder = Folder::new("typed");
    let site = site::write(&folder, site::TYPED, 1);
    let mut daemon = Daemon::run(&site, &[]);
    daemon.page().confirm(&site::HOLD_POINTS);
    daemon.type_line("capacitanse=12.3uF");
    daemon.wait(Stream::Err, "no reading \"capacitanse\"");
    daemon.type_line("capacitance=12.3uf");
    daemon.wait(Stream::Err, "did you mean \"uF\"");
    assert_eq!(daemon.lines(Stream::Out), Vec::<String>::new());
    daemon.type_line("capacitance=12.3uF; 1.9% + 2 x 0.1uF");
    let line = daemon.wait_data(1)[0].clone();
    let typed: Value = serde_json::from_str(&line).unwrap();
    let args = [
        "judge",
        "run-capacitor",
        "--plate",
        "capacitance=12.5uF",
        "--plate",
        "tolerance=6%",
        "--reading",
        "capacitance=12.3uF",
        "--accuracy",
        "capacitance=1.9% + 2 x 0.1uF",
        "--confirm",
        "all",
        "--format",
        "json",
    ];
    let once: Value = serde_json::from_str(&Invocation::new(args).run().out).unwrap();
    for key in ["verdict", "reason", "judgements", "rule", "rule_hash", "plate", "advice", "decision_rule"] {
        assert_eq!(typed[key], once[key], "{key}");
    }
    assert_eq!(daemon.terminate().0, Some(0));
}

/// The whole way of a profile's `dtr` and `rts`, down to the system. A pseudo-terminal has no such lines and the system says
/// so, which it does only when it is asked to set them.
#[test]
fn control_lines_of_a_profile_are_asked_for() {
    let folder = Folder::new("control-lines");
    let shipped = checks::root().join("hardware-notes/generic-line-meter/profile.toml");
    let plain = std::fs::read_to_string(shipped).unwrap();
    let watch = |name: &str, profile: &str| {
        let meter = Meter::plug_in(&folder.join(name), Leads::Open);
        let path = folder.join(&format!("{name}.toml"));
        std::fs::write(&path, profile).unwrap();
        let path = path.display().to_string();
        let args = ["devices", "watch", &meter.selector(), "--profile", &path, "--count", "2"];
        let ended = Invocation::new(args).run();
        assert_eq!(ended.code, Some(0), "{}", ended.err);
        ended.err
    };
    let asked = watch("asked", &plain.replace("baud = 9600", "baud = 9600\ndtr = true\nrts = false"));
    for line in ["DTR on (", "RTS off ("] {
        assert!(asked.contains(line), "{asked}");
    }
    let plain = watch("plain", &plain);
    assert!(!plain.contains("DTR") && !plain.contains("RTS"), "{plain}");
}

/// A signal that arrives together with an event is not lost with it: a peer that sends as fast as it is read makes events all the
/// time.
#[test]
fn a_signal_is_heard_in_a_flood() {
    use std::io::Write as _;
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let selector = format!("tcp:{}", listener.local_addr().unwrap());
    // A wait that began anew with each event lost about every other one.
    for round in 0..ROUNDS {
        let mut command = Invocation::new(["devices", "watch", &selector]).command();
        let null = std::process::Stdio::null;
        let mut watch = command.stdin(null()).stdout(null()).stderr(null()).spawn().unwrap();
        let (mut peer, _) = listener.accept().unwrap();
        let pid = watch.id().to_string();
        let lines = b"44.70 uF\n".repeat(4_000);
        let flood = std::thread::spawn(move || {
            // What fits no buffer between has been read.
            for count in 0_u32.. {
                if count == 1_000 {
                    let sent = std::process::Command::new("kill").args(["-INT", &pid]).status().unwrap();
                    assert!(sent.success());
                }
                if peer.write_all(&lines).is_err() {
                    return count;
                }
            }
            0
        });
        let (done, ended) = std::sync::mpsc::channel();
        let pid = watch.id().to_string();
        let waits = std::thread::spawn(move || done.send(watch.wait().unwrap().code()));
        let code = ended.recv_timeout(checks::HANG);
        if code.is_err() {
            let _ = std::process::Command::new("kill").args(["-KILL", &pid]).status();
        }
        let _ = waits.join().unwrap();
        let sent = flood.join().unwrap();
        assert_eq!(code, Ok(Some(0)), "round {round}: the signal was lost");
        assert!(sent >= 1_000, "round {round}: {sent} before the signal");
    }
}

/// A file is no device that babbles: each of its frames is read by a script, however fast the file is.
#[test]
fn every_frame_of_a_file_is_read_by_a_script() {
    let folder = Folder::new("scripted-file");
    let profile = "profile = 1\nid = \"m\"\n[frame]\nkind = \"line\"\n[decode]\nkind = \"script\"\n\
                   script = \'\'\'\nfn decode(frame) {\n    reading(0, text(frame, 0, 5), \"uF\")\n}\n\'\'\'\n";
    let profile = folder.write("profile.toml", profile).display().to_string();
    let lines = "12.46\n".repeat(1_000);
    let selector = format!("file:{}", folder.write("lines.txt", lines).display());
    let ended = Invocation::new(["devices", "watch", &selector, "--profile", &profile]).run();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    // The stream is taken to be joined in mid-line.
    assert!(ended.err.contains("999 readings from 999 frames; 1 drops"), "{}", ended.err);
    assert!(!ended.out.contains("more frames than a decode script reads"), "{}", ended.err);
}
