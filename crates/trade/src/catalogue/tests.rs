//! The catalogue keeps its promises: names, arguments at the ends of their ranges, and that broken numbers never come out.

use alloc::vec::Vec;

use super::*;

#[test]
fn names_are_unique_for_their_number_of_arguments_and_everything_is_said() {
    let all: Vec<&Function> = functions().collect();
    for (index, function) in all.iter().enumerate() {
        let same =
            |other: &&Function| other.name == function.name && other.takes.len() == function.takes.len();
        assert!(!all.iter().take(index).any(|other| same(other)), "{} stands twice", function.name);
        assert!(function.doc.ends_with('.') && !function.source.is_empty(), "{}", function.name);
        for (at, takes) in function.takes.iter().enumerate() {
            let earlier = function.takes.iter().take(at);
            assert!(
                !earlier.clone().any(|other| other.name == takes.name),
                "{}: {}",
                function.name,
                takes.name
            );
        }
    }
    assert!(all.len() > 75, "{}", all.len());
}

/// Every function takes the middle of its arguments' ranges or says which argument does not fit the others.
#[test]
fn the_number_of_arguments_is_checked() {
    for function in functions() {
        assert_eq!(function.call(&[]), Err(CallError::Count), "{}", function.name);
        assert_eq!(function.call(&[1.0; 20]), Err(CallError::Count), "{}", function.name);
    }
}

#[test]
fn words_go_in_and_come_out_as_places() {
    let class = find("thermographic_class").next().unwrap();
    // 16 K against a similar part is major: NETA's table (looked up second-hand).
    let result = class.call(&[16.0, 0.0]).unwrap();
    assert_eq!(class.word(result), Some("major"));
    assert!(matches!(class.call(&[16.0, 2.0]), Err(CallError::Range(_))), "no such reference");
    let windings = find("windings_finding").next().unwrap();
    // Common to the others open, start to run reads: the overload (physics).
    let open = f64::INFINITY;
    assert_eq!(
        windings.word(windings.call(&[open, open, 4.1, 0.0]).unwrap()),
        Some("internal overload open")
    );
    assert_eq!(windings.word(windings.call(&[open, open, 4.1, 1.0]).unwrap()), Some("a winding open"));
}

proptest::proptest! {
    /// Whatever goes in, a finite number comes out, within the list where it is a word, or an error.
    #[test]
    fn nothing_broken_comes_out(numbers in proptest::collection::vec(proptest::num::f64::ANY, 12), scale in 0_u8..3) {
        for function in functions() {
            let arguments: Vec<f64> = function.takes.iter().zip(&numbers).map(|(takes, n)| match (takes.what, scale) {
                (_, 0) => *n,
                (What::Number(a) | What::NumberOrOpen(a), _) => {
                    let part = libm::fabs(libm::fmod(*n, 1.0));
                    let part = if part.is_finite() { part } else { 0.5 };
                    a.least.max(-1e9) + part * (a.greatest.min(1e9) - a.least.max(-1e9))
                }
                (What::Word(words), _) => {
                    let part = libm::fabs(libm::fmod(*n, 1.0));
                    libm::floor((if part.is_finite() { part } else { 0.0 }) * words.len() as f64)
                }
            }).collect();
            if let Ok(result) = function.call(&arguments) {
                proptest::prop_assert!(result.is_finite());
                if let Gives::Word(words) = function.gives {
                    proptest::prop_assert!(function.word(result).is_some() && result < words.len() as f64);
                }
            }
        }
    }
}
