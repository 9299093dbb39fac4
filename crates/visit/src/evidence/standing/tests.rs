//! The gate beside a plain list that looks at everything each time: random showings, withdrawals, power and time give the
//! same answers. Does not test what the round makes of them.
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use proptest::prelude::*;
use quantity::{Duration, Instant};

use super::{Gate, STANDING_MAX, Shown, Standing};
use crate::act::By;
use crate::hold::{self, How, Scope};
use crate::job::Place;
use crate::model::Slot;

/// One that stands, as the plain list keeps it.
#[derive(Clone, Debug, PartialEq)]
struct Plain {
    name: String,
    unit_tag: String,
    component: String,
    slot: Slot,
    device: Option<String>,
    confirmed: bool,
    since: Instant,
    at: Instant,
    until: Instant,
}

impl Plain {
    /// Whether it counts there.
    fn reaches(&self, place: Place<'_>) -> bool {
        let same_unit = self.unit_tag == place.unit_tag;
        match hold::of(&self.name).scope {
            Scope::Leads => true,
            Scope::Unit => same_unit,
            Scope::Circuit => same_unit && self.slot.circuit == place.slot.circuit,
            Scope::Component => same_unit && self.component == place.component,
            Scope::Served => same_unit && serves(&self.component, place.component),
        }
    }

    /// Whether another one shown there takes its place.
    fn is_replaced_at(&self, place: Place<'_>, device: Option<&str>) -> bool {
        match hold::of(&self.name).scope {
            Scope::Leads => self.device.as_deref() == device,
            Scope::Served => self.unit_tag == place.unit_tag && self.component == place.component,
            _ => self.reaches(place),
        }
    }
}

/// In these tests "fan 1 capacitor" and "fan 1 starter" serve "fan 1".
fn serves(component: &str, other: &str) -> bool {
    component == other || (component.starts_with("fan 1 ") && other == "fan 1")
}

impl From<&Standing> for Plain {
    fn from(s: &Standing) -> Self {
        Self {
            name: s.name.clone(),
            unit_tag: s.unit_tag.clone(),
            component: s.component.clone(),
            slot: s.slot.clone(),
            device: s.device.clone(),
            confirmed: matches!(s.evidence.how, How::Confirmed(_)),
            since: s.since,
            at: s.evidence.at,
            until: s.evidence.at + hold::of(&s.name).lasts,
        }
    }
}

/// Everything that stands, oldest first, searched from end to end.
#[derive(Default)]
struct List {
    standing: Vec<Plain>,
    /// Name, unit, component, time.
    failed: Vec<(String, String, String, Instant)>,
}

impl List {
    fn show(&mut self, name: &str, place: Place<'_>, shown: &Shown, renewed: bool) {
        let at = shown.at;
        let device = shown.from.as_deref().filter(|_| hold::of(name).scope == Scope::Leads);
        let here = |s: &Plain| s.name == name && s.is_replaced_at(place, device);
        let before = self.standing.iter().find(|s| here(s)).map(|s| s.since).filter(|_| renewed);
        self.standing.retain(|s| !here(s));
        self.failed.retain(|(of, unit, component, _)| {
            of != name || unit != place.unit_tag || component != place.component
        });
        if self.standing.len() >= STANDING_MAX {
            self.standing.remove(0);
        }
        self.standing.push(Plain {
            name: name.to_string(),
            unit_tag: place.unit_tag.to_string(),
            component: place.component.to_string(),
            slot: place.slot.clone(),
            device: device.map(ToString::to_string),
            confirmed: matches!(shown.how, How::Confirmed(_)),
            since: before.unwrap_or(at),
            at,
            until: at + hold::of(name).lasts,
        });
    }

    fn newest(&self, name: &str, place: Place<'_>) -> Option<usize> {
        self.standing.iter().rposition(|s| s.name == name && s.reaches(place))
    }

    fn find(&self, name: &str, place: Place<'_>) -> Option<&Plain> {
        let found = &self.standing[self.newest(name, place)?];
        let failed = self.failed.iter().any(|(of, unit, component, at)| {
            of == name
                && unit == place.unit_tag
                && serves(component, place.component)
                && !(found.confirmed && found.component == place.component && found.at >= *at)
        });
        (!failed).then_some(found)
    }

    fn fail(&mut self, name: &str, place: Place<'_>, at: Instant) -> Vec<Plain> {
        let gone = self.remove(|s| s.name == name && s.is_replaced_at(place, None));
        if hold::of(name).scope == Scope::Served {
            self.failed.retain(|(of, unit, component, _)| {
                of != name || unit != place.unit_tag || component != place.component
            });
            self.failed.push((name.to_string(), place.unit_tag.to_string(), place.component.to_string(), at));
        }
        gone
    }

    fn remove(&mut self, which: impl Fn(&Plain) -> bool) -> Vec<Plain> {
        let (gone, kept) = core::mem::take(&mut self.standing).into_iter().partition(which);
        self.standing = kept;
        gone
    }

    fn lapse_due(&mut self, now: Instant) -> Vec<Plain> {
        let mut due = self.remove(|s| s.until <= now);
        due.sort_by_key(|s| s.until);
        due
    }
}

#[derive(Clone, Debug)]
enum Act {
    Show {
        name: usize,
        unit: usize,
        component: usize,
        device: usize,
        renewed: bool,
    },
    Fail {
        name: usize,
        unit: usize,
        component: usize,
    },
    /// The same hold point for so many components, one after the other.
    ShowMany {
        name: usize,
        count: usize,
    },
    Withdraw {
        name: usize,
        unit: usize,
        component: usize,
    },
    Energised {
        unit: Option<usize>,
    },
    Pass {
        seconds: i64,
    },
}

/// All scopes and lapse times, and one that the engine does not know.
const NAMES: [&str; 9] = [
    "locked out",
    "proved dead",
    "discharged",
    "one lead off",
    "leads proved",
    "airflow proved",
    "running steady",
    "capacitor proved",
    "belt guard on",
];
const UNITS: [&str; 3] = ["RTU-01", "RTU-02", ""];
const COMPONENTS: [&str; 5] = ["fan 1", "fan 1 capacitor", "fan 1 starter", "fan 2", ""];
/// `None`: somebody confirms it; else a device shows it, or the verdict of a check.
const FROM: [Option<&str>; 3] = [None, Some("meter"), Some("bench")];

/// A component there; "fan 2" is on the other circuit.
fn place(unit: usize, component: usize) -> (&'static str, &'static str, Slot) {
    let circuit = ["1", "1", "1", "2", ""][component];
    let circuit = (!circuit.is_empty()).then(|| circuit.to_string());
    (UNITS[unit], COMPONENTS[component], Slot { circuit, serves: None })
}

fn act() -> impl Strategy<Value = Act> {
    let (name, unit, component) = (0..NAMES.len(), 0..UNITS.len(), 0..COMPONENTS.len());
    prop_oneof![
        12 => (name.clone(), unit.clone(), component.clone(), 0..FROM.len(), any::<bool>())
            .prop_map(|(name, unit, component, device, renewed)| Act::Show { name, unit, component, device, renewed }),
        3 => (name.clone(), unit.clone(), component.clone())
            .prop_map(|(name, unit, component)| Act::Fail { name, unit, component }),
        1 => (name.clone(), 1_usize..700).prop_map(|(name, count)| Act::ShowMany { name, count }),
        3 => (name, unit.clone(), component)
            .prop_map(|(name, unit, component)| Act::Withdraw { name, unit, component }),
        1 => proptest::option::of(unit).prop_map(|unit| Act::Energised { unit }),
        6 => prop_oneof![0_i64..5, 200_i64..2_000, 3_000_i64..20_000].prop_map(|seconds| Act::Pass { seconds }),
    ]
}

/// The same on both; what fell in each.
fn both(gate: &mut Gate, list: &mut List, act: &Act, now: &mut Instant) -> (Vec<Plain>, Vec<Plain>) {
    let plain = |gone: Vec<Standing>| gone.iter().map(Plain::from).collect();
    let mut show = |name: &str, place: Place<'_>, from: Option<&str>, renewed: bool| {
        let how = from.map_or(How::Confirmed(By::Unsaid), |from| How::Stream(from.to_string()));
        let shown = Shown { at: *now, how, from: from.map(ToString::to_string) };
        gate.show(name, place, shown.clone(), renewed);
        list.show(name, place, &shown, renewed);
    };
    match *act {
        Act::Show { name, unit, component, device, renewed } => {
            let (unit_tag, component, slot) = place(unit, component);
            show(NAMES[name], Place { unit_tag, component, slot: &slot }, FROM[device], renewed);
            Default::default()
        }
        Act::ShowMany { name, count } => {
            for index in 0..count {
                show(NAMES[name], Place::new("RTU-03", &format!("C{index}")), None, false);
            }
            Default::default()
        }
        Act::Fail { name, unit, component } => {
            let (unit_tag, component, slot) = place(unit, component);
            let place = Place { unit_tag, component, slot: &slot };
            let gone = gate.fail(NAMES[name], place, *now);
            (plain(gone.into_iter().collect()), list.fail(NAMES[name], place, *now))
        }
        Act::Withdraw { name, unit, component } => {
            let (unit_tag, component, slot) = place(unit, component);
            let place = Place { unit_tag, component, slot: &slot };
            let gone = gate.withdraw(NAMES[name], place);
            let wanted = list.newest(NAMES[name], place).map(|at| list.standing.remove(at));
            (plain(gone.into_iter().collect()), wanted.into_iter().collect())
        }
        Act::Energised { unit } => {
            let unit = unit.map(|unit| UNITS[unit]);
            let wanted = list
                .remove(|s| unit.is_none_or(|unit| s.unit_tag == unit) && hold::of(&s.name).undone_by_power);
            (plain(gate.energised(unit)), wanted)
        }
        Act::Pass { seconds } => {
            *now = *now + Duration::from_secs(seconds);
            (plain(gate.lapse_due(*now)), list.lapse_due(*now))
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_gate_answers_as_a_plain_list_does(acts in proptest::collection::vec(act(), 1..60)) {
        let (mut gate, mut list, mut now) = (Gate::default(), List::default(), Instant::from_micros(1));
        for act in &acts {
            let (gone, wanted) = both(&mut gate, &mut list, act, &mut now);
            prop_assert_eq!(gone, wanted, "{:?}", act);
            let next = list.standing.iter().map(|s| s.until).min();
            prop_assert_eq!(gate.next_lapse(), next, "{:?}", act);
            let count = list.standing.len();
            prop_assert_eq!((gate.by_place.len(), gate.lapses.len()), (count, count));
            for name in NAMES {
                for (unit, component) in (0..UNITS.len()).flat_map(|unit| (0..COMPONENTS.len()).map(move |c| (unit, c))) {
                    let (unit_tag, component, slot) = place(unit, component);
                    let place = Place { unit_tag, component, slot: &slot };
                    let found = gate.find(name, hold::of(name).scope, place).map(Plain::from);
                    let wanted = list.find(name, place);
                    prop_assert_eq!(found.as_ref(), wanted, "{:?}: {} at {:?}", act, name, place);
                }
            }
        }
        let standing: Vec<Plain> = gate.standing.values().map(Plain::from).collect();
        prop_assert_eq!(standing, list.standing);
    }
}
