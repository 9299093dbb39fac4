//! The view as JSON for the dashboard: the state of the round with its context (site, rules, devices, recent
//! verdicts, faults). Draws and decides nothing.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use judge::rule::SourceClass;
use quantity::Flags;
use serde::Serialize;
use serde_json::{Value, json};
use visit::round::{
    CheckView, HoldPointState, HoldPointView, LiveState, LiveView, PairView, Phase, PointStage, PointView,
    ProofView, RulerView, ShownBy, View,
};
use visit::verdict::PlateUsed;

use crate::numbers::rounded;
use crate::text;
use crate::verdict::{JudgementJson, PlateJson, ReadingJson, VerdictJson};
use crate::{FollowUpJson, FollowUpKind, early};

/// The context of the round.
#[derive(Clone, Debug, Default)]
pub struct ViewContext {
    /// The site's name.
    pub site: String,
    /// The rules in force.
    pub rules: RulesState,
    /// The devices and their state.
    pub devices: Vec<DeviceState>,
    /// Verdicts shown, newest first.
    pub recent: Vec<RecentJson>,
    /// What went wrong and still applies, one sentence each.
    pub faults: Vec<String>,
    /// Verdicts on their way to the disk, not shown yet.
    pub saving: usize,
    /// The view's verdict was shown although it is not stored.
    pub unsaved: bool,
    /// Figures and amendments shown, oldest first.
    pub follow_ups: Vec<ShownFollowUp>,
    /// The route in short.
    pub route: RouteSummary,
}

impl ViewContext {
    /// Keeps what follows the newest verdict: the newest figure of each point and the newest amendment.
    pub fn add_follow_up(&mut self, shown: ShownFollowUp) {
        let newer = |old: &FollowUpJson| {
            let point = old.event == FollowUpKind::Amended || old.reading.point == shown.json.reading.point;
            old.number != shown.json.number || (old.event == shown.json.event && point)
        };
        self.follow_ups.retain(|old| !newer(&old.json));
        self.follow_ups.push(shown);
    }

    fn follow_ups_of(&self, number: u64) -> impl Iterator<Item = &ShownFollowUp> {
        self.follow_ups.iter().filter(move |shown| shown.json.number == number)
    }
}

/// A figure or an amendment that was shown.
#[derive(Clone, Debug, PartialEq)]
pub struct ShownFollowUp {
    /// As it is written.
    pub json: FollowUpJson,
    /// It was shown although it is not stored.
    pub unsaved: bool,
}

/// The rules in force.
#[derive(Clone, Debug, Default, Serialize)]
pub struct RulesState {
    /// How many.
    pub count: usize,
    /// First digits of the set's hash.
    pub hash: String,
    /// Why newer files were rejected; `None` if the files are the rules in force.
    pub refused: Option<String>,
}

/// A device.
#[derive(Clone, Debug, Default, Serialize)]
pub struct DeviceState {
    /// Its name.
    pub name: String,
    /// Its link's state as text.
    pub state: String,
    /// Readings so far.
    pub readings: u64,
    /// Drops so far, for any reason.
    pub drops: u64,
    /// The reasons, most frequent first.
    pub reasons: Vec<DropReason>,
    /// Times that bytes or the link were lost.
    pub gaps: u64,
    /// How often it was polled; `None` for a device that speaks by itself.
    pub asked: Option<u64>,
    /// How often it did not reply.
    pub unanswered: Option<u64>,
}

/// Why something was dropped, and how often.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct DropReason {
    /// The reason in words.
    pub reason: String,
    /// How often.
    pub count: u64,
}

/// A verdict, in short.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct RecentJson {
    pub check: u32,
    pub unit: String,
    pub component: String,
    pub title: String,
    pub verdict: String,
    pub advice: Option<String>,
    pub reason: Option<String>,
    pub at_s: f64,
    /// The verdict's number in its round.
    pub number: u64,
    /// It was shown although it is not stored.
    pub unsaved: bool,
    /// The word that the leads showed afterwards, if they contradicted the verdict.
    pub amended: Option<String>,
    /// A danger was found; absent where none was.
    #[serde(skip_serializing_if = "core::ops::Not::not")]
    pub danger: bool,
}

impl From<&VerdictJson> for RecentJson {
    fn from(verdict: &VerdictJson) -> Self {
        Self {
            check: verdict.check,
            unit: verdict.unit.clone(),
            component: verdict.component.clone(),
            title: verdict.title.clone(),
            verdict: verdict.verdict.clone(),
            advice: verdict.advice.clone(),
            reason: verdict.reason.clone(),
            at_s: verdict.at_s,
            number: verdict.number,
            unsaved: false,
            amended: None,
            danger: verdict.danger,
        }
    }
}

/// The whole view as one JSON text. `now_ms` is monotonic time.
#[must_use]
pub fn view_json(seq: u64, now_ms: i64, view: &View, context: &ViewContext) -> String {
    let judged = view.verdict.as_ref().map(|(verdict, live)| (VerdictJson::from(verdict), *live));
    let verdict = judged.as_ref().map(|(verdict, live)| {
        let mut value = serde_json::to_value(verdict).unwrap_or(Value::Null);
        if let Some(object) = value.as_object_mut() {
            object.insert("live".to_owned(), Value::Bool(*live));
            object.insert("unsaved".to_owned(), Value::Bool(context.unsaved));
            object.insert("values".to_owned(), values(verdict, context));
            object.insert("amended".to_owned(), amended(verdict, context, view));
        }
        value
    });
    let of = judged.as_ref().map(|(verdict, _)| verdict);
    let check = view.check.as_ref().map(|shown| check(shown, of, context));
    let owed: Vec<String> =
        view.owed.iter().map(|owed| crate::plain(&owed.in_words()).into_owned()).collect();
    json!({
        "seq": seq,
        "now_ms": now_ms,
        "site": context.site,
        "rules": context.rules,
        "check": check,
        "live": view.live.as_ref().map(live),
        "verdict": verdict,
        "danger": judged.as_ref().and_then(|(verdict, live)| danger::of(verdict, *live, context.unsaved)),
        "recent": context.recent,
        "devices": context.devices,
        "faults": context.faults,
        "saving": context.saving,
        "paused": view.paused,
        "unit_state": view.unit_state.map(judge::rule::UnitState::word),
        "contradicted": view.contradicted.as_ref().map(|(_, sign)| crate::plain(sign).into_owned()),
        "route_ended": view.route_ended,
        "owed": owed,
        "route": context.route,
    })
    .to_string()
}

/// What replaces the value of each reading that was not at rest at the verdict: its interval, and its figure once
/// that was shown.
fn values(verdict: &VerdictJson, context: &ViewContext) -> Value {
    let value = |reading: &ReadingJson| {
        let figure = figure_of(reading, verdict, context);
        let name = early::name_of(verdict, &reading.point, &reading.label);
        let text = match figure {
            Some(shown) => text::value(&shown.json, PLUS_MINUS),
            None => early_words(verdict, reading),
        };
        json!({
            "label": crate::plain(&name), "text": text, "settled": figure.is_some(), "unsaved": figure.is_some_and(|shown| shown.unsaved),
        })
    };
    let early = early::early(verdict).map(value);
    early.chain(worked_out(verdict, context)).chain(second_looks(verdict, context)).collect()
}

/// What was read before in the same visit, as far as it was shown.
fn second_looks<'a>(verdict: &'a VerdictJson, context: &'a ViewContext) -> impl Iterator<Item = Value> + 'a {
    let at_once = verdict.second_looks.iter().map(|look| (look, context.unsaved));
    let later = context
        .follow_ups_of(verdict.number)
        .filter_map(|shown| Some((shown.json.second_look.as_ref()?, shown.unsaved)));
    at_once.chain(later).map(|(look, unsaved)| {
        let text = text::second_look(look);
        json!({"label": "Second look:", "text": text, "settled": true, "unsaved": unsaved})
    })
}

/// The figures derived from several readings, once each of those has its own.
fn worked_out<'a>(verdict: &'a VerdictJson, context: &'a ViewContext) -> impl Iterator<Item = Value> + 'a {
    let about_a_reading = |name: &str| {
        let judged = verdict.judgements.iter().find(|judged| judged.name == name);
        judged.is_some_and(|judged| verdict.readings.iter().any(|reading| early::is_about(judged, reading)))
    };
    let own =
        completed_judgements(verdict, context).filter(move |(judged, _)| !about_a_reading(&judged.name));
    own.map(|(judged, shown)| {
        let text = format!("{}, settled", text::worked_out(judged, PLUS_MINUS));
        json!({"label": crate::plain(&judged.name), "text": text, "settled": true, "unsaved": shown.unsaved})
    })
}

/// The judgements of the last figure, with the readings it was shown with.
fn completed_judgements<'a>(
    verdict: &VerdictJson,
    context: &'a ViewContext,
) -> impl Iterator<Item = (&'a JudgementJson, &'a ShownFollowUp)> {
    let figures =
        context.follow_ups_of(verdict.number).filter(|shown| shown.json.event == FollowUpKind::Completed);
    let last = figures.filter(|shown| !shown.json.judgements.is_empty()).last();
    last.into_iter().flat_map(|shown| shown.json.judgements.iter().map(move |judged| (judged, shown)))
}

/// How +- is written on the page.
const PLUS_MINUS: &str = "\u{b1} ";

/// The interval of a reading; for a judgement about it, only the end that the verdict rests on.
fn early_words(verdict: &VerdictJson, reading: &ReadingJson) -> String {
    let judged = verdict.judgements.iter().find(|judged| early::is_about(judged, reading));
    judged.map_or_else(|| early::words(reading).unwrap_or_default(), |judged| early::judged(reading, judged))
}

/// The figure of a reading that was not at rest at the verdict.
fn figure_of<'a>(
    reading: &ReadingJson,
    verdict: &VerdictJson,
    context: &'a ViewContext,
) -> Option<&'a ShownFollowUp> {
    context.follow_ups_of(verdict.number).find(|shown| {
        shown.json.event == FollowUpKind::Completed && shown.json.reading.point == reading.point
    })
}

/// The amendment to the verdict.
fn amended(verdict: &VerdictJson, context: &ViewContext, view: &View) -> Value {
    let shown = context.follow_ups_of(verdict.number).find(|shown| shown.json.event == FollowUpKind::Amended);
    shown.map_or(Value::Null, |shown| {
        let json = &shown.json;
        json!({
            "word": json.now, "said": json.said, "back": json.is_back(), "moved": json.moved,
            // Told no longer one by one, but counted.
            "changes": json.is_last().then_some(view.amendment_changes), "label": crate::plain(&json.name),
            "value": text::value(json, PLUS_MINUS), "live": view.amendment_is_live, "unsaved": shown.unsaved, "at_s": json.at_s,
        })
    })
}

/// The ruler. After a verdict whose value was not at rest it has no pointer but the interval, until the figure is
/// shown.
fn ruler(ruler: &RulerView, judged: Option<&VerdictJson>, context: &ViewContext) -> Value {
    let early = judged.filter(|verdict| early::early(verdict).next().is_some());
    let subject = early.and_then(|verdict| {
        let judgement = verdict.judgements.iter().find(|judgement| judgement.name == ruler.name)?;
        Some((verdict, early::subject(verdict, judgement)?))
    });
    let figure = subject.and_then(|(verdict, reading)| figure_of(reading, verdict, context));
    let worked_out = early.and_then(|verdict| {
        completed_judgements(verdict, context).find(|(judged, _)| judged.name == ruler.name)
    });
    let (value, u, expanded) = match (early, figure, worked_out) {
        (None, ..) => (Some(ruler.value), ruler.standard_uncertainty, ruler.expanded_uncertainty),
        (_, _, Some((judged, _))) => {
            (Some(judged.value), judged.standard_uncertainty, judged.expanded_uncertainty)
        }
        (_, None, _) => (None, ruler.standard_uncertainty, ruler.expanded_uncertainty),
        (_, Some(shown), _) => {
            let reading = &shown.json.reading;
            (Some(reading.value), reading.standard_uncertainty, shown.json.expanded_uncertainty)
        }
    };
    let ends = subject.filter(|_| figure.is_none());
    json!({
        "name": ruler.name, "unit": ruler.unit, "low": ruler.low.map(rounded), "high": ruler.high.map(rounded),
        "value": value.map(four), "standard_uncertainty": rounded(u), "expanded_uncertainty": rounded(expanded),
        "coverage_factor": rounded(ruler.coverage_factor), "guard": rounded(ruler.guard),
        "at_least": ends.map(|(_, reading)| reading.at_least), "at_most": ends.map(|(_, reading)| reading.at_most),
        "early": ends.map(|(verdict, reading)| early_words(verdict, reading)),
    })
}

fn check(check: &CheckView, judged: Option<&VerdictJson>, context: &ViewContext) -> Value {
    json!({
        "number": check.number,
        "unit": check.unit_tag,
        "component": check.component,
        "rule": check.rule,
        "title": check.title,
        "about": check.about,
        "phase": phase(check.phase),
        "cautions": check.cautions,
        "hold_points": check.hold_points.iter().map(hold_point).collect::<Vec<_>>(),
        "points": check.points.iter().map(|shown| point(shown, judged, context)).collect::<Vec<_>>(),
        "plate": check.plate.iter().filter(|used| is_told(used)).map(plate).collect::<Vec<_>>(),
        "prompt": check.prompt,
        "question": check.question.as_ref().map(|question| &question.text),
        "question_number": check.question.as_ref().map(|question| question.number),
        "question_shows": check.question.as_ref().is_some_and(|question| question.shows_hold_point),
        "proof": check.proof.as_ref().map(proof),
        "alarm": crate::plain(&check.alarm),
        "ruler": check.ruler.as_ref().map(|shown| ruler(shown, judged, context)),
    })
}

/// A value that only repeats another ("as the plate says") is not shown on the page.
fn is_told(used: &PlateUsed) -> bool {
    used.entered || used.source.class != SourceClass::Nameplate
}

fn plate(used: &PlateUsed) -> Value {
    let json = PlateJson::from(used);
    // An entered value needs no source; a default does.
    let source = if used.entered { String::new() } else { used.source.to_string() };
    let (value, unit) = json.word.map_or((json.value.to_string(), json.unit), |word| (word, String::new()));
    json!({"name": json.name.replace('_', " "), "value": value, "unit": unit, "source": source})
}

/// The proof that is read pair by pair. What a person has named is plain text here.
fn proof(proof: &ProofView) -> Value {
    let pair = |of: &PairView| json!({"pair": crate::plain(&of.pair), "shown": of.shown});
    json!({
        "wants_source": proof.wants_source,
        "next_pair": proof.next_pair.as_deref().map(crate::plain),
        "named_freely": proof.named_freely,
        "pairs": proof.pairs.iter().map(pair).collect::<Vec<_>>(),
    })
}

fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::HoldPoints => "hold points",
        Phase::Measuring => "measuring",
        Phase::Asking => "asking",
        Phase::Done => "done",
    }
}

fn hold_point_state(state: HoldPointState) -> &'static str {
    match state {
        HoldPointState::Shown => "shown",
        HoldPointState::Asked => "asked",
        HoldPointState::Waiting => "waiting",
    }
}

fn shown_by(by: ShownBy) -> &'static str {
    match by {
        ShownBy::Person => "confirmed",
        ShownBy::Meter => "by the meter",
    }
}

fn stage(stage: PointStage) -> &'static str {
    match stage {
        PointStage::Waiting => "waiting",
        PointStage::Asked => "asked",
        PointStage::Settling => "settling",
        PointStage::Settled => "settled",
    }
}

fn live_state(state: LiveState) -> &'static str {
    match state {
        LiveState::Live => "live",
        LiveState::Held => "held",
        LiveState::Stale => "stale",
        LiveState::Overload => "overload",
        LiveState::NoValue => "no value",
    }
}

/// The display's annunciators as text.
fn flags(flags: Flags) -> Vec<&'static str> {
    let all = [
        (flags.hold, "hold"),
        (flags.low_battery, "low battery"),
        (flags.relative, "relative"),
        (flags.min_max, "min/max"),
    ];
    all.into_iter().filter(|(set, _)| *set).map(|(_, words)| words).collect()
}

#[allow(clippy::cast_possible_truncation)] // whole seconds of a lapse, at most hours
fn hold_point(hold: &HoldPointView) -> Value {
    json!({
        "name": hold.name, "state": hold_point_state(hold.state), "how": hold.how.map(shown_by), "detail": hold.detail, "ask": hold.ask,
        "caution": hold.caution, "by_stream": hold.by_stream,
        "lapses_in_s": hold.lapses_in_s.map(|s| s as i64),
    })
}

fn point(point: &PointView, judged: Option<&VerdictJson>, context: &ViewContext) -> Value {
    let early = point.early.as_ref().map(ReadingJson::from);
    let figure =
        early.as_ref().zip(judged).and_then(|(reading, verdict)| figure_of(reading, verdict, context));
    let early = early.as_ref().and_then(early::words);
    let shown = match figure {
        Some(shown) => text::value(&shown.json, PLUS_MINUS),
        None => early.unwrap_or_else(|| point.shown.clone()),
    };
    json!({
        "name": point.name, "label": point.label, "unit": point.unit, "state": stage(point.state), "shown": shown,
        "typed": point.typed,
    })
}

/// As many digits as a person can read off a ruler.
fn four(value: f64) -> f64 {
    text::short(value).parse().unwrap_or(value)
}

fn live(live: &LiveView) -> Value {
    json!({
        "device": live.device, "shown": live.shown, "state": live_state(live.state), "flags": flags(live.flags),
        "settling": live.settling, "age_ms": live.age_ms,
    })
}

mod danger;
mod route;

pub use route::{
    LISTED_CHECKS_MAX, LISTED_UNITS_MAX, ListedCheck, ListedUnit, RouteList, RouteSummary, UnitSummary,
    route_json,
};

#[cfg(test)]
mod tests;
