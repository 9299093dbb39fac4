//! Six devices at once in one site's file, on pseudo-terminals: which one a check reads is said by its `bind`, and stays so
//! when the meter is plugged in again, when the daemon starts anew, and beside devices that babble or are dead.

use checks::{Daemon, Folder, Invocation, Leads, Meter, babble};
use quantity::{Coupling, Unit};
use serde_json::{Value, json};

use crate::site;

/// Four meters that all send capacitance ten times a second, one that babbles 1 MB/s, one that is not there. The check
/// is bound to the third. The promises are those of `devices.rs` (invariant I10).
#[test]
fn a_bound_check_reads_its_own_meter_and_no_other() {
    let folder = Folder::new("many");
    let name = |number: usize| format!("m{number}");
    // Each of the others rests on a part of its own: were one of them taken, the value would tell.
    let meters: Vec<Meter> = (1..=4)
        .map(|number| Meter::plug_in(&folder.join(&name(number)), Leads::microfarads(40.0 + number as f64)))
        .collect();
    let babbler = babble(&folder.join("babbler"), 60);
    let dead = format!("serial:{}", folder.join("not-there").display());
    let mut devices: Vec<String> = meters
        .iter()
        .enumerate()
        .map(|(index, meter)| site::device(&name(index + 1), &meter.selector()))
        .collect();
    devices.insert(0, site::device("babbler", &babbler.selector()));
    devices.insert(1, site::device("dead", &dead));
    let path = site::write(&folder, &devices.concat(), 2);
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, text.replace("plate = {", "bind = { capacitance = \"m3\" }\nplate = {")).unwrap();
    let bound = &meters[2];

    // A daemon, and a second one with the same file.
    for start in 0..2 {
        let daemon = Daemon::run(&path, &[]);
        let page = daemon.page();
        let first = site::measure(&daemon, &page, bound, 12.4);
        is_of_m3(&first, 12.4);
        // The others went on sending meanwhile, and the babble stayed babble.
        let view = page.view();
        assert_eq!(view["devices"][0]["readings"], 0, "{view:#}");
        for index in [2, 3, 5] {
            assert!(view["devices"][index]["readings"].as_u64() > Some(0), "start {start}: {view:#}");
        }
        if start == 0 {
            bound.unplug();
            // Without its meter the verdict is no longer live, whatever the three others show.
            page.view_until("the loss", |view| view.pointer("/verdict/live") == Some(&json!(false)));
            bound.replug();
            page.done(&json!({"do": "next"}));
            is_of_m3(&site::measure(&daemon, &page, bound, 12.6), 12.6);
        }
        assert_eq!(daemon.verdicts().len(), if start == 0 { 2 } else { 1 });
        let figures = cost(daemon.pid(), &page.view());
        println!("start {start}: {figures}");
        assert_eq!(daemon.terminate().0, Some(0));
    }
}

fn is_of_m3(line: &str, value: f64) {
    let verdict: Value = serde_json::from_str(line).unwrap();
    let readings = verdict["readings"].as_array().unwrap();
    assert!(!readings.is_empty() && readings.iter().all(|reading| reading["device"] == "m3"), "{line}");
    // The other meters show 41 uF and more; the simulated display moves by a few hundredths.
    let shown = verdict["readings"][0]["value"].as_f64().unwrap();
    assert!(verdict["verdict"] == "pass" && (shown - value).abs() < 0.2, "wanted {value} uF: {line}");
}

/// What the daemon has used, from `/proc` (proc(5); a tick is 10 ms on Linux). Shown, not judged.
fn cost(pid: u32, view: &Value) -> String {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let memory = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap_or_default().to_owned();
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).unwrap();
    let after_name: Vec<&str> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks: u64 = after_name[11..13].iter().filter_map(|field| field.parse::<u64>().ok()).sum();
    let readings: Vec<String> =
        view["devices"].as_array().unwrap().iter().map(|device| device["readings"].to_string()).collect();
    format!("{memory}; {} ms of CPU; readings {}", ticks * 10, readings.join(" "))
}

/// Several probes at the same time, bound to points, one of them the second channel of its device;
/// their readings belong to one moment. What one of them does to its link touches its own point alone, and the recording
/// replays to the same bytes.
#[test]
fn probes_of_one_moment() {
    let folder = Folder::new("moment");
    std::fs::create_dir(folder.join("rules")).unwrap();
    std::fs::write(folder.join("rules/two-places.rhai"), TWO_PLACES).unwrap();
    let volts = |value| Leads::On { value, unit: Unit::VOLT, coupling: Some(Coupling::Ac), places: 1 };
    let meters = ["near", "far"].map(|name| Meter::plug_in(&folder.join(name), volts(480.0)));
    // Its probe jack, channel 1, shows 21.4 °C in every frame.
    let probe = Meter::plug_in_as(&folder.join("probe"), "generic-binary-meter", Leads::Open);
    let devices = [
        site::device("near", &meters[0].selector()),
        site::device("far", &meters[1].selector()),
        site::device_as("generic-binary-meter", "probe", &probe.selector()),
    ];
    let check = "[[check]]\nunit = \"RTU-09\"\ncomponent = \"feeder\"\nrule = \"two-places\"\n\
                 bind = { source = \"near\", unit = \"far\", air = \"probe/1\" }\n";
    let text = format!("rules = \"rules\"\ndashboard = \"127.0.0.1:0\"\n{}{check}", devices.concat());
    let site = folder.write("site.toml", text);
    let recording = folder.join("visit.jsonl").display().to_string();
    let daemon = Daemon::run(&site, &["--record", &recording]);
    let page = daemon.page();
    page.view_until("both volts", |view| {
        (0..2).all(|index| view["check"]["points"][index]["state"] == "settled")
            || view["verdict"] != Value::Null
    });
    let verdict: Value = serde_json::from_str(&daemon.wait_data(1)[0]).unwrap();
    assert_eq!(verdict["verdict"], "pass", "{verdict:#}");
    let from: Vec<&str> = verdict["readings"].as_array().unwrap().iter().map(device_of).collect();
    assert_eq!(from, ["near", "far", "probe"], "{verdict:#}");

    // Taken again while one of them is away: the others wait for it, and it must come back to be judged.
    meters[1].unplug();
    page.view_until("the loss", |view| view.pointer("/verdict/live") == Some(&json!(false)));
    page.done(&json!({"do": "again"}));
    page.view_until("the other at rest", |view| view["check"]["points"][0]["state"] == "settled");
    assert_eq!(daemon.verdicts().len(), 1, "{}", daemon.told());
    meters[1].show(volts(430.0));
    meters[1].replug();
    let verdict: Value = serde_json::from_str(&daemon.wait_data(2)[1]).unwrap();
    // 480 V to 430 V: 50 V are lost, 12 are allowed.
    assert_eq!(verdict["verdict"], "fail", "{verdict:#}");

    let (code, printed) = daemon.terminate();
    assert_eq!(code, Some(0));
    let rules = folder.join("rules").display().to_string();
    let replayed = Invocation::new(["replay", &recording, "--rules", &rules, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{}", replayed.err);
}

fn device_of(reading: &Value) -> &str {
    reading["device"].as_str().unwrap()
}

/// Made up for this test.
const TWO_PLACES: &str = r#"
title("Volts in two places");
reads("source", "V ac");
reads("unit", "V ac");
reads("air", "°C");
one_moment(["source", "unit", "air"], 10);
limit("lost", 12, "V", "common practice: of a test");
limit("hot", 50, "°C", "common practice: of a test");
fn judge(m, plate, limit) {
    all_of(at_most("volts lost", m.source - m.unit, limit.lost).unit("V"), at_most("air", m.air, limit.hot))
}
"#;
