//! The bench on which the parts of a check are tested: points that are fed with displays and typed values.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Accuracy, Reading, parse_typed};

use super::points::follow::What;
use super::points::measure::{Asked, Measured};
use super::points::{PointState, Points, assigned};
use super::typed::typed_point;
use crate::job::Job;
use crate::testing::{at, reading};

/// Points that are fed as an armed check feeds them: watched, followed, and taken for the point that a reading belongs to.
pub(super) struct Bench {
    pub(super) job: Job,
    pub(super) points: Points,
    /// Values at which a word would change; with none a value must come to rest.
    pub(super) thresholds: Vec<f64>,
    pub(super) measuring: bool,
    pub(super) ms: i64,
}

impl Bench {
    pub(super) fn of(job: Job) -> Self {
        let points = Points::new(job.points().len());
        Self { job, points, thresholds: Vec::new(), measuring: true, ms: 0 }
    }

    /// So many readings of a display, ten a second; what came of them.
    pub(super) fn play(&mut self, device: &str, display: &str, times: usize) -> Vec<String> {
        (0..times).flat_map(|_| self.push(device, &[display])).collect()
    }

    /// The same until a point has its value from it.
    pub(super) fn settle(&mut self, device: &str, display: &str) {
        let before = self.points.all_settled().count();
        for _ in 0..1_000 {
            let _ = self.play(device, display, 1);
            if self.points.all_settled().count() > before {
                return;
            }
        }
        panic!("{display} on {device} did not settle: {:?}", self.stages());
    }

    /// These displays one after another, ten a second.
    pub(super) fn push(&mut self, device: &str, displays: &[&str]) -> Vec<String> {
        let mut said = Vec::new();
        for display in displays {
            self.ms += 100;
            said.extend(self.take(device, reading(self.ms, display)));
        }
        said
    }

    pub(super) fn take(&mut self, device: &str, reading: Reading) -> Vec<String> {
        let mut said = Vec::new();
        self.points.watch(&self.job, device, &reading, self.measuring);
        for seen in self.points.follow(&self.job, device, &reading) {
            said.push(format!("{:?} {}", seen.what, seen.reading.shown));
            if let Some(settled) = self.points.settled_mut(seen.index).filter(|_| seen.what == What::Figure) {
                (settled.reading, settled.input) = (seen.reading, seen.input);
            }
        }
        if self.points.break_off(self.job.points(), device, &reading) {
            said.push("another function".to_string());
        }
        let Some(index) = assigned(&self.job, self.points.states(), device, &reading) else { return said };
        let point = &self.job.points()[index];
        match self.points.overload(index, point, device, &reading) {
            Asked::No => {}
            Asked::NotYet => return said,
            Asked::Now(text) => {
                said.push(text);
                return said;
            }
        }
        match self.points.settle(index, point, device, &reading, 1e-3, |_| self.thresholds.clone()) {
            Measured::Quiet => {}
            Measured::NotTaken => said.push("not taken".to_string()),
            Measured::Reset(why) => said.push(why.text().to_string()),
            Measured::ReadsOpen(text) | Measured::Impossible(text) => said.push(text),
            Measured::Settled(done) => {
                said.push(format!("{} {}", done.reading.point, done.reading.shown));
                self.points.put(index, *done);
            }
        }
        said
    }

    /// A person types a value for a point.
    pub(super) fn type_in(&mut self, name: &str, value: &str) {
        self.type_in_with(name, value, None);
    }

    /// The same, read off a meter of this accuracy.
    pub(super) fn type_in_with(&mut self, name: &str, value: &str, accuracy: Option<&str>) {
        let accuracy = accuracy.map(|text| Accuracy::parse(text).unwrap());
        let value = parse_typed(value).unwrap();
        let (index, done) = typed_point(&self.job, name, value, accuracy, at(self.ms)).unwrap();
        self.points.put(index, done);
    }

    /// Which of the points have their value, and on which device they are.
    pub(super) fn stages(&self) -> Vec<String> {
        let of = |state: &PointState| match state {
            PointState::Waiting => "waits".to_string(),
            PointState::Settling(settling) => format!("settles on {}", settling.from.device),
            PointState::Settled(settled) => format!("has it from {}", settled.reading.device),
        };
        self.points.states().iter().map(of).collect()
    }
}
