//! Rules that change while the daemon runs: a good set comes into force as a whole, a bad one changes nothing.

use checks::{Daemon, Folder, Invocation, Page, Stream, copy_tree, root};
use serde_json::{Value, json};

use crate::site;

/// Rules are loaded as one, replaced as one; on any error the last good set stays and says so, with file and line.
/// No verdict with mixed versions.
#[test]
fn the_last_good_set_stays() {
    let folder = Folder::new("reload");
    let rules = folder.join("rules");
    copy_tree(&root().join("rules"), &rules);
    // The built-in rules are those of the folder; their number stands in the tables of commands.
    let count = Invocation::new(["rules", "list", "--format", "json"]).run().lines().len();
    let rule = rules.join("capacitors/run-capacitor.rhai");
    let good = std::fs::read_to_string(&rule).unwrap();
    let site =
        site::write(&folder, "rules = \"rules\"\n[[device]]\nname = \"typed\"\nselector = \"stdin:\"\n", 5);
    let mut daemon = Daemon::run(&site, &[]);
    let page = daemon.page();
    let first = verdict(&mut daemon, &page);
    assert_eq!(first["verdict"], "pass");
    assert_eq!(first["judgements"][0]["advice"], "good");

    // The armed check goes on under the rule it was armed with (visit::round::Event::Rules); the next one gets the new.
    // A good change: new words and a new hash, both or none.
    let changed = good.replace(".ok(\"good\")", ".ok(\"still good\")");
    assert_ne!(changed, good);
    let mark = daemon.mark();
    std::fs::write(&rule, &changed).unwrap();
    daemon.wait_from(mark, Stream::Err, &format!("new rules in force: {count} rules"));
    page.done(&json!({"do": "again"}));
    let again = typed(&mut daemon);
    assert_eq!((&again["rule_hash"], &again["judgements"]), (&first["rule_hash"], &first["judgements"]));
    let second = verdict(&mut daemon, &page);
    assert_eq!(second["judgements"][0]["advice"], "still good");
    assert_ne!(second["rule_hash"], first["rule_hash"]);
    let in_force = page.view_until("the second check", |view| view["check"]["number"] == 2)["rules"].clone();
    assert_eq!(in_force["refused"], Value::Null);

    // A broken one beside a good change: nothing of the two comes into force, and file and line are told.
    let mark = daemon.mark();
    let other = rules.join("leads/test-lead-proof.rhai");
    let other_good = std::fs::read_to_string(&other).unwrap();
    // The broken one first: the daemon may look between the two.
    std::fs::write(&rule, changed.replace("m.capacitance > 2", "m.capacitanse > 2")).unwrap();
    std::fs::write(&other, other_good.replace("0.5, \"ohm\"", "0.4, \"ohm\"")).unwrap();
    let told = daemon.wait_from(mark, Stream::Err, "run-capacitor.rhai:");
    assert!(told.contains("the last good ones stay in force"), "{told}");
    let wanted = line_of(&changed, "m.capacitance > 2");
    assert!(told.contains(&format!("run-capacitor.rhai:{wanted}:")), "{told}");
    let third = verdict(&mut daemon, &page);
    assert_eq!(third["rule_hash"], second["rule_hash"]);
    assert_eq!(third["judgements"], second["judgements"]);
    let view = page.view_until("the refusal", |view| view["rules"]["refused"] != Value::Null);
    assert!(view["rules"]["refused"].as_str().unwrap().contains("run-capacitor.rhai"), "{view:#}");
    assert_eq!(view["rules"]["hash"], in_force["hash"], "the set in force is the old one");

    // The folder is gone: likewise.
    let mark = daemon.mark();
    std::fs::remove_dir_all(&rules).unwrap();
    let told = daemon.wait_from(mark, Stream::Err, "refused");
    assert!(told.contains("the last good ones stay in force") && told.contains("rules"), "{told}");
    let fourth = verdict(&mut daemon, &page);
    assert_eq!(fourth["rule_hash"], second["rule_hash"]);

    // And back again: the shipped text has the hash it had.
    let mark = daemon.mark();
    copy_tree(&root().join("rules"), &rules);
    daemon.wait_from(mark, Stream::Err, &format!("new rules in force: {count} rules"));
    assert_eq!(verdict(&mut daemon, &page)["rule_hash"], first["rule_hash"]);

    let (code, printed) = daemon.terminate();
    assert_eq!(code, Some(0));
    assert_eq!(site::stored(&folder.join("history.sqlite")), printed);
}

/// What never ends in the rules folder is a refusal; devices, page and signals go on meanwhile.
#[test]
fn a_pipe_in_the_rules_folder_stops_nothing() {
    let folder = Folder::new("reload-pipe");
    let rules = folder.join("rules");
    copy_tree(&root().join("rules"), &rules);
    let site = site::write(&folder, &format!("rules = \"rules\"\n{}", site::TYPED), 2);
    let mut daemon = Daemon::run(&site, &[]);
    let page = daemon.page();
    let first = verdict(&mut daemon, &page);
    let made = std::process::Command::new("mkfifo").arg(rules.join("pipe.rhai")).status().unwrap();
    assert!(made.success());
    let told = daemon.wait(Stream::Err, "the last good ones stay in force");
    assert!(told.contains("pipe.rhai"), "{told}");
    let second = verdict(&mut daemon, &page);
    assert_eq!(second["rule_hash"], first["rule_hash"]);
    // The rules in the folder are not those in force: the exit code says so.
    assert_eq!(daemon.terminate().0, Some(2));
}

/// One broken rule keeps nobody from measuring: the last good rules are beside the history, and that others are in force is
/// said at the start, on the page and by the exit code.
#[test]
fn a_broken_rule_at_the_start_leaves_the_last_good_set_in_force() {
    let folder = Folder::new("start-broken");
    let rules = folder.join("rules");
    copy_tree(&root().join("rules"), &rules);
    let rule = rules.join("capacitors/run-capacitor.rhai");
    let good = std::fs::read_to_string(&rule).unwrap();
    let site = site::write(&folder, &format!("rules = \"rules\"\n{}", site::TYPED), 1);
    let mut daemon = Daemon::run(&site, &[]);
    let page = daemon.page();
    let first = verdict(&mut daemon, &page);
    assert_eq!(daemon.terminate().0, Some(0));

    std::fs::write(&rule, good.strip_suffix("}\n").expect("a closing bracket")).unwrap();
    let mut daemon = Daemon::run(&site, &[]);
    let page = daemon.page();
    let told = daemon.wait(Stream::Err, "ARE REFUSED");
    assert!(told.contains("run-capacitor.rhai"), "{told}");
    daemon.wait(Stream::Err, "the last good rules are in force");
    let view = page.view_until("the refusal", |view| view["rules"]["refused"] != Value::Null);
    assert!(view["faults"].to_string().contains("others are in force"), "{view:#}");
    assert_eq!(verdict(&mut daemon, &page)["rule_hash"], first["rule_hash"]);

    // Mended while it runs: in force, and all is in order at the end.
    std::fs::write(&rule, &good).unwrap();
    daemon.wait(Stream::Err, "new rules in force");
    page.view_until("no refusal", |view| view["rules"]["refused"] == Value::Null);
    assert_eq!(daemon.terminate().0, Some(0));

    // Without a last good set those that load are in force; the strict way does not start.
    std::fs::write(&rule, "title(\"half a").unwrap();
    std::fs::remove_file(folder.join("history.sqlite.rules.json")).unwrap();
    let daemon = Daemon::run(&site, &[]);
    daemon.wait(Stream::Err, "rules that load are in force");
    daemon.wait(Stream::Err, "there is no rule \"run-capacitor\"");
    let (code, printed) = daemon.terminate();
    assert_eq!(code, Some(2));
    assert!(printed[0].contains("no rule \\\"run-capacitor\\\" in the rule set"), "{printed:#?}");
    let ended = Invocation::new(["run", &site.display().to_string(), "--strict"]).run();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.err.contains("the rules were refused"), "{ended:?}");
}

/// Arms the next check of the route and gives its verdict on a typed value.
fn verdict(daemon: &mut Daemon, page: &Page) -> Value {
    if !daemon.verdicts().is_empty() {
        page.done(&json!({"do": "next"}));
    }
    page.confirm(&site::HOLD_POINTS);
    typed(daemon)
}

fn typed(daemon: &mut Daemon) -> Value {
    let before = daemon.verdicts().len();
    daemon.type_line("capacitance=12.4uF; 1% + 1");
    let line = daemon.wait_data(before + 1)[before].clone();
    serde_json::from_str(&line).unwrap()
}

fn line_of(text: &str, part: &str) -> usize {
    text.lines().position(|line| line.contains(part)).expect("the line") + 1
}
