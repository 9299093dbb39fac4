//! A hostile SCPI instrument in virtual time. Its parser and the wording of its errors are those of another library,
//! `scpi` (IEEE 488.2 and SCPI-99). It replies in order, and late, not at all, cut short, in pieces, with garbage
//! between.

use alloc::collections::BTreeSet;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::Instant;
use scpi::error::{Error, ErrorCode};
use scpi::parser::format::Character;
use scpi::tree::prelude::*;
use scpi::{Branch, Leaf, Root, cmd_nquery, cmd_qonly};

use super::hostile::{HOSTILE, MILD, Temper, World};
use crate::Profile;
use crate::poll::{PollOutput, PollReason};

/// What the parser works on.
struct Instrument {
    errors: Vec<Error>,
    /// Number of this query; its value tells it, and which query it was.
    reads: u16,
}

impl Device for Instrument {
    fn handle_error(&mut self, error: Error) {
        self.errors.push(error);
    }
}

struct Measure(i32);

impl Command<Instrument> for Measure {
    cmd_qonly!();

    fn query(
        &self,
        device: &mut Instrument,
        _context: &mut Context,
        _params: Parameters<'_, '_>,
        mut response: ResponseUnit<'_>,
    ) -> scpi::error::Result<()> {
        response.data(value(device.reads, self.0)).finish()
    }
}

struct Identify;

impl Command<Instrument> for Identify {
    cmd_qonly!();

    fn query(
        &self,
        _device: &mut Instrument,
        _context: &mut Context,
        _params: Parameters<'_, '_>,
        mut response: ResponseUnit<'_>,
    ) -> scpi::error::Result<()> {
        response.data(Character(b"MADE-UP")).data(Character(b"BENCH")).data(0).data(1).finish()
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
        let next =
            if device.errors.is_empty() { Error::new(ErrorCode::NoError) } else { device.errors.remove(0) };
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
        device.errors.clear();
        Ok(())
    }
}

const TREE: Node<'_, Instrument> = Root![
    Leaf!(b"*CLS" => &Clear),
    Leaf!(b"*IDN" => &Identify),
    Branch![b"MEASure";
        Leaf!(b"CAPacitance" => &Measure(1)),
        Leaf!(b"FREQuency" => &Measure(2))
    ],
    Branch![b"SYSTem"; Leaf!(b"ERRor" => &NextError)]
];

fn value(reads: u16, which: i32) -> i32 {
    10 * i32::from(reads) + which
}

fn take(world: &mut World, request: Vec<u8>) {
    let is_error = request.starts_with(b"SYST") || request.starts_with(b"*IDN");
    let is_query = request.ends_with(b"?\n");
    world.reads += u16::from(is_query && !is_error);
    let mut instrument = Instrument { errors: core::mem::take(&mut world.errors), reads: world.reads };
    let mut answer: Vec<u8> = Vec::new();
    if !is_error && world.happens(world.temper.refused) {
        instrument.errors.push(ErrorCode::SettingsConflict.into());
    } else {
        let line = request.strip_suffix(b"\n").expect("a line ends in a line feed");
        let _ = TREE.run(line, &mut instrument, &mut Context::default(), &mut answer);
    }
    world.errors = instrument.errors;
    world.sent.push(request);
    let delay = world.delay();
    if world.happens(world.temper.rubbish) {
        let rubbish = [&b"?\x00~"[..], b"\xFF\xFE\n", b"#!\n\n", b"ready\n"][world.seeded.below(4)];
        world.put(delay / 2, rubbish.to_vec());
    }
    if !answer.is_empty() {
        if world.happens(world.temper.short) {
            answer.truncate(1 + world.seeded.below(answer.len() - 1));
        }
        if !world.happens(world.temper.lost) {
            world.put(delay, answer);
        }
    }
    world.draw_hang_up();
}

fn profile(init: &str) -> Profile {
    marked_by("SYST:ERR?", init)
}

fn marked_by(marker: &str, init: &str) -> Profile {
    let text = alloc::format!(
        "profile = 1\nid = \"i\"\n[poll]\nkind = \"scpi\"\nmarker = \"{marker}\"\ninit = [{init}]\npoll_ms = 100\ntimeout_ms = 120\n\
         quarantine_ms = 1500\n[decode]\nkind = \"answers\"\n[[decode.channel]]\nnumber = 0\nquery = \"MEAS:CAP?\"\nunit = \"1\"\n\
         [[decode.channel]]\nnumber = 1\nquery = \"MEAS:FREQ?\"\nunit = \"1\"\n"
    );
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}"))
}

/// A packet's query and number against what the instrument had for the newest query. `true`: it is right.
fn is_right(world: &World, packet: &[u8]) -> bool {
    let message = core::str::from_utf8(&packet[6..packet.len() - 2]).unwrap();
    let (query, number) = message.split_once('\n').unwrap();
    let newest = world.sent.iter().rev().find(|line| line.starts_with(b"MEAS")).unwrap();
    assert_eq!(newest.strip_suffix(b"\n").unwrap(), query.as_bytes());
    let which = if query == "MEAS:CAP?" { 1 } else { 2 };
    number.parse() == Ok(value(world.reads, which))
}

#[test]
fn no_answer_of_another_query() {
    let faults = no_answer_of_another(2_000, &profile("\"*CLS\""));
    for reason in [
        PollReason::Timeout,
        PollReason::MarkerTimeout,
        PollReason::Malformed,
        PollReason::Refused,
        PollReason::Unsolicited,
    ] {
        assert!(faults.contains(reason.words()), "{reason:?} never came");
    }
}

#[test]
fn nor_from_one_without_error_queue() {
    no_answer_of_another(500, &marked_by("*IDN?", ""));
}

/// The faults seen in so many sessions.
fn no_answer_of_another(sessions: u64, profile: &Profile) -> BTreeSet<&'static str> {
    let temper = Temper { doubled: 0, damaged: 0, stranger: 0, ..HOSTILE };
    let (mut answers, mut wrong) = (0_u64, 0_u64);
    let mut faults = BTreeSet::new();
    for seed in 0..sessions {
        let mut world = World::new(seed, temper).with(take);
        let mut poller = profile.poller(0).unwrap();
        poller.opened(Instant::ZERO);
        world.run(&mut poller, Instant::from_micros(20_000_000), &mut |world, polled| match polled {
            PollOutput::Reply(packet) => {
                answers += 1;
                wrong += u64::from(!is_right(world, &packet));
            }
            PollOutput::Fault(fault) => drop(faults.insert(fault.reason.words())),
            PollOutput::Send(_) => {}
        });
        // The instrument calms down: it is heard again.
        world.temper = MILD;
        let before = poller.counters().answers;
        world.run(&mut poller, Instant::from_micros(28_000_000), &mut |_, _| {});
        assert!(poller.counters().answers > before + 20, "seed {seed}: {:?}", poller.counters());
        let counters = poller.counters();
        assert!(counters.ignored_bytes <= counters.bytes);
    }
    std::println!("{answers} answers, {wrong} wrong, {faults:?}");
    assert_eq!(wrong, 0);
    assert!(answers > 6 * sessions, "{answers}");
    faults
}

/// What is sent to an instrument that behaves, and to one that lacks a query.
#[test]
fn after_trouble_the_error_queue_is_asked_until_it_says_0() {
    let told = |profile: &Profile| {
        let mut world = World::new(1, MILD).with(take);
        let mut poller = profile.poller(0).unwrap();
        poller.opened(Instant::ZERO);
        let mut text = String::new();
        world.run(&mut poller, Instant::from_micros(700_000), &mut |_, polled| match polled {
            PollOutput::Reply(packet) => text += &alloc::format!("answer {}; ", packet[3]),
            PollOutput::Fault(fault) => text += &alloc::format!("{fault}; "),
            PollOutput::Send(_) => {}
        });
        let sent: Vec<u8> = world.sent.concat();
        (String::from_utf8(sent).unwrap().replace('\n', " "), text)
    };
    let (sent, text) = told(&profile("\"*CLS\", \"MEAS:CAP?\""));
    assert!(sent.starts_with("SYST:ERR? *CLS MEAS:CAP? SYST:ERR? MEAS:CAP? MEAS:FREQ? MEAS:CAP? "), "{sent}");
    assert!(text.starts_with("answer 0; answer 1; answer 0; "), "{text}");
    let lacking = Profile::parse(
        "profile = 1\nid = \"i\"\n[poll]\nkind = \"scpi\"\npoll_ms = 100\ntimeout_ms = 100\n[decode]\nkind = \"answers\"\n\
         [[decode.channel]]\nquery = \"MEAS:IND?\"\nunit = \"1\"\n",
    )
    .unwrap();
    let (sent, text) = told(&lacking);
    assert!(sent.starts_with("SYST:ERR? MEAS:IND? SYST:ERR? SYST:ERR? MEAS:IND? "), "{sent}");
    assert!(
        text.starts_with("request 0: no answer in time; the device refused the request; request 0: "),
        "{text}"
    );
}

/// Lines without end, of any bytes: little is held, nothing is answered.
#[test]
fn rubbish_is_no_answer() {
    let mut seeded = crate::tests::mutate::Seeded(5);
    let mut poller = profile("").poller(0).unwrap();
    poller.opened(Instant::ZERO);
    let mut now = Instant::ZERO;
    for _ in 0..20_000 {
        now = now + quantity::Duration::from_millis(i64::try_from(seeded.below(40)).unwrap());
        // No digits: an undamaged number is an answer, whoever sent it.
        let byte = |seeded: &mut crate::tests::mutate::Seeded| seeded.next().to_le_bytes()[0] | 0x40;
        let mut bytes: Vec<u8> = (0..seeded.below(600)).map(|_| byte(&mut seeded)).collect();
        if seeded.below(2) == 0 {
            bytes.push(b'\n');
        }
        let mut see = |polled: PollOutput| assert!(!matches!(polled, PollOutput::Reply(_)));
        poller.received(now, &bytes, &mut see);
        poller.tick(now, &mut see);
        assert!(poller.held() <= 256);
    }
    let counters = poller.counters();
    assert_eq!(counters.bytes, counters.ignored_bytes + u64::try_from(poller.held()).unwrap());
}
