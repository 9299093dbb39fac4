//! The view as JSON for the dashboard: the round's picture plus what stands around it (site, rules, devices, recent
//! verdicts, faults). Draws and decides nothing.

use judge::round::{CheckView, HoldPointView, LiveView, Phase, PointView, RulerView, View};
use judge::rule::SourceClass;
use judge::verdict::PlateUsed;
use serde::Serialize;
use serde_json::{Value, json};

use crate::FollowUpJson;
use crate::verdict::{PlateJson, VerdictJson, rounded};

/// What stands around the round.
#[derive(Clone, Debug, Default)]
pub struct Around {
    /// The site's name.
    pub site: String,
    /// The rules in force.
    pub rules: RulesState,
    /// Devices and how they are.
    pub devices: Vec<DeviceState>,
    /// Verdicts shown, newest first.
    pub recent: Vec<RecentJson>,
    /// What went wrong and still stands, one sentence each.
    pub faults: Vec<String>,
    /// Verdicts on their way to the disk, which nobody has seen yet.
    pub saving: usize,
    /// The view's verdict was shown although it is not stored.
    pub unsaved: bool,
    /// Figures and amendments shown, oldest first.
    pub follow_ups: Vec<ShownFollowUp>,
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
    /// Why newer files were not taken; `None` when the files are the rules in force.
    pub refused: Option<String>,
}

/// A device.
#[derive(Clone, Debug, Default, Serialize)]
pub struct DeviceState {
    /// Its name.
    pub name: String,
    /// Its link's state in words.
    pub state: String,
    /// Readings so far.
    pub readings: u64,
    /// Drops so far, of every reason.
    pub drops: u64,
    /// Why, most first.
    pub reasons: Vec<DropReason>,
    /// Times that bytes were lost or the link went.
    pub gaps: u64,
    /// How often it was asked; `None` for a device that speaks by itself.
    pub asked: Option<u64>,
    /// How often it did not answer.
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

/// A verdict, short.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)] // the keys are described in the README, "The verdict as JSON"
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
            number: 0,
            unsaved: false,
        }
    }
}

/// The whole view as one JSON text. `now_ms` is monotone time.
#[must_use]
pub fn view_json(seq: u64, now_ms: i64, view: &View, around: &Around) -> String {
    let verdict = view.verdict.as_ref().map(|(verdict, live)| {
        let mut value = serde_json::to_value(VerdictJson::from(verdict)).unwrap_or(Value::Null);
        if let Some(object) = value.as_object_mut() {
            object.insert("live".to_owned(), Value::Bool(*live));
            object.insert("unsaved".to_owned(), Value::Bool(around.unsaved));
        }
        value
    });
    json!({
        "seq": seq,
        "now_ms": now_ms,
        "site": around.site,
        "rules": around.rules,
        "check": view.check.as_ref().map(check),
        "live": view.live.as_ref().map(live),
        "verdict": verdict,
        "recent": around.recent,
        "devices": around.devices,
        "faults": around.faults,
        "saving": around.saving,
    })
    .to_string()
}

fn check(check: &CheckView) -> Value {
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
        "points": check.points.iter().map(point).collect::<Vec<_>>(),
        "plate": check.plate.iter().filter(|used| is_told(used)).map(plate).collect::<Vec<_>>(),
        "prompt": check.prompt,
        "question": check.question.as_ref().map(|question| &question.text),
        "question_number": check.question.as_ref().map(|question| question.number),
        "ruler": check.ruler.as_ref().map(ruler),
    })
}

/// A value that only repeats another one ("as the plate says") is not told on the page.
fn is_told(used: &PlateUsed) -> bool {
    used.entered || used.source.class != SourceClass::Nameplate
}

fn plate(used: &PlateUsed) -> Value {
    let json = PlateJson::from(used);
    // What was entered needs no source beside it; a default does.
    let source = if used.entered { String::new() } else { used.source.to_string() };
    let (value, unit) = json.word.map_or((json.value.to_string(), json.unit), |word| (word, String::new()));
    json!({"name": json.name.replace('_', " "), "value": value, "unit": unit, "source": source})
}

fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::HoldPoints => "hold points",
        Phase::Measuring => "measuring",
        Phase::Asking => "asking",
        Phase::Done => "done",
    }
}

#[allow(clippy::cast_possible_truncation)] // whole seconds of a lapse, at most hours
fn hold_point(hold: &HoldPointView) -> Value {
    json!({
        "name": hold.name, "state": hold.state, "how": hold.how, "detail": hold.detail, "ask": hold.ask,
        "caution": hold.caution, "by_stream": hold.by_stream,
        "lapses_in_s": hold.lapses_in_s.map(|s| s as i64),
    })
}

fn point(point: &PointView) -> Value {
    json!({
        "name": point.name, "label": point.label, "unit": point.unit, "state": point.state, "shown": point.shown,
        "typed": point.typed,
    })
}

fn ruler(ruler: &RulerView) -> Value {
    json!({
        "name": ruler.name, "unit": ruler.unit, "low": ruler.low.map(rounded), "high": ruler.high.map(rounded),
        "value": four(ruler.value), "standard_uncertainty": rounded(ruler.standard_uncertainty),
        "expanded_uncertainty": rounded(ruler.expanded_uncertainty),
        "coverage_factor": rounded(ruler.coverage_factor), "guard": rounded(ruler.guard),
    })
}

/// As many digits as a person reads off a ruler.
fn four(value: f64) -> f64 {
    crate::text::short(value).parse().unwrap_or(value)
}

fn live(live: &LiveView) -> Value {
    json!({
        "device": live.device, "shown": live.shown, "state": live.state, "flags": live.flags,
        "settling": live.settling, "age_ms": live.age_ms,
    })
}
