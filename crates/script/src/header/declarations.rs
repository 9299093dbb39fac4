//! The declarations a rule may begin with, as documentation lists them. Does not read any.

/// A declaration, as documentation lists it.
#[derive(Clone, Copy, Debug)]
pub struct Declaration {
    /// Its name.
    pub name: &'static str,
    /// The forms it may take.
    pub forms: &'static [&'static str],
    /// What it does.
    pub doc: &'static str,
}

/// Every declaration a rule may begin with.
pub const DECLARATIONS: &[Declaration] = &[
    Declaration {
        name: "title",
        forms: &["title(\"Run capacitor\")"],
        doc: "The name on the screen. Required.",
    },
    Declaration {
        name: "about",
        forms: &["about(\"...\")"],
        doc: "One sentence: what the rule asks of the part.",
    },
    Declaration {
        name: "nameplate",
        forms: &[
            "nameplate(name, unit)",
            "nameplate(name, unit, default, source)",
            "nameplate(name, unit, same_as(\"other\"), source)",
        ],
        doc: "A value from the plate or label, read in the rule as plate.name. Without a default it must be entered.",
    },
    Declaration {
        name: "choice",
        forms: &["choice(name, [\"one\", \"other\"])", "choice(name, [\"one\", \"other\"], \"one\", source)"],
        doc: "A word from the plate, one of a list, read in the rule as plate.name. Without a default it must be entered.",
    },
    Declaration {
        name: "reads",
        forms: &["reads(name, unit)", "reads(name, unit, \"label\")"],
        doc: "A reading, taken in this order, read in the rule as m.name. The unit may end in ac or dc. At least one.",
    },
    Declaration {
        name: "plausible",
        forms: &["plausible(name, low, high)"],
        doc: "A reading outside this range is asked about before it is judged. The name \"plate.NAME\" gives the bounds of a \
              nameplate value; one that was entered and lies outside is asked about too.",
    },
    Declaration {
        name: "open",
        forms: &["open(name, value)"],
        doc: "Overload with both leads on is a finding: the reading counts as this value then. It is asked first.",
    },
    Declaration {
        name: "may_drift",
        forms: &["may_drift(name, \"pull-down\", per_minute, source)"],
        doc: "A drift by this name is no obstacle, up to so much a minute in the reading's unit: the reading settles at its present \
              value, and the verdict says so. Without it a reading that drifts is not judged.",
    },
    Declaration {
        name: "limit",
        forms: &["limit(name, value, unit, source)"],
        doc: "A limit of this rule, read as limit.name when judge takes (m, plate, limit). A source begins with its class: \
              standard, nameplate, physics, common practice, own records or memory, then a colon and the words.",
    },
    Declaration {
        name: "hold_points",
        forms: &["hold_points([\"locked out\", ...])"],
        doc: "What must be shown before a verdict, in this order.",
    },
    Declaration {
        name: "unit_state",
        forms: &["unit_state(\"isolated\")"],
        doc: "The power that the unit must be known to have: isolated, energised, running or any. The hold point that leads there comes \
              before the others: locked out, power on, or running.",
    },
    Declaration {
        name: "terminals",
        forms: &["terminals([\"C\", \"HERM\", \"FAN\"])"],
        doc: "The terminals between which the part may hold a charge, and against its case: \"discharged\" is read on each pair of \
              them. Without it the part has two.",
    },
    Declaration {
        name: "shows",
        forms: &["shows(\"airflow proved\")", "shows(\"airflow proved\", \"conditional pass\")"],
        doc: "A pass of this rule shows this hold point for the other checks of the unit; a fail takes it away. With \"conditional pass\" \
              a conditional pass shows it too, which is refused where gas, flue, pressure or volts are concerned.",
    },
    Declaration {
        name: "puts_back",
        forms: &["puts_back(\"ports capped and leak-checked\")"],
        doc: "What must be put back once a reading was taken for this rule; the visit does not close while it is owed.",
    },
    Declaration {
        name: "one_moment",
        forms: &["one_moment([\"pressure\", \"temperature\"], 10)"],
        doc: "Readings that mean something only together, and how many seconds they may lie apart.",
    },
    Declaration {
        name: "danger",
        forms: &[
            "danger(name, \"above\", \"limit\", \"what to do\")",
            "danger(name, \"below\", \"limit\", \"what to do\", [\"burner steady\", ...])",
        ],
        doc: "A reading beyond this limit of the rule ends the check at once, whatever is open, and what to do is said first. It ends \
              these hold points of the unit. At most eight, one for each side of a reading.",
    },
    Declaration { name: "caution", forms: &["caution(\"...\")"], doc: "A warning shown with this check." },
];
