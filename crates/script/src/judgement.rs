//! The words that judge: `within`, `at_least`, `at_most`, their `.low() .high() .ok() .unit() .source()`, `all_of`,
//! `no_verdict`; and the drafts they create until the rule turns them into judgements. Compares nothing with limits.

use alloc::format;
use alloc::vec::Vec;
use core::any::TypeId;

use rhai::{Dynamic, Engine, ImmutableString, NativeCallContext};

use crate::diagnostic::At;
use crate::run::{HostError, refuse, tick};

/// A word that judges, as documentation lists it.
#[derive(Clone, Copy, Debug)]
pub struct JudgementWord {
    /// Its signature.
    pub signature: &'static str,
    /// What it does.
    pub doc: &'static str,
}

/// Every word that judges, in the order a rule needs them.
pub const JUDGEMENTS: &[JudgementWord] = &[
    JudgementWord {
        signature: "within(name, value, low, high)",
        doc: "Judges a value between two limits. The name appears on the screen and decides the unit: that of the reading \
              or nameplate item with this name.",
    },
    JudgementWord { signature: "at_least(name, value, low)", doc: "Judges a value with a lower limit only." },
    JudgementWord {
        signature: "at_most(name, value, high)",
        doc: "Judges a value with an upper limit only.",
    },
    JudgementWord { signature: ".low(\"advice\")", doc: "What to do when the value is low." },
    JudgementWord { signature: ".high(\"advice\")", doc: "What to do when the value is high." },
    JudgementWord { signature: ".ok(\"advice\")", doc: "What to say when the value is inside." },
    JudgementWord {
        signature: ".unit(\"uF\")",
        doc: "The unit, where the name is neither a reading nor a nameplate item.",
    },
    JudgementWord {
        signature: ".source(\"class: where the limits come from\")",
        doc: "The source of the limits, where they do not come from nameplate items or declared limits alone. It begins with \
              its class: standard, nameplate, physics, common practice, own records or memory.",
    },
    JudgementWord {
        signature: "all_of(judgement, judgement, ...)",
        doc: "Two to eight judgements; the worst counts, all are shown.",
    },
    JudgementWord {
        signature: "no_verdict(\"why\")",
        doc: "Says that these readings allow no verdict, and why.",
    },
];

/// Words on a judgement that take one text.
pub(crate) const CHAINED: [&str; 5] = ["low", "high", "ok", "unit", "source"];
/// The most judgements in one `all_of`.
pub(crate) const ALL_OF_MAX: usize = 8;

/// A judgement while the rule builds it.
#[derive(Clone)]
pub(crate) struct Draft {
    pub(crate) name: ImmutableString,
    pub(crate) value: f64,
    pub(crate) low: Option<f64>,
    pub(crate) high: Option<f64>,
    /// Texts in the order of [`CHAINED`].
    pub(crate) texts: [Option<ImmutableString>; 5],
    /// Where `within` (or the like) was called: the key to the source of its limits.
    pub(crate) at: At,
}

/// Several judgements.
#[derive(Clone)]
pub(crate) struct Drafts(pub(crate) Vec<Draft>);

/// The rule's own refusal.
#[derive(Clone)]
pub(crate) struct Refusal(pub(crate) ImmutableString);

/// As messages name a value.
pub(crate) fn kind_of(value: &Dynamic) -> &'static str {
    if value.is::<f64>() {
        "a number"
    } else if value.is::<bool>() {
        "yes/no"
    } else if value.is_string() {
        "a text"
    } else if value.is_unit() {
        "nothing"
    } else if value.is::<Draft>() {
        "a judgement"
    } else if value.is::<Drafts>() {
        "several judgements"
    } else if value.is::<Refusal>() {
        "no_verdict"
    } else if value.is_map() {
        "a group of values"
    } else {
        "something a rule has no use for"
    }
}

fn draft(
    context: &NativeCallContext<'_>,
    name: ImmutableString,
    value: f64,
    low: Option<f64>,
    high: Option<f64>,
) -> Result<Draft, HostError> {
    tick(context)?;
    if !value.is_finite() || !low.is_none_or(f64::is_finite) || !high.is_none_or(f64::is_finite) {
        return Err(refuse(format!("{name}: value and limits must be finite numbers")));
    }
    if let (Some(low), Some(high)) = (low, high)
        && low > high
    {
        return Err(refuse(format!("{name}: the low limit {low} lies above the high limit {high}")));
    }
    Ok(Draft { name, value, low, high, texts: [const { None }; 5], at: context.call_position().into() })
}

pub(crate) fn register(engine: &mut Engine) {
    engine.register_fn(
        "within",
        |context: NativeCallContext<'_>, name: ImmutableString, value: f64, low: f64, high: f64| {
            draft(&context, name, value, Some(low), Some(high))
        },
    );
    engine.register_fn(
        "at_least",
        |context: NativeCallContext<'_>, name: ImmutableString, value: f64, low: f64| {
            draft(&context, name, value, Some(low), None)
        },
    );
    engine.register_fn(
        "at_most",
        |context: NativeCallContext<'_>, name: ImmutableString, value: f64, high: f64| {
            draft(&context, name, value, None, Some(high))
        },
    );
    for (index, name) in CHAINED.into_iter().enumerate() {
        engine.register_fn(name, move |draft: &mut Draft, text: ImmutableString| {
            let mut next = draft.clone();
            if let Some(slot) = next.texts.get_mut(index) {
                *slot = Some(text);
            }
            next
        });
    }
    engine.register_fn("no_verdict", |because: ImmutableString| Refusal(because));
    for count in 2..=ALL_OF_MAX {
        let types = alloc::vec![TypeId::of::<Dynamic>(); count];
        engine.register_raw_fn("all_of", types, |_, arguments| {
            let mut all = Vec::with_capacity(arguments.len());
            for argument in arguments.iter_mut() {
                match argument.take().try_cast_result::<Draft>() {
                    Ok(draft) => all.push(draft),
                    Err(other) => {
                        return Err(refuse(format!("all_of takes judgements, not {}", kind_of(&other))));
                    }
                }
            }
            Ok(Dynamic::from(Drafts(all)))
        });
    }
}
