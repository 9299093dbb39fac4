//! Hold points: conditions that must be shown before a check may give a verdict, how each can be shown, how long the
//! showing lasts, and the caution that belongs to it. Does not decide when to ask; the round does.
//!
//! The cautions are the usual ones of the trade and replace no training: local codes, the site's own procedure and
//! licensed practice come first. Lapse times are our own choice (no source); shorter is safer.

use alloc::string::String;
use alloc::vec::Vec;

use judge::rule::UnitState;
use quantity::{Duration, Instant};

use crate::act::By;

pub mod proof;

/// How far a showing reaches: another check may rest on it only inside this scope.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scope {
    /// Holds for the whole unit (locked out).
    Unit,
    /// Holds for one refrigerant circuit of the unit (running steady).
    Circuit,
    /// Holds for this component of this unit (discharged).
    Component,
    /// Holds for this component and for the one that it serves (capacitor proved).
    Served,
    /// Holds for the leads of one device, wherever they go (leads proved).
    Leads,
}

/// How the stream itself can show a hold point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ByStream {
    /// Only the mechanic can show it.
    No,
    /// Leads shorted: settled below [`proof::LEAD_OHM_MAX`]; then open.
    LeadsShortedThenOpen,
    /// Leads open: the meter shows overload on resistance.
    LeadsOpen,
    /// Volts ac: a named live source, then every pair of the supply dead, then the live source again.
    LiveDeadLive,
    /// Volts dc settled below [`proof::RESIDUAL_V_MAX`] on every pair of the part's terminals and from each to its case.
    Discharged,
}

/// What a hold point says of its unit's power. Isolation and life never stand together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Power {
    /// It rests on isolation: any sign of life on the unit ends it.
    Isolated,
    /// It is a sign of life: it ends all that rests on isolation, and isolation ends it.
    Live,
    /// Nothing.
    Any,
}

/// What the engine knows of a hold point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Known {
    /// The name rules use.
    pub name: &'static str,
    /// How far it reaches.
    pub scope: Scope,
    /// How long it lasts before it lapses.
    pub lasts: Duration,
    /// A unit that is energised again undoes it.
    pub undone_by_power: bool,
    /// It counts only when shown after those before it in a rule's list.
    pub keeps_order: bool,
    /// How the stream can show it.
    pub by_stream: ByStream,
    /// What to do, one sentence to the mechanic.
    pub ask: &'static str,
    /// The caution that belongs to it.
    pub caution: &'static str,
    /// What it says of the unit's power.
    pub power: Power,
    /// Only a clear pass of a check shows it, no conditional one: gas, flue, pressure and volts.
    pub by_clear_pass_only: bool,
    /// What puts back whatever was taken off, opened or forced to show it; `None` where nothing was.
    pub owes: Option<&'static str>,
}

const MINUTE: i64 = 60;

/// The hold points the engine knows. A rule may name others; those only the mechanic can confirm.
pub const KNOWN: [Known; 22] = [
    Known {
        name: "locked out",
        scope: Scope::Unit,
        lasts: Duration::from_secs(240 * MINUTE),
        undone_by_power: true,
        keeps_order: true,
        by_stream: ByStream::No,
        ask: "Lock and tag every source of this unit, keep the key, try to start it, put the control back to off.",
        caution: "Every source: line, control back-feed, convenience outlet, gas, stored spring or pressure. \
                  Block fan wheels: they windmill. A switch or thermostat is not isolation. Follow the site's lockout procedure; \
                  work inside is for qualified persons under local codes.",
        power: Power::Isolated,
        by_clear_pass_only: false,
        owes: None,
    },
    Known {
        name: "proved dead",
        scope: Scope::Unit,
        lasts: Duration::from_secs(60 * MINUTE),
        undone_by_power: true,
        keeps_order: true,
        by_stream: ByStream::LiveDeadLive,
        ask: "Live-dead-live: name a known live source that is not this unit and read it (V ac, 90 V at least); then name each \
              pair and read it dead; then the live source again.",
        caution: "An open disconnect is not proof: one blade may be welded. Treat as live, and dress for it, until proved. Test the \
                  tester before and after, every phase to phase and to ground, at each point of work.",
        power: Power::Isolated,
        by_clear_pass_only: false,
        owes: None,
    },
    Known {
        name: "discharged",
        scope: Scope::Component,
        lasts: Duration::from_secs(10 * MINUTE),
        undone_by_power: true,
        keeps_order: true,
        by_stream: ByStream::Discharged,
        ask: "Discharge through a resistor (about 20 kohm, 5 W) until every pair, and each terminal to the case, reads below 5 V \
              dc: name each pair, then read it. A bleeder is proved by this reading, never assumed.",
        caution: "Stored charge can kill. Treat the capacitor as live while discharging: gloves, insulated leads, \
                  a resistor and not a screwdriver. A large capacitor takes half a minute. A bleeder may be open: measure.",
        power: Power::Isolated,
        by_clear_pass_only: false,
        owes: None,
    },
    Known {
        name: "one lead off",
        scope: Scope::Component,
        lasts: Duration::from_secs(30 * MINUTE),
        undone_by_power: true,
        keeps_order: true,
        by_stream: ByStream::No,
        ask: "Take the part off its wires on all sides but one (dual: HERM and FAN both off); note where each went.",
        caution: "A part still in circuit reads the winding across it. Wires only come off dead and discharged terminals.",
        power: Power::Isolated,
        by_clear_pass_only: false,
        owes: Some("wires back on, each where it was, spades tight"),
    },
    Known {
        name: "all leads off",
        scope: Scope::Component,
        lasts: Duration::from_secs(30 * MINUTE),
        undone_by_power: true,
        keeps_order: true,
        by_stream: ByStream::No,
        ask: "Take every lead off the motor and off whatever feeds it, at both ends: no contactor, transformer, board or drive \
              stays in the path. Note where each went.",
        caution: "The test voltage kills electronics and can kill you: nobody touches the leads, and the winding is discharged \
                  for a minute afterwards. Never test in a vacuum or through a drive.",
        power: Power::Isolated,
        by_clear_pass_only: false,
        owes: Some("all leads back on, each where it was, spades tight"),
    },
    Known {
        name: "sensor off its wires",
        scope: Scope::Component,
        lasts: Duration::from_secs(30 * MINUTE),
        undone_by_power: true,
        keeps_order: true,
        by_stream: ByStream::No,
        ask: "Take the sensor off its wires, so that the control is not read with it.",
        caution: "The control may act on the lost sensor: put it to hand first. Low voltage wires share trays with the line.",
        power: Power::Any,
        by_clear_pass_only: false,
        owes: Some("sensor back on its wires"),
    },
    Known {
        name: "leads proved",
        scope: Scope::Leads,
        lasts: Duration::from_secs(60 * MINUTE),
        undone_by_power: false,
        keeps_order: false,
        by_stream: ByStream::LeadsShortedThenOpen,
        ask: "On ohms, clip the leads together (below 0.5 ohm, steady), then apart (open).",
        caution: "A broken lead reads like a dead part, a shorted one like a good fuse.",
        power: Power::Any,
        by_clear_pass_only: false,
        owes: None,
    },
    Known {
        name: "leads open",
        scope: Scope::Leads,
        lasts: Duration::from_secs(10 * MINUTE),
        undone_by_power: false,
        keeps_order: false,
        by_stream: ByStream::LeadsOpen,
        ask: "On ohms, hold the leads apart: the meter must show an open line.",
        caution: "A number on open leads means a damaged lead or wet hands.",
        power: Power::Any,
        by_clear_pass_only: false,
        owes: None,
    },
    Known {
        name: "live work approved",
        scope: Scope::Component,
        lasts: Duration::from_secs(15 * MINUTE),
        undone_by_power: false,
        keeps_order: true,
        by_stream: ByStream::No,
        ask: "Confirm that this reading must be taken live, and that you may take it.",
        caution: "Live terminals, 400 V and more across a running capacitor. Only where a dead test cannot answer, only \
                  qualified persons with the protective equipment and permit the site and local codes ask for, \
                  meter and leads rated for the circuit, CAT III 600 V at least. Clip on dead, then energise.",
        power: Power::Any,
        by_clear_pass_only: false,
        owes: None,
    },
    Known {
        name: "power on",
        ask: "Everything back in its place, people clear, covers on as far as the readings allow: then take the locks off and switch \
              the unit on.",
        caution: "Whoever put a lock on takes it off. Stand aside of the switch. Live terminals: qualified persons only, under local \
                  codes.",
        power: Power::Live,
        ..BY_CHECK
    },
    Known {
        name: "running",
        scope: Scope::Circuit,
        lasts: Duration::from_secs(60 * MINUTE),
        undone_by_power: true,
        ask: "What is to be judged runs, in the stage that is to be judged.",
        caution: "Rotating fans and belts: sleeves and cords away. Know how to stop it before you reach in.",
        power: Power::Live,
        ..BY_CHECK
    },
    Known {
        name: "supply proved",
        by_clear_pass_only: true,
        ask: "Supply volts first: check them on this unit. A pass of that check shows this by itself.",
        caution: "Everything behind a bad supply looks bad. Live terminals: qualified persons only, under local codes.",
        ..BY_CHECK
    },
    Known {
        name: "contactor proved",
        scope: Scope::Served,
        ask: "Contactor first: check the poles of the one that serves this. A pass shows this by itself.",
        caution: "A compressor that hums and trips is more often a contact or a capacitor than a compressor.",
        ..BY_CHECK
    },
    Known {
        name: "capacitor proved",
        scope: Scope::Served,
        ask: "Capacitor first, where the motor has one: check the one that serves this. A pass shows this by itself; confirm it where \
              there is none.",
        caution: "A weak capacitor reads like a bad compressor and is the cheaper part.",
        ..BY_CHECK
    },
    Known {
        name: "airflow proved",
        ask: "Airflow first: check it on this unit (rise, split or static). A pass shows this by itself.",
        caution: "No charge is judged before the air moves: a dirty filter reads like a lack of refrigerant.",
        ..BY_CHECK
    },
    Known {
        name: "gas pressures proved",
        by_clear_pass_only: true,
        ask: "Inlet and manifold pressure first: check them on this unit. A pass shows this by itself.",
        caution: "No burner is tuned before inlet and manifold pressure are right. Licensed persons only, where local codes say so.",
        ..BY_CHECK
    },
    Known {
        name: "flue gas safe",
        by_clear_pass_only: true,
        lasts: Duration::from_secs(60 * MINUTE),
        ask: "Carbon monoxide first: check the flue gas of this unit. A pass shows this by itself.",
        caution: "Carbon monoxide overrides everything. Above the limit: shut the unit down, ventilate, find the cause \
                  before anything else. Wear an alarm of your own.",
        ..BY_CHECK
    },
    Known {
        name: "no gas smell",
        by_clear_pass_only: true,
        lasts: Duration::from_secs(30 * MINUTE),
        ask: "Smell for gas at the cabinet and along the pipe, and test the joints you will open or have opened.",
        caution: "Gas in the air: no flame, no switch, everybody out of it, shut the gas off where that is safe, and call. \
                  Gas work is for licensed persons where local codes say so.",
        ..BY_CHECK
    },
    Known {
        name: "running steady",
        scope: Scope::Circuit,
        lasts: Duration::from_secs(30 * MINUTE),
        undone_by_power: true,
        ask: "The compressor has run for 15 minutes without a break, in the stage that is to be judged.",
        caution: "Rotating fans, hot discharge lines, live terminals: panels on as far as the readings allow, sleeves and cords away.",
        power: Power::Live,
        ..BY_CHECK
    },
    Known {
        name: "burner steady",
        lasts: Duration::from_secs(30 * MINUTE),
        undone_by_power: true,
        ask: "The burner has run for 10 minutes without a break, in the stage that is to be judged, panels on.",
        caution: "Hot flue and heat exchanger; flame roll-out burns. Keep face and hands away from the burner box while it lights.",
        power: Power::Live,
        ..BY_CHECK
    },
    Known {
        name: "economiser shut",
        lasts: Duration::from_secs(60 * MINUTE),
        undone_by_power: true,
        ask: "The outside-air damper is shut, seen and not only commanded.",
        caution: "A damper driven by hand moves again by itself: keep fingers out of the linkage.",
        owes: Some("damper back under its control"),
        ..BY_CHECK
    },
    Known {
        name: "stage known",
        scope: Scope::Circuit,
        lasts: Duration::from_secs(60 * MINUTE),
        undone_by_power: true,
        ask: "It is known which compressors, burners and fan speeds run, and the control will not change them meanwhile.",
        caution: "Held by force at a terminal: put it back afterwards.",
        owes: Some("control back to automatic, nothing forced"),
        ..BY_CHECK
    },
];

/// A condition of the whole unit that other work shows, in no order with the rest.
const BY_CHECK: Known = Known {
    name: "",
    scope: Scope::Unit,
    lasts: Duration::from_secs(240 * MINUTE),
    undone_by_power: false,
    keeps_order: false,
    by_stream: ByStream::No,
    ask: "",
    caution: "",
    power: Power::Any,
    by_clear_pass_only: false,
    owes: None,
};

/// What the engine knows of the hold point with this name.
#[must_use]
pub fn known(name: &str) -> Option<&'static Known> {
    KNOWN.iter().find(|known| known.name == name)
}

/// Scope, lapse and the rest for any name; unknown names reach one component, last 30 minutes, are undone by power and
/// only the mechanic can show them.
#[must_use]
pub fn of(name: &str) -> Known {
    known(name).copied().unwrap_or(Known {
        name: "",
        scope: Scope::Component,
        lasts: Duration::from_secs(30 * MINUTE),
        undone_by_power: true,
        keeps_order: true,
        by_stream: ByStream::No,
        ask: "Confirm this hold point.",
        caution: "Follow the site's procedure; local codes and licensed practice come first.",
        power: Power::Isolated,
        by_clear_pass_only: false,
        owes: None,
    })
}

/// The hold points that lead to this state of a unit and are not listed: they come before the others.
#[must_use]
pub fn leading_to(state: UnitState, listed: &[String]) -> Vec<&'static str> {
    let is_listed = |name: &str| listed.iter().any(|listed| listed == name);
    let way: &[&str] = match state {
        UnitState::Any => &[],
        UnitState::Isolated => &["locked out"],
        UnitState::Energised => &["power on"],
        UnitState::Running if RUNNING.iter().any(|name| is_listed(name)) => &["power on"],
        UnitState::Running => &["power on", "running"],
    };
    way.iter().copied().filter(|name| !is_listed(name)).collect()
}

/// Those that say that it runs.
const RUNNING: [&str; 3] = ["running", "running steady", "burner steady"];

/// Whether this hold point says that something runs.
#[must_use]
pub fn says_that_it_runs(name: &str) -> bool {
    RUNNING.contains(&name)
}

/// Whether this hold point cannot stand while a unit is in this state.
#[must_use]
pub fn contradicts(state: UnitState, name: &str) -> bool {
    let power = known(name).map_or(Power::Any, |known| known.power);
    match state {
        UnitState::Any => false,
        UnitState::Isolated => power == Power::Live,
        UnitState::Energised | UnitState::Running => power == Power::Isolated,
    }
}

/// How a hold point was shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum How {
    /// A person confirmed it.
    Confirmed(By),
    /// The stream showed it: the sentence says with which readings.
    Stream(String),
}

/// The state of one hold point of a check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HoldPoint {
    /// Its name.
    pub name: String,
    /// When and how it was shown; `None` while open.
    pub evidence: Option<Evidence>,
}

/// When and how a hold point was shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Evidence {
    /// When, in monotone time.
    pub at: Instant,
    /// How.
    pub how: How,
    /// Whose it is where no person confirmed it: the device, or the check whose verdict shows it.
    pub from: Option<String>,
    /// What it covers, in words: the unit, its circuit, its component, or the leads of a device.
    pub covers: String,
    /// When it lapses.
    pub until: Instant,
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;

    #[test]
    fn every_known_hold_point_has_its_caution_and_lapses() {
        let mut names: Vec<&str> = KNOWN.iter().map(|known| known.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), KNOWN.len());
        for known in KNOWN {
            assert!(known.lasts > Duration::ZERO && !known.ask.is_empty() && !known.caution.is_empty());
        }
    }

    #[test]
    fn an_unknown_hold_point_is_undone_by_power_and_only_confirmed() {
        let unknown = of("belt guard on");
        assert!(unknown.undone_by_power);
        assert_eq!(unknown.by_stream, ByStream::No);
    }
}
