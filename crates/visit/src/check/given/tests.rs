//! A verdict that was given, by itself: its figures, words that contradict it, and how many of them are told.
use quantity::{Decimal, Instant, Quantity, Unit};

use super::*;
use crate::check::testing::Bench;
use crate::testing::{capacitance_38_to_42, job_of, judged, point, within};
use crate::verdict::Verdict;
use judge::rule::{Answer, Header, Outcome};

/// A check that has its verdict, from values typed in and marked as not at rest where they are `early`.
struct Checked {
    bench: Bench,
    given: Given,
}

impl Checked {
    fn of(job: Job, values: &[(&str, &str)], early: bool) -> Self {
        let mut bench = Bench::of(job);
        for (index, (name, value)) in values.iter().enumerate() {
            bench.type_in(name, value);
            bench.points.settled_mut(index).unwrap().reading.settled = !early;
        }
        let evaluated = evaluation_of(&bench.job, &bench.points, DecisionRule::default(), |_| None);
        let (word, judgements) = match evaluated {
            Some(Evaluation::Judged { word, judgements, .. }) => (word, judgements),
            _ => (Word::NoVerdict, Vec::new()),
        };
        let given = Given::new(verdict(&bench.job, word, judgements), true);
        Self { bench, given }
    }

    /// 40 uF, which passes.
    fn capacitance(early: bool) -> Self {
        let checked = Self::of(capacitance_38_to_42(), &[("capacitance", "40.00 uF")], early);
        assert_eq!(checked.given.verdict().word, Word::Pass);
        checked
    }

    /// A point shows a value, at rest or not as its reading says.
    fn see(&mut self, index: usize, shown: &str, what: What) -> Vec<Output> {
        let settled = self.bench.points.settled(index).unwrap();
        let shown = Decimal::parse(shown).unwrap();
        let input = Input { value: shown.to_f64(), ..settled.input };
        let quantity = Quantity::new(input.value, input.standard_uncertainty, Unit::MICROFARAD).unwrap();
        let at_rest = what != What::Anew;
        let reading = PointReading { shown, quantity, settled: at_rest, ..settled.reading.clone() };
        let seen = Seen { index, reading, input, what };
        self.given.see(seen, &self.bench.job, &mut self.bench.points, DecisionRule::default())
    }

    /// The words that are told when it moves to this value.
    fn moves(&mut self, shown: &str) -> Vec<(Word, u32)> {
        let told = self.see(0, shown, What::Moved);
        told.iter().filter_map(amended).collect()
    }
}

fn amended(output: &Output) -> Option<(Word, u32)> {
    match output {
        Output::Amended { word, changes, .. } => Some((*word, *changes)),
        _ => None,
    }
}

fn verdict(job: &Job, word: Word, judgements: Vec<Judged>) -> Verdict {
    Verdict {
        number: 7,
        check: 1,
        unit_tag: job.plan.unit_tag.clone(),
        component: job.plan.component.clone(),
        rule: job.plan.rule.clone(),
        title: job.title().into(),
        rule_hash: "c0ffee".into(),
        word,
        danger: false,
        reason: None,
        judgements,
        readings: Vec::new(),
        as_left: false,
        second_looks: Vec::new(),
        plate: Vec::new(),
        hold_points: Vec::new(),
        decision: DecisionRule::default(),
        notes: Vec::new(),
        at: Instant::ZERO,
    }
}

#[test]
fn a_figure_completes_its_reading_and_leaves_the_verdict_as_it_was() {
    let mut checked = Checked::capacitance(true);
    let before = checked.given.verdict().clone();
    let said = checked.see(0, "40.02", What::Figure);
    let [Output::Completed { verdict: 7, reading, judgements, .. }] = said.as_slice() else {
        panic!("{said:?}")
    };
    assert_eq!((reading.shown.to_f64(), judgements[0].judgement.value), (40.02, 40.02));
    let point = checked.bench.points.settled(0).unwrap();
    assert!(point.reading.settled && point.input.value == 40.02, "it comes once: the point is at rest now");
    assert_eq!(*checked.given.verdict(), before);
    assert!(checked.given.is_live() && checked.given.changes() == 0);
}

#[test]
fn what_is_judged_is_worked_out_anew_with_the_last_figure() {
    let points = Vec::from([point("c_herm", "uF"), point("c_fan", "uF")]);
    let both = |v: &[f64]| {
        judged(Vec::from([
            within("c_herm", v[0], Some(38.0), Some(42.0)),
            within("c_fan", v[1], Some(4.0), Some(6.0)),
        ]))
    };
    let job = job_of(Header { points, ..Header::default() }, both);
    let mut checked = Checked::of(job, &[("c_herm", "40.00 uF"), ("c_fan", "5.00 uF")], true);
    let mut judgements = |index, shown| match checked.see(index, shown, What::Figure).as_slice() {
        [Output::Completed { judgements, .. }] => {
            judgements.iter().map(|judged| judged.judgement.value).collect::<Vec<_>>()
        }
        other => panic!("{other:?}"),
    };
    assert_eq!(judgements(1, "5.01"), [], "the other has no figure yet");
    assert_eq!(judgements(0, "40.02"), [40.02, 5.01]);
}

#[test]
fn a_check_that_judged_nothing_has_nothing_to_work_out() {
    let header = Header { points: Vec::from([point("capacitance", "uF")]), ..Header::default() };
    let says_no = |_: &[f64]| Ok(Outcome { answer: Answer::NoVerdict("wrong leads".into()), path: 0 });
    let mut checked = Checked::of(job_of(header, says_no), &[("capacitance", "40.00 uF")], true);
    let said = checked.see(0, "40.02", What::Figure);
    assert!(matches!(said.as_slice(), [Output::Completed { judgements, .. }] if judgements.is_empty()));
    assert_eq!(checked.moves("30.00"), [], "nothing was said that could be contradicted");
    assert!(checked.given.is_live());
}

/// Above 50 uF the leads look swapped, and above 70 uF the rule knows no limit.
#[test]
fn no_verdict_contradicts_nothing_and_nothing_contradicts_it() {
    let job = || {
        let header = Header { points: Vec::from([point("capacitance", "uF")]), ..Header::default() };
        job_of(header, |v| {
            if v[0] > 70.0 {
                return judged(Vec::from([within("capacitance", v[0], None, None)]));
            }
            if v[0] > 50.0 {
                return Ok(Outcome { answer: Answer::NoVerdict("wrong leads".into()), path: 1 });
            }
            judged(Vec::from([within("capacitance", v[0], Some(38.0), Some(42.0))]))
        })
    };
    let mut without = Checked::of(job(), &[("capacitance", "60.00 uF")], false);
    assert_eq!(without.given.verdict().word, Word::NoVerdict);
    assert_eq!((without.moves("30.00"), without.moves("40.00")), (Vec::new(), Vec::new()));
    let mut passed = Checked::of(job(), &[("capacitance", "40.00 uF")], false);
    assert_eq!((passed.moves("60.00"), passed.moves("80.00")), (Vec::new(), Vec::new()));
    assert_eq!((passed.given.is_live(), passed.moves("30.00")), (true, Vec::from([(Word::Fail, 1)])));
}

#[test]
fn a_value_that_contradicts_the_word_is_told_once_and_ends_the_live_verdict() {
    let mut checked = Checked::capacitance(false);
    assert_eq!(checked.given.amended_by(), None);
    let said = checked.see(0, "30.00", What::Moved);
    let [Output::Amended { verdict: 7, word: Word::Fail, reading, moved: true, changes: 1, judgements }] =
        said.as_slice()
    else {
        panic!("{said:?}")
    };
    assert_eq!((reading.shown.to_f64(), judgements[0].judgement.value), (30.0, 30.0));
    assert_eq!((checked.given.is_live(), checked.given.amended_by()), (false, Some(0)));
    assert_eq!(checked.given.verdict().word, Word::Pass, "it stays as it was given");
    assert_eq!(checked.moves("29.00"), [], "the same word again");
}

#[test]
fn another_value_with_the_same_word_says_nothing() {
    let mut checked = Checked::capacitance(false);
    assert_eq!(checked.moves("41.00"), []);
    assert!(checked.given.is_live() && checked.given.changes() == 0);
}

#[test]
fn its_way_back_and_another_word_are_told_too() {
    let mut checked = Checked::capacitance(false);
    assert_eq!(checked.moves("30.00"), [(Word::Fail, 1)]);
    assert_eq!(checked.moves("40.00"), [(Word::Pass, 2)], "the leads agree again");
    assert_eq!(checked.moves("39.00"), [], "and go on to agree");
    assert_eq!(checked.moves("38.00"), [(Word::ConditionalPass, 3)]);
    assert_eq!(checked.moves("30.00"), [(Word::Fail, 4)]);
    assert!(!checked.given.is_live(), "what was contradicted once is past");
}

#[test]
fn what_is_not_at_rest_is_told_without_judgements_and_has_not_moved() {
    let mut checked = Checked::capacitance(true);
    let said = checked.see(0, "30.00", What::Anew);
    assert!(
        matches!(said.as_slice(), [Output::Amended { moved: false, judgements, .. }] if judgements.is_empty()),
        "{said:?}"
    );
}

#[test]
fn a_figure_that_contradicts_the_word_is_both() {
    let mut checked = Checked::capacitance(true);
    let said = checked.see(0, "30.00", What::Figure);
    let [Output::Completed { .. }, amendment] = said.as_slice() else { panic!("{said:?}") };
    assert_eq!(amended(amendment), Some((Word::Fail, 1)));
}

#[test]
fn a_contact_that_goes_to_and_fro_is_told_eight_times_and_once_more_and_counted_on() {
    let mut checked = Checked::capacitance(false);
    let mut told = Vec::new();
    for change in 1..=2 * AMENDMENTS_MAX {
        told.extend(checked.moves(if change % 2 == 1 { "30.00" } else { "40.00" }));
        assert_eq!(checked.given.changes(), change);
    }
    let numbers: Vec<u32> = told.iter().map(|(_, changes)| *changes).collect();
    assert_eq!(numbers, (1..=AMENDMENTS_MAX + 1).collect::<Vec<_>>());
}

#[test]
fn once_past_it_never_is_live_again() {
    let mut given = Checked::capacitance(false).given;
    given.note_live(true);
    assert!(given.is_live());
    given.note_live(false);
    given.note_live(true);
    assert!(!given.is_live());
    let not_live = Given::new(given.verdict().clone(), false);
    assert!(!not_live.is_live(), "nothing was live when it was given");
}

#[test]
fn a_point_that_has_no_value_any_more_says_nothing() {
    let mut checked = Checked::capacitance(false);
    let mut again = Checked::capacitance(false);
    let settled = checked.bench.points.settled(0).unwrap();
    let (reading, input) = (settled.reading.clone(), settled.input);
    let seen = Seen { index: 0, reading, input, what: What::Figure };
    let _ = again.bench.points.take_again(0);
    assert_eq!(again.given.see(seen, &again.bench.job, &mut again.bench.points, DecisionRule::default()), []);
    assert!(checked.moves("40.00").is_empty());
}
