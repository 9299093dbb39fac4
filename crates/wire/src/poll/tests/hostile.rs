//! A hostile Modbus device in virtual time. It replies in order, as a serial device must, and otherwise does
//! everything that was measured or feared: late, lost, doubled, damaged, cut short, from another unit, refused, byte
//! by byte, hung up, with rubbish between, on a line that echoes. The replies themselves are made by another codec,
//! the server of `rmodbus`.
//!
//! What is true: each value that the device sends tells its address and the read that it belongs to, so an answer
//! that belongs to an earlier read is found out even where it looks the same.

use alloc::collections::BTreeSet;
use alloc::vec::Vec;

use quantity::{Duration, Instant};
use rmodbus::ModbusProto;
use rmodbus::server::ModbusFrame;
use rmodbus::server::context::ModbusContext as _;
use rmodbus::server::storage::ModbusStorage;

use crate::Profile;
use crate::checksum::ChecksumKind;
use crate::poll::{PollOutput, PollReason, Poller};
use crate::tests::mutate::Seeded;

pub(super) const UNIT: u8 = 17;

/// How the device misbehaves; shares in percent of its replies.
#[derive(Clone, Copy, Debug)]
pub(super) struct Temper {
    pub(super) late: usize,
    pub(super) lost: usize,
    pub(super) doubled: usize,
    pub(super) damaged: usize,
    pub(super) short: usize,
    pub(super) stranger: usize,
    pub(super) refused: usize,
    pub(super) rubbish: usize,
    pub(super) byte_by_byte: usize,
    /// Share of requests after which the line is closed and opened again; what is under way is not lost.
    pub(super) hang_up: usize,
    /// The line sends back what is written on it.
    pub(super) echo: bool,
    /// The device knows function 08.
    pub(super) diagnostics: bool,
}

pub(super) const MILD: Temper = Temper {
    late: 0,
    lost: 0,
    doubled: 0,
    damaged: 0,
    short: 0,
    stranger: 0,
    refused: 0,
    rubbish: 0,
    byte_by_byte: 0,
    hang_up: 0,
    echo: false,
    diagnostics: true,
};

pub(super) const HOSTILE: Temper = Temper {
    late: 25,
    lost: 8,
    doubled: 12,
    damaged: 6,
    short: 4,
    stranger: 3,
    refused: 3,
    rubbish: 5,
    byte_by_byte: 20,
    hang_up: 2,
    ..MILD
};

/// The device, the line both ways, and what is true.
pub(super) struct World {
    pub(super) seeded: Seeded,
    pub(super) temper: Temper,
    pub(super) now: Instant,
    /// What is on its way to the poller, in order.
    line: Vec<(Instant, Vec<u8>)>,
    /// Reads sent so far.
    pub(super) reads: u16,
    pub(super) sent: Vec<Vec<u8>>,
    hang_up: bool,
    /// What the device does with a request.
    device: fn(&mut Self, Vec<u8>),
    /// Errors that a SCPI instrument has not told yet.
    pub(super) errors: Vec<scpi::error::Error>,
}

/// What the device has in a register while it answers the `read`th read.
pub(super) fn truth(read: u16, address: u16) -> u16 {
    read.wrapping_mul(257).wrapping_add(address.wrapping_mul(13))
}

impl World {
    pub(super) fn new(seed: u64, temper: Temper) -> Self {
        Self {
            seeded: Seeded(seed),
            temper,
            now: Instant::ZERO,
            line: Vec::new(),
            reads: 0,
            sent: Vec::new(),
            hang_up: false,
            device: Self::take,
            errors: Vec::new(),
        }
    }

    /// The same with another device.
    pub(super) fn with(self, device: fn(&mut Self, Vec<u8>)) -> Self {
        Self { device, ..self }
    }

    pub(super) fn happens(&mut self, percent: usize) -> bool {
        self.seeded.below(100) < percent
    }

    /// Puts bytes on the line so long after now, never before what is on it already.
    pub(super) fn put(&mut self, after_ms: usize, bytes: Vec<u8>) {
        let wanted = self.now + Duration::from_millis(i64::try_from(after_ms).unwrap());
        let at = self.line.last().map_or(wanted, |(last, _)| wanted.max(*last));
        if !self.happens(self.temper.byte_by_byte) {
            self.line.push((at, bytes));
            return;
        }
        for (i, byte) in (0_i64..).zip(bytes) {
            self.line.push((at + Duration::from_millis(i), alloc::vec![byte]));
        }
    }

    /// The reply to a request, by another codec; Diagnostics, which it does not know, sends the request back (MODBUS
    /// Application Protocol V1.1b3, 6.8).
    fn reply(&mut self, request: &[u8]) -> Vec<u8> {
        if request.get(1) == Some(&8) && self.temper.diagnostics {
            return request.to_vec();
        }
        let mut storage: ModbusStorage<64, 64, 130, 130> = ModbusStorage::new();
        for address in 0..130 {
            storage.set_holding(address, truth(self.reads, address)).unwrap();
            storage.set_input(address, truth(self.reads, address)).unwrap();
        }
        let mut frame: [u8; 256] = [0; 256];
        frame[..request.len()].copy_from_slice(request);
        let mut response: Vec<u8> = Vec::new();
        let mut server = ModbusFrame::new(UNIT, &frame, ModbusProto::Rtu, &mut response);
        // A function that it does not know is an error of parsing that still has its exception to send.
        if server.parse().is_ok() && server.processing_required {
            server.process_read(&storage).unwrap();
        }
        server.finalize_response().unwrap();
        response
    }

    /// How long the device takes, ms.
    pub(super) fn delay(&mut self) -> usize {
        if self.happens(self.temper.late) { 150 + self.seeded.below(900) } else { 2 + self.seeded.below(30) }
    }

    fn take(&mut self, request: Vec<u8>) {
        let is_read = request.get(1) != Some(&8);
        if is_read {
            self.reads += 1;
        }
        self.sent.push(request.clone());
        if self.temper.echo {
            self.put(0, request.clone());
        }
        let mut reply = self.reply(&request);
        if is_read && self.happens(self.temper.refused) {
            reply = sealed(&[UNIT, request[1] | 0x80, 4]);
        }
        if self.happens(self.temper.stranger) {
            reply[0] = 18;
            let body = reply.len() - 2;
            reply = sealed(&reply[..body]);
        }
        let delay = self.delay();
        if self.happens(self.temper.rubbish) {
            let rubbish = (0..=self.seeded.below(12)).map(|_| self.seeded.next().to_le_bytes()[0]).collect();
            self.put(delay / 2, rubbish);
        }
        if self.happens(self.temper.damaged) {
            let bit = self.seeded.below(reply.len() * 8);
            reply[bit / 8] ^= 1 << (bit % 8);
        }
        if self.happens(self.temper.short) {
            reply.truncate(1 + self.seeded.below(reply.len() - 1));
        }
        if !self.happens(self.temper.lost) {
            self.put(delay, reply.clone());
        }
        if self.happens(self.temper.doubled) {
            let after = delay + self.seeded.below(600);
            self.put(after, reply);
        }
        self.draw_hang_up();
    }

    pub(super) fn draw_hang_up(&mut self) {
        self.hang_up = self.happens(self.temper.hang_up);
    }

    /// Runs until `until`, or for ever if nothing is due; hands on answers and faults.
    pub(super) fn run(
        &mut self,
        poller: &mut Poller,
        until: Instant,
        seen: &mut dyn FnMut(&Self, PollOutput),
    ) {
        let mut idle = 0;
        loop {
            let due = poller.poll_at();
            let arrives = self.line.first().map(|(at, _)| *at);
            let Some(next) = [due, arrives].into_iter().flatten().min().filter(|at| *at <= until) else {
                self.now = until;
                return;
            };
            self.now = self.now.max(next);
            let mut out = Vec::new();
            if arrives == Some(next) {
                let (_, bytes) = self.line.remove(0);
                poller.received(self.now, &bytes, &mut |polled| out.push(polled));
            } else {
                poller.tick(self.now, &mut |polled| out.push(polled));
                idle = if out.is_empty() { idle + 1 } else { 0 };
                assert!(idle < 3, "due and nothing done: it would spin");
            }
            assert!(poller.held() <= 512);
            for polled in out {
                match polled {
                    PollOutput::Send(request) => (self.device)(self, request),
                    other => seen(self, other),
                }
            }
            if core::mem::take(&mut self.hang_up) {
                poller.closed();
                assert_eq!(poller.poll_at(), None);
                self.now = self.now + Duration::from_millis(200);
                poller.opened(self.now);
            }
        }
    }
}

fn sealed(body: &[u8]) -> Vec<u8> {
    [body, &ChecksumKind::Crc16Modbus.compute(body)].concat()
}

pub(super) fn profile(more: &str, channels: &str) -> Profile {
    let text = alloc::format!(
        "profile = 1\nid = \"polled\"\n[poll]\nkind = \"modbus\"\nunit = {UNIT}\npoll_ms = 100\ntimeout_ms = 120\n{more}\n\
         [decode]\nkind = \"registers\"\n{channels}"
    );
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}"))
}

/// Three reads of one length each, and nothing in their form tells them apart.
pub(super) fn alike(more: &str) -> Profile {
    let channel = |number: u8, address: u16| {
        alloc::format!(
            "[[decode.channel]]\nnumber = {number}\nentity = \"holding\"\naddress = {address}\ntype = \"u16\"\nunit = \"1\"\nexponent = 0\n"
        )
    };
    profile(more, &[channel(0, 3), channel(1, 20), channel(2, 41)].concat())
}

/// Answers and wrong ones among them, of some sessions.
#[derive(Debug, Default)]
struct Tally {
    answers: u64,
    refused: u64,
    wrong: u64,
    /// Of the wrong ones, those that were of another register.
    of_another: u64,
    faults: BTreeSet<&'static str>,
}

/// Compares a packet with what the device had for the newest read.
fn weigh(tally: &mut Tally, world: &World, packet: &[u8]) {
    let message = &packet[6..packet.len() - 2];
    let address = u16::from_be_bytes([message[1], message[2]]);
    let newest = world.sent.iter().rev().find(|request| request[1] != 8).unwrap();
    assert_eq!(newest[1..6], message[..5], "the packet says another request than the newest");
    if message[5] & 0x80 != 0 {
        tally.refused += 1;
        return;
    }
    tally.answers += 1;
    let data = &message[7..];
    let of = |read: u16| {
        data.chunks(2)
            .zip(address..)
            .all(|(bytes, address)| bytes == truth(read, address).to_be_bytes().as_slice())
    };
    if !of(world.reads) {
        tally.wrong += 1;
        tally.of_another += u64::from(!(0..=world.reads).any(of));
    }
}

fn sessions(count: u64, profile: &Profile, temper: Temper, reveal: bool) -> Tally {
    let mut tally = Tally::default();
    for seed in 0..count {
        let mut world = World::new(seed, temper);
        let mut poller = profile.poller(world.seeded.next().to_le_bytes()[0].into()).unwrap();
        poller.opened(Instant::ZERO);
        let mut see = |world: &World, polled: PollOutput| match polled {
            PollOutput::Reply(packet) => weigh(&mut tally, world, &packet),
            PollOutput::Fault(fault) => drop(tally.faults.insert(fault.reason.words())),
            PollOutput::Send(_) => {}
        };
        world.run(&mut poller, Instant::from_micros(8_000_000), &mut see);
        let counters = *poller.counters();
        assert!(counters.bytes >= counters.ignored_bytes);
        if reveal {
            // The device calms down: within five seconds it is heard again.
            world.temper = Temper { echo: temper.echo, diagnostics: temper.diagnostics, ..MILD };
            let before = poller.counters().answers;
            world.run(&mut poller, Instant::from_micros(13_000_000), &mut |_, _| {});
            let after = poller.counters().answers;
            assert!(after > before + 5, "seed {seed}: {before} answers, then {after}");
        }
    }
    std::println!("{tally:?}");
    tally
}

#[test]
fn no_wrong_value_from_a_hostile_device() {
    let tally = sessions(2_000, &alike(""), HOSTILE, true);
    assert_eq!(tally.wrong, 0, "{tally:?}");
    assert!(tally.answers > 8_000 && tally.refused > 200, "{tally:?}");
    for reason in [
        PollReason::Timeout,
        PollReason::MarkerTimeout,
        PollReason::Checksum,
        PollReason::WrongUnit,
        PollReason::Malformed,
        PollReason::Unsolicited,
        PollReason::Refused,
    ] {
        assert!(
            tally.faults.contains(reason.words()),
            "{reason:?} never came: the device is not hostile enough"
        );
    }
}

#[test]
fn no_wrong_value_on_a_line_that_echoes() {
    let tally = sessions(1_500, &alike(""), Temper { echo: true, ..HOSTILE }, true);
    assert_eq!(tally.wrong, 0, "{tally:?}");
    assert!(tally.answers > 7_000, "{tally:?}");
}

/// Without marker a value may be of an older read of the same registers, as the documentation says, but never of others.
#[test]
fn without_marker_no_value_of_another_register() {
    let channel = |number: u8, address: u16, registers: u16| {
        alloc::format!(
            "[[decode.channel]]\nnumber = {number}\nentity = \"holding\"\naddress = {address}\ntype = \"u16\"\nunit = \"1\"\n\
             exponent = 0\nregisters = {registers}\n"
        )
    };
    let channels = [channel(0, 3, 1), channel(1, 20, 2), channel(2, 41, 3)].concat();
    for (more, diagnostics) in [("marker = \"none\"", true), ("", false)] {
        let temper = Temper { diagnostics, ..HOSTILE };
        let tally = sessions(800, &profile(more, &channels), temper, false);
        assert_eq!(tally.of_another, 0, "{tally:?}");
        assert!(tally.answers > 1_000, "{tally:?}");
        assert_eq!(tally.faults.contains(PollReason::MarkerUnknown.words()), !diagnostics);
    }
}

/// The device bites: asked without marker in spite of reads of one length, it gives wrong values.
#[test]
fn the_same_device_fools_a_poller_without_marker() {
    let mut profile = alike("quarantine_ms = 100");
    profile.without_marker();
    let tally = sessions(300, &profile, HOSTILE, false);
    assert!(tally.wrong > 100, "{tally:?}");
}
