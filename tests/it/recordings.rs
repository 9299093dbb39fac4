//! Recordings that are long, damaged, hostile or no files at all: what `replay` makes of them.

use std::fmt::Write as _;
use std::path::Path;

use checks::{Folder, Invocation};

use crate::site::HOLD_POINTS;

const HEAD: &str = "{\"cliplead_recording\":1,\"site\":\"made up for checks\"}\n";

/// A check whose value is typed, on a part with these names. As they stand in JSON.
fn typed_check(seconds: i64, unit: &str, component: &str, value: &str) -> String {
    let t = seconds * 1_000_000;
    let mut text = format!(
        "{{\"t\":{t},\"event\":\"arm\",\"unit\":\"{unit}\",\"component\":\"{component}\",\"rule\":\"run-capacitor\",\
         \"plate\":{{\"capacitance\":\"40 µF\"}}}}\n"
    );
    for name in HOLD_POINTS {
        let _ = writeln!(text, "{{\"t\":{t},\"event\":\"confirm\",\"hold_point\":\"{name}\"}}");
    }
    let _ = writeln!(
        text,
        "{{\"t\":{t},\"event\":\"typed\",\"point\":\"capacitance\",\"value\":\"{value}\",\"accuracy\":\"1.9% + 2\"}}"
    );
    text
}

fn replay(path: &Path) -> checks::Ended {
    Invocation::new(["replay".into(), path.as_os_str().to_owned()]).run()
}

/// Three checks with umlauts, degrees and micros; cut in the middle of each of these characters. What was judged before
/// the cut comes out as from the whole recording. (Every other byte: `a_recording_cut_anywhere...` in `record`.)
#[test]
fn cut_in_the_middle_of_a_character() {
    let folder = Folder::new("cut");
    let text = [
        HEAD.to_owned(),
        typed_check(1, "Gerät 1", "Lüfter", "39.62 µF"),
        typed_check(2, "Gerät 2", "Lüfter bei 40 °C", "30.1 µF"),
        typed_check(3, "Gerät 3", "Lüfter", "39.9 µF"),
    ]
    .concat();
    let whole = replay(&folder.write("whole.jsonl", &text));
    assert_eq!(whole.lines().len(), 3, "{whole:?}");
    let ends: Vec<usize> = text
        .match_indices("\"event\":\"typed\"")
        .map(|(at, _)| at + text[at..].find('\n').unwrap())
        .collect();
    let cuts: Vec<usize> = (HEAD.len()..text.len()).filter(|at| !text.is_char_boundary(*at)).collect();
    assert_eq!(cuts.len(), 13, "characters of two bytes");
    for cut in cuts {
        let ended = replay(&folder.write("cut.jsonl", &text.as_bytes()[..cut]));
        let before = ends.iter().filter(|end| **end <= cut).count();
        assert_eq!(ended.lines(), whole.lines()[..before], "cut at {cut}: {ended:?}");
        let number = text[..cut - 1].lines().count();
        assert!(ended.err.contains(&format!("cut.jsonl:{number}: the last line is cut off")), "{ended:?}");
        assert!(matches!((ended.code, before), (Some(3), 0) | (Some(0), 1) | (Some(1), 2)), "{ended:?}");
    }
}

/// One line in the middle that is no text: it alone is left out, with its number.
#[test]
fn a_line_that_is_no_text_is_left_out_and_told() {
    let folder = Folder::new("no-text");
    let bytes = [
        HEAD.as_bytes(),
        typed_check(1, "RTU-01", "C1", "39.62 uF").as_bytes(),
        b"{\"t\":1500000,\"event\":\"gap\",\"device\":\"\xff\"}\n",
        typed_check(2, "RTU-01", "C2", "39.62 uF").as_bytes(),
    ]
    .concat();
    let ended = replay(&folder.write("visit.jsonl", bytes));
    assert_eq!((ended.code, ended.lines().len()), (Some(0), 2), "{ended:?}");
    assert!(ended.err.contains("visit.jsonl:9: the line is not UTF-8 text and left out"), "{ended:?}");
}

/// Words of a recording cannot clear the screen, set a title, turn the writing or forge a line: neither in a verdict nor
/// in an error.
#[test]
fn words_of_a_recording_cannot_act_on_the_terminal() {
    let folder = Folder::new("words");
    let unit = "\\u001b[2J\\u001b]0;x\\u0007\\u009b31m";
    let component = "fan\\r\\n    9.000 s  #9  RTU-09 / main breaker  Run capacitor: PASS\\u202e\\u200b";
    let check = typed_check(1, unit, component, "30.1 uF");
    let good = folder.write("good.jsonl", [HEAD, &check].concat());
    let bad =
        folder.write("bad.jsonl", [HEAD, &check.replace("run-capacitor\"", &format!("{unit}\""))].concat());
    let refused = folder
        .write("refused.jsonl", [HEAD, &check.replace("\"typed\"", &format!("\"{component}\""))].concat());
    let (good, bad, refused) = (replay(&good), replay(&bad), replay(&refused));
    assert_eq!((good.code, good.lines().len()), (Some(1), 1), "{good:?}");
    assert!(good.out.contains("\\u{1b}[2J") && good.out.contains("fan\\r\\n    9.000 s"), "{good:?}");
    assert_eq!(refused.code, Some(2), "{refused:?}");
    assert!(refused.err.contains("fan\\r"), "{refused:?}");
    for text in [good.out, good.err, bad.out, bad.err, refused.out, refused.err] {
        let acts = |c: char| (c.is_control() && c != '\n') || matches!(c, '\u{202e}' | '\u{200b}');
        assert!(!text.chars().any(acts), "{text:?}");
        assert!(!text.lines().any(|line| line.starts_with("    9.000 s")), "{text:?}");
    }
}

/// Only a file is replayed: what never ends, or waits for its other end, is refused with a word.
#[test]
fn what_is_no_file_is_refused() {
    let folder = Folder::new("no-file");
    let pipe = folder.join("pipe");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status().expect("mkfifo(1)");
    assert!(made.success());
    let link = folder.join("link.jsonl");
    std::os::unix::fs::symlink("/dev/zero", &link).unwrap();
    for (path, what) in [
        (folder.path(), "a folder"),
        (&pipe, "a pipe, a socket or a device"),
        (&link, "a pipe, a socket or a device"),
    ] {
        let ended = replay(path);
        assert_eq!((ended.code, ended.out.as_str()), (Some(2), ""), "{ended:?}");
        assert!(ended.err.contains(&format!("the recording is {what}")), "{ended:?}");
    }
}

#[cfg(target_os = "linux")]
mod memory {
    use std::fs::File;
    use std::io::{BufRead as _, BufReader, BufWriter, ErrorKind, Read as _, Write as _};
    use std::os::fd::OwnedFd;
    use std::os::unix::net::UnixStream;
    use std::path::Path;
    use std::process::Stdio;

    use checks::{Folder, Invocation, Leads, Meter};

    /// Four meters ten times a second beside an armed check. At the end other rules, which is said on stderr, and then the
    /// one verdict: none.
    fn write_recording(path: &Path, seconds: i64) {
        let mut file = BufWriter::new(File::create(path).unwrap());
        file.write_all(super::HEAD.as_bytes()).unwrap();
        let profile_text =
            std::fs::read_to_string(checks::root().join("hardware-notes/generic-line-meter/profile.toml"))
                .unwrap();
        let profile_json = serde_json::to_string(&profile_text).unwrap();
        for device in 0..4 {
            writeln!(
                file,
                "{{\"t\":0,\"event\":\"joined\",\"device\":\"m{device}\",\"profile\":{profile_json}}}"
            )
            .unwrap();
        }
        let profile = Meter::profile();
        let arm = super::typed_check(0, "RTU-01", "C1", "39.62 uF").lines().next().unwrap().to_owned();
        writeln!(file, "{arm}").unwrap();
        for tenth in 0..10 * seconds {
            for device in 0..4 {
                let frame = Leads::microfarads(0.0).frame(&profile, u32::try_from(tenth).unwrap());
                let line = record::LineEvent::bytes(tenth * 100_000, &format!("m{device}"), &frame);
                writeln!(file, "{}", record::to_line(&line)).unwrap();
            }
        }
        let t = seconds * 1_000_000;
        writeln!(file, "{{\"t\":{t},\"event\":\"rules\",\"hash\":\"others\"}}").unwrap();
        writeln!(file, "{{\"t\":{t},\"event\":\"finish\"}}").unwrap();
        file.flush().unwrap();
    }

    /// The most memory it held at once, in KiB (`VmHWM`, proc(5)). Its stdout is full when its last words on stderr come,
    /// so it waits with the last verdict until it was looked at.
    fn peak_kib(path: &Path) -> u64 {
        let (mut ours, mut theirs) = UnixStream::pair().unwrap();
        theirs.set_nonblocking(true).unwrap();
        while theirs.write(&[b'\n'; 4_096]).map_err(|error| error.kind()) != Err(ErrorKind::WouldBlock) {}
        theirs.set_nonblocking(false).unwrap();
        let mut child = Invocation::new(["replay".into(), path.as_os_str().to_owned()])
            .command()
            .stdin(Stdio::null())
            .stdout(OwnedFd::from(theirs.try_clone().unwrap()))
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut err = BufReader::new(child.stderr.take().unwrap());
        let mut words = String::new();
        while !words.contains("other rules came into force") {
            words.clear();
            assert!(err.read_line(&mut words).unwrap() > 0, "it ended without its last words");
        }
        let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
        drop(theirs);
        let mut out = String::new();
        ours.read_to_string(&mut out).unwrap();
        assert_eq!((child.wait().unwrap().code(), out.matches("NO VERDICT").count()), (Some(3), 1));
        let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("VmHWM");
        peak.trim().trim_end_matches(" kB").parse().unwrap()
    }

    /// A recording twenty times as long takes no more memory.
    #[test]
    fn memory_does_not_grow_with_the_recording() {
        let folder = Folder::new("memory");
        let peaks = [50, 1_000].map(|seconds| {
            let path = folder.join(&format!("{seconds}.jsonl"));
            write_recording(&path, seconds);
            peak_kib(&path)
        });
        println!("peaks: {peaks:?} KiB");
        // Held whole, the longer one takes some 10 MiB more.
        assert!(peaks[1] < peaks[0] + 2_048, "2,000 readings: {} KiB, 40,000: {} KiB", peaks[0], peaks[1]);
    }
}
