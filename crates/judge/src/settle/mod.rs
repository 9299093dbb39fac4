//! Settling: when a reading has stopped moving, and no later. Holds the settler; knows nothing of limits, verdicts or
//! rules beyond a list of thresholds, reads no clock, opens no link.
//!
//! # The question
//!
//! The *settled value* `x` is what an infinitely long hold would show. A verdict changes only where `x` crosses one of
//! the *thresholds* the caller names. The settler keeps an interval that holds `x` at every moment except with
//! probability [`SettleSpec::risk`] in all, and stops when no threshold is left inside. So a value far from every limit
//! is done after a few readings and a value near one waits.
//!
//! # Model
//!
//! `y_k = round(x + R(t_k) + e_k)`, rounded to [`SettleSpec::resolution`], where
//!
//! 1. `R` is an approach of any shape that keeps its sign and shrinks by at least a factor e in every
//!    [`SettleSpec::tau_max_s`]: one exponential, a sum of them, a filter of the meter, or nothing.
//! 2. `e_k` are independent Gaussian errors of one unknown standard deviation, at least nothing and at most
//!    [`SettleSpec::noise_ceiling`].
//! 3. Contact bounce (dropouts to zero, overload, partial values) ends with readings that do not pose as settled: no three
//!    readings of a bounce in a row agree within ten noise ceilings, nor do three follow the pattern of an approach.
//!    Readings within [`SettleSpec::bounce_s`] of contact may be anything.
//! 4. Times are those of the readings, strictly increasing. Readings that share a time with the last are ignored.
//!
//! Outside the model nothing is promised: a longer time constant, an approach that overshoots, errors that hang together
//! over many readings (an averaging meter), a slope that goes on. The benchmark shows what happens then.
//!
//! # One look
//!
//! A window of readings is split into an early block of `a` and a late block of `b`. By 1 the rest of the approach in the
//! late block is `-g` times the step `D` between the block means, for some `g` between 0 (over) and
//! `G = r / (1 - r)`, `r` the ratio of the blocks' means of `exp(-t / tau_max)`. So `x` is the mean of
//! `late + g D` for that `g`, a normal variable with standard deviation `sigma sqrt((1 + g)^2 / b + g^2 / a)`. An interval
//! end is `late + g D` plus a quantile times this, which is convex in `g`: its largest value lies at `g = 0` or `g = G`.
//! The hull of these two intervals therefore holds `x` at the same probability without knowing `g`, `R` or the time
//! constant. Rounding adds at most half a step times `1 + 2 G`, less once the scatter proves that the noise spans the
//! steps.
//!
//! The noise is bounded in two ways and the smaller counts, each with half the probability: the ceiling with the normal
//! quantile, and the scatter about the block means (about two lines of one slope from seven readings on) with Student's
//! quantile. The scatter is independent of the block means, and an approach only makes it larger, so Student's
//! quantile stays valid while the reading moves. The ceiling is dropped for a window whose scatter contradicts it.
//!
//! # All looks together
//!
//! Repeating a test at each reading would multiply the risk. Each look (start, length, all of the window or its ends) has
//! a share of the risk fixed in advance; all shares add up to 1 (`budget`), so by the union bound the chance that *any*
//! look misses is at most the risk, whatever the stopping rule, the thresholds, or when they change. Late starts forget
//! the beginning of an approach. The union bound is generous: in simulations at the edge of the model about one stream in
//! ten thousand had a miss among its first 40 readings at a risk of one in a thousand.
//!
//! Windows hold at most 128 readings. Of a meter so fast that they would not reach back over several `tau_max`, readings
//! are passed over by their times alone (ten a second of a temperature would otherwise never settle fully).
//!
//! Only the looks that end at the newest reading settle; the intersection of all looks serves to watch. If it becomes empty
//! the model was wrong or the value has walked away, and a new stretch begins at the newest reading. Each stretch has the
//! whole risk for itself.
//!
//! # When it stops
//!
//! Three readings at least, the last three without a break between them (or on an approach), then
//! - [`How::BeyondDoubt`]: no threshold inside the closed interval;
//! - [`How::FullySettled`]: the interval is no wider than two settle floors: as settled as the display can show;
//! - [`How::TimeLimit`]: only noise is left after [`SettleSpec::time_limit_s`].
//!
//! *Which contradictions count towards the risk:* after `BeyondDoubt`, any threshold between `value` and `x`; after the other
//! two, a threshold between them only if `x` also lies farther from `value` than `half_width`. For an `x` within a fraction
//! of a display step of a threshold no method can do better: the verdict there has to carry the uncertainty.
//!
//! # Told apart
//!
//! | seen | said |
//! |---|---|
//! | overload, or zero where that means open leads | `LiftedOff` once, then `Empty`; within the first two readings `BounceRejected` |
//! | one reading that jumps and comes back | `BounceRejected`, the rest stands |
//! | two that jump | the value is elsewhere: settling begins anew |
//! | climbing from zero on a charging range | `Moving`, `Charging` |
//! | slope that fades | `Moving`, `Approaching` |
//! | slope that does not fade in two time constants, above [`SettleSpec::drift_per_s`] | `Moving`, `Drifting`; never settled |
//! | noise that hides the side of a limit | `Moving`, `Noisy` |
//! | hold flag | `Held`; begins anew after |
//! | the same digits where there was noise, longer than chance allows | `Frozen` |
//! | the same digits, never any noise | a quiet reading, until [`SettleSpec::frozen_after_s`]; the digits alone tell no more |
//! | no readings for [`SettleSpec::silence_s`] | [`Settler::check_silence`] |
//!
//! After settling it goes on watching and un-settles on any of these. `Settled` keeps its first value until then, or until
//! a new threshold falls into the interval.
//!
//! # How near the best possible
//!
//! `cargo bench -p judge --bench settle` compares with a fixed window of 16 and with Wald's lower bound for tests that know
//! noise and approach beforehand. What the settler pays over the bound: not knowing the noise (three readings rather than
//! one), not knowing the approach, and the union bound (near a limit some ten times the bound).

mod budget;
mod contact;
mod conversion;
mod grain;
mod interval;
mod quantile;
mod settler;
mod spec;
mod swing;
mod tempo;
#[cfg(test)]
mod tests;
mod types;
mod watch;
mod window;

pub use settler::Settler;
pub use spec::{OpenReads, SettleSpec, SpecError};
pub use types::{How, Moving, MovingReason, Pace, Sample, Settled, Settling, Shown, Silence};
