//! What is measured: shipped rules with their plates, the meter and its profile, what a part may read. Makes no streams.

use std::sync::Arc;

use judge::evaluate::{Evaluation, Input, evaluate};
use judge::limits::{DecisionRule, Word};
use judge::rule::{PlateDefault, Rule, RuleSet};
use quantity::{Coupling, Decimal, Unit};
use visit::round::{Entered, Plan};
use wire::Profile;

/// What open leads show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Open {
    /// Overload.
    Overload,
    /// Next to nothing.
    Zero,
    /// Nothing of the kind: a probe shows the air's temperature, a hose the room's pressure.
    Never,
}

/// One rule on one part.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Setup {
    pub(crate) name: &'static str,
    pub(crate) rule: &'static str,
    plate: &'static [(&'static str, &'static str, Unit)],
    pub(crate) unit: Unit,
    pub(crate) coupling: Option<Coupling>,
    pub(crate) places: u8,
    /// Where most parts read, and how they scatter; the others anywhere between `low` and `high`.
    pub(crate) good: (f64, f64),
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) open: Open,
    /// From where a probe begins.
    pub(crate) ambient: f64,
}

const MICROFARAD: &[(&str, &str, Unit)] = &[("capacitance", "40", Unit::MICROFARAD)];

/// Capacitance: 37.6 to 42.4 uF.
pub(crate) const CAPACITANCE: Setup = Setup {
    name: "uF",
    rule: "run-capacitor",
    plate: MICROFARAD,
    unit: Unit::MICROFARAD,
    coupling: None,
    places: 2,
    good: (40.0, 0.5),
    low: 28.0,
    high: 46.0,
    open: Open::Zero,
    ambient: 0.0,
};

/// Temperature: at most 225 °F.
pub(crate) const TEMPERATURE: Setup = Setup {
    name: "degF",
    rule: "discharge-line",
    plate: &[],
    unit: Unit::FAHRENHEIT,
    coupling: None,
    places: 1,
    good: (195.0, 8.0),
    low: 180.0,
    high: 255.0,
    open: Open::Never,
    ambient: 75.0,
};

/// Current: at most 20 A.
pub(crate) const CURRENT: Setup = Setup {
    name: "A",
    rule: "motor-amps",
    plate: &[("full_load_amps", "20", Unit::AMPERE)],
    unit: Unit::AMPERE,
    coupling: Some(Coupling::Ac),
    places: 2,
    good: (16.0, 1.0),
    low: 10.0,
    high: 26.0,
    open: Open::Zero,
    ambient: 0.0,
};

/// Volts: 20.4 to 26.4 V.
pub(crate) const VOLTS: Setup = Setup {
    name: "V",
    rule: "control-voltage",
    plate: &[("coil_volts", "24", Unit::VOLT)],
    unit: Unit::VOLT,
    coupling: Some(Coupling::Ac),
    places: 2,
    good: (24.0, 0.6),
    low: 18.0,
    high: 29.0,
    open: Open::Zero,
    ambient: 0.0,
};

/// Ohms: 5 to 25 ohm.
pub(crate) const OHMS: Setup = Setup {
    name: "ohm",
    rule: "contactor-coil",
    plate: &[],
    unit: Unit::OHM,
    coupling: None,
    places: 2,
    good: (12.0, 2.0),
    low: 3.0,
    high: 32.0,
    open: Open::Overload,
    ambient: 0.0,
};

/// Pressure: at least 1.20 in. w.c. of draft.
pub(crate) const PRESSURE: Setup = Setup {
    name: "in.wc",
    rule: "draft",
    plate: &[("set_point", "1.00", Unit::INCH_WATER)],
    unit: Unit::INCH_WATER,
    coupling: None,
    places: 3,
    good: (1.5, 0.08),
    low: 0.9,
    high: 1.8,
    open: Open::Never,
    ambient: 0.0,
};

/// Every setup.
pub(crate) const ALL: [Setup; 6] = [CAPACITANCE, TEMPERATURE, CURRENT, VOLTS, OHMS, PRESSURE];

impl Setup {
    /// The display's step.
    pub(crate) fn step(&self) -> f64 {
        0.1_f64.powi(i32::from(self.places))
    }

    /// The check on this part.
    pub(crate) fn plan(&self) -> Plan {
        let entered = |(name, text, unit): &(&str, &str, Unit)| {
            let number = Decimal::parse(text).expect("digits");
            ((*name).to_owned(), Entered::Number { number, unit: *unit })
        };
        Plan {
            unit_tag: "RTU-01".to_owned(),
            component: "part".to_owned(),
            rule: self.rule.to_owned(),
            plate: self.plate.iter().map(entered).collect(),
            bindings: Vec::new(),
            ..Plan::default()
        }
    }
}

/// A rule in force with the meter's uncertainty: what a value is worth.
#[derive(Clone)]
pub(crate) struct Oracle {
    rule: Arc<dyn Rule>,
    plate: Vec<Input>,
    unit: Unit,
    coupling: Option<Coupling>,
    step: f64,
    profile: Profile,
    /// Values at which the word changes.
    pub(crate) edges: Vec<f64>,
}

impl Oracle {
    pub(crate) fn new(rules: &RuleSet, setup: &Setup, profile: &Profile) -> Self {
        let rule = Arc::clone(rules.find(setup.rule).expect("a shipped rule"));
        let mut plate: Vec<(String, f64)> = Vec::new();
        for item in &rule.header().nameplate {
            let entered = setup.plate.iter().find(|entry| entry.0 == item.name);
            let value = match (entered, &item.default) {
                (Some(entry), _) => entry.1.parse().expect("a number"),
                (None, PlateDefault::Value(value, _)) => *value,
                (None, PlateDefault::SameAs(other, _)) => {
                    plate.iter().find(|entry| entry.0 == *other).expect("in order").1
                }
                (None, PlateDefault::Required) => panic!("{}: {} is missing", setup.rule, item.name),
            };
            plate.push((item.name.clone(), value));
        }
        let exact = |entry: &(String, f64)| Input { value: entry.1, standard_uncertainty: 0.0 };
        let mut oracle = Self {
            plate: plate.iter().map(exact).collect(),
            rule,
            unit: setup.unit,
            coupling: setup.coupling,
            step: setup.step(),
            profile: profile.clone(),
            edges: Vec::new(),
        };
        oracle.edges = oracle.find_edges(setup);
        oracle
    }

    /// The meter's own standard uncertainty there.
    pub(crate) fn u(&self, value: f64) -> f64 {
        self.profile
            .accuracy(self.unit, self.coupling, value)
            .expect("a row for each quantity")
            .standard_uncertainty(value, self.step, self.unit)
            .expect("its own unit")
    }

    fn evaluation(&self, value: f64) -> Evaluation {
        let mut inputs = vec![Input { value, standard_uncertainty: self.u(value) }];
        inputs.extend_from_slice(&self.plate);
        evaluate(&*self.rule, &inputs, DecisionRule::default()).expect("an evaluation")
    }

    /// The word for a display that shows this value for ever.
    pub(crate) fn word(&self, value: f64) -> Word {
        self.evaluation(value).word()
    }

    fn find_edges(&self, setup: &Setup) -> Vec<f64> {
        let steps = 4_000;
        let at = |i: usize| setup.low + (setup.high - setup.low) * i as f64 / f64::from(steps);
        let words: Vec<Word> = (0..=steps as usize).map(|i| self.word(at(i))).collect();
        words.windows(2).enumerate().filter(|(_, pair)| pair[0] != pair[1]).map(|(i, _)| at(i + 1)).collect()
    }
}

/// The meter's profile: fixed-width lines with a checksum; a stated conversion time and response, if any.
pub(crate) fn profile(conversion_s: Option<f64>, response_s: Option<f64>) -> Profile {
    let mut head = String::from("profile = 1\nid = \"bench\"\nsilence_ms = 3000\n");
    let mut row = String::new();
    if let Some(conversion_s) = conversion_s {
        head += &format!("conversion_s = {conversion_s:.4}\n");
    }
    if let Some(response_s) = response_s {
        row += &format!("response_s = {response_s:.4}\n");
    }
    let text = format!("{head}{FRAME}{row}");
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

const FRAME: &str = r#"
[frame]
kind = "line"
check = "xor8"
[decode]
kind = "pattern"
pattern = "{mode:3} {value:7} {unit:5} {flags:4}"
overload = ["OL", "-OL"]
no_value = ["-----"]
[decode.modes]
CAP = "capacitance"
RES = "resistance"
VAC = "voltage ac"
AAC = "current ac"
TMP = "temperature"
PRS = "pressure difference"
[decode.units]
uF = "uF"
ohm = "ohm"
V = "V"
A = "A"
degF = "°F"
inWC = "in. w.c."
[decode.flags]
H = "hold"
[[accuracy]]
quantity = "capacitance"
spec = "1.8% + 3"
[[accuracy]]
quantity = "resistance"
spec = "0.8% + 3"
[[accuracy]]
quantity = "voltage ac"
spec = "0.8% + 3"
[[accuracy]]
quantity = "current ac"
spec = "2.0% + 5"
[[accuracy]]
quantity = "pressure difference"
spec = "1.0% + 2"
[[accuracy]]
quantity = "temperature"
spec = "0.4% + 0.6 degC"
"#;
