//! Why a reading still moves, in the words of the trade, with its rate and the wait that an unknown meter costs. Settles
//! nothing.

use alloc::format;
use alloc::string::String;

use quantity::{Kind, Unit};

use judge::settle::{Moving, MovingReason, Pace};

/// The reason in words; `rate` is what it changes by in a second, in `unit`.
pub(crate) fn words(moving: &Moving, rate: Option<f64>, unit: Unit) -> String {
    let a_minute = rate.map(|rate| 60.0 * rate).filter(|rate| rate.is_finite() && *rate != 0.0);
    let why = match (moving.reason, a_minute) {
        (MovingReason::Drifting | MovingReason::Slow, Some(rate)) if is_temperature(unit) => {
            let goes = if rate > 0.0 { "still warming" } else { "still cooling" };
            let probe = if moving.reason == MovingReason::Slow { ", or a slow probe" } else { "" };
            format!("{goes} {} {unit} a minute{probe}", short(rate))
        }
        (reason, Some(rate)) if tells_a_rate(reason) => {
            format!("{}: {} {unit} a minute", plain_words(reason), signed(rate))
        }
        (reason, _) => plain_words(reason).into(),
    };
    match moving.pace {
        Pace::Assumed(seconds) => {
            format!("{why}; waits {} s because this meter's conversion time is unknown", short(seconds))
        }
        Pace::Stated(_) | Pace::Measured(_) => why,
    }
}

fn is_temperature(unit: Unit) -> bool {
    matches!(unit.kind(), Kind::Temperature | Kind::TemperatureDifference)
}

/// A rate says something where the value goes one way for long.
fn tells_a_rate(reason: MovingReason) -> bool {
    matches!(reason, MovingReason::Drifting | MovingReason::Slow)
}

fn plain_words(reason: MovingReason) -> &'static str {
    match reason {
        MovingReason::Approaching => "it still moves towards its end value",
        MovingReason::Noisy => "its noise hides on which side of a limit it is",
        MovingReason::Averaging => {
            "the meter averages, or the value flickers slowly: its errors hang together"
        }
        MovingReason::Overshooting => {
            "it overshoots: it has just come a long way and may come back some of it"
        }
        MovingReason::Charging => "the meter is still charging the part",
        MovingReason::Slow => {
            "slow probe, averaging, or it still warms: it settles more slowly than a meter does"
        }
        MovingReason::Drifting => "it drifts: part still in circuit, warming up, or a bad contact",
        MovingReason::Bouncing => "it jumps: bad contact, or the part is still in circuit",
    }
}

/// Two digits: a rate is a rough thing.
fn short(value: f64) -> String {
    let value = value.abs();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // between 0 and 9
    let decimals = (1.0 - libm::floor(libm::log10(value))).clamp(0.0, 9.0) as usize;
    let text = format!("{value:.decimals$}");
    if decimals == 0 { text } else { text.trim_end_matches('0').trim_end_matches('.').into() }
}

pub(crate) fn signed(value: f64) -> String {
    format!("{}{}", if value < 0.0 { "-" } else { "+" }, short(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moving(reason: MovingReason, pace: Pace) -> Moving {
        Moving { estimate: 1.0, half_width: 1.0, reason, readings_left: None, pace, rate_per_s: None }
    }

    #[test]
    fn a_temperature_that_goes_on_is_told_by_the_minute() {
        let said = |reason, rate| words(&moving(reason, Pace::Stated(0.5)), Some(rate), Unit::FAHRENHEIT);
        assert_eq!(said(MovingReason::Drifting, 0.05), "still warming 3 °F a minute");
        assert_eq!(said(MovingReason::Drifting, -0.0417), "still cooling 2.5 °F a minute");
        assert_eq!(said(MovingReason::Slow, 0.2), "still warming 12 °F a minute, or a slow probe");
    }

    #[test]
    fn other_quantities_drift() {
        let said = |reason, rate| words(&moving(reason, Pace::Measured(0.3)), rate, Unit::MICROFARAD);
        assert_eq!(
            said(MovingReason::Drifting, Some(-0.007)),
            "it drifts: part still in circuit, warming up, or a bad contact: -0.42 uF a minute"
        );
        assert_eq!(
            said(MovingReason::Slow, Some(0.0001)),
            "slow probe, averaging, or it still warms: it settles more slowly than a meter does: +0.006 uF a minute"
        );
        for rate in [None, Some(0.0), Some(f64::NAN)] {
            assert_eq!(
                said(MovingReason::Drifting, rate),
                "it drifts: part still in circuit, warming up, or a bad contact"
            );
        }
        assert_eq!(
            said(MovingReason::Bouncing, Some(3.0)),
            "it jumps: bad contact, or the part is still in circuit",
            "a jump has no rate"
        );
    }

    #[test]
    fn what_hangs_together_and_what_comes_back_have_words_and_no_rate() {
        let said = |reason| words(&moving(reason, Pace::Stated(0.5)), Some(1.0), Unit::AMPERE);
        assert_eq!(
            said(MovingReason::Averaging),
            "the meter averages, or the value flickers slowly: its errors hang together"
        );
        assert_eq!(
            said(MovingReason::Overshooting),
            "it overshoots: it has just come a long way and may come back some of it"
        );
    }

    #[test]
    fn what_an_unknown_meter_costs_is_told() {
        assert_eq!(
            words(&moving(MovingReason::Approaching, Pace::Assumed(4.0)), Some(1.0), Unit::AMPERE),
            "it still moves towards its end value; waits 4 s because this meter's conversion time is unknown"
        );
    }
}
