//! A whole visit typed in one go: lines behind `next` belong to the check that it arms, however they were cut on the way.

use checks::{Daemon, Folder, Invocation, Leads, Meter, Stream};
use serde_json::{Value, json};

use crate::site;

/// Typed words do what the page's buttons do, in their order (crates/cliplead/README.md, "Typed lines").
#[test]
fn lines_behind_next_belong_to_the_next_check() {
    let folder = Folder::new("typed");
    let site = site::write(&folder, site::TYPED, 2);
    let recording = folder.join("visit.jsonl").display().to_string();
    let mut daemon = Daemon::run(&site, &["--record", &recording]);
    let confirmed = site::HOLD_POINTS.map(|name| format!("confirm {name}\n")).concat();
    // "discharged" and "one lead off" belong to the part, so the second check asks for them again.
    let visit =
        format!("{confirmed}capacitance=12.45uF; 1.9% + 2\nnext\n{confirmed}capacitance=10.12uF; 1.9% + 2");
    daemon.type_line(&visit);
    let lines = daemon.wait_data(2);
    assert_eq!([site::word(&lines[0]), site::word(&lines[1])], ["pass", "fail"], "{}", daemon.told());
    // Ended in peace, so that the recording is whole.
    let (code, printed) = daemon.terminate();
    assert_eq!((code, printed.len()), (Some(0), 2));
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{replayed:?}");
}

/// On and back on the route, a reason, a pause and the end, as a person types them: what was passed by or skipped has no verdict,
/// what was taken off is told until it is back, and the recording, which knows no route, replays to the same.
#[test]
fn a_visit_in_typed_lines_replays_to_the_same_verdicts() {
    let folder = Folder::new("typed-visit");
    let site = site::write(&folder, site::TYPED, 3);
    let recording = folder.join("visit.jsonl").display().to_string();
    let mut daemon = Daemon::run(&site, &["--record", &recording]);
    let confirmed = site::HOLD_POINTS.map(|name| format!("confirm {name}\n")).concat();
    daemon.type_line(&format!(
        "{confirmed}capacitance=12.45uF; 1.9% + 2\nnext\nback\nunit rtu-03\npause\nnext\nresume"
    ));
    daemon.wait(Stream::Err, "check 2 passed by: nothing was done for it");
    daemon.wait(Stream::Err, "refused: the visit is paused: resume it first");
    daemon.type_line(&format!("{confirmed}skip hatch locked\nclose"));
    daemon.wait(Stream::Err, "skipped: hatch locked");
    daemon.wait(Stream::Err, "end of the route: 1 of 3 checks have a verdict");
    daemon.wait(Stream::Err, "refused: RTU-03 stays open: it is owed");
    daemon.type_line("restored one lead off\nclose");
    daemon.wait(
        Stream::Err,
        "refused: RTU-03 stays open: it was locked out, and nothing says that it has power again",
    );
    daemon.type_line("close roof hatch locked\nunit RTU-02\nfinish");
    daemon.wait(Stream::Err, "visit at RTU-03 closed");
    let lines = daemon.wait_data(2);
    assert_eq!([site::word(&lines[0]), site::word(&lines[1])], ["pass", "no verdict"], "{}", daemon.told());
    daemon.signal("TERM");
    let (code, printed) = daemon.ended();
    assert_eq!((code, printed.len()), (Some(0), 2));
    let told = daemon.told();
    assert!(
        told.contains("STILL TO PUT BACK on RTU-01") && !told.contains("STILL TO PUT BACK on RTU-03"),
        "{told}"
    );
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{replayed:?}");
}

/// A typed `yes` may name its question, whose number is told with it; one for another question is refused. Capitals make
/// no other word. The recording has what was taken, so it replays to the same.
#[test]
fn a_typed_yes_is_for_the_question_that_it_names() {
    let folder = Folder::new("typed-yes");
    let site = site::write(&folder, site::TYPED, 1);
    let recording = folder.join("visit.jsonl").display().to_string();
    let mut daemon = Daemon::run(&site, &["--record", &recording]);
    let confirmed = site::HOLD_POINTS.map(|name| format!("Confirm {}\n", name.to_uppercase())).concat();
    daemon.type_line(&format!("{confirmed}Capacitance=21.5uF"));
    daemon.wait(Stream::Err, "QUESTION 1: terminal to terminal 21.5 uF would be in order as 12.5 uF");
    daemon.type_line("yes 1\nyes 1");
    daemon.wait(Stream::Err, "QUESTION 2: nameplate capacitance 12.5 uF");
    daemon.wait(Stream::Err, "question 1, which is no longer asked; now asked, as question 2: nameplate");
    daemon.type_line("YES");
    let lines = daemon.wait_data(1);
    assert_eq!(site::word(&lines[0]), "fail", "{}", daemon.told());
    let (code, printed) = daemon.terminate();
    assert_eq!((code, printed.len()), (Some(0), 1));
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{replayed:?}");
}

/// Two verdicts of one check out of one write, so at one moment: both are printed and stored, none stands in the way of
/// the next.
#[test]
fn two_verdicts_of_a_check_in_one_write_are_two() {
    let folder = Folder::new("typed-twice");
    let site = site::write(&folder, site::TYPED, 1);
    let mut daemon = Daemon::run(&site, &[]);
    let confirmed = site::HOLD_POINTS.map(|name| format!("confirm {name}\n")).concat();
    daemon.type_line(&format!("{confirmed}capacitance=12.40uF\nagain\ncapacitance=10.00uF"));
    let lines = daemon.wait_data(2);
    assert_eq!([site::word(&lines[0]), site::word(&lines[1])], ["pass", "fail"], "{}", daemon.told());
    let (code, printed) = daemon.terminate();
    assert_eq!((code, printed.len()), (Some(0), 2));
    assert_eq!(site::stored(&folder.join("history.sqlite")), printed);
}

/// A second look stands beside the first and says whether the two agree; after a repair the figure is as left. The meter of 1.9 % + 2
/// repeats within two counts (common practice, no source). The recording replays to the same.
#[test]
fn a_second_look_stands_beside_the_first() {
    let folder = Folder::new("typed-look");
    let site = site::write(&folder, site::TYPED, 1);
    let recording = folder.join("visit.jsonl").display().to_string();
    let mut daemon = Daemon::run(&site, &["--record", &recording]);
    let confirmed = site::HOLD_POINTS.map(|name| format!("confirm {name}\n")).concat();
    let typed = ["12.45", "12.46", "12.10"].map(|value| format!("capacitance={value}uF; 1.9% + 2\n"));
    daemon.type_line(&format!("{confirmed}{}", typed.join("again\n")));
    daemon.type_line("again as left\ncapacitance=12.52uF; 1.9% + 2");
    let lines = daemon.wait_data(4);
    let look = |line: &String| {
        let verdict: Value = serde_json::from_str(line).unwrap();
        let look = &verdict["second_looks"][0];
        (
            look["by"].clone(),
            look["agrees"].clone(),
            look["first"]["value"].clone(),
            verdict["as_left"].clone(),
        )
    };
    assert_eq!(look(&lines[0]), (Value::Null, Value::Null, Value::Null, Value::Null));
    assert_eq!(look(&lines[1]), (json!("repeatability"), json!(true), json!(12.45), Value::Null));
    assert_eq!(look(&lines[2]), (json!("repeatability"), json!(false), json!(12.45), Value::Null));
    assert_eq!(look(&lines[3]), (json!("as left"), Value::Null, json!(12.45), json!(true)));
    let (_, printed) = daemon.terminate();
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{replayed:?}");
    let text = Invocation::new(["replay", &recording]).run();
    let text = text.lines().join("\n");
    assert!(
        text.contains("second look: terminal to terminal 12.1 uF, first 12.45 uF: they do NOT agree"),
        "{text}"
    );
    assert!(text.contains("Run capacitor, as left: PASS"), "{text}");
}

/// The tester on a live source that somebody names, then each pair of a single-phase supply, then the source again, by a meter on a
/// pseudo-terminal; the pairs are named in typed lines. The recording replays to the same evidence.
#[test]
fn dead_is_proved_pair_by_pair() {
    let folder = Folder::new("typed-dead");
    let meter = Meter::plug_in(&folder.join("meter"), Leads::Open);
    let more = format!(
        "{}{}[[unit]]\ntag = \"RTU-01\"\nsupply = \"single phase\"\n",
        site::TYPED,
        site::device("bench", &meter.selector())
    );
    let site = site::write(&folder, &more, 1);
    let recording = folder.join("visit.jsonl").display().to_string();
    let mut daemon = Daemon::run(&site, &["--record", &recording]);
    daemon.wait(Stream::Err, "next: locked out: ");
    daemon.type_line("confirm locked out\nconfirm leads proved");
    daemon.wait(Stream::Err, "next: proved dead: name the live source");
    daemon.type_line("source outlet in the shop");
    meter.show(Leads::volts_ac(120.3));
    for pair in ["L1-L2", "L1-G", "L2-G"] {
        daemon.wait(Stream::Err, &format!("next: proved dead: `on {pair}`"));
        daemon.type_line(&format!("on {pair}"));
        meter.show(Leads::volts_ac(0.0));
    }
    daemon.wait(Stream::Err, "next: proved dead: both leads back on the live source, outlet in the shop");
    meter.show(Leads::volts_ac(119.8));
    daemon.wait(Stream::Err, "QUESTION 1: ");
    daemon.type_line("yes");
    daemon.wait(Stream::Err, "proved dead: shown by the meter");
    daemon.type_line("confirm discharged\nconfirm one lead off\ncapacitance=12.45uF");
    let lines = daemon.wait_data(1);
    let verdict: Value = serde_json::from_str(&lines[0]).unwrap();
    let evidence =
        verdict["evidence"].as_array().unwrap().iter().find(|of| of["what"] == "proved dead").unwrap();
    assert_eq!((&evidence["scope"], &evidence["by"]), (&json!("RTU-01"), &json!("bench")), "{evidence}");
    let how = evidence["how"].as_str().unwrap();
    for read in ["outlet in the shop", "L1-L2", "L1-G", "L2-G"] {
        assert!(how.contains(read), "{read}: {how}");
    }
    let (_, printed) = daemon.terminate();
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{replayed:?}");
}
