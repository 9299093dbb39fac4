//! What a person should see now: the whole state in plain fields, ready to be drawn. Made afresh on each call; holds no
//! state and decides nothing.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Duration, Flags, State};

use super::Round;
use super::check::{Check, Phase};
use super::plate;
use super::point::PointState;
use crate::hold::{self, ByStream, How};
use crate::verdict::{PlateUsed, PointReading, Verdict};
use judge::evaluate::{Evaluation, Judged};
use judge::limits::DecisionRule;
use judge::settle::Settling;

/// More readings to wait for than this are not told: the guess is too rough.
const READINGS_TOLD_MAX: u32 = 60;

/// A reading older than this is drawn as stale. Three periods of a slow meter.
const STALE_AFTER: Duration = Duration::from_millis(2_000);

/// The whole picture.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The armed or just finished check.
    pub check: Option<CheckView>,
    /// The newest reading.
    pub live: Option<LiveView>,
    /// The verdict of this check, and whether it still describes what the leads show.
    pub verdict: Option<(Verdict, bool)>,
    /// The verdict was contradicted, and the leads are still on what contradicts it.
    pub amendment_is_live: bool,
    /// How often the word that the leads show has changed since the verdict.
    pub amendment_changes: u32,
}

/// The armed check.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckView {
    /// Running number.
    pub number: u32,
    /// The unit's tag.
    pub unit_tag: String,
    /// The component.
    pub component: String,
    /// Rule id.
    pub rule: String,
    /// Rule title.
    pub title: String,
    /// What it asks of the part.
    pub about: String,
    /// Where it stands.
    pub phase: Phase,
    /// Cautions of the rule.
    pub cautions: Vec<String>,
    /// Hold points in order.
    pub hold_points: Vec<HoldPointView>,
    /// Points in order.
    pub points: Vec<PointView>,
    /// Nameplate values in force; empty when some are missing.
    pub plate: Vec<PlateUsed>,
    /// The one next thing to do.
    pub prompt: String,
    /// The question that waits for an answer.
    pub question: Option<QuestionView>,
    /// Value, limits and guard band of the judgement that decides.
    pub ruler: Option<RulerView>,
}

/// The question that waits for an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuestionView {
    /// Its number, which the answer names.
    pub number: u32,
    /// Its text.
    pub text: String,
}

/// Whether a hold point stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HoldPointState {
    /// It stands.
    Shown,
    /// It is the first open one.
    Asked,
    /// It is open behind another.
    Waiting,
}

/// By what a hold point was shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShownBy {
    /// A person confirmed it.
    Person,
    /// A device showed it.
    Meter,
}

/// How far a point has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointStage {
    /// Others come first.
    Waiting,
    /// It is the one to clip on now.
    Asked,
    /// Readings come in.
    Settling,
    /// It has its value.
    Settled,
}

/// What the newest reading says, and whether it still holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LiveState {
    /// A value, as it is now.
    Live,
    /// The display is held, or shows a relative or stored value.
    Held,
    /// Too old, or its link is lost.
    Stale,
    /// Beyond the range.
    Overload,
    /// The display is blank.
    NoValue,
}

/// A hold point.
#[derive(Clone, Debug, PartialEq)]
pub struct HoldPointView {
    /// Its name.
    pub name: String,
    /// Whether it stands.
    pub state: HoldPointState,
    /// By what, once it stands.
    pub how: Option<ShownBy>,
    /// What the meter showed or is waiting for.
    pub detail: String,
    /// What to do.
    pub ask: String,
    /// The caution that belongs to it.
    pub caution: String,
    /// The stream can show it.
    pub by_stream: bool,
    /// Seconds until it lapses.
    pub lapses_in_s: Option<f64>,
}

/// A point.
#[derive(Clone, Debug, PartialEq)]
pub struct PointView {
    /// Name in the rule.
    pub name: String,
    /// Label.
    pub label: String,
    /// Unit of the rule, with ac or dc.
    pub unit: String,
    /// How far it has come.
    pub state: PointStage,
    /// The settled value as displayed; empty while it is not at rest.
    pub shown: String,
    /// What the point has its word from while its value is not at rest: ends, and no value.
    pub early: Option<PointReading>,
    /// Typed in by hand.
    pub typed: bool,
}

/// The newest reading.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveView {
    /// The device.
    pub device: String,
    /// As displayed.
    pub shown: String,
    /// What it says, and whether it still holds.
    pub state: LiveState,
    /// The display's annunciators.
    pub flags: Flags,
    /// What the settling waits for; empty when nothing settles.
    pub settling: String,
    /// Age in milliseconds.
    pub age_ms: i64,
}

/// Value, limits and guard band.
#[derive(Clone, Debug, PartialEq)]
pub struct RulerView {
    /// What is judged.
    pub name: String,
    /// Unit.
    pub unit: &'static str,
    /// Low limit.
    pub low: Option<f64>,
    /// High limit.
    pub high: Option<f64>,
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Its expanded uncertainty U = k u.
    pub expanded_uncertainty: f64,
    /// k in U = k u.
    pub coverage_factor: f64,
    /// Guard band, zero under simple acceptance.
    pub guard: f64,
}

impl Round {
    /// The picture at `now`, which should not be earlier than the last step.
    #[must_use]
    pub fn view(&self, now: quantity::Instant) -> View {
        let now = now.max(self.now);
        View {
            check: self.check.as_ref().map(|check| self.check_view(check, now)),
            live: self.live_view(now),
            verdict: self.check.as_ref().and_then(|check| {
                let verdict = check.verdict.clone()?;
                Some((verdict, check.verdict_live && check.still_shown(Some(now))))
            }),
            amendment_changes: self.check.as_ref().map_or(0, |check| check.amended.changes),
            amendment_is_live: self.check.as_ref().is_some_and(|check| amendment_is_live(check, now)),
        }
    }

    fn live_view(&self, now: quantity::Instant) -> Option<LiveView> {
        let live = self.live.as_ref()?;
        let reading = &live.reading;
        let age = now.since(reading.at);
        let state = if live.lost || age > STALE_AFTER {
            LiveState::Stale
        } else if !reading.flags.is_live() {
            LiveState::Held
        } else {
            match reading.state {
                State::Value(_) => LiveState::Live,
                State::Overload(_) => LiveState::Overload,
                State::NoValue => LiveState::NoValue,
            }
        };
        Some(LiveView {
            device: live.device.clone(),
            shown: reading.to_string(),
            state,
            flags: reading.flags,
            settling: self.settling_text(&live.device),
            age_ms: age.micros() / 1_000,
        })
    }

    fn settling_text(&self, device: &str) -> String {
        let Some(check) = &self.check else { return String::new() };
        if check.phase != Phase::Measuring {
            return String::new();
        }
        check
            .points
            .iter()
            .find_map(|state| match state {
                PointState::Settling(s) if s.from.device == device => Some(match s.state {
                    Settling::Moving(moving) => {
                        moving.readings_left.filter(|left| *left <= READINGS_TOLD_MAX).map_or_else(
                            || s.why_not_settled(),
                            |left| format!("{}; about {left} more readings", s.why_not_settled()),
                        )
                    }
                    _ => s.why_not_settled(),
                }),
                _ => None,
            })
            .unwrap_or_default()
    }

    fn check_view(&self, check: &Check, now: quantity::Instant) -> CheckView {
        let hold_points = self.hold_point_views(check, now);
        let points = point_views(check);
        let prompt = prompt(check, &hold_points, &points);
        let header = check.header();
        CheckView {
            number: check.number,
            unit_tag: check.plan.unit_tag.clone(),
            component: check.plan.component.clone(),
            rule: check.plan.rule.clone(),
            title: header.map_or_else(|| check.plan.rule.clone(), |h| h.title.clone()),
            about: header.map_or_else(String::new, |h| h.about.clone()),
            phase: check.phase,
            cautions: header.map_or_else(Vec::new, |h| h.cautions.clone()),
            hold_points,
            points,
            plate: header.and_then(|h| plate::resolve(h, &check.plan).ok()).unwrap_or_default(),
            prompt,
            question: check
                .question
                .as_ref()
                .map(|q| QuestionView { number: q.number, text: q.text.clone() }),
            ruler: ruler(check, self.settings.decision),
        }
    }

    fn hold_point_views(&self, check: &Check, now: quantity::Instant) -> Vec<HoldPointView> {
        let place = check.place();
        let mut first_open = check.phase == Phase::HoldPoints;
        check
            .hold_points()
            .iter()
            .zip(check.evidence(&self.gate))
            .map(|(name, evidence)| {
                let known = hold::of(name);
                let asked = evidence.is_none() && core::mem::take(&mut first_open);
                let (how, detail) = match evidence.map(|e| &e.how) {
                    Some(How::Confirmed(_)) => (Some(ShownBy::Person), String::new()),
                    Some(How::Stream(says)) => (Some(ShownBy::Meter), says.clone()),
                    None if asked => (None, check.proof_says.clone()),
                    None => (None, String::new()),
                };
                if evidence.is_none() && !asked {
                    first_open = false;
                }
                HoldPointView {
                    name: name.clone(),
                    state: if evidence.is_some() {
                        HoldPointState::Shown
                    } else if asked {
                        HoldPointState::Asked
                    } else {
                        HoldPointState::Waiting
                    },
                    how,
                    detail,
                    ask: known.ask.to_string(),
                    caution: known.caution.to_string(),
                    by_stream: known.by_stream != ByStream::No,
                    lapses_in_s: evidence.and_then(|_| self.gate.lapses_in_s(name, place, now)),
                }
            })
            .collect()
    }
}

/// Whether the contact still lasts that contradicts the verdict.
fn amendment_is_live(check: &Check, now: quantity::Instant) -> bool {
    let point = check.amended.by.and_then(|index| check.points.get(index)?.settled());
    point
        .and_then(|settled| settled.after.as_ref()?.follow())
        .is_some_and(|following| following.is_fresh(now))
}

/// The reading of a point that is not at rest; behind a verdict as it was when the word was given: its figure follows.
fn early(check: &Check, point: &str, state: &PointState) -> Option<PointReading> {
    let given =
        check.verdict.as_ref().and_then(|verdict| verdict.readings.iter().find(|of| of.point == point));
    given.or_else(|| Some(&state.settled()?.reading)).filter(|reading| !reading.settled).cloned()
}

fn point_views(check: &Check) -> Vec<PointView> {
    let Some(header) = check.header() else { return Vec::new() };
    let mut asked_one = check.phase != Phase::Measuring;
    header
        .points
        .iter()
        .zip(&check.points)
        .map(|(point, state)| {
            let early = early(check, &point.name, state);
            let (stage, shown, typed) = match state {
                PointState::Settled(settled) => {
                    let reading = &settled.reading;
                    let shown = if early.is_some() {
                        String::new()
                    } else if reading.open {
                        "OL".to_string()
                    } else {
                        format!("{} {}", reading.shown, reading.unit)
                    };
                    (PointStage::Settled, shown, settled.typed.is_some())
                }
                PointState::Settling(s) if s.contact_since.is_some() => {
                    asked_one = true;
                    (PointStage::Settling, String::new(), false)
                }
                _ if !asked_one => {
                    asked_one = true;
                    (PointStage::Asked, String::new(), false)
                }
                _ => (PointStage::Waiting, String::new(), false),
            };
            let unit = point.display_unit().to_string();
            PointView {
                name: point.name.clone(),
                label: point.label.clone(),
                unit,
                state: stage,
                shown,
                early,
                typed,
            }
        })
        .collect()
}

fn prompt(check: &Check, hold_points: &[HoldPointView], points: &[PointView]) -> String {
    match check.phase {
        Phase::HoldPoints => {
            let asked = hold_points.iter().find(|h| h.state == HoldPointState::Asked);
            asked.map_or_else(
                String::new,
                |h| if h.detail.is_empty() { h.ask.clone() } else { h.detail.clone() },
            )
        }
        Phase::Measuring => {
            let asked = points.iter().find(|p| matches!(p.state, PointStage::Asked | PointStage::Settling));
            match asked {
                Some(_) if check.await_lift => "Take the leads off, then on to the next point.".to_string(),
                Some(point) if point.state == PointStage::Settling => format!("Hold still: {}", point.label),
                Some(point) => format!("Clip on: {} ({})", point.label, point.unit),
                None => String::new(),
            }
        }
        Phase::Asking => check.question.as_ref().map_or_else(String::new, |q| q.text.clone()),
        Phase::Done => "Done. Take the leads off; next check.".to_string(),
    }
}

/// The judgement that decides, or would decide: the worst word, then the least room.
fn ruler(check: &Check, decision: DecisionRule) -> Option<RulerView> {
    let judgements: &[Judged] = match (&check.verdict, &check.last_evaluation) {
        (Some(verdict), _) => &verdict.judgements,
        // Without contact there is nothing to point at.
        (None, Some(Evaluation::Judged { judgements, .. })) if in_contact(check) => judgements,
        _ => return None,
    };
    let judged = judgements.iter().max_by_key(|j| j.word)?;
    Some(RulerView {
        name: judged.judgement.name.to_string(),
        unit: judged.judgement.unit.symbol(),
        low: judged.judgement.low,
        high: judged.judgement.high,
        value: judged.judgement.value,
        standard_uncertainty: judged.standard_uncertainty,
        expanded_uncertainty: judged.expanded_uncertainty(decision),
        coverage_factor: decision.coverage_factor(),
        guard: judged.guard(decision),
    })
}

fn in_contact(check: &Check) -> bool {
    check.points.iter().any(|state| matches!(state, PointState::Settling(s) if s.contact_since.is_some()))
}
