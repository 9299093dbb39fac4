//! A danger is never gated: a typed value past its limit is told, stored and replayed while every hold point is open.

use checks::{Daemon, Folder, Invocation, Stream};

use crate::site;

/// 2000 ppm of carbon monoxide in the flue while nothing was shown; the limit is that of the shipped rule (ANSI Z21.47, 400 ppm).
/// What a danger ends must be shown again for the next check of the unit.
#[test]
fn carbon_monoxide_typed_while_everything_is_open_is_a_danger() {
    let folder = Folder::new("danger");
    let gas = "[[check]]\nunit = \"RTU-01\"\ncomponent = \"burner\"\nrule = \"flue-gas\"\n";
    let site = site::write(&folder, &format!("{}{gas}", site::TYPED), 0);
    let recording = folder.join("visit.jsonl").display().to_string();
    let mut daemon = Daemon::run(&site, &["--record", &recording]);
    daemon.type_line("co=2000 ppm");
    let lines = daemon.wait_data(1);
    assert!(lines[0].starts_with("{\"danger\":true,"), "{}", lines[0]);
    assert_eq!(site::word(&lines[0]), "fail", "{}", daemon.told());
    let verdict: serde_json::Value = serde_json::from_str(&lines[0]).expect("a verdict");
    let open =
        verdict["hold_points"].as_array().expect("hold points").iter().all(|held| held["shown"] == false);
    assert!(open && verdict["reason"].is_null(), "{verdict}");
    assert_eq!(verdict["judgements"][0]["high"], 400.0);
    assert!(verdict["advice"].as_str().is_some_and(|advice| advice.contains("ventilate")), "{verdict}");
    daemon.wait(Stream::Err, "DANGER  ");
    daemon.type_line("again\nconfirm no gas smell\nconfirm burner steady\nco=900 ppm");
    daemon.wait(Stream::Err, "burner steady: no longer stands, a danger was found");
    daemon.wait_data(2);
    let (code, printed) = daemon.terminate();
    assert_eq!((code, printed.len()), (Some(0), 2));
    assert_eq!(site::stored(&folder.join("history.sqlite")), printed);
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{replayed:?}");
    let text = Invocation::new(["replay", &recording]).run();
    assert!(text.lines().iter().all(|line| line.starts_with("DANGER  ")), "{text:?}");
}
