//! Questions by themselves: numbers, which answer is for which question, and what is remembered of a yes.
use super::*;

fn about_point(index: usize) -> Question {
    Question::new(About::Implausible(index), format!("is point {index} right?"))
}

fn proof() -> Question {
    let about = About::ProofLeads {
        name: "discharged".into(),
        says: "0.0 V dc".into(),
        device: "meter".into(),
        until: Instant::ZERO,
    };
    Question::new(about, "were both leads on?".into())
}

#[test]
fn numbers_go_on_from_check_to_check_and_no_two_are_the_same() {
    let mut asked = 0;
    let mut first_check = Questions::default();
    assert_eq!(first_check.ask(about_point(0), &mut asked).number, 1);
    assert_eq!(first_check.ask(about_point(1), &mut asked).number, 2);
    let mut second_check = Questions::default();
    assert_eq!(second_check.ask(about_point(0), &mut asked).number, 3);
    assert_eq!(asked, 3);
    assert_ne!(asked, NO_QUESTION);
}

#[test]
fn an_answer_takes_the_question_that_it_names_or_the_open_one() {
    for named in [Some(1), None] {
        let (mut questions, mut asked) = (Questions::default(), 0);
        questions.ask(about_point(4), &mut asked);
        assert_eq!(questions.open().map(|open| open.text.as_str()), Some("is point 4 right?"));
        let taken = questions.take(named, asked).unwrap();
        assert_eq!((taken.number, taken.about), (1, About::Implausible(4)));
        assert_eq!(questions.open(), None);
        let why = questions.take(named, asked).unwrap_err();
        assert!(why.contains("no question to answer"), "answered once: {why}");
    }
}

#[test]
fn an_answer_to_an_earlier_question_is_never_taken_for_the_one_asked_now() {
    let (mut questions, mut asked) = (Questions::default(), 0);
    questions.ask(about_point(0), &mut asked);
    questions.ask(about_point(1), &mut asked);
    assert_eq!(
        questions.take(Some(1), asked),
        Err("the answer is for question 1, which is no longer asked; now asked, as question 2: is point 1 right?".into())
    );
    assert_eq!(questions.open().map(|open| open.number), Some(2), "it stays open");
}

#[test]
fn an_answer_begun_before_anything_was_asked_is_refused() {
    let (mut questions, mut asked) = (Questions::default(), 6);
    questions.ask(about_point(0), &mut asked);
    assert_eq!(
        questions.take(Some(NO_QUESTION), asked),
        Err("the answer was begun before question 7 was asked; now asked: is point 0 right?".into())
    );
    assert!(questions.open().is_some());
}

#[test]
fn an_answer_to_nothing_says_whether_it_was_ever_asked() {
    let (mut questions, mut asked) = (Questions::default(), 0);
    questions.ask(about_point(0), &mut asked);
    questions.drop_open();
    let mut says = |named| questions.take(named, asked).unwrap_err();
    assert_eq!(says(Some(1)), "question 1 is no longer asked; there is no question to answer");
    for never in [None, Some(NO_QUESTION), Some(2)] {
        assert_eq!(says(never), "there is no question to answer");
    }
}

#[test]
fn only_the_question_of_a_proof_goes_with_the_proof() {
    let (mut questions, mut asked) = (Questions::default(), 0);
    questions.ask(proof(), &mut asked);
    assert!(questions.asks_for_proof_leads());
    questions.drop_proof_question();
    assert_eq!(questions.open(), None);
    questions.ask(about_point(0), &mut asked);
    assert!(!questions.asks_for_proof_leads());
    questions.drop_proof_question();
    assert_eq!(questions.open().map(|open| open.number), Some(2));
}

#[test]
fn it_knows_of_which_point_it_asks_whether_the_leads_are_on() {
    let (mut questions, mut asked) = (Questions::default(), 0);
    assert_eq!(questions.asks_for_open_part(), None);
    questions.ask(about_point(3), &mut asked);
    assert_eq!(questions.asks_for_open_part(), None);
    questions.ask(Question::new(About::OpenPart(3), "on?".into()), &mut asked);
    assert_eq!(questions.asks_for_open_part(), Some(3));
}

#[test]
fn a_yes_counts_for_that_question_alone() {
    let mut questions = Questions::default();
    questions.accept(About::Implausible(0));
    questions.accept(About::SwappedPlate("capacitance".into()));
    assert!(questions.accepts(&About::Implausible(0)));
    assert!(!questions.accepts(&About::Implausible(1)), "another point");
    assert!(!questions.accepts(&About::SwappedReading(0)), "another doubt");
    assert!(!questions.accepts(&About::SwappedPlate("tolerance".into())), "another plate value");
}

#[test]
fn another_value_for_a_point_forgets_every_yes_to_the_one_before() {
    let of_point = |index| {
        [
            About::Implausible(index),
            About::SwappedReading(index),
            About::OpenPart(index),
            About::LeftOut(index),
        ]
    };
    let of_plate = [About::ImplausiblePlate("tolerance".into()), About::SwappedPlate("tolerance".into())];
    let mut questions = Questions::default();
    of_point(0)
        .into_iter()
        .chain(of_point(1))
        .chain(of_plate.clone())
        .for_each(|about| questions.accept(about));
    questions.forget_point(0);
    assert!(of_point(0).iter().all(|about| !questions.accepts(about)));
    assert!(of_point(1).iter().chain(&of_plate).all(|about| questions.accepts(about)));
}

#[test]
fn leads_that_are_on_again_forget_only_that_the_part_read_open() {
    let mut questions = Questions::default();
    [About::OpenPart(0), About::Implausible(0), About::OpenPart(1)]
        .into_iter()
        .for_each(|about| questions.accept(about));
    questions.forget_open_part(0);
    assert!(!questions.accepts(&About::OpenPart(0)));
    assert!(questions.accepts(&About::Implausible(0)) && questions.accepts(&About::OpenPart(1)));
}
