//! The families of streams, each drawn from a seed. Runs nothing.

use super::random::Rng;
use super::setups::{ALL, CAPACITANCE, CURRENT, OHMS, Oracle, PRESSURE, Setup, TEMPERATURE, VOLTS};
use super::streams::{Body, Line, Noise, Stream};

type Shape = fn(&mut Draft);

/// A family: its name, what is measured, whether the truth lies near a limit, what is done to the stream.
pub(crate) struct Family {
    pub(crate) name: &'static str,
    pub(crate) setups: &'static [Setup],
    pub(crate) near: bool,
    pub(crate) shape: Shape,
}

/// A stream in the making.
pub(crate) struct Draft {
    pub(crate) setup: Setup,
    pub(crate) body: Body,
    pub(crate) line: Line,
    pub(crate) rng: Rng,
}

const FOUR: &[Setup] = &[CAPACITANCE, CURRENT, VOLTS, OHMS];
const OUT_OF_CIRCUIT: &[Setup] = &[CAPACITANCE, OHMS];
const LIVE: &[Setup] = &[CURRENT, VOLTS];
const UF: &[Setup] = &[CAPACITANCE];
const DEGF: &[Setup] = &[TEMPERATURE];

const fn family(name: &'static str, setups: &'static [Setup], shape: Shape) -> Family {
    Family { name, setups, near: false, shape }
}

const fn near(name: &'static str, setups: &'static [Setup], shape: Shape) -> Family {
    Family { name, setups, near: true, shape }
}

/// Every family.
pub(crate) const FAMILIES: &[Family] = &[
    family("fast honest meter, 10/s", FOUR, fast),
    near("fast honest meter, near", FOUR, fast),
    family("control 4/s, tau .1-1 s, uF", UF, control),
    near("control near, uF", UF, control),
    family("repeats .35-.6 s, 10-40/s", FOUR, |d| repeats(d, (0.35, 0.6), (10.0, 40.0), 1)),
    family("repeats 1 s, 4-20/s, 1 part", FOUR, |d| repeats(d, (0.9, 1.0), (4.0, 20.0), 1)),
    family("repeats 1 s, 4-20/s, 2 part", FOUR, |d| repeats(d, (0.9, 1.0), (4.0, 20.0), 2)),
    family("repeats 2 s, 2-20/s", OUT_OF_CIRCUIT, |d| repeats(d, (1.2, 2.0), (2.0, 20.0), 1)),
    family("repeats 2 s, live, 2 part", LIVE, |d| repeats(d, (1.2, 2.0), (4.0, 20.0), 2)),
    family("repeats .6-1.2 s, 2-4/s", OUT_OF_CIRCUIT, |d| repeats(d, (0.6, 1.2), (2.0, 4.0), 1)),
    near("repeats .35-2 s near", OUT_OF_CIRCUIT, |d| repeats(d, (0.35, 2.0), (4.0, 20.0), 1)),
    family("probe tau 3-15 s, 1/s", DEGF, |d| probe(d, (3.0, 15.0), 1.0)),
    family("probe tau 3-15 s, 4/s", DEGF, |d| probe(d, (3.0, 15.0), 4.0)),
    family("probe tau 15-40 s, 1/s", DEGF, |d| probe(d, (15.0, 40.0), 1.0)),
    near("probe tau 15-40 s near, 4/s", DEGF, |d| probe(d, (15.0, 40.0), 4.0)),
    family("pipe warming 1-6 F/min", DEGF, |d| warming_pipe(d, (1.0, 6.0))),
    family("pipe warming .2-1 F/min", DEGF, |d| warming_pipe(d, (0.2, 1.0))),
    family("filter tau 3 s", FOUR, |d| d.fade((3.0, 3.0))),
    near("filter tau 3 s near", FOUR, |d| d.fade((3.0, 3.0))),
    family("moving average 3 s", FOUR, moving_average),
    near("moving average 3 s near", FOUR, moving_average),
    family("overshoot", FOUR, overshoot),
    family("1/f noise, sd 2 counts", FOUR, |d| d.line.noise = Noise::Pink(2.0)),
    near("1/f noise near", FOUR, |d| d.line.noise = Noise::Pink(2.0)),
    family("AR(1) .95, sd 3 counts", FOUR, |d| d.line.noise = Noise::Ar(0.95, 3.0)),
    near("AR(1) .95 near", FOUR, |d| d.line.noise = Noise::Ar(0.95, 3.0)),
    family("last digit stuck", FOUR, stuck),
    near("last digit stuck near", FOUR, stuck),
    family("slow tail tau 6 s, .5-3 %", FOUR, slow_tail),
    family("tail alone tau 6 s, .5-3 %", FOUR, tail),
    near("tail alone near", FOUR, tail),
    family("slow wave .15-.6 Hz, 4 counts", FOUR, slow_wave),
    family("one in 12 off 5-40 counts", FOUR, |d| d.line.outliers = 1.0 / 12.0),
    family("part warming .1-.5 %/min", OUT_OF_CIRCUIT, warming_part),
    family("bounce", FOUR, bounce),
    family("leads lifted and back", OUT_OF_CIRCUIT, lifted),
    family("range change", FOUR, range_change),
    family("hold", FOUR, held),
    family("one frame in five lost", FOUR, |d| d.line.lost = 0.2),
    family("a digit fewer", FOUR, coarse),
    family("white noise .5-3 counts", FOUR, |d| d.line.noise = Noise::White(d.rng.between(0.5, 3.0))),
    near("white noise .5-3 near", FOUR, |d| d.line.noise = Noise::White(d.rng.between(0.5, 3.0))),
    family("draft, tau .5-5 s, 1-4 counts", &[PRESSURE], draft),
    family("every setup, rate and conversion", &ALL, mixed),
];

impl Draft {
    /// An approach of 2 to 60 % of the truth, mostly from below.
    fn fade(&mut self, (short, long): (f64, f64)) {
        let size = self.body.truth * self.rng.between(0.02, 0.6);
        let size = if self.rng.unit() < 0.7 { -size } else { size };
        let tau_s = self.rng.between(short, long);
        self.body.fades.push((size, tau_s));
    }
}

/// The stream of this family with this seed.
pub(crate) fn draw(family: &Family, oracles: &[Oracle; 6], seed: u64) -> Stream {
    let mut rng = Rng(seed.wrapping_mul(0xD134_2543_DE82_EF95) ^ 0x5E77);
    let _ = rng.next_u64();
    let setup = family.setups[rng.below(family.setups.len())];
    let edges = &oracle_of(oracles, &setup).edges;
    let truth = if family.near {
        edges[rng.below(edges.len())] + rng.between(-5.0, 5.0) * setup.step()
    } else if rng.unit() < 0.7 {
        setup.good.0 + setup.good.1 * rng.normal()
    } else {
        rng.between(setup.low, setup.high)
    };
    let before_s = if rng.unit() < 0.5 { rng.between(0.5, 3.0) } else { 0.0 };
    let line = Line {
        rate_hz: 4.0,
        conversion_s: 0.25,
        partials: Vec::new(),
        noise: Noise::White(0.5),
        stuck: false,
        outliers: 0.0,
        bounces: 0,
        lift_s: None,
        range_s: None,
        hold_s: None,
        lost: 0.0,
        before_s,
    };
    let mut draft = Draft { setup, body: Body { truth, ..Body::default() }, line, rng };
    (family.shape)(&mut draft);
    let Draft { setup, body, mut line, rng } = draft;
    // The conversion that the leads went on in is over: at the least it saw a part of the contact.
    line.conversion_s = line.conversion_s.max(1e-3);
    Stream::new(setup, body, line, rng)
}

/// The oracle of a setup.
pub(crate) fn oracle_of<'a>(oracles: &'a [Oracle; 6], setup: &Setup) -> &'a Oracle {
    let at = ALL.iter().position(|known| known.name == setup.name).expect("a known setup");
    &oracles[at]
}

fn fast(draft: &mut Draft) {
    (draft.line.rate_hz, draft.line.conversion_s) = (10.0, 0.1);
    draft.line.noise = Noise::White(draft.rng.between(0.2, 0.7));
    draft.fade((0.02, 0.12));
}

fn control(draft: &mut Draft) {
    draft.fade((0.1, 1.0));
}

fn repeats(draft: &mut Draft, conversion_s: (f64, f64), rate_hz: (f64, f64), partials: usize) {
    draft.line.conversion_s = draft.rng.between(conversion_s.0, conversion_s.1);
    draft.line.rate_hz = draft.rng.between(rate_hz.0, rate_hz.1);
    draft.line.noise = Noise::White(draft.rng.between(0.0, 0.5));
    let mut share = 0.3;
    for _ in 0..partials {
        share = draft.rng.between(share, 0.95);
        draft.line.partials.push(share);
    }
}

fn probe(draft: &mut Draft, tau_s: (f64, f64), rate_hz: f64) {
    (draft.line.rate_hz, draft.line.conversion_s) = (rate_hz, 1.0 / rate_hz);
    draft.line.before_s = 0.0;
    let tau_s = draft.rng.between(tau_s.0, tau_s.1);
    draft.body.fades.push((draft.setup.ambient - draft.body.truth, tau_s));
}

fn warming_pipe(draft: &mut Draft, per_minute: (f64, f64)) {
    probe(draft, (3.0, 15.0), 1.0);
    let rate = draft.rng.between(per_minute.0, per_minute.1) / 60.0;
    draft.body.drift = Some((rate, draft.rng.between(60.0, 300.0)));
    draft.body.truth_moves = per_minute.1 <= 1.0;
}

fn warming_part(draft: &mut Draft) {
    let rate = draft.body.truth * draft.rng.between(0.001, 0.005) / 60.0;
    draft.body.drift = Some((rate, 180.0));
    draft.body.truth_moves = true;
}

fn moving_average(draft: &mut Draft) {
    let size = draft.body.truth * draft.rng.between(0.02, 0.6);
    draft.body.fills = Some((if draft.rng.unit() < 0.7 { -size } else { size }, 3.0));
}

fn overshoot(draft: &mut Draft) {
    let size = draft.body.truth * draft.rng.between(0.02, 0.6);
    let tau_s = draft.rng.between(0.15, 0.8);
    draft.body.ring = Some((-size, tau_s, draft.rng.between(0.7, 2.0) / tau_s));
}

fn stuck(draft: &mut Draft) {
    draft.line.stuck = true;
    draft.fade((0.1, 1.0));
}

fn slow_tail(draft: &mut Draft) {
    draft.fade((0.1, 0.5));
    let tail = draft.body.truth * draft.rng.between(0.005, 0.03);
    let sign = if draft.body.fades[0].0 < 0.0 { -1.0 } else { 1.0 };
    draft.body.fades.push((sign * tail, 6.0));
}

fn tail(draft: &mut Draft) {
    let size = draft.body.truth * draft.rng.between(0.005, 0.03);
    draft.body.fades.push((if draft.rng.unit() < 0.5 { -size } else { size }, 6.0));
}

fn slow_wave(draft: &mut Draft) {
    draft.line.noise = Noise::Wave(0.5, 4.0, draft.rng.between(0.15, 0.6));
}

fn bounce(draft: &mut Draft) {
    draft.line.bounces = 1 + draft.rng.below(5);
    draft.fade((0.05, 0.5));
}

fn lifted(draft: &mut Draft) {
    let from_s = draft.rng.between(0.2, 1.0);
    draft.line.lift_s = Some((from_s, from_s + draft.rng.between(0.5, 2.0)));
    draft.fade((0.05, 0.3));
}

fn range_change(draft: &mut Draft) {
    draft.line.range_s = Some(draft.rng.between(0.3, 1.5));
    draft.fade((0.05, 0.5));
}

fn held(draft: &mut Draft) {
    let from_s = draft.rng.between(0.1, 0.8);
    draft.line.hold_s = Some((from_s, from_s + draft.rng.between(1.0, 3.0)));
    draft.fade((0.05, 0.5));
}

fn coarse(draft: &mut Draft) {
    draft.setup.places -= 1;
    draft.line.noise = Noise::White(draft.rng.between(0.05, 0.4));
    draft.fade((0.1, 0.8));
}

fn draft(draft: &mut Draft) {
    draft.line.before_s = 0.0;
    draft.line.noise = Noise::White(draft.rng.between(1.0, 4.0));
    draft.fade((0.5, 5.0));
}

fn mixed(draft: &mut Draft) {
    if draft.setup.name == TEMPERATURE.name {
        let rate_hz = draft.rng.between(1.0, 4.0);
        return probe(draft, (3.0, 30.0), rate_hz);
    }
    if draft.setup.name == PRESSURE.name {
        draft.line.before_s = 0.0;
        repeats(draft, (0.1, 1.0), (1.0, 40.0), 0);
        return draft.fade((0.2, 3.0));
    }
    let slowest = if draft.setup.name == CURRENT.name || draft.setup.name == VOLTS.name { 1.0 } else { 2.0 };
    let partials = draft.rng.below(3);
    repeats(draft, (0.1, slowest), (1.0, 40.0), partials);
    draft.fade((0.05, 1.0));
}
