//! Settling: when a reading has stopped moving, and no later. Holds the settler; knows nothing of limits, verdicts or
//! rules beyond a list of thresholds, reads no clock, opens no link.
//!
//! # The question
//!
//! The *settled value* `x` is what a long hold would show. A verdict changes only where `x` crosses one of the *thresholds*
//! the caller names. The settler keeps an interval that holds `x` except at the stated risk, and stops when no threshold is
//! left inside: then the word is certain and the value need not be. Word and figure part ways: [`Settled::at_rest`] says
//! whether `value` is a figure; until then only `low` and `high` are known.
//!
//! # Conversions, not frames
//!
//! A meter sends its display many times between two measurements. Equal digits within one conversion are one reading
//! (`conversion`). The time of a conversion is stated by the profile, or shown by the stream, or assumed at its cautious
//! longest; [`Moving::pace`] says which. The first conversion of a contact saw a part of it only and never decides.
//!
//! # What is assumed, and what happens when it fails
//!
//! | assumed | tested by | when it fails |
//! |---|---|---|
//! | what is left of an approach that is *not seen to move* shrinks by a factor e in [`SettleSpec::tau_s`] | nothing: it is too small to be seen | the interval given out leaves room for one as slow as [`SettleSpec::tau_max_s`] (`unseen`) |
//! | a movement that *is seen* fades no more slowly than the stream shows, or four [`SettleSpec::tau_max_s`] where it does not tell | three neighbouring blocks of 1 to 32 readings (`tempo`) | the interval reaches four of these times ahead of the slope, reason `Slow`; a slope that lasts is `Drifting`, and nothing settles |
//! | under a probe's approach no slope hides that goes on for longer than [`SettleSpec::slope_s`] | the rate at which the newest readings are seen to move | until that rate has faded the interval reaches as far ahead |
//! | a filter that rings comes back by at most [`SettleSpec::rebound`] of its travel | nothing | a word on the way up may be wrong; it is safe again once the reading has stood for as long as it moved (`swing`) |
//! | no three conversions in a row are off the same way; fewer may be | a jump out of rest, which no approach makes | until three stand beyond the jump, the interval reaches all the way back (`swing`) |
//! | errors are independent, of one deviation, at most [`SettleSpec::noise_ceiling`] | scatter of the window; scatter from reading to reading against that over the window | the ceiling is dropped; what hangs together widens the interval by four of its deviations. A flicker slower than the wait cannot be seen: the interval given out leaves room for it (`unseen`) |
//! | the display moves in steps of its last digit | common divisor of the changes (`grain`) | the step is what the changes show; a stuck digit on a value that never moved cannot be seen |
//! | bounce does not repeat itself: no three conversions of it agree, nor two that lie a second apart | | the contact begins anew at each jump |
//! | two partial conversions in a row differ, or the pace is stated or not longer than assumed | runs of equal digits between big steps | a word may rest on a partial conversion; the round amends it |
//!
//! # One look
//!
//! A window of readings is split into an early block of `a` and a late block of `b`. The rest of the approach in the
//! late block is `-g` times the step `D` between the block means, for some `g` between 0 (over) and `G = r / (1 - r)`, `r`
//! the ratio of the blocks' means of `exp(-t / tau)`. So `x` is the mean of `late + g D` for that `g`, a normal variable with
//! standard deviation `sigma sqrt((1 + g)^2 / b + g^2 / a)`. An interval end is `late + g D` plus a quantile times this,
//! convex in `g`: its largest value lies at `g = 0` or `g = G`, and the hull of the two holds `x` without knowing `g`.
//! Rounding adds at most half a step times `1 + 2 G`, less once the scatter proves that the noise spans the steps. The noise
//! is bounded by its ceiling with the normal quantile and by the scatter with Student's; the smaller counts, each with half
//! the probability.
//!
//! `tau` comes from the stream. Of an exponential the steps between neighbouring blocks stand as `exp(-time / tau)`; the
//! earlier taken at its least and the later at its most give the longest `tau` that the blocks allow, and a quarter is added.
//! The longest over all spans counts: a slow part under a fast one shows on short spans, a drift on long ones. This is a
//! test at 3 standard errors, not a bound with the stated risk: it is checked by simulation.
//!
//! # All looks together
//!
//! Each look (start, length, all of the window or its ends) has a share of the risk fixed in advance; all shares add up to 1
//! (`budget`), so by the union bound the chance that any look misses is at most the risk, whatever the stopping rule and
//! however the thresholds change, as far as the assumptions hold. Windows hold at most 128 readings; of a fast meter some are
//! passed over by their times alone. Only looks that end at the newest reading settle. If the looks contradict each other the
//! value has walked, and a new stretch begins.
//!
//! # When it stops
//!
//! Three conversions after the first, or two that lie a second apart; the least time of a probe is over; then
//! - [`How::BeyondDoubt`]: no threshold inside the interval that is given out: no narrower than two settle floors to either side of
//!   the value (a stuck digit is a part of the meter's own uncertainty; no stream shows it in time), nor than what the newest
//!   readings may hide: a tail or a flicker of the longest time constant (`unseen`);
//! - [`How::FullySettled`]: the interval is no wider than two settle floors (the round sets the floor to the meter's own standard
//!   uncertainty);
//! - [`How::TimeLimit`]: only noise is left after [`SettleSpec::time_limit_s`].
//!
//! After that it goes on: a value that was beyond doubt comes to rest, or walks away.
//!
//! # Told apart
//!
//! | seen | said |
//! |---|---|
//! | overload, or zero where that means open leads | `LiftedOff` once, then `Empty`; within the first two readings `BounceRejected` |
//! | one conversion that jumps and comes back | `BounceRejected`, the rest stands |
//! | two that jump | the value is elsewhere: settling begins anew |
//! | climbing from zero on a charging range | `Moving`, `Charging` |
//! | slope that fades, and one that fades too slowly | `Moving`, `Approaching`; `Moving`, `Slow` with its rate |
//! | slope that does not fade in two time constants, above [`SettleSpec::drift_per_s`] | `Moving`, `Drifting`; never settled, unless the caller accepts such a drift ([`How::Drifting`]) |
//! | noise that hides the side of a limit | `Moving`, `Noisy`; `Averaging` where what hangs together makes up much of the interval |
//! | a long way come just now, and some of it may come back | `Moving`, `Overshooting` |
//! | hold flag | `Held`; begins anew after |
//! | the same digits where there was noise, longer than chance allows | `Frozen` |
//! | the same digits, never any noise | a quiet reading, until [`SettleSpec::frozen_after_s`]; the digits alone tell no more |
//! | no readings for [`SettleSpec::silence_s`] | [`Settler::check_silence`] |
//!
//! # How well
//!
//! `cargo bench -p pipeline --bench settling` drives frames through the product on 44 families of streams;
//! `cargo bench -p judge --bench settle` the settler alone, beside a fixed window of 16 and Wald's lower bound.

mod budget;
mod contact;
mod conversion;
mod drift;
mod grain;
mod interval;
mod obs;
mod quantile;
mod settler;
mod spec;
mod swing;
mod tempo;
#[cfg(test)]
mod tests;
mod thresholds;
mod types;
mod unseen;
mod watch;
mod window;

pub use settler::Settler;
pub use spec::{OpenReads, SettleSpec, SpecError};
pub use thresholds::Ask;
pub use types::{Displayed, How, Moving, MovingReason, Pace, Sample, Settled, Settling, Silence};
