//! The verdict as text for people: one line, or a short block. No colour codes; the caller may add them.

use std::fmt::Write;

use judge::rule::source_with_class;

use crate::verdict::{JudgementJson, VerdictJson};

/// One line: time, check, unit and component, rule, word, the deciding figure, advice or reason. The same verdict gives
/// the same bytes.
#[must_use]
pub fn line(verdict: &VerdictJson) -> String {
    let mut text = format!("{:>9.3} s  #{:<2} ", verdict.at_s, verdict.check);
    let what = [verdict.unit.as_str(), verdict.component.as_str()];
    let what: Vec<&str> = what.into_iter().filter(|part| !part.is_empty()).collect();
    if !what.is_empty() {
        let _ = write!(text, "{}  ", what.join(" / "));
    }
    let _ = write!(text, "{}: {}", verdict.title, verdict.verdict.to_uppercase());
    if let Some(worst) = deciding(verdict) {
        let _ = write!(text, "  {}", figure(worst));
    }
    if let Some(said) = verdict.reason.as_deref().or(verdict.advice.as_deref()) {
        let _ = write!(text, "  -- {}", said.replace('\n', " "));
    }
    text
}

/// A block: the word, why, each judgement with its limits and source, the readings, the hold points.
#[must_use]
pub fn block(verdict: &VerdictJson) -> String {
    let mut text = format!("{}: {}\n", verdict.title, verdict.verdict.to_uppercase());
    if let Some(reason) = &verdict.reason {
        let _ = writeln!(text, "  because   {reason}");
    }
    for judged in &verdict.judgements {
        let _ = writeln!(text, "  {:<9} {}: {}", judged.verdict, figure(judged), probability(judged));
        if let Some(advice) = &judged.advice {
            let _ = writeln!(text, "            {advice}");
        }
        let source = source_with_class(&judged.source, &judged.source_class);
        let _ = writeln!(text, "            limits: {source}");
    }
    for reading in &verdict.readings {
        let _ = writeln!(
            text,
            "  reading   {}: {}{} (u = {} {}, {}, {} reading{})",
            reading.label,
            reading.shown,
            if reading.shown == "OL" { String::new() } else { format!(" {}", reading.unit) },
            short(reading.standard_uncertainty),
            reading.unit,
            reading.device,
            reading.count,
            if reading.count == 1 { "" } else { "s" },
        );
    }
    for hold in &verdict.hold_points {
        let _ =
            writeln!(text, "  {:<9} {}: {}", "hold", hold.name, hold.how.as_deref().unwrap_or("NOT SHOWN"));
    }
    for note in &verdict.notes {
        let _ = writeln!(text, "  note      {note}");
    }
    let _ = writeln!(
        text,
        "  decided   {}; rule {} {}",
        verdict.decision_rule,
        verdict.rule,
        hash(&verdict.rule_hash)
    );
    text
}

fn deciding(verdict: &VerdictJson) -> Option<&JudgementJson> {
    let rank = |judged: &&JudgementJson| judge::limits::Word::parse(&judged.verdict);
    let worst = verdict.judgements.iter().map(|judged| rank(&judged)).max()?;
    verdict.judgements.iter().find(|judged| rank(judged) == worst)
}

fn figure(judged: &JudgementJson) -> String {
    let unit = &judged.unit;
    let limits = match (judged.low, judged.high) {
        (Some(low), Some(high)) => format!("{} to {} {unit}", short(low), short(high)),
        (Some(low), None) => format!("at least {} {unit}", short(low)),
        (None, Some(high)) => format!("at most {} {unit}", short(high)),
        (None, None) => "no limits".to_owned(),
    };
    let u = judged.expanded_uncertainty;
    let plus_minus = if u > 0.0 { format!(" +-{}", short(u)) } else { String::new() };
    format!("{} {}{plus_minus} {unit} ({limits})", judged.name, short(judged.value))
}

fn probability(judged: &JudgementJson) -> String {
    let p = judged.probability_of_conformance;
    if p > 0.9999 {
        "conforms with more than 99.99 %".to_owned()
    } else if p < 0.0001 {
        "conforms with less than 0.01 %".to_owned()
    } else {
        format!("conforms with {} %", short(100.0 * p))
    }
}

/// Four significant digits, without an exponent for everyday sizes.
#[must_use]
pub fn short(value: f64) -> String {
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    format!("{rounded}")
}

fn hash(hash: &str) -> &str {
    hash.get(..12).unwrap_or(hash)
}

#[cfg(test)]
mod tests {
    use super::{line, short};
    use crate::verdict::VerdictJson;
    use judge::evaluate::{Evaluation, Input, evaluate};
    use judge::limits::{DecisionRule, Word};
    use judge::rule::{Answer, Header, Judgement, Outcome, Rule, RuleError, Source, SourceClass};
    use judge::verdict::Verdict;
    use quantity::{Accuracy, Instant, Unit};

    /// 40 uF +-6 %.
    struct Capacitor(Header);

    impl Rule for Capacitor {
        fn id(&self) -> &'static str {
            "run-capacitor"
        }
        fn hash(&self) -> &'static str {
            "0"
        }
        fn header(&self) -> &Header {
            &self.0
        }
        fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
            let judgement = Judgement {
                name: "capacitance".into(),
                value: values.first().copied().unwrap_or_default(),
                unit: Unit::MICROFARAD,
                low: Some(37.6),
                high: Some(42.4),
                advice_ok: None,
                advice_low: None,
                advice_high: None,
                source: Source { text: "nameplate".into(), class: SourceClass::Nameplate },
                source_parts: [].into(),
            };
            Ok(Outcome { answer: Answer::Judgements(vec![judgement]), path: 0 })
        }
    }

    /// The verdict line of a value read with 1.9 % + 2 counts of 0.1 uF.
    fn line_of(value: f64, decision: DecisionRule) -> (String, Word) {
        let sheet = Accuracy::parse("1.9% + 2 x 0.1uF").unwrap();
        let standard_uncertainty = sheet.standard_uncertainty(value, 0.1, Unit::MICROFARAD).unwrap();
        let inputs = [Input { value, standard_uncertainty }];
        let evaluation = evaluate(&Capacitor(Header::default()), &inputs, decision).unwrap();
        let word = evaluation.word();
        let Evaluation::Judged { judgements, .. } = evaluation else { panic!("no judgement") };
        let verdict = Verdict {
            check: 1,
            unit_tag: String::new(),
            component: String::new(),
            rule: "run-capacitor".to_owned(),
            title: "Run capacitor".to_owned(),
            rule_hash: "0".to_owned(),
            word,
            reason: None,
            judgements,
            readings: Vec::new(),
            plate: Vec::new(),
            hold_points: Vec::new(),
            decision,
            notes: Vec::new(),
            at: Instant::ZERO,
        };
        (line(&VerdictJson::from(&verdict)), word)
    }

    /// What the line's own figures say (ILAC-G8:09/2019, 4.2.3): inside by U or more is a pass, inside by less a conditional
    /// pass, and so on outside.
    fn word_by_the_figures(line: &str) -> Word {
        let (value, rest) = line.split("capacitance ").nth(1).unwrap().split_once(" +-").unwrap();
        let (u, rest) = rest.split_once(" uF (").unwrap();
        let (low, rest) = rest.split_once(" to ").unwrap();
        let high = rest.split_once(" uF)").unwrap().0;
        let number = |text: &str| text.parse::<f64>().unwrap();
        let inside_by = (number(value) - number(low)).min(number(high) - number(value));
        match inside_by {
            by if by >= number(u) => Word::Pass,
            by if by >= 0.0 => Word::ConditionalPass,
            by if by >= -number(u) => Word::ConditionalFail,
            _ => Word::Fail,
        }
    }

    #[test]
    fn the_word_follows_from_the_figures_of_the_line_whatever_the_coverage_factor() {
        let guarded = |coverage_factor| DecisionRule::Guarded { coverage_factor };
        let (text, word) = line_of(38.8, guarded(3.0));
        assert_eq!(word, Word::ConditionalPass);
        assert!(text.contains("38.8 +-1.623 uF (37.6 to 42.4 uF)"), "{text}");
        let (text, word) = line_of(38.8, guarded(2.0));
        assert_eq!(word, Word::Pass);
        assert!(text.contains("38.8 +-1.082 uF (37.6 to 42.4 uF)"), "{text}");
        for k in [0.5, 1.0, 1.645, 2.0, 2.58, 3.0, 3.5] {
            for value in [35.0, 36.4, 37.5, 37.7, 38.4, 38.8, 39.3, 40.0, 41.1, 42.3, 42.5, 45.0] {
                let (text, word) = line_of(value, guarded(k));
                assert_eq!(word, word_by_the_figures(&text), "k = {k}: {text}");
            }
        }
    }

    #[test]
    fn four_significant_digits() {
        assert_eq!(short(42.400_000_1), "42.4");
        assert_eq!(short(0.012_345_6), "0.01235");
        assert_eq!(short(1_234_567.0), "1235000");
        assert_eq!(short(0.0), "0");
    }
}
