//! Meters on pseudo-terminals, played from a thread of their own: what the leads show, unplugged and plugged in again,
//! or nothing but noise. The figures are invented; the noise comes from a fixed seed.

use std::path::Path;
use std::sync::mpsc;
use std::thread::JoinHandle;

use link::{PtyMeter, PtyOptions, Script, Step};
use quantity::{Coupling, Decimal, Flags, Instant, Reading, Sign, State, Unit};
use tokio::sync::oneshot;
use wire::Profile;

use crate::folder::root;

/// What the leads of a `generic-line-meter` show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Leads {
    /// Ohms, open.
    Open,
    /// Comes to rest at this value, with noise in the last digit.
    On {
        /// The value.
        value: f64,
        /// Its unit.
        unit: Unit,
        /// ac or dc.
        coupling: Option<Coupling>,
        /// Digits after the point.
        places: u8,
    },
}

impl Leads {
    /// On a capacitor.
    #[must_use]
    pub fn microfarads(value: f64) -> Self {
        Self::On { value, unit: Unit::MICROFARAD, coupling: None, places: 2 }
    }

    /// On ohms.
    #[must_use]
    pub fn ohms(value: f64) -> Self {
        Self::On { value, unit: Unit::OHM, coupling: None, places: 2 }
    }

    /// On volts ac.
    #[must_use]
    pub fn volts_ac(value: f64) -> Self {
        Self::On { value, unit: Unit::VOLT, coupling: Some(Coupling::Ac), places: 1 }
    }

    /// The `count`th frame since the leads went on, as bytes; frames come ten a second.
    ///
    /// # Panics
    /// When the profile cannot send it.
    #[must_use]
    pub fn frame(self, profile: &Profile, count: u32) -> Vec<u8> {
        let reading = self.reading(count);
        let digits = Decimal::parse("21.4").expect("digits");
        // The binary class sends its probe jack in every frame.
        let probe = Reading {
            channel: 1,
            display: quantity::DisplayUnit { unit: Unit::CELSIUS, coupling: None },
            state: State::Value(digits),
            ..reading
        };
        wire::simulate::encode(profile, &[reading])
            .or_else(|_| wire::simulate::encode(profile, &[reading, probe]))
            .expect("the profile can send it")
    }

    fn reading(self, count: u32) -> Reading {
        let (unit, coupling, state) = match self {
            Self::Open => (Unit::OHM, None, State::Overload(Sign::Positive)),
            Self::On { value, unit, coupling, places } => {
                let last_digit = 0.1_f64.powi(i32::from(places));
                let rest = (-f64::from(count) * 0.1 / 0.15).exp();
                let shown = value * (1.0 - rest) + 0.6 * last_digit * (noise(count) - 0.5);
                let text = format!("{shown:.*}", usize::from(places));
                (unit, coupling, State::Value(Decimal::parse(&text).expect("digits")))
            }
        };
        Reading {
            at: Instant::ZERO,
            seq: 0,
            channel: 0,
            display: quantity::DisplayUnit { unit, coupling },
            state,
            flags: Flags::default(),
            accuracy: None,
            timing: quantity::Timing::default(),
        }
    }

    fn script(self, profile: Profile) -> impl Script {
        let mut count = 0;
        move || {
            let bytes = self.frame(&profile, count);
            count += 1;
            Some(Step::send(100, bytes))
        }
    }
}

/// Evenly spread in 0..1, by a hash of the count (the finaliser of SplitMix64, Steele et al. 2014).
fn noise(count: u32) -> f64 {
    f64::from(u32::try_from(mix(u64::from(count)) >> 32).expect("32 bits")) / f64::from(u32::MAX)
}

fn mix(seed: u64) -> u64 {
    let mut z = seed.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A meter on a pseudo-terminal. It ends when dropped.
pub struct Meter {
    pty: PtyMeter,
    profile: Profile,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Meter {
    /// Plugs in a `generic-line-meter` behind `link`.
    #[must_use]
    pub fn plug_in(link: &Path, leads: Leads) -> Self {
        Self::plug_in_as(link, "generic-line-meter", leads)
    }

    /// Plugs in a meter of this class (a folder of `hardware-notes`) behind `link`.
    #[must_use]
    pub fn plug_in_as(link: &Path, class: &str, leads: Leads) -> Self {
        let profile = Self::profile_of(class);
        Self::with(link, leads.script(profile.clone()), profile, PtyOptions::default())
    }

    /// Plugs in a device of this class that does what the script says: one that is asked.
    #[must_use]
    pub fn plug_in_script(link: &Path, class: &str, script: impl Script + 'static) -> Self {
        Self::with(link, script, Self::profile_of(class), PtyOptions::default())
    }

    /// Plugs in a device that does what the script says and sends at one rate; at another it is heard garbled.
    #[must_use]
    pub fn plug_in_at(link: &Path, baud: u32, script: impl Script + 'static) -> Self {
        let options = PtyOptions { baud: Some(baud), ..PtyOptions::default() };
        Self::with(link, script, Self::profile(), options)
    }

    /// The profile of the `generic-line-meter`.
    #[must_use]
    pub fn profile() -> Profile {
        Self::profile_of("generic-line-meter")
    }

    /// The profile of a class, a folder of `hardware-notes`.
    ///
    /// # Panics
    /// When there is none that loads.
    #[must_use]
    pub fn profile_of(class: &str) -> Profile {
        let path = root().join("hardware-notes").join(class).join("profile.toml");
        Profile::parse(&std::fs::read_to_string(path).expect("a shipped profile")).expect("a sound profile")
    }

    fn with(link: &Path, script: impl Script + 'static, profile: Profile, options: PtyOptions) -> Self {
        let (stop, stopped) = oneshot::channel::<()>();
        let (hand_over, handed) = mpsc::channel();
        let link = link.to_owned();
        let thread = std::thread::spawn(move || {
            let runtime =
                tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
            runtime.block_on(async move {
                let pty = PtyMeter::spawn(&link, script, options).expect("a pseudo-terminal");
                let _ = hand_over.send(pty);
                let _ = stopped.await;
            });
        });
        let pty = handed.recv().expect("a pseudo-terminal");
        Self { pty, profile, stop: Some(stop), thread: Some(thread) }
    }

    /// Puts the leads on something else.
    ///
    /// # Panics
    /// When the meter has ended.
    pub fn show(&self, leads: Leads) {
        self.pty.play(leads.script(self.profile.clone())).expect("the meter plays");
    }

    /// What the meter sends from now on, step by step.
    ///
    /// # Panics
    /// When the meter has ended.
    pub fn play(&self, script: impl Script + 'static) {
        self.pty.play(script).expect("the meter plays");
    }

    /// Pulls the plug.
    ///
    /// # Panics
    /// When the meter has ended.
    pub fn unplug(&self) {
        self.pty.unplug().expect("the meter is unplugged");
    }

    /// Plugs it in again.
    ///
    /// # Panics
    /// When the meter has ended.
    pub fn replug(&self) {
        self.pty.replug().expect("the meter is plugged in");
    }

    /// The selector that opens it.
    #[must_use]
    pub fn selector(&self) -> String {
        self.pty.selector()
    }
}

impl Drop for Meter {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// A device that sends 1 MB/s of garbage for `seconds`, then falls silent: 10 kB every 10 ms.
#[must_use]
pub fn babble(link: &Path, seconds: u64) -> Meter {
    let mut left = seconds * 100;
    let mut seed = 1_u64;
    let script = move || {
        left = left.checked_sub(1)?;
        let bytes: Vec<u8> = (0..1250)
            .flat_map(|_| {
                seed = mix(seed);
                seed.to_le_bytes()
            })
            .collect();
        Some(Step::send(10, bytes))
    };
    Meter::with(link, script, Meter::profile(), PtyOptions::default())
}
