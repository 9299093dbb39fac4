//! A slope that does not fade and that the caller accepts: the value of now, and how far it is known. Whether it fades is
//! found elsewhere (`watch`).

use quantity::Instant;

use super::interval::Interval;
use super::obs::{Obs, mean};
use super::quantile::normal_upper;
use super::spec::{STEP_SD, SettleSpec};
use super::tempo::quick_scatter;
use super::types::{How, Settled};
use super::watch::{DRIFT_READINGS, tail};

/// The value is the mean of at most so many newest readings. Our own choice: enough to quiet the noise, soon read.
const NEWEST: usize = 8;

/// A drift that is accepted.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Drifts {
    /// Mean of the newest readings, carried on at the rate to now.
    value: f64,
    standard_uncertainty: f64,
    /// What it moves while the newest readings are taken, and the noise at the stated risk.
    half_width: f64,
    rate_per_s: f64,
}

/// The settled value of now, where the caller accepts such a drift; `n` conversions since contact at `since`.
pub(super) fn settled(
    obs: &[Obs],
    since: Instant,
    now: Instant,
    n: usize,
    spec: &SettleSpec,
) -> Option<(Settled, Interval)> {
    let drifts = accepted(obs, (now - since).seconds(), spec)?;
    let half_width = drifts.half_width.max(spec.settle_floor);
    let interval = Interval { low: drifts.value - half_width, high: drifts.value + half_width };
    let settled = Settled {
        value: drifts.value,
        standard_uncertainty: drifts.standard_uncertainty,
        half_width,
        low: interval.low,
        high: interval.high,
        at_rest: true,
        n: u32::try_from(n).unwrap_or(u32::MAX),
        since,
        how: How::Drifting,
        drift_per_s: Some(drifts.rate_per_s),
    };
    Some((settled, interval))
}

/// The drift of these readings, if it is no faster than [`SettleSpec::drift_accepted_per_s`]; `now_s` since contact.
fn accepted(obs: &[Obs], now_s: f64, spec: &SettleSpec) -> Option<Drifts> {
    let recent = tail(obs, DRIFT_READINGS);
    let third = recent.len() / 3;
    let mut thirds = recent.rchunks(third.max(1)).map(mean);
    let ((t2, y2), (t1, y1)) = (thirds.next()?, thirds.next()?);
    let rate_per_s = (y2 - y1) / (t2 - t1);
    if !(libm::fabs(rate_per_s) <= spec.drift_accepted_per_s && spec.drift_accepted_per_s > 0.0) {
        return None;
    }
    let newest = tail(obs, NEWEST);
    let (t, y) = mean(newest);
    let sd = quick_scatter(recent).max(spec.noise_floor);
    let rate_error = sd * libm::sqrt(2.0 / third as f64) / (t2 - t1);
    let noise = libm::hypot(sd / libm::sqrt(newest.len() as f64), rate_error * (now_s - t));
    let read_s = now_s - newest.first()?.t_s;
    let half_width =
        libm::fabs(rate_per_s) * read_s + noise * normal_upper(0.5 * spec.risk) + 0.5 * spec.resolution;
    Some(Drifts {
        value: y + rate_per_s * (now_s - t),
        standard_uncertainty: libm::hypot(noise, STEP_SD * spec.resolution),
        half_width,
        rate_per_s,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 60 readings, one a second, that fall by 0.02 a second.
    fn falling() -> alloc::vec::Vec<Obs> {
        let at = |i: i32| Obs {
            t_s: f64::from(i),
            value: 70.0 - 0.02 * f64::from(i),
            decay: 1.0,
            bouncing: false,
        };
        (0..60).map(at).collect()
    }

    #[test]
    fn the_value_is_that_of_now_and_the_interval_holds_what_it_moves_while_it_is_read() {
        let spec = SettleSpec { drift_accepted_per_s: 0.021, ..SettleSpec::temperature(0.1) };
        let drifts = accepted(&falling(), 60.0, &spec).unwrap();
        assert!((drifts.value - 68.8).abs() < 1e-9, "{drifts:?}");
        assert!((drifts.rate_per_s + 0.02).abs() < 1e-9, "{drifts:?}");
        assert!(drifts.half_width >= 8.0 * 0.02, "{drifts:?}");
    }

    #[test]
    fn a_faster_one_is_not_accepted_and_none_is_by_silence() {
        for accepted_per_s in [0.019, 0.0] {
            let spec = SettleSpec { drift_accepted_per_s: accepted_per_s, ..SettleSpec::temperature(0.1) };
            assert_eq!(accepted(&falling(), 60.0, &spec), None);
        }
        let mut still = falling();
        still.iter_mut().for_each(|obs| obs.value = 70.0);
        assert_eq!(accepted(&still, 60.0, &SettleSpec::temperature(0.1)), None);
        let spec = SettleSpec { drift_accepted_per_s: 1.0, ..SettleSpec::temperature(0.1) };
        assert_eq!(accepted(&[], 60.0, &spec), None);
        assert_eq!(accepted(&falling()[..1], 60.0, &spec), None);
    }

    #[test]
    fn the_figures_are_those_of_the_mean_and_the_slope_of_two_thirds() {
        let spec = SettleSpec { drift_accepted_per_s: 0.021, ..SettleSpec::temperature(0.1) };
        let drifts = accepted(&falling(), 60.0, &spec).unwrap();
        // The newest eight have their mean at 55.5 s. Noise of the floor, 0.1 / sqrt(12) = 0.0288675: over sqrt(8) 0.0102062; of the
        // rate 0.0288675 x sqrt(2 / 20) / 20 s = 0.000456, over 4.5 s 0.0020540. Both: 0.0104108.
        let near = |found: f64, expected: f64| (found / expected - 1.0).abs() < 1e-3;
        assert!(near(drifts.standard_uncertainty, libm::hypot(0.010_410_8, 0.028_867_5)), "{drifts:?}");
        // It moves 0.02 x 8 s while they are read; z(0.0005) = 3.2905; half a step.
        assert!(near(drifts.half_width, 0.16 + 3.2905 * 0.010_410_8 + 0.05), "{drifts:?}");
        // The scatter of the readings counts where it is more: to and fro by 0.2 is 0.4 in second differences.
        let mut noisy = falling();
        noisy.iter_mut().step_by(2).for_each(|obs| obs.value += 0.2);
        let drifts = accepted(&noisy, 60.0, &spec).unwrap();
        let noise = 0.4 / 6.0_f64.sqrt() * libm::hypot(1.0 / 8.0_f64.sqrt(), 0.1_f64.sqrt() / 20.0 * 4.5);
        assert!(near(drifts.standard_uncertainty, libm::hypot(noise, 0.028_867_5)), "{drifts:?}");
    }

    #[test]
    fn what_is_given_out_is_the_value_of_now_with_its_rate_and_no_narrower_than_the_floor() {
        let spec =
            SettleSpec { drift_accepted_per_s: 0.021, settle_floor: 0.1, ..SettleSpec::temperature(0.1) };
        let (since, now) = (Instant::from_micros(5_000_000), Instant::from_micros(65_000_000));
        let (reading, interval) = settled(&falling(), since, now, 60, &spec).unwrap();
        assert_eq!(
            (reading.n, reading.since, reading.how, reading.at_rest),
            (60, since, How::Drifting, true)
        );
        let near = |found: f64, expected: f64| (found - expected).abs() < 2e-4;
        assert!(near(reading.value, 68.8) && near(reading.half_width, 0.244_26), "{reading:?}");
        assert!(near(interval.low, 68.8 - 0.244_26) && near(interval.high, 68.8 + 0.244_26), "{interval:?}");
        assert_eq!((reading.low, reading.high), (interval.low, interval.high));
        assert!(near(reading.drift_per_s.unwrap(), -0.02));
        let wide = SettleSpec { settle_floor: 0.5, ..spec };
        assert_eq!(settled(&falling(), since, now, 60, &wide).unwrap().0.half_width, 0.5);
    }
}
