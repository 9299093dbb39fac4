//! The simulated meter: turns what the leads would show into frames of a profile, ten per second. Its noise comes
//! from a fixed seed. The figures are invented.

use std::path::Path;

use anyhow::Context as _;
use link::{Registry, SimulatedMeter, Step};
use quantity::{Coupling, Decimal, Flags, Instant, Reading, Sign, State, Unit};
use wire::Profile;

/// Time between two frames, milliseconds.
const FRAME_MS: u64 = 100;

/// What the leads show.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shows {
    pub(crate) unit: Unit,
    pub(crate) coupling: Option<Coupling>,
    /// Digits after the point.
    pub(crate) places: u8,
    pub(crate) signal: Signal,
}

/// How it behaves.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Signal {
    /// An open line: overload.
    Open,
    /// Settles at a value, with a little noise in the last digit.
    Rests {
        value: f64,
        /// Time constant of the approach, seconds.
        tau_s: f64,
    },
    /// Jumps about: a part still in its circuit.
    Jumps { low: f64, high: f64 },
}

/// The meter on its terminal.
pub(crate) struct Meter {
    played: SimulatedMeter,
    profile: Profile,
}

impl Meter {
    /// Plugs it in, with open leads on ohms.
    pub(crate) fn plug_in(link: &Path, profile: Profile) -> anyhow::Result<Self> {
        let first = Shows { unit: Unit::OHM, coupling: None, places: 2, signal: Signal::Open };
        let played = SimulatedMeter::plug_in(link, frames(profile.clone(), first))
            .context("the simulated meter got no pseudo-terminal")?;
        Ok(Self { played, profile })
    }

    pub(crate) fn selector(&self) -> String {
        self.played.selector()
    }

    /// Adds the adapter that opens it to the registry.
    pub(crate) fn join(&self, registry: Registry) -> Registry {
        self.played.join(registry)
    }

    /// From now on the leads show this.
    pub(crate) fn show(&self, shows: Shows) -> anyhow::Result<()> {
        self.played
            .play(frames(self.profile.clone(), shows))
            .context("the simulated meter takes no more commands")
    }
}

fn frames(profile: Profile, shows: Shows) -> impl FnMut() -> Option<Step> + Send {
    let mut count = 0_u32;
    let mut seed = 0x2545_f491_4f6c_dd1d_u64;
    move || {
        let t_s = f64::from(count) * 0.1;
        count = count.saturating_add(1);
        let reading = reading(shows, t_s, uniform(&mut seed));
        let bytes = wire::simulate::encode(&profile, &[reading]).ok()?;
        Some(Step::send(FRAME_MS, bytes))
    }
}

fn reading(shows: Shows, t_s: f64, noise: f64) -> Reading {
    let step = 0.1_f64.powi(i32::from(shows.places));
    let value = match shows.signal {
        Signal::Open => None,
        Signal::Rests { value, tau_s } => {
            let rest = if tau_s > 0.0 { (-t_s / tau_s).exp() } else { 0.0 };
            // Half a count of noise; a zero stays a zero, without a sign.
            let noise = if value == 0.0 { 0.0 } else { 0.6 * step * (noise - 0.5) };
            Some(value * (1.0 - rest) + noise)
        }
        Signal::Jumps { low, high } => Some(low + (high - low) * noise),
    };
    let digits =
        value.and_then(|value| Decimal::parse(&format!("{value:.*}", usize::from(shows.places))).ok());
    Reading {
        at: Instant::ZERO,
        seq: 0,
        channel: 0,
        display: quantity::DisplayUnit { unit: shows.unit, coupling: shows.coupling },
        state: digits.map_or(State::Overload(Sign::Positive), State::Value),
        flags: Flags::default(),
        accuracy: None,
        timing: quantity::Timing::default(),
    }
}

/// Uniform in 0..1, always the same sequence (xorshift, Marsaglia 2003).
fn uniform(seed: &mut u64) -> f64 {
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    (*seed >> 11) as f64 / (1_u64 << 53) as f64
}
