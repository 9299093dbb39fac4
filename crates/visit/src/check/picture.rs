//! What a person should see of the armed check. Decides nothing.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Instant;

use super::Check;
use super::facts::plate_of;
use super::points::{PointState, Points};
use super::proving::pairs_of;
use crate::hold;
use crate::job::Job;
use crate::settings::Settings;
use crate::verdict::{PointReading, Verdict};
use crate::view::{
    CheckView, HoldPointState, HoldPointView, Phase, PointStage, PointView, ProofView, QuestionView,
    RulerView,
};
use judge::evaluate::{Evaluation, Judged};
use judge::limits::DecisionRule;
use judge::settle::Settling;

/// More readings to wait for than this are not told: the guess is too rough.
const READINGS_TOLD_MAX: u32 = 60;

impl Check {
    /// The picture of it, with its hold points as the ledger sees them.
    pub(crate) fn view(&self, hold_points: Vec<HoldPointView>, settings: &Settings) -> CheckView {
        let job = &self.job;
        let hold_points: Vec<HoldPointView> = hold_points.into_iter().map(|h| with_pairs(h, job)).collect();
        let verdict = self.given.as_ref().map(|given| given.verdict());
        let points = point_views(job, &self.points, self.phase() == Phase::Measuring, verdict);
        let header = job.header();
        CheckView {
            number: job.number,
            unit_tag: job.plan.unit_tag.clone(),
            component: job.plan.component.clone(),
            rule: job.plan.rule.clone(),
            title: job.title().to_string(),
            about: header.map_or_else(String::new, |h| h.about.clone()),
            phase: self.phase(),
            cautions: header.map_or_else(Vec::new, |h| h.cautions.clone()),
            prompt: self.prompt(&hold_points, &points),
            hold_points,
            points,
            plate: plate_of(job).and_then(Result::ok).unwrap_or_default(),
            question: self.question().map(|(number, text)| QuestionView {
                number,
                text: text.to_string(),
                shows_hold_point: self.questions.asks_for_proof_leads(),
            }),
            proof: self.proof(),
            alarm: self.alarm().unwrap_or_default().to_string(),
            ruler: self.ruler(settings.decision),
        }
    }

    /// The proof of the hold point that is asked for, where it is read on pairs.
    fn proof(&self) -> Option<ProofView> {
        let proving = self.proving.as_ref().filter(|_| self.phase() == Phase::HoldPoints)?;
        proving.view()
    }

    /// What the leads show that should be dead, or have shown.
    fn alarm(&self) -> Option<&str> {
        let volts = self.proving.as_ref().and_then(|proving| proving.volts());
        volts.or(self.alarm.as_deref())
    }

    /// What the proof of the hold point that is asked for waits for.
    pub(crate) fn proof_says(&self) -> &str {
        self.proving.as_ref().map_or("", |proving| proving.says())
    }

    /// Its verdict, and whether it describes what the leads show at `now`.
    pub(crate) fn verdict(&self, now: Instant) -> Option<(Verdict, bool)> {
        let given = self.given.as_ref()?;
        let verdict = given.verdict().clone();
        let shown = if verdict.danger {
            self.dangers.is_still_shown(Some(now))
        } else {
            self.points.still_shown(Some(now))
        };
        Some((verdict, given.is_live() && shown))
    }

    /// Whether the contact still lasts that contradicts the verdict.
    pub(crate) fn amendment_is_live(&self, now: Instant) -> bool {
        let by = self.given.as_ref().and_then(|given| given.amended_by());
        by.is_some_and(|index| self.points.is_followed(index, now))
    }

    /// How often the word that the leads show has changed since the verdict.
    pub(crate) fn amendment_changes(&self) -> u32 {
        self.given.as_ref().map_or(0, |given| given.changes())
    }

    /// What the settling on this device waits for; empty when nothing settles there.
    pub(crate) fn settling_text(&self, device: &str) -> String {
        if self.phase() != Phase::Measuring {
            return String::new();
        }
        let settling = self.points.states().iter().filter_map(PointState::settling);
        let text = settling.filter(|s| s.from.device == device).map(|s| {
            let why = s.why_not_settled();
            let left = match s.state {
                Settling::Moving(moving) => moving.readings_left.filter(|left| *left <= READINGS_TOLD_MAX),
                _ => None,
            };
            left.map_or_else(|| why.clone(), |left| format!("{why}; about {left} more readings"))
        });
        text.into_iter().next().unwrap_or_default()
    }

    fn prompt(&self, hold_points: &[HoldPointView], points: &[PointView]) -> String {
        match self.phase() {
            Phase::HoldPoints => {
                let asked = hold_points.iter().find(|h| h.state == HoldPointState::Asked);
                if let Some(alarm) = self.alarm() {
                    return alarm.to_string();
                }
                if let Some((_, question)) = self.question() {
                    return question.to_string();
                }
                asked.map_or_else(String::new, |h| {
                    if h.detail.is_empty() { h.ask.clone() } else { h.detail.clone() }
                })
            }
            Phase::Measuring if self.unproved.is_some() => {
                let device = self.unproved.as_deref().unwrap_or_default();
                let says = self.proof_says();
                let next = if says.is_empty() { "clip them together on ohms, then apart" } else { says };
                format!("The leads of {device} are not proved: {next}.")
            }
            Phase::Measuring => {
                let asked =
                    points.iter().find(|p| matches!(p.state, PointStage::Asked | PointStage::Settling));
                match asked {
                    Some(_) if self.points.await_lift() => {
                        "Take the leads off, then on to the next point.".to_string()
                    }
                    Some(point) if point.state == PointStage::Settling => {
                        format!("Hold still: {}", point.label)
                    }
                    Some(point) => format!("Clip on: {} ({})", point.label, point.unit),
                    None => String::new(),
                }
            }
            Phase::Asking => self.question().map_or_else(String::new, |(_, text)| text.to_string()),
            Phase::Done => {
                self.danger_says().unwrap_or_else(|| "Done. Take the leads off; next check.".into())
            }
        }
    }

    /// What its danger asks for.
    fn danger_says(&self) -> Option<String> {
        let verdict = self.given.as_ref().map(|given| given.verdict())?;
        let advice = verdict.advice().filter(|_| verdict.danger)?;
        Some(format!("DANGER. {advice}"))
    }

    /// The judgement that decides, or would decide: the worst word, then the least room.
    fn ruler(&self, decision: DecisionRule) -> Option<RulerView> {
        let in_contact = || self.points.states().iter().any(PointState::is_in_contact);
        let judgements: &[Judged] = match (&self.given, self.asking.evaluation()) {
            (Some(given), _) => &given.verdict().judgements,
            // Without contact there is nothing to point at.
            (None, Some(Evaluation::Judged { judgements, .. })) if in_contact() => judgements,
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
}

/// With the pairs that must be read, also by whoever confirms it.
fn with_pairs(mut hold_point: HoldPointView, job: &Job) -> HoldPointView {
    if let Some(pairs) = pairs_of(hold::of(&hold_point.name).by_stream, job) {
        hold_point.ask = format!("{} Pairs: {}.", hold_point.ask, pairs.in_words());
    }
    hold_point
}

/// The reading of a point that is not at rest; behind a verdict as it was when the word was given: its figure follows.
fn early(verdict: Option<&Verdict>, point: &str, state: &PointState) -> Option<PointReading> {
    let given = verdict.and_then(|verdict| verdict.readings.iter().find(|of| of.point == point));
    given.or_else(|| Some(&state.settled()?.reading)).filter(|reading| !reading.settled).cloned()
}

fn point_views(job: &Job, points: &Points, measuring: bool, verdict: Option<&Verdict>) -> Vec<PointView> {
    let mut asked_one = !measuring;
    let view = |(point, state): (&judge::rule::Point, &PointState)| {
        let early = early(verdict, &point.name, state);
        let (stage, shown, typed) = match state {
            PointState::Settled(settled) => {
                let reading = &settled.reading;
                let shown = if early.is_some() {
                    String::new()
                } else if reading.open {
                    "OL".to_string()
                } else {
                    format!("{} {}", reading.shown, reading.display.unit)
                };
                (PointStage::Settled, shown, settled.typed.is_some())
            }
            _ if state.is_in_contact() => {
                asked_one = true;
                (PointStage::Settling, String::new(), false)
            }
            _ if !asked_one => {
                asked_one = true;
                (PointStage::Asked, String::new(), false)
            }
            _ => (PointStage::Waiting, String::new(), false),
        };
        PointView {
            name: point.name.clone(),
            label: point.label.clone(),
            unit: point.display.to_string(),
            state: stage,
            shown,
            early,
            typed,
        }
    };
    job.points().iter().zip(points.states()).map(view).collect()
}
