//! The catalogue keeps its promises: names, arguments at the ends of their ranges, and that broken numbers never come out.

use alloc::vec::Vec;

use super::*;

#[test]
fn names_are_unique_for_their_number_of_arguments_and_everything_is_said() {
    let all: Vec<&Function> = functions().collect();
    for (index, function) in all.iter().enumerate() {
        let same = |other: &&Function| {
            other.name == function.name && other.parameters.len() == function.parameters.len()
        };
        assert!(!all.iter().take(index).any(same), "{} stands twice", function.name);
        assert!(function.doc.ends_with('.') && !function.source.is_empty(), "{}", function.name);
        for (at, parameter) in function.parameters.iter().enumerate() {
            let earlier = function.parameters.iter().take(at);
            assert!(
                !earlier.clone().any(|other| other.name == parameter.name),
                "{}: {}",
                function.name,
                parameter.name
            );
        }
    }
    assert_eq!(all.len(), 138, "rules/README.md names the number");
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

#[test]
fn lists_are_lists_and_a_number_is_one() {
    let score = find("peer_score").next().unwrap();
    // UNC-05 of `tests/reference/check_values.csv`: 1.94 A among nine fans (Iglewicz and Hoaglin, from memory).
    let others: &[f64] = &[1.62, 1.58, 1.65, 1.60, 1.61, 1.59, 1.63, 1.57];
    let z = score.call_lists(&[&[1.94], others, &[1e-3]]).unwrap();
    assert!((z - 11.129_25).abs() < 1e-6, "{z}");
    assert_eq!(score.call_lists(&[&[1.94, 1.0], others, &[1e-3]]), Err(CallError::Count));
    assert_eq!(score.call_lists(&[&[1.94], others]), Err(CallError::Count));
    assert!(matches!(score.call_lists(&[&[1.94], &[1.6], &[1e-3]]), Err(CallError::Range(_))));
    let slope = find("slope_per_d").next().unwrap();
    let days: &[f64] = &[0.0, 1.0, 2.0, 3.0];
    assert!(matches!(slope.call_lists(&[days, others]), Err(CallError::Range(_))), "as many days as values");
    assert!(matches!(slope.call_lists(&[&[1.0; 4], &[1.0; 4]]), Err(CallError::Range(_))), "one day");
    let to_limit = find("days_to_limit").next().unwrap();
    let flat: &[f64] = &[5.0, 5.0, 5.0, 5.0];
    assert_eq!(to_limit.call_lists(&[days, flat, &[4.0], &[0.0], &[0.95]]), Ok(7305.0), "never");
    assert_eq!(to_limit.call_lists(&[days, flat, &[6.0], &[0.0], &[0.95]]), Ok(0.0), "there already");
}

proptest::proptest! {
    /// Whatever goes in, a finite number comes out, within the list where it is a word, or an error.
    #[test]
    fn nothing_broken_comes_out(numbers in proptest::collection::vec(proptest::num::f64::ANY, 12), scale in 0_u8..3) {
        for function in functions() {
            let arguments: Vec<f64> = function.parameters.iter().zip(&numbers).map(|(parameter, n)| match (parameter.kind, scale) {
                (_, 0) => *n,
                (ParameterKind::Number(a) | ParameterKind::NumberOrOpen(a) | ParameterKind::List(a), _) => {
                    let part = libm::fabs(libm::fmod(*n, 1.0));
                    let part = if part.is_finite() { part } else { 0.5 };
                    a.least.max(-1e9) + part * (a.greatest.min(1e9) - a.least.max(-1e9))
                }
                (ParameterKind::Word(words), _) => {
                    let part = libm::fabs(libm::fmod(*n, 1.0));
                    libm::floor((if part.is_finite() { part } else { 0.0 }) * words.len() as f64)
                }
            }).collect();
            let lists: Vec<Vec<f64>> = function.parameters.iter().zip(&arguments).map(|(parameter, n)| match parameter.kind {
                ParameterKind::List(_) => numbers.iter().map(|other| if scale == 0 { *other } else { libm::fmod(*other, *n) }).collect(),
                _ => [*n].into(),
            }).collect();
            let slices: Vec<&[f64]> = lists.iter().map(Vec::as_slice).collect();
            if !function.takes_lists() {
                // As texts: an error may hold NaN.
                let (one, other) = (function.call_lists(&slices), function.call(&arguments));
                proptest::prop_assert_eq!(alloc::format!("{one:?}"), alloc::format!("{other:?}"));
            }
            if let Ok(result) = function.call_lists(&slices) {
                proptest::prop_assert!(result.is_finite());
                if let Returns::Word(words) = function.returns {
                    proptest::prop_assert!(function.word(result).is_some() && result < words.len() as f64);
                }
            }
        }
    }
}
