//! The scenes of the demo: an invented visit to an invented site. All figures are invented; each scene names the
//! verdict that it should end with.

use judge::limits::Word;
use quantity::{Coupling, Unit};
use visit::round::{Line, Supply};

use super::meter::{Shows, Signal};

/// One check of the visit.
pub(super) struct Scene {
    pub(super) name: &'static str,
    pub(super) unit: &'static str,
    pub(super) component: &'static str,
    pub(super) rule: &'static str,
    pub(super) plate: &'static [(&'static str, &'static str)],
    pub(super) steps: Vec<SceneStep>,
    pub(super) expected: Word,
}

/// What the mechanic or the meter does, or what to wait for.
pub(super) enum SceneStep {
    /// An act, as one would type it.
    Act(&'static str),
    /// Answers the last question.
    Answer(bool),
    Shows(Shows),
    /// Keeps the leads where they are for this many milliseconds.
    Holds(u64),
    UntilShown(&'static str),
    UntilSettled,
    /// Until the source or the pair under the leads is read.
    UntilRead,
    UntilAsked,
    UntilVerdict,
}

use SceneStep::{
    Act, Answer, Holds, Shows as Show, UntilAsked, UntilRead, UntilSettled, UntilShown, UntilVerdict,
};

fn rests(unit: Unit, coupling: Option<Coupling>, places: u8, value: f64, tau_s: f64) -> SceneStep {
    Show(Shows { unit, coupling, places, signal: Signal::Rests { value, tau_s } })
}

fn microfarads(value: f64) -> SceneStep {
    rests(Unit::MICROFARAD, None, 2, value, 0.15)
}

/// Leads in the air on the capacitance range.
fn lifted() -> SceneStep {
    rests(Unit::MICROFARAD, None, 2, 0.0, 0.0)
}

fn ohms(value: f64) -> SceneStep {
    rests(Unit::OHM, None, 2, value, 0.05)
}

fn open_ohms() -> SceneStep {
    Show(Shows { unit: Unit::OHM, coupling: None, places: 2, signal: Signal::Open })
}

fn volts_ac(value: f64) -> SceneStep {
    rests(Unit::VOLT, Some(Coupling::Ac), 1, value, 0.1)
}

fn volts_dc(value: f64) -> SceneStep {
    rests(Unit::VOLT, Some(Coupling::Dc), 1, value, 0.1)
}

fn amps_ac(value: f64) -> SceneStep {
    rests(Unit::AMPERE, Some(Coupling::Ac), 2, value, 0.2)
}

/// What supplies the units of the visit.
pub(super) fn supply(unit: &str) -> Supply {
    let line = if unit == "RTU-09" { Line::SinglePhase } else { Line::ThreePhase };
    Supply { line, ..Supply::default() }
}

/// All scenes in the order of the visit.
pub(super) fn all() -> Vec<Scene> {
    vec![
        good(),
        marginal(),
        weak(),
        dual_on_wrong_terminals(),
        in_circuit(),
        bad_lead(),
        wrong_part(),
        swapped_digits(),
        under_load(),
    ]
}

fn good() -> Scene {
    Scene {
        name: "A good part; the leads are proved by the meter itself",
        unit: "RTU-07",
        component: "condenser fan 1 run capacitor",
        rule: "run-capacitor",
        plate: &[("capacitance", "12.5 uF"), ("tolerance", "6 %")],
        steps: vec![
            Act("confirm locked out"),
            ohms(0.11),
            Holds(1600),
            open_ohms(),
            UntilShown("leads proved"),
            Act("confirm proved dead"),
            Act("confirm discharged"),
            Act("confirm one lead off"),
            lifted(),
            Holds(300),
            microfarads(12.46),
            UntilVerdict,
            Holds(600),
            lifted(),
        ],
        expected: Word::Pass,
    }
}

fn marginal() -> Scene {
    Scene {
        name: "A marginal part; discharged is shown by the meter",
        unit: "RTU-07",
        component: "condenser fan 2 run capacitor",
        rule: "run-capacitor",
        plate: &[("capacitance", "12.5 uF"), ("tolerance", "6 %")],
        steps: vec![
            volts_dc(0.2),
            Act("on 1-2"),
            UntilRead,
            Act("on"),
            UntilRead,
            Act("on"),
            UntilAsked,
            Holds(700),
            Answer(true),
            Act("confirm one lead off"),
            lifted(),
            Holds(300),
            microfarads(11.88),
            UntilVerdict,
            Holds(600),
            lifted(),
        ],
        expected: Word::ConditionalPass,
    }
}

fn weak() -> Scene {
    Scene {
        name: "A weak part",
        unit: "RTU-07",
        component: "compressor run capacitor",
        rule: "run-capacitor",
        plate: &[("capacitance", "55 uF"), ("tolerance", "6 %")],
        steps: vec![
            Act("confirm discharged"),
            Act("confirm one lead off"),
            lifted(),
            Holds(300),
            microfarads(47.31),
            UntilVerdict,
            Holds(600),
            lifted(),
        ],
        expected: Word::Fail,
    }
}

fn dual_on_wrong_terminals() -> Scene {
    Scene {
        name: "A dual part, leads on other terminals than asked; dead is proved on every pair",
        unit: "RTU-09",
        component: "dual run capacitor",
        rule: "dual-run-capacitor",
        plate: &[("herm", "35 uF"), ("fan", "5 uF"), ("tolerance", "6 %")],
        steps: vec![
            Act("confirm locked out"),
            Act("source receptacle beside RTU-12"),
            volts_ac(121.6),
            UntilRead,
            volts_ac(0.4),
            Holds(500),
            Act("on L1-L2"),
            UntilRead,
            Act("on"),
            UntilRead,
            Act("on"),
            UntilRead,
            volts_ac(121.4),
            UntilAsked,
            Holds(700),
            Answer(true),
            Act("confirm discharged"),
            Act("confirm one lead off"),
            lifted(),
            Holds(300),
            microfarads(5.03),
            UntilSettled,
            lifted(),
            Holds(900),
            microfarads(4.40),
            UntilSettled,
            lifted(),
            Holds(900),
            microfarads(35.21),
            UntilVerdict,
            Holds(600),
            lifted(),
        ],
        expected: Word::Pass,
    }
}

fn in_circuit() -> Scene {
    Scene {
        name: "A part still in its circuit",
        unit: "RTU-09",
        component: "condenser fan run capacitor",
        rule: "run-capacitor",
        plate: &[("capacitance", "12.5 uF"), ("tolerance", "6 %")],
        steps: vec![
            Act("confirm discharged"),
            Act("confirm one lead off"),
            lifted(),
            Holds(300),
            Show(Shows {
                unit: Unit::MICROFARAD,
                coupling: None,
                places: 2,
                signal: Signal::Jumps { low: 3.0, high: 24.0 },
            }),
            Holds(4000),
            Act("finish"),
            UntilVerdict,
            lifted(),
        ],
        expected: Word::NoVerdict,
    }
}

fn bad_lead() -> Scene {
    Scene {
        name: "A bad test lead",
        unit: "RTU-11",
        component: "indoor blower run capacitor",
        rule: "run-capacitor",
        plate: &[("capacitance", "10 uF"), ("tolerance", "6 %")],
        steps: vec![
            Act("withdraw leads proved"),
            Act("confirm locked out"),
            ohms(2.37),
            Holds(1500),
            open_ohms(),
            Holds(1600),
            microfarads(9.97),
            Holds(1500),
            Act("finish"),
            UntilVerdict,
            lifted(),
        ],
        expected: Word::NoVerdict,
    }
}

fn wrong_part() -> Scene {
    Scene {
        name: "Another part than the plate asks for; new leads, proved again",
        unit: "RTU-11",
        component: "compressor run capacitor",
        rule: "run-capacitor",
        plate: &[("capacitance", "45 uF"), ("label_capacitance", "40 uF"), ("tolerance", "6 %")],
        steps: vec![
            ohms(0.09),
            Holds(1600),
            open_ohms(),
            UntilShown("leads proved"),
            Act("confirm proved dead"),
            Act("confirm discharged"),
            Act("confirm one lead off"),
            lifted(),
            Holds(300),
            microfarads(40.24),
            UntilVerdict,
            Holds(600),
            lifted(),
        ],
        expected: Word::Fail,
    }
}

fn swapped_digits() -> Scene {
    Scene {
        name: "Typed in by hand, two digits swapped",
        unit: "RTU-11",
        component: "spare run capacitor on the bench",
        rule: "run-capacitor",
        plate: &[("capacitance", "45 uF"), ("tolerance", "6 %")],
        steps: vec![
            Act("confirm discharged"),
            Act("confirm one lead off"),
            Act("capacitance=54.1 uF"),
            UntilAsked,
            Holds(1000),
            Answer(false),
            Act("capacitance=45.1 uF"),
            UntilVerdict,
        ],
        expected: Word::Pass,
    }
}

fn under_load() -> Scene {
    Scene {
        name: "Under load, by volts and amps",
        unit: "RTU-12",
        component: "compressor run capacitor",
        rule: "capacitor-under-load",
        plate: &[("capacitance", "35 uF"), ("tolerance", "6 %"), ("frequency", "60 Hz")],
        steps: vec![
            Act("power back"),
            Act("confirm running"),
            Act("confirm live work approved"),
            volts_ac(372.4),
            UntilSettled,
            amps_ac(4.92),
            UntilVerdict,
            Holds(600),
            lifted(),
        ],
        expected: Word::Pass,
    }
}
