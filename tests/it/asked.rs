//! Meters that speak only when asked, on pseudo-terminals, through the whole program: Modbus RTU to a verdict and its replay,
//! SCPI (the instrument is the parser crate `scpi`) to readings. Modbus against pymodbus: `tests/reference`.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use checks::{Daemon, Folder, Invocation, Meter, Stream};
use link::{Script, Step};
use scpi::error::{Error, ErrorCode};
use scpi::tree::prelude::*;
use scpi::{Branch, Leaf, Root, cmd_nquery, cmd_qonly};
use serde_json::{Value, json};

use crate::site;

/// A device of the class `generic-modbus-meter`: its registers as the class's note lays them out.
struct Registers(Arc<AtomicU32>);

impl Script for Registers {
    fn next_step(&mut self) -> Option<Step> {
        Some(Step::send(1_000, ""))
    }

    fn reply(&mut self, request: &[u8]) -> Vec<u8> {
        let mut reply = match request.get(1) {
            // Diagnostics, sub-function 0: the request comes back (MODBUS Application Protocol V1.1b3, 6.8).
            Some(8) => return request.to_vec(),
            Some(3) => {
                let mut reply = vec![17, 3, 10];
                reply.extend(self.0.load(Ordering::Relaxed).to_be_bytes());
                reply.extend([0x17, 0x70, 0, 215, 0, 0]);
                reply
            }
            // Nothing is plugged into the pressure socket: server device failure.
            Some(4) => vec![17, 0x84, 4],
            _ => return Vec::new(),
        };
        reply.extend(wire::ChecksumKind::Crc16Modbus.compute(&reply));
        reply
    }
}

#[test]
fn modbus_to_a_verdict_and_its_replay() {
    let folder = Folder::new("asked-modbus");
    let class = "generic-modbus-meter";
    let show = Arc::new(AtomicU32::new(0.0_f32.to_bits()));
    let meter = Meter::plug_in_script(&folder.join("meter"), class, Registers(Arc::clone(&show)));
    let site = site::write(&folder, &site::device_as(class, "panel", &meter.selector()), 1);
    let recording = folder.join("visit.jsonl").display().to_string();
    let daemon = Daemon::run(&site, &["--record", &recording]);
    let page = daemon.page();
    page.confirm(&site::HOLD_POINTS);
    page.view_until("leads in the air", |view| {
        view.pointer("/live/shown").is_some_and(|shown| shown == "0.00 uF")
    });
    show.store(12.46_f32.to_bits(), Ordering::Relaxed);
    let line = daemon.wait_data(1)[0].clone();
    let verdict: Value = serde_json::from_str(&line).unwrap();
    let judged = (&verdict["verdict"], &verdict["readings"][0]["device"]);
    assert_eq!(judged, (&json!("pass"), &json!("panel")), "{line}");

    // Silent, it goes stale; asked on, it is live again without a restart.
    meter.play(|| Some(Step::send(1_000, "")));
    daemon.wait(Stream::Err, "nothing received for");
    meter.play(Registers(show));
    page.view_until("live again", |view| view["devices"][0]["state"] == "live");
    let (code, printed) = daemon.terminate();
    assert_eq!(code, Some(0));
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{}", replayed.err);
}

/// What the parser works on: the errors not yet told.
struct Instrument(Vec<Error>);

impl Device for Instrument {
    fn handle_error(&mut self, error: Error) {
        self.0.push(error);
    }
}

/// Answers with these numbers.
struct Numbers(&'static [f64]);

impl Command<Instrument> for Numbers {
    cmd_qonly!();

    fn query(
        &self,
        _device: &mut Instrument,
        _context: &mut Context,
        _params: Parameters<'_, '_>,
        mut response: ResponseUnit<'_>,
    ) -> scpi::error::Result<()> {
        for number in self.0 {
            response.data(*number);
        }
        response.finish()
    }
}

struct NextError;

impl Command<Instrument> for NextError {
    cmd_qonly!();

    fn query(
        &self,
        device: &mut Instrument,
        _context: &mut Context,
        _params: Parameters<'_, '_>,
        mut response: ResponseUnit<'_>,
    ) -> scpi::error::Result<()> {
        let next = if device.0.is_empty() { Error::new(ErrorCode::NoError) } else { device.0.remove(0) };
        response.data(next).finish()
    }
}

struct Clear;

impl Command<Instrument> for Clear {
    cmd_nquery!();

    fn event(
        &self,
        device: &mut Instrument,
        _context: &mut Context,
        _params: Parameters<'_, '_>,
    ) -> scpi::error::Result<()> {
        device.0.clear();
        Ok(())
    }
}

/// Infinite numbers are written by the library as SCPI-99, 7.2.1.4, says: 9.9E+37.
const TREE: Node<'_, Instrument> = Root![
    Leaf!(b"*CLS" => &Clear),
    Branch![b"MEASure";
        Leaf!(b"CAPacitance" => &Numbers(&[0.000_033_25])),
        Leaf!(b"RESistance" => &Numbers(&[f64::INFINITY]))
    ],
    Leaf!(b"READ" => &Numbers(&[239.62, f64::NAN])),
    Branch![b"SYSTem"; Leaf!(b"ERRor" => &NextError)]
];

/// An instrument at the end of a line.
struct Bench {
    instrument: Instrument,
    line: Vec<u8>,
}

impl Script for Bench {
    fn next_step(&mut self) -> Option<Step> {
        Some(Step::send(1_000, ""))
    }

    fn reply(&mut self, request: &[u8]) -> Vec<u8> {
        self.line.extend_from_slice(request);
        let mut answer: Vec<u8> = Vec::new();
        while let Some(end) = self.line.iter().position(|byte| *byte == b'\n') {
            let line: Vec<u8> = self.line.drain(..=end).collect();
            let mut one: Vec<u8> = Vec::new();
            // An error stands in the queue; the line is answered by nothing.
            if TREE.run(&line[..end], &mut self.instrument, &mut Context::default(), &mut one).is_ok() {
                answer.extend(one);
            }
        }
        answer
    }
}

#[test]
fn an_instrument_of_another_library_is_read() {
    let folder = Folder::new("asked-scpi");
    let channel = |number: u8, query: &str, more: &str| {
        format!("[[decode.channel]]\nnumber = {number}\nquery = \"{query}\"\n{more}\n")
    };
    let text = format!(
        "profile = 1\nid = \"bench\"\n[poll]\nkind = \"scpi\"\ninit = [\"*CLS\"]\npoll_ms = 50\ntimeout_ms = 300\n\
         [decode]\nkind = \"answers\"\n{}{}{}{}{}",
        channel(0, "MEAS:CAP?", "unit = \"uF\"\nscale = 6"),
        channel(1, "READ?", "unit = \"V ac\""),
        channel(2, "READ?", "part = 1\nunit = \"Hz\""),
        channel(3, "MEAS:RES?", "unit = \"ohm\""),
        channel(4, "MEAS:TEMP?", "unit = \"°C\"\npoll_ms = 400"),
    );
    let profile = folder.write("profile.toml", text).display().to_string();
    let bench = Bench { instrument: Instrument(Vec::new()), line: Vec::new() };
    let meter = Meter::plug_in_script(&folder.join("bench"), "generic-scpi-meter", bench);
    let selector = meter.selector();
    let args = ["devices", "watch", &selector, "--profile", &profile, "--count", "60"];
    let watched = Invocation::new(args).run();
    assert_eq!(watched.code, Some(0), "{watched:?}");
    let mut seen: Vec<&str> =
        watched.out.lines().filter_map(|line| Some(line.split_once(" s  reading  ")?.1)).collect();
    seen.sort_unstable();
    seen.dedup();
    let want = ["--- Hz  (channel 2)", "239.62 V ac  (channel 1)", "33.25 uF", "OL ohm  (channel 3)"];
    assert_eq!(seen, want, "{watched:?}");
    // The query that it does not know cost no other reading.
    for word in ["0 dropped", "no answer in time", "the device refused the request", "; 0 drops"] {
        assert!(watched.err.contains(word), "{word}: {watched:?}");
    }
}
