//! The files that people's machines put into a folder of rules: what is no rule is passed over or named, never waited for.

use checks::{Folder, Invocation, root};
use serde_json::Value;

/// A folder with one shipped rule and its cases.
fn folder(name: &str) -> Folder {
    let folder = Folder::new(name);
    for file in ["filter-drop.rhai", "filter-drop.cases.toml"] {
        folder.write(file, shipped(file));
    }
    folder
}

fn shipped(file: &str) -> String {
    std::fs::read_to_string(root().join("rules/air").join(file)).unwrap()
}

fn rules(what: &str, folder: &Folder) -> Invocation {
    Invocation::new(["rules".into(), what.into(), folder.path().as_os_str().to_owned()])
}

fn as_json(what: &str, folder: &Folder) -> Invocation {
    let folder = folder.path().as_os_str().to_owned();
    Invocation::new(["rules".into(), what.into(), folder, "--format".into(), "json".into()])
}

#[cfg(unix)]
#[test]
fn what_editors_and_sticks_leave_behind_is_passed_over() {
    let folder = folder("stray");
    // What a laptop writes on a stick beside each file.
    folder.write("._filter-drop.rhai", b"\x00\x05\x16\x07\x00\xff\xfe");
    folder.write("._filter-drop.cases.toml", b"\x00\x05\x16\x07\x00\xff\xfe");
    folder.write(".hidden/broken.rhai", "not a rule");
    // An editor's lock: a link that leads nowhere.
    std::os::unix::fs::symlink("somebody@somewhere.1:2", folder.join(".#filter-drop.rhai")).unwrap();
    folder.write("filter-drop.rhai~", "not a rule");
    let checked = rules("check", &folder).run();
    assert_eq!((checked.code, checked.out.as_str()), (Some(0), ""), "{}", checked.err);
    assert!(checked.err.contains("1 rules in order"), "{}", checked.err);
    let tested = rules("test", &folder).run();
    assert_eq!(tested.code, Some(0), "{}", tested.out);
    assert!(tested.out.contains(" passed, 0 failed"), "{}", tested.out);
}

#[test]
fn a_byte_order_mark_is_no_difference() {
    let folder = folder("mark");
    for file in ["filter-drop.rhai", "filter-drop.cases.toml"] {
        folder.write(file, format!("\u{feff}{}", shipped(file)));
    }
    let tested = rules("test", &folder).run();
    assert_eq!(tested.code, Some(0), "{}{}", tested.out, tested.err);
    // One text, one hash.
    let hash = |invocation: Invocation| {
        let out = invocation.run().out;
        let line = out.lines().find(|line| line.contains("\"filter-drop\"")).unwrap().to_owned();
        serde_json::from_str::<Value>(&line).unwrap()["rule_hash"].clone()
    };
    let plain = hash(Invocation::new(["rules", "list", "--format", "json"]));
    assert_eq!(hash(as_json("list", &folder)), plain);
}

#[test]
fn bytes_that_are_no_text_are_a_finding_beside_the_others() {
    let folder = folder("bytes");
    folder.write("alien.rhai", b"title(\"T\");\nreads(\"x\", \"V\"); // \xb0F\n");
    folder.write("broken.rhai", "title(\"T\");\nraeds(\"x\", \"V\");\n");
    let checked = rules("check", &folder).run();
    assert_eq!(checked.code, Some(1), "{}", checked.err);
    assert!(
        checked.out.contains("alien.rhai:2: is not UTF-8 text, first in line 2; save it as UTF-8"),
        "{}",
        checked.out
    );
    assert!(checked.out.contains("broken.rhai:2:1: raeds(...) is no declaration"), "{}", checked.out);
    let json = as_json("check", &folder).run();
    let found: Vec<Value> = json.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let alien = found.iter().find(|f| f["file"].as_str().unwrap().ends_with("alien.rhai")).unwrap();
    assert_eq!((json.code, &alien["severity"], &alien["line"]), (Some(1), &"error".into(), &2.into()));

    let cases = self::folder("bytes-cases");
    cases.write("filter-drop.cases.toml", b"# \xff\n");
    cases.write("draft.rhai", std::fs::read(root().join("rules/gas/draft.rhai")).unwrap());
    cases.write("draft.cases.toml", std::fs::read(root().join("rules/gas/draft.cases.toml")).unwrap());
    let tested = rules("test", &cases).run();
    assert_eq!(tested.code, Some(1), "{}", tested.err);
    assert!(tested.out.contains("filter-drop.cases.toml:1: is not UTF-8 text"), "{}", tested.out);
    assert!(tested.out.contains(" passed, 1 failed"), "the other cases are run: {}", tested.out);
}

#[cfg(unix)]
#[test]
fn what_never_ends_is_a_finding_and_never_waited_for() {
    let folder = folder("endless");
    let made = std::process::Command::new("mkfifo").arg(folder.join("pipe.rhai")).status().unwrap();
    assert!(made.success());
    std::os::unix::fs::symlink("/dev/zero", folder.join("zero.rhai")).unwrap();
    std::fs::File::create_new(folder.join("huge.rhai")).unwrap().set_len(300_000_000).unwrap();
    let checked = rules("check", &folder).run();
    assert_eq!(checked.code, Some(1), "{}", checked.err);
    for (file, why) in [
        ("pipe.rhai: ", "is a pipe, a socket or a device, not a file"),
        ("zero.rhai: ", "is a pipe, a socket or a device, not a file"),
        ("huge.rhai: ", "has more than "),
    ] {
        let line =
            checked.out.lines().find(|line| line.contains(file)).unwrap_or_else(|| panic!("{}", checked.out));
        assert!(line.starts_with("error: ") && line.contains(why), "{line}");
    }
    // The same wherever a whole file is read.
    let pipe = folder.join("pipe.rhai");
    for args in [
        &["run"][..],
        &["replay"],
        &["devices", "learn", "--shows", "1 V", "--from"],
        &["replay", "demo-data/mill-yard-round/visit.jsonl", "--expect"],
    ] {
        let args = args.iter().map(std::ffi::OsString::from).chain([pipe.clone().into_os_string()]);
        let ended = Invocation::new(args.clone().collect::<Vec<_>>()).run();
        assert_eq!(ended.code, Some(2), "{}", ended.err);
        let said = ["pipe.rhai", "is a pipe, a socket or a device, not a file"];
        assert!(said.iter().all(|part| ended.err.contains(part)), "{}", ended.err);
    }
}

#[test]
fn a_folder_without_rules_is_named_and_a_near_name_gets_a_hint() {
    let folder = Folder::new("empty");
    folder.write("FILTER-DROP.RHAI", shipped("filter-drop.rhai"));
    folder.write("filter-drop.rhai.txt", shipped("filter-drop.rhai"));
    let checked = rules("check", &folder).run();
    assert_eq!(checked.code, Some(1), "{}", checked.err);
    let named = format!("error: {}: no rule files here; a rule is a file NAME.rhai", folder.path().display());
    assert!(checked.out.contains(&named), "{}", checked.out);
    for near in ["FILTER-DROP.RHAI: is not read", "filter-drop.rhai.txt: is not read"] {
        let line =
            checked.out.lines().find(|line| line.contains(near)).unwrap_or_else(|| panic!("{}", checked.out));
        assert!(line.starts_with("warning: ") && line.ends_with("rename it to filter-drop.rhai"), "{line}");
    }
    // Beside good rules the hint alone.
    let beside = self::folder("beside");
    beside.write("draft.rhai.txt", "not a rule");
    beside.write("draft.cases.toml.txt", "no cases");
    let tested = rules("test", &beside).run();
    assert!(
        tested.err.contains("draft.cases.toml.txt is not read: rename it to draft.cases.toml"),
        "{}",
        tested.err
    );
    let checked = rules("check", &beside).run();
    assert_eq!(checked.code, Some(0), "{}", checked.err);
    assert!(checked.out.contains("draft.rhai.txt: is not read"), "{}", checked.out);
}

/// A changed published figure is said in any case; how to say that it is the shop's own, only to a shop that has not.
#[test]
fn a_shop_that_names_its_own_records_is_not_told_to() {
    let folder = Folder::new("own");
    let text = std::fs::read_to_string(root().join("rules/supply/supply-voltage.rhai")).unwrap();
    let changed = text
        .replace("limit(\"unbalance\", 2, \"%\", \"memory:", "limit(\"unbalance\", 3, \"%\", \"own records:");
    assert_ne!(changed, text);
    let said = |text: String| {
        folder.write("supply-voltage.rhai", text);
        rules("check", &folder).run().out
    };
    let own = said(changed.clone());
    assert!(own.contains("limit \"unbalance\" is 3 % here, the published figure is 2 %"), "{own}");
    assert!(!own.contains("if this is your own"), "{own}");
    let not_said = said(changed.replace("own records:", "common practice:"));
    assert!(not_said.contains("if this is your own, begin its source with \"own records:\""), "{not_said}");
}

/// A shop may leave a danger out; it is told what waits for hold points then. Its own limit is its own.
#[test]
fn a_danger_that_is_left_out_is_told() {
    let folder = Folder::new("no-danger");
    let text = std::fs::read_to_string(root().join("rules/gas/ambient-co.rhai")).unwrap();
    let said = |text: String| {
        folder.write("ambient-co.rhai", text);
        rules("check", &folder).run().out
    };
    let without: String =
        text.lines().filter(|line| !line.starts_with("danger(")).map(|line| format!("{line}\n")).collect();
    let gone = "the built-in danger(\"co\", \"above\", ...) is gone: a reading past 35 waits for hold points";
    let told = said(without);
    assert!(told.contains(gone), "{told}");
    let told = said(text.replace(
        "limit(\"leave\", 35, \"ppm\", \"standard:",
        "limit(\"leave\", 25, \"ppm\", \"own records:",
    ));
    assert!(told.contains("limit \"leave\" is 25 ppm here") && !told.contains("is gone"), "{told}");
}
