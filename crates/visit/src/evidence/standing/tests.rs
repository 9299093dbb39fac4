//! The gate beside a plain list that looks at everything each time: random showings, withdrawals, power and time give the
//! same answers. Does not test what the round makes of them.
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use proptest::prelude::*;
use quantity::{Duration, Instant};

use super::{Gate, STANDING_MAX, Standing};
use crate::act::By;
use crate::hold::{self, Evidence, How, Scope};
use crate::job::Place;

/// One that stands, as the plain list keeps it.
#[derive(Clone, Debug, PartialEq)]
struct Plain {
    name: String,
    unit_tag: String,
    component: String,
    since: Instant,
    at: Instant,
    until: Instant,
}

impl Plain {
    fn reaches(&self, place: Place<'_>) -> bool {
        match hold::of(&self.name).scope {
            Scope::Leads => true,
            Scope::Unit => self.unit_tag == place.unit_tag,
            Scope::Component => self.unit_tag == place.unit_tag && self.component == place.component,
        }
    }
}

impl From<&Standing> for Plain {
    fn from(s: &Standing) -> Self {
        Self {
            name: s.name.clone(),
            unit_tag: s.unit_tag.clone(),
            component: s.component.clone(),
            since: s.since,
            at: s.evidence.at,
            until: s.evidence.at + hold::of(&s.name).lasts,
        }
    }
}

/// Everything that stands, oldest first, searched from end to end.
#[derive(Default)]
struct List(Vec<Plain>);

impl List {
    fn show(&mut self, name: &str, place: Place<'_>, at: Instant, renewed: bool) {
        let here = |s: &Plain| s.name == name && s.reaches(place);
        let before = self.0.iter().find(|s| here(s)).map(|s| s.since).filter(|_| renewed);
        self.0.retain(|s| !here(s));
        if self.0.len() >= STANDING_MAX {
            self.0.remove(0);
        }
        self.0.push(Plain {
            name: name.to_string(),
            unit_tag: place.unit_tag.to_string(),
            component: place.component.to_string(),
            since: before.unwrap_or(at),
            at,
            until: at + hold::of(name).lasts,
        });
    }

    fn remove(&mut self, which: impl Fn(&Plain) -> bool) -> Vec<Plain> {
        let (gone, kept) = core::mem::take(&mut self.0).into_iter().partition(which);
        self.0 = kept;
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
        renewed: bool,
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
const NAMES: [&str; 7] = [
    "locked out",
    "proved dead",
    "discharged",
    "one lead off",
    "leads proved",
    "airflow proved",
    "belt guard on",
];
const UNITS: [&str; 3] = ["RTU-01", "RTU-02", ""];
const COMPONENTS: [&str; 3] = ["C1", "C2", ""];

fn act() -> impl Strategy<Value = Act> {
    let (name, unit, component) = (0..NAMES.len(), 0..UNITS.len(), 0..COMPONENTS.len());
    prop_oneof![
        12 => (name.clone(), unit.clone(), component.clone(), any::<bool>())
            .prop_map(|(name, unit, component, renewed)| Act::Show { name, unit, component, renewed }),
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
    let mut show = |name: &str, place: Place<'_>, renewed: bool| {
        let evidence = Evidence { at: *now, how: How::Confirmed(By::Unsaid) };
        gate.show(name, place, evidence, renewed);
        list.show(name, place, *now, renewed);
    };
    match *act {
        Act::Show { name, unit, component, renewed } => {
            show(NAMES[name], Place { unit_tag: UNITS[unit], component: COMPONENTS[component] }, renewed);
            Default::default()
        }
        Act::ShowMany { name, count } => {
            for index in 0..count {
                show(NAMES[name], Place { unit_tag: "RTU-03", component: &format!("C{index}") }, false);
            }
            Default::default()
        }
        Act::Withdraw { name, unit, component } => {
            let place = Place { unit_tag: UNITS[unit], component: COMPONENTS[component] };
            let gone = gate.withdraw(NAMES[name], place);
            let wanted = list.remove(|s| s.name == NAMES[name] && s.reaches(place));
            (plain(gone.into_iter().collect()), wanted)
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
            prop_assert_eq!(gate.next_lapse(), list.0.iter().map(|s| s.until).min(), "{:?}", act);
            prop_assert_eq!((gate.by_place.len(), gate.lapses.len()), (list.0.len(), list.0.len()));
            for (name, (unit_tag, component)) in NAMES.into_iter().zip(UNITS.into_iter().cycle().zip(COMPONENTS)) {
                let place = Place { unit_tag, component };
                let found = gate.find(name, hold::of(name).scope, place).map(Plain::from);
                let wanted = list.0.iter().find(|s| s.name == name && s.reaches(place));
                prop_assert_eq!(found.as_ref(), wanted, "{:?}: {} at {:?}", act, name, place);
            }
        }
        let standing: Vec<Plain> = gate.standing.values().map(Plain::from).collect();
        prop_assert_eq!(standing, list.0);
    }
}
