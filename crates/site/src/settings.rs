//! The settings of a round by name, as recordings and the site's file contain them, and their bounds.

use alloc::format;
use alloc::string::String;

use judge::limits::DecisionRule;
use visit::round::Settings;

/// Builds the settings; `None` is the default. Verdicts count at once.
///
/// # Errors
/// A sentence if `decision` is unknown or a number is out of range.
pub fn settings(
    decision: Option<&str>,
    coverage_factor: Option<f64>,
    risk: Option<f64>,
) -> Result<Settings, String> {
    let default = Settings::default();
    let (default_word, default_factor) = decision_words(default.decision);
    let coverage_factor = coverage_factor.unwrap_or(default_factor);
    let decision = match decision.unwrap_or(default_word) {
        "guarded" if coverage_factor > 0.0 && coverage_factor <= 4.0 => {
            DecisionRule::Guarded { coverage_factor }
        }
        "guarded" => {
            return Err(format!("coverage_factor is {coverage_factor}, it must lie above 0, up to 4"));
        }
        "simple" => DecisionRule::Simple,
        other => return Err(format!("decision is {other:?}, it must be \"guarded\" or \"simple\"")),
    };
    let risk = risk.unwrap_or(default.risk);
    if !(1e-6..=0.2).contains(&risk) {
        return Err(format!("risk is {risk}, it must lie between 1e-6 and 0.2"));
    }
    Ok(Settings { decision, risk, verdicts_are_stored: false })
}

/// The name of a decision rule, and the coverage factor written with it.
#[must_use]
pub fn decision_words(decision: DecisionRule) -> (&'static str, f64) {
    match decision {
        DecisionRule::Guarded { coverage_factor } => ("guarded", coverage_factor),
        DecisionRule::Simple => ("simple", 2.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_written_is_the_default() {
        let (found, default) = (settings(None, None, None).unwrap(), Settings::default());
        assert_eq!(
            (found.decision, found.verdicts_are_stored),
            (default.decision, default.verdicts_are_stored)
        );
        assert_eq!(found.risk.to_bits(), default.risk.to_bits());
    }

    #[test]
    fn bounds_and_words_are_said() {
        for (decision, factor, risk, want) in [
            (None, Some(0.0), None, "coverage_factor is 0, it must lie above 0, up to 4"),
            (None, Some(f64::NAN), None, "coverage_factor is NaN, it must lie above 0, up to 4"),
            (None, Some(4.1), None, "coverage_factor is 4.1, it must lie above 0, up to 4"),
            (None, None, Some(0.9), "risk is 0.9, it must lie between 1e-6 and 0.2"),
            (Some("loose"), None, None, "decision is \"loose\", it must be \"guarded\" or \"simple\""),
        ] {
            assert_eq!(settings(decision, factor, risk).unwrap_err(), want);
        }
        let simple = settings(Some("simple"), Some(9.0), None).unwrap();
        assert_eq!(simple.decision, DecisionRule::Simple, "its factor guards nothing");
        assert_eq!(
            settings(None, Some(4.0), None).unwrap().decision,
            DecisionRule::Guarded { coverage_factor: 4.0 }
        );
    }
}
