//! Readings as SenML (RFC 8428), one pack per line: base SI units from the SenML registry, plus the displayed digits
//! under our own label `shown`. Also reads packs from other sources if their unit is known here. Does not do CBOR,
//! XML, or sensor streams over a network.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;
use core::fmt;

use quantity::{Coupling, Decimal, Flags, Instant, Kind, Reading, Sign, State, Unit, parse_typed};
use serde_json::{Map, Value, json};

use crate::numbers::rounded;

/// Why a pack was rejected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SenmlError(String);

impl fmt::Display for SenmlError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl core::error::Error for SenmlError {}

/// SenML unit (registry of RFC 8428 12.1, RFC 8798) and our unit; the scaled digits keep the display's own unit where
/// it is usual (uF).
const UNITS: [(&str, Unit); 16] = [
    ("F", Unit::F),
    ("Ohm", Unit::OHM),
    ("V", Unit::VOLT),
    ("mV", Unit::MILLIVOLT),
    ("A", Unit::AMPERE),
    ("mA", Unit::MILLIAMPERE),
    ("Hz", Unit::HERTZ),
    ("W", Unit::WATT),
    ("kW", Unit::KILOWATT),
    ("VA", Unit::VOLT_AMPERE),
    ("Cel", Unit::CELSIUS),
    ("Pa", Unit::PASCAL),
    ("%RH", Unit::PERCENT_RH),
    ("ppm", Unit::PPM),
    ("m3/s", Unit::CUBIC_METRE_PER_SECOND),
    ("s", Unit::SECOND),
];

/// One reading as a pack of one record, with the device's own name for its channel if it has one.
#[must_use]
pub fn reading(device: &str, label: Option<&str>, reading: &Reading) -> String {
    let unit = reading.display.unit;
    let (senml, base) =
        UNITS.iter().copied().find(|(_, known)| known.kind() == unit.kind()).unwrap_or(("", unit));
    let mut record = Map::new();
    record.insert("bn".into(), json!(format!("urn:dev:cliplead:{device}:")));
    record.insert("n".into(), json!(unit.kind().name().replace(' ', "_")));
    record.insert("t".into(), json!(reading.at.seconds()));
    if !senml.is_empty() {
        record.insert("u".into(), json!(senml));
    }
    match reading.state {
        State::Value(shown) => {
            let value = unit.convert(shown.to_f64(), base).unwrap_or_else(|_| shown.to_f64());
            record.insert("v".into(), json!(rounded(value)));
        }
        State::Overload(Sign::Positive) => drop(record.insert("vs".into(), json!("OL"))),
        State::Overload(Sign::Negative) => drop(record.insert("vs".into(), json!("-OL"))),
        State::NoValue => drop(record.insert("vs".into(), json!("---"))),
    }
    record.insert("shown".into(), json!(reading.to_string()));
    record.insert("seq".into(), json!(reading.seq));
    if reading.channel != 0 {
        record.insert("channel".into(), json!(reading.channel));
    }
    if let Some(label) = label {
        record.insert("label".into(), json!(label));
    }
    let flags = reading.flags;
    let set = [
        (flags.hold, "hold"),
        (flags.low_battery, "low battery"),
        (flags.relative, "relative"),
        (flags.min_max, "min/max"),
    ];
    let set: Vec<&str> = set.into_iter().filter(|(on, _)| *on).map(|(_, name)| name).collect();
    if !set.is_empty() {
        record.insert("flags".into(), json!(set));
    }
    Value::Array(vec![Value::Object(record)]).to_string()
}

/// Parses a pack: the device's name and the readings, in order. Base fields apply as in RFC 8428, 4.1. Times are
/// seconds since the start of the recording.
///
/// # Errors
/// [`SenmlError`] names the record (1-based) and the fault; nothing of the pack is used then.
pub fn pack(value: &Value) -> Result<Vec<(String, Reading)>, SenmlError> {
    let records = value.as_array().ok_or_else(|| SenmlError("a SenML pack is an array of records".into()))?;
    let mut base = Base::default();
    let mut readings = Vec::new();
    for (index, record) in records.iter().enumerate() {
        let of = |why: String| SenmlError(format!("record {}: {why}", index + 1));
        let record = record.as_object().ok_or_else(|| of("is not an object".into()))?;
        base.take(record).map_err(of)?;
        if let Some(reading) = one(record, &base).map_err(of)? {
            readings.push(reading);
        }
    }
    Ok(readings)
}

#[derive(Default)]
struct Base {
    name: String,
    time_s: f64,
    unit: String,
    value: f64,
}

impl Base {
    fn take(&mut self, record: &Map<String, Value>) -> Result<(), String> {
        if let Some(version) = record.get("bver").and_then(Value::as_u64)
            && version > 10
        {
            return Err(format!("SenML version {version} is not known (RFC 8428 is 10)"));
        }
        if let Some(must) = record.keys().find(|key| key.ends_with('_')) {
            return Err(format!(
                "label {must:?} ends in _ and must be understood, but is not (RFC 8428, 4.4)"
            ));
        }
        if let Some(name) = record.get("bn") {
            self.name = name.as_str().ok_or("bn is not text")?.to_owned();
        }
        if let Some(unit) = record.get("bu") {
            self.unit = unit.as_str().ok_or("bu is not text")?.to_owned();
        }
        for (key, slot) in [("bt", &mut self.time_s), ("bv", &mut self.value)] {
            if let Some(number) = record.get(key) {
                *slot = number.as_f64().ok_or_else(|| format!("{key} is not a number"))?;
            }
        }
        Ok(())
    }
}

fn one(record: &Map<String, Value>, base: &Base) -> Result<Option<(String, Reading)>, String> {
    let number = |key: &str| -> Result<Option<f64>, String> {
        record.get(key).map(|v| v.as_f64().ok_or_else(|| format!("{key} is not a number"))).transpose()
    };
    let text = |key: &str| -> Result<Option<&str>, String> {
        record.get(key).map(|v| v.as_str().ok_or_else(|| format!("{key} is not text"))).transpose()
    };
    let (value, words) = (number("v")?, text("vs")?);
    if value.is_none() && words.is_none() {
        return Ok(None); // base fields only, or a kind of value that is no reading (bool, data, sum)
    }
    let time_s = base.time_s + number("t")?.unwrap_or(0.0);
    let seconds_max = 1e12;
    if !(0.0..seconds_max).contains(&time_s) {
        return Err(format!("time {time_s} s is not within the recording"));
    }
    let (unit, coupling, state) =
        shown_or_value(text("shown")?, text("u")?.unwrap_or(&base.unit), value, words, base.value)?;
    let flag = |name: &str| {
        record
            .get("flags")
            .and_then(Value::as_array)
            .is_some_and(|set| set.iter().any(|v| v.as_str() == Some(name)))
    };
    let flags = Flags {
        hold: flag("hold"),
        low_battery: flag("low battery"),
        relative: flag("relative"),
        min_max: flag("min/max"),
    };
    #[allow(clippy::cast_possible_truncation)] // below 1e18, checked
    let at = Instant::from_micros(libm::round(time_s * 1e6) as i64);
    let seq = record.get("seq").and_then(Value::as_u64).unwrap_or(0);
    let channel =
        record.get("channel").and_then(Value::as_u64).and_then(|c| u8::try_from(c).ok()).unwrap_or(0);
    let device = base.name.trim_end_matches(':').rsplit([':', '/']).next().unwrap_or("").to_owned();
    let device = if device.is_empty() { "senml".to_owned() } else { device };
    Ok(Some((
        device,
        Reading {
            at,
            seq,
            channel,
            display: quantity::DisplayUnit { unit, coupling },
            state,
            flags,
            accuracy: None,
            timing: quantity::Timing::default(),
        },
    )))
}

/// The displayed digits if they are given and agree with the value; otherwise digits made from the value.
fn shown_or_value(
    shown: Option<&str>,
    senml_unit: &str,
    value: Option<f64>,
    words: Option<&str>,
    base_value: f64,
) -> Result<(Unit, Option<Coupling>, State), String> {
    let known = UNITS.iter().find(|(name, _)| *name == senml_unit).map(|(_, unit)| *unit);
    if let Some(shown) = shown {
        let words_state = |text: &str| match text {
            "OL" => Some(State::Overload(Sign::Positive)),
            "-OL" => Some(State::Overload(Sign::Negative)),
            "---" => Some(State::NoValue),
            _ => None,
        };
        if let Some((head, unit)) = shown.split_once(' ')
            && let Some(state) = words_state(head)
        {
            let (unit, coupling) = Coupling::strip_from(unit);
            return Ok((Unit::parse(unit).map_err(|e| e.to_string())?, coupling, state));
        }
        let typed = parse_typed(shown).map_err(|e| format!("shown: {e}"))?;
        let unit = typed.unit.ok_or_else(|| format!("shown: {shown:?} has no unit"))?;
        if let (Some(value), Some(known)) = (value, known) {
            let digits = unit.convert(typed.number.to_f64(), known).map_err(|e| format!("shown: {e}"))?;
            let step = unit.convert_span(typed.number.resolution(), known).unwrap_or(0.0);
            // The value is written with nine significant digits.
            if (digits - (value + base_value)).abs() > step.max(1e-8 * digits.abs()) {
                return Err(format!("shown {shown:?} contradicts v = {value} {senml_unit}"));
            }
        }
        return Ok((unit, typed.coupling, State::Value(typed.number)));
    }
    let unit = known.ok_or_else(|| {
        format!("unit {senml_unit:?} is not one of the SenML units read here, and no \"shown\" stands there")
    })?;
    let Some(value) = value else {
        let state = match words {
            Some("OL") => State::Overload(Sign::Positive),
            _ => State::NoValue,
        };
        return Ok((unit, None, state));
    };
    let value = value + base_value;
    let (value, unit) = if unit.kind() == Kind::Capacitance {
        (unit.convert(value, Unit::MICROFARAD).map_err(|e| e.to_string())?, Unit::MICROFARAD)
    } else {
        (value, unit)
    };
    let digits =
        Decimal::parse(&format!("{value}")).map_err(|_| format!("v = {value} has no usable digits"))?;
    Ok((unit, None, State::Value(digits)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example(text: &str) -> Vec<(String, Reading)> {
        pack(&serde_json::from_str(text).unwrap()).unwrap()
    }

    /// RFC 8428, 5.1.1 and 5.1.2: single and multiple data points.
    #[test]
    fn reads_the_rfcs_own_examples() {
        let one = example(r#"[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]"#);
        assert_eq!(one[0].1.to_string(), "23.1 °C");
        let many = example(
            r#"[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
                {"n":"current","u":"A","v":1.2}]"#,
        );
        assert_eq!(many[0].1.to_string(), "120.1 V");
        assert_eq!((many[1].0.as_str(), many[1].1.to_string().as_str()), ("10e2073a01080063", "1.2 A"));
    }

    /// What the display shows in uF is written in F without an extra digit.
    #[test]
    fn a_value_has_no_digits_that_nobody_showed() {
        for (shown, want) in [("12.46 uF", "1.246e-5"), ("44.70 uF", "4.47e-5"), ("0.0001 uF", "1e-10")] {
            let number: f64 = want.parse().unwrap();
            let pack = format!(r#"[{{"n":"meter","u":"F","v":{number},"shown":"{shown}"}}]"#);
            let written: Value = serde_json::from_str(&reading("meter", None, &example(&pack)[0].1)).unwrap();
            assert_eq!(written[0]["v"].to_string(), json!(number).to_string(), "{shown}");
        }
    }

    #[test]
    fn a_label_stands_beside_the_channel_and_hinders_no_reader() {
        let got = example(r#"[{"n":"probe","u":"Cel","v":21.5,"channel":1}]"#).remove(0).1;
        let line = reading("probe", Some("return \"air\""), &got);
        let again: Value = serde_json::from_str(&line).unwrap();
        assert_eq!((&again[0]["channel"], &again[0]["label"]), (&json!(1), &json!("return \"air\"")));
        assert_eq!(pack(&again).unwrap()[0].1, got);
        assert!(!reading("probe", None, &got).contains("label"));
    }

    #[test]
    fn keeps_the_digits_as_displayed() {
        let pack = r#"[{"bn":"urn:dev:cliplead:meter:","n":"capacitance","t":1.25,"u":"F","v":4.47e-05,"shown":"44.70 uF","seq":17}]"#;
        let (device, got) = example(pack).remove(0);
        assert_eq!(
            (device.as_str(), got.to_string().as_str(), got.at.micros()),
            ("meter", "44.70 uF", 1_250_000)
        );
        let again: Value = serde_json::from_str(&reading("meter", None, &got)).unwrap();
        assert_eq!(super::pack(&again).unwrap()[0].1, got);
    }

    /// 12.46 uF in farads is 0.000012460000000000001 to a float.
    #[test]
    fn values_have_nine_significant_digits() {
        for (text, v) in [
            ("12.46 uF", r#""v":0.00001246}"#),
            ("0.12345678912345 V", r#""v":0.123456789}"#),
            ("72.1 °F", r#""v":22.2777778}"#),
        ] {
            let typed = parse_typed(text).unwrap();
            let made = Reading {
                at: Instant::from_micros(1_250_000),
                seq: 1,
                channel: 0,
                display: quantity::DisplayUnit { unit: typed.unit.unwrap(), coupling: None },
                state: State::Value(typed.number),
                flags: Flags::default(),
                accuracy: None,
                timing: quantity::Timing::default(),
            };
            let line = reading("meter", None, &made);
            assert!(line.contains(v), "{line}");
            assert_eq!(pack(&serde_json::from_str(&line).unwrap()).unwrap()[0].1, made);
        }
    }

    #[test]
    fn refuses_what_it_does_not_understand() {
        for (text, says) in [
            (r#"{"n":"a"}"#, "array"),
            (r#"[{"n":"a","u":"F","v":1,"must_":1}]"#, "must be understood"),
            (r#"[{"n":"a","u":"furlong","v":1}]"#, "furlong"),
            (r#"[{"n":"a","u":"F","v":1e-5,"shown":"44.70 uF"}]"#, "contradicts"),
            (r#"[{"n":"a","u":"F","v":1e-5,"t":-5}]"#, "time"),
            (r#"[{"bver":99,"n":"a","u":"F","v":1}]"#, "version"),
        ] {
            let error = pack(&serde_json::from_str(text).unwrap()).unwrap_err().to_string();
            assert!(error.contains(says), "{text}: {error}");
        }
    }
}
