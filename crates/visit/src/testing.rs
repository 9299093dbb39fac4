//! What the tests of single machines are fed with: displays with their times, points, and jobs whose rules are plain functions.

use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec::Vec;

use quantity::{
    Coupling, Decimal, DeviceChannel, DisplayUnit, Duration, Flags, Instant, Reading, Sign, State, Timing,
    Unit,
};

use crate::job::Job;
use crate::plan::{Binding, Plan};
use judge::rule::{
    Answer, Beyond, Danger, Header, Judgement, NamedLimit, Outcome, PlateDefault, PlateItem, Point, Rule,
    RuleError, Source, SourceClass,
};

/// How a rule of a test judges.
pub(crate) type Judging = fn(&[f64]) -> Result<Outcome, RuleError>;

/// So many milliseconds after the start.
pub(crate) fn at(ms: i64) -> Instant {
    Instant::ZERO + Duration::from_millis(ms)
}

/// What a meter of ten conversions a second shows: `39.40 uF`, `OL ohm`, `--- V ac`.
pub(crate) fn reading(ms: i64, display: &str) -> Reading {
    let (number, unit) = display.split_once(' ').unwrap();
    let (unit, coupling) = Coupling::strip_from(unit);
    let state = match number {
        "OL" => State::Overload(Sign::Positive),
        "---" => State::NoValue,
        _ => State::Value(Decimal::parse(number).unwrap()),
    };
    Reading {
        at: at(ms),
        seq: 0,
        channel: 0,
        display: DisplayUnit { unit: Unit::parse(unit).unwrap(), coupling },
        state,
        flags: Flags::default(),
        accuracy: None,
        timing: Timing { conversion_s: Some(0.1), response_s: None },
    }
}

/// The same with the hold key pressed.
pub(crate) fn held(ms: i64, display: &str) -> Reading {
    Reading { flags: Flags { hold: true, ..Flags::default() }, ..reading(ms, display) }
}

/// A point: `c_herm`, `uF`, and the label `c herm`.
pub(crate) fn point(name: &str, unit: &str) -> Point {
    let (unit, coupling) = Coupling::strip_from(unit);
    Point {
        name: name.to_string(),
        label: name.replace('_', " "),
        display: DisplayUnit { unit: Unit::parse(unit).unwrap(), coupling },
        plausible: None,
        open_counts_as: None,
        drift: None,
        line: 1,
    }
}

/// A danger of the point at this place: beyond a limit of its own, in the point's unit.
pub(crate) fn endanger(header: &mut Header, point: usize, beyond: Beyond, at: f64, ends: &[&str]) {
    let unit = header.points[point].display.unit;
    let name = alloc::format!("danger_{}", header.limits.len());
    header.limits.push(NamedLimit { name, value: at, unit, source: source(), line: 1 });
    let (limit, ends) = (header.limits.len() - 1, ends.iter().map(ToString::to_string).collect());
    header.dangers.push(Danger { point, beyond, limit, at, advice: "everybody out".into(), ends, line: 1 });
}

/// A rule that is a function.
pub(crate) struct Native {
    pub(crate) id: &'static str,
    pub(crate) header: Header,
    pub(crate) judging: Judging,
}

impl Rule for Native {
    fn id(&self) -> &str {
        self.id
    }
    fn hash(&self) -> &'static str {
        "c0ffee"
    }
    fn header(&self) -> &Header {
        &self.header
    }
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        (self.judging)(values)
    }
}

/// A job on C1 of RTU-07 under this rule.
pub(crate) fn job_of(header: Header, judging: Judging) -> Job {
    let plan = Plan {
        unit_tag: "RTU-07".to_string(),
        component: "C1".to_string(),
        rule: "a-rule".to_string(),
        plate: Vec::new(),
        bindings: Vec::new(),
        ..Plan::default()
    };
    Job { number: 1, plan, rule: Some(Arc::new(Native { id: "a-rule", header, judging })) }
}

/// A job that takes these points, `name unit`, and is never judged.
pub(crate) fn job(points: &[(&str, &str)]) -> Job {
    let points = points.iter().map(|(name, unit)| point(name, unit)).collect();
    job_of(Header { points, ..Header::default() }, |_| Err(rule_error("nothing is judged here")))
}

/// The same job, with a point bound to channel 0 of a device.
pub(crate) fn bound(mut job: Job, point: &str, device: &str) -> Job {
    job.plan.bindings.push(Binding { point: String::from(point), from: DeviceChannel::new(device, 0) });
    job
}

/// A judgement in microfarad.
pub(crate) fn within(name: &str, value: f64, low: Option<f64>, high: Option<f64>) -> Judgement {
    Judgement {
        name: name.into(),
        value,
        unit: Unit::MICROFARAD,
        low,
        high,
        advice_ok: Some("in order".into()),
        advice_low: Some("weak".into()),
        advice_high: Some("high".into()),
        source: source(),
        source_parts: [].into(),
    }
}

/// What a rule answers that judges.
#[allow(clippy::unnecessary_wraps)] // the shape of `Rule::judge`
pub(crate) fn judged(judgements: Vec<Judgement>) -> Result<Outcome, RuleError> {
    Ok(Outcome { answer: Answer::Judgements(judgements), path: 0 })
}

/// A nameplate value that must be entered.
pub(crate) fn plate_item(name: &str, unit: &str) -> PlateItem {
    PlateItem {
        name: name.to_string(),
        unit: Unit::parse(unit).unwrap(),
        choices: Vec::new(),
        default: PlateDefault::Required,
        plausible: None,
        line: 1,
    }
}

pub(crate) fn source() -> Source {
    Source { text: "nameplate, for a test".into(), class: SourceClass::Nameplate }
}

/// A capacitance between 38 and 42 uF.
pub(crate) fn capacitance_38_to_42() -> Job {
    let header = Header { points: Vec::from([point("capacitance", "uF")]), ..Header::default() };
    job_of(header, |v| judged(Vec::from([within("capacitance", v[0], Some(38.0), Some(42.0))])))
}

/// A rule that fails.
pub(crate) fn rule_error(message: &str) -> RuleError {
    RuleError {
        message: message.to_string(),
        file: "a-rule.rhai".to_string(),
        line: 7,
        column: 0,
        source_line: "x / 0".to_string(),
    }
}
