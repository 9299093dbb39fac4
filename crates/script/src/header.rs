//! The declarations at the top of a rule file: read from the syntax tree, never executed. Holds and validates what
//! each declaration takes; knows nothing of the functions below.

mod danger;
mod declarations;
mod evidence;
mod literal;

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use judge::rule::{
    AcceptedDrift, Header, Moment, NamedLimit, PlateDefault, PlateItem, Point, Source, SourceClass,
};
use quantity::{Coupling, DisplayUnit, Duration, Unit};
use rhai::{Expr, FnCallExpr, ImmutableString, Position, Stmt};
use visit::hold;

pub use declarations::{DECLARATIONS, Declaration};

use crate::diagnostic::{At, Findings, did_you_mean};

use evidence::lead_to_the_state;
use literal::{Literal, literal};

/// Most items of one kind (nameplate items, readings, limits): the engine's map limit.
const ITEMS_MAX: usize = 32;

/// How far apart readings of one moment may lie, in seconds: no hand-held meter responds within less than a second,
/// and beyond ten minutes nothing is one moment. Our own choice.
const MOMENT_S: core::ops::RangeInclusive<f64> = 1.0..=600.0;

/// The prefix with which `plausible` means a nameplate value; a reading may have the same name.
const OF_PLATE: &str = "plate.";

type Arguments = Vec<(Literal, Position)>;

/// Reads the header from the top-level statements.
pub(crate) fn read(statements: &[Stmt], findings: &mut Findings<'_>) -> Header {
    let mut reader = Reader {
        header: Header::default(),
        findings,
        hold_points_at: None,
        state_at: None,
        terminals_at: None,
    };
    for statement in statements {
        reader.statement(statement);
    }
    let Reader { mut header, findings, state_at, terminals_at, .. } = reader;
    lead_to_the_state(&mut header, state_at.unwrap_or(Position::NONE), findings);
    if let Some(position) = terminals_at
        && !header.hold_points.iter().any(|name| hold::of(name).by_stream == hold::ByStream::Discharged)
    {
        findings
            .error(position, "terminals are for the hold point \"discharged\": list it, or leave them out");
    }
    if header.title.is_empty() {
        findings.error(At::default(), "a rule begins with title(\"...\")");
    }
    if header.points.is_empty() {
        findings.error(At::default(), "a rule reads something: add reads(\"name\", \"unit\")");
    }
    header
}

struct Reader<'f, 'a> {
    header: Header,
    findings: &'f mut Findings<'a>,
    hold_points_at: Option<Position>,
    state_at: Option<Position>,
    terminals_at: Option<Position>,
}

impl Reader<'_, '_> {
    fn statement(&mut self, statement: &Stmt) {
        let (call, position) = match statement {
            Stmt::Noop(_) => return,
            Stmt::FnCall(call, position) => (call, *position),
            Stmt::Expr(expression) => match &**expression {
                Expr::FnCall(call, position) if call.op_token.is_none() => (call, *position),
                other => return self.not_a_declaration(other.start_position()),
            },
            other => return self.not_a_declaration(other.position()),
        };
        if !DECLARATIONS.iter().any(|d| d.name == call.name.as_str()) {
            let hint = did_you_mean(&call.name, DECLARATIONS.iter().map(|d| d.name));
            let text = format!("{}(...) is no declaration{hint}", call.name);
            return self.findings.error(position, text);
        }
        if let Some(arguments) = self.literals(call) {
            self.declaration(&call.name, &arguments, position);
        }
    }

    fn not_a_declaration(&mut self, position: Position) {
        let text = "only declarations such as title(\"...\") and functions stand at the top level";
        self.findings.error(position, text);
    }

    fn literals(&mut self, call: &FnCallExpr) -> Option<Arguments> {
        let mut all = Vec::new();
        for expression in &call.args {
            let literal = literal(expression);
            if literal.is_none() {
                let text =
                    format!("{}(...) takes texts and numbers as they stand, nothing calculated", call.name);
                self.findings.error(expression.start_position(), text);
            }
            all.push((literal?, expression.start_position()));
        }
        Some(all)
    }

    fn declaration(&mut self, name: &str, arguments: &Arguments, position: Position) {
        use Literal::{Number, SameAs, Text, Texts};
        let forms: Vec<&Literal> = arguments.iter().map(|(literal, _)| literal).collect();
        let line = At::from(position).line;
        // A source is always the last argument.
        let source_at = arguments.last().map_or(position, |(_, at)| *at);
        match (name, forms.as_slice()) {
            ("title", [Text(text)]) => self.once(position, text, |header| &mut header.title),
            ("about", [Text(text)]) => self.once(position, text, |header| &mut header.about),
            ("caution", [Text(text)]) => self.header.cautions.push(text.to_string()),
            ("nameplate", [Text(name), Text(unit)]) => {
                self.plate_item(name, unit, PlateDefault::Required, position);
            }
            ("nameplate", [Text(name), Text(unit), Number(value), Text(source)]) => {
                let default = PlateDefault::Value(*value, self.source(source, source_at));
                self.plate_item(name, unit, default, position);
            }
            ("nameplate", [Text(name), Text(unit), SameAs(other), Text(source)]) => {
                let source = self.source(source, source_at);
                let default = self.same_as(other, unit, source, position);
                self.plate_item(name, unit, default, position);
            }
            ("nameplate", [Text(_), Text(_), Number(_) | SameAs(_)]) => self.findings.error(
                position,
                "a default needs its source as the last argument, such as \"common practice: ...\"",
            ),
            ("choice", [Text(name), Texts(words)]) => self.choice(name, words, None, position),
            ("choice", [Text(name), Texts(words), Text(default), Text(source)]) => {
                let source = self.source(source, source_at);
                self.choice(name, words, Some((default, source)), position);
            }
            ("reads", [Text(name), Text(unit)]) => {
                self.point(name, unit, name.replace('_', " "), position);
            }
            ("reads", [Text(name), Text(unit), Text(label)]) => {
                self.point(name, unit, label.to_string(), position);
            }
            ("plausible", [Text(name), Number(low), Number(high)]) => {
                self.plausible(name, *low, *high, position)
            }
            ("open", [Text(name), Number(value)]) => self.open(name, *value, position),
            ("may_drift", [Text(name), Text(called), Number(per_minute), Text(source)]) => {
                let source = self.source(source, source_at);
                let drift = AcceptedDrift { name: called.to_string(), per_minute: *per_minute, source };
                self.may_drift(name, drift, position);
            }
            ("limit", [Text(name), Number(value), Text(unit), Text(source)]) => {
                let ((unit, _), source) = (self.unit(unit, position), self.source(source, source_at));
                self.name(name, position);
                if self.header.limits.iter().any(|other| other.name == name.as_str()) {
                    self.findings.error(position, format!("limit {name:?} is declared twice"));
                }
                let limit = NamedLimit { name: name.to_string(), value: *value, unit, source, line };
                self.header.limits.push(limit);
            }
            ("one_moment", [Texts(names), Number(seconds)]) => self.one_moment(names, *seconds, position),
            _ if self.of_evidence(name, &forms, position) => {}
            _ => {
                let forms = DECLARATIONS.iter().find(|d| d.name == name).map_or(&[][..], |d| d.forms);
                self.findings.error(position, format!("write {}", forms.join(" or ")));
            }
        }
    }

    fn once(&mut self, position: Position, text: &str, slot: fn(&mut Header) -> &mut String) {
        let slot = slot(&mut self.header);
        if text.trim().is_empty() {
            self.findings.error(position, "this text is empty");
        } else if !slot.is_empty() {
            self.findings.error(position, "this is declared twice");
        }
        *slot = text.to_string();
    }

    /// A name that follows a dot in the rule.
    fn name(&mut self, name: &str, position: Position) {
        let mut letters = name.chars();
        let fine = letters.next().is_some_and(|c| c.is_ascii_lowercase())
            && letters.all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
            && name.len() <= 48;
        if !fine {
            let text = format!(
                "{name:?}: a name is lower-case letters, digits and _, begins with a letter, 48 at most"
            );
            self.findings.error(position, text);
        }
        let counts = [self.header.nameplate.len(), self.header.points.len(), self.header.limits.len()];
        if counts.into_iter().any(|count| count >= ITEMS_MAX) {
            let text = format!("too many: at most {ITEMS_MAX} nameplate items, readings or limits");
            self.findings.error(position, text);
        }
    }

    /// The unit; a placeholder after an error, so that the item itself is still known and reported once.
    fn unit(&mut self, text: &str, position: Position) -> (Unit, Option<Coupling>) {
        let (symbol, coupling) = Coupling::strip_from(text);
        let unit = Unit::parse(symbol).unwrap_or_else(|error| {
            self.findings.error(position, error.to_string());
            Unit::ONE
        });
        (unit, coupling)
    }

    /// The source; a placeholder after an error.
    fn source(&mut self, text: &str, position: Position) -> Source {
        Source::parse(text).unwrap_or_else(|error| {
            self.findings.error(position, error.to_string());
            Source { text: text.into(), class: SourceClass::Memory }
        })
    }

    fn same_as(&mut self, other: &str, unit: &str, source: Source, position: Position) -> PlateDefault {
        let Some(item) = self.header.nameplate.iter().find(|item| item.name == other) else {
            let hint = did_you_mean(other, self.header.nameplate.iter().map(|item| item.name.as_str()));
            let text = format!("same_as({other:?}) names no nameplate item declared above{hint}");
            self.findings.error(position, text);
            return PlateDefault::Required;
        };
        if !Unit::parse(unit).is_ok_and(|unit| unit == item.unit) {
            let text = format!("{other:?} is in {}, this is in {unit}: give both the same unit", item.unit);
            self.findings.error(position, text);
        }
        PlateDefault::SameAs(other.into(), source)
    }

    fn plate_item(&mut self, name: &str, unit: &str, default: PlateDefault, position: Position) {
        self.name(name, position);
        if self.header.nameplate.iter().any(|other| other.name == name) {
            self.findings.error(position, format!("nameplate item {name:?} is declared twice"));
        }
        let (unit, _) = self.unit(unit, position);
        let point = self.header.points.iter().find(|point| point.name == name);
        self.same_unit(name, point.map(|point| point.display.unit), unit, position);
        let line = At::from(position).line;
        let item = PlateItem { name: name.into(), unit, choices: Vec::new(), default, plausible: None, line };
        self.header.nameplate.push(item);
    }

    fn choice(
        &mut self,
        name: &str,
        words: &[(ImmutableString, Position)],
        default: Option<(&str, Source)>,
        position: Position,
    ) {
        let before = self.header.nameplate.len();
        let default = match default {
            None => PlateDefault::Required,
            Some((word, source)) => {
                let place = words.iter().position(|(known, _)| known == word);
                if place.is_none() {
                    let hint = did_you_mean(word, words.iter().map(|(known, _)| known.as_str()));
                    self.findings.error(position, format!("the default {word:?} is none of the words{hint}"));
                }
                PlateDefault::Value(place.unwrap_or(0) as f64, source)
            }
        };
        for (at, (word, place)) in words.iter().enumerate() {
            if !word.starts_with(|c: char| c.is_alphabetic()) {
                self.findings.error(*place, format!("{word:?}: a word of a choice begins with a letter"));
            }
            if words.iter().take(at).any(|(other, _)| other.eq_ignore_ascii_case(word)) {
                self.findings.error(*place, format!("{word:?} stands twice"));
            }
        }
        if !(2..=ITEMS_MAX).contains(&words.len()) {
            self.findings.error(position, format!("a choice has 2 to {ITEMS_MAX} words"));
        }
        self.plate_item(name, Unit::ONE.symbol(), default, position);
        if let Some(item) = self.header.nameplate.get_mut(before) {
            item.choices = words.iter().map(|(word, _)| word.to_string()).collect();
        }
    }

    fn point(&mut self, name: &str, unit: &str, label: String, position: Position) {
        self.name(name, position);
        if self.header.points.iter().any(|other| other.name == name) {
            self.findings.error(position, format!("reading {name:?} is declared twice"));
        }
        if self.header.points.iter().any(|other| other.label == label) {
            self.findings.error(position, format!("label {label:?} stands on two readings"));
        }
        let (unit, coupling) = self.unit(unit, position);
        let item = self.header.nameplate.iter().find(|item| item.name == name);
        self.same_unit(name, item.map(|item| item.unit), unit, position);
        let line = At::from(position).line;
        self.header.points.push(Point {
            name: name.into(),
            label,
            display: DisplayUnit { unit, coupling },
            plausible: None,
            open_counts_as: None,
            drift: None,
            line,
        });
    }

    /// A judgement takes its unit by name, so a name has only one unit in a rule.
    fn same_unit(&mut self, name: &str, other: Option<Unit>, unit: Unit, position: Position) {
        if let Some(other) = other.filter(|other| *other != unit) {
            let text = format!("{name:?} is in {other} above and in {unit} here: give both the same unit");
            self.findings.error(position, text);
        }
    }

    fn plausible(&mut self, name: &str, low: f64, high: f64, position: Position) {
        if low.partial_cmp(&high) != Some(core::cmp::Ordering::Less) {
            self.findings.error(position, "plausible(name, low, high): low lies below high");
        }
        if let Some(item) = name.strip_prefix(OF_PLATE) {
            return self.plate_plausible(item, low, high, position);
        }
        match self.header.points.iter_mut().find(|point| point.name == name) {
            Some(point) if point.plausible.is_none() => point.plausible = Some((low, high)),
            Some(_) => self.findings.error(position, format!("plausible({name:?}, ...) is declared twice")),
            None => {
                let hint = if self.header.nameplate.iter().any(|item| item.name == name) {
                    format!("; the nameplate value is named \"{OF_PLATE}{name}\"")
                } else {
                    did_you_mean(name, self.header.points.iter().map(|point| point.name.as_str()))
                };
                self.findings.error(position, format!("no reading {name:?} is declared above{hint}"));
            }
        }
    }

    /// Bounds of a nameplate value. A default must lie inside: nobody could answer the question about it.
    fn plate_plausible(&mut self, name: &str, low: f64, high: f64, position: Position) {
        let Some(item) = self.header.nameplate.iter_mut().find(|item| item.name == name) else {
            let hint = did_you_mean(name, self.header.nameplate.iter().map(|item| item.name.as_str()));
            let text = format!("no nameplate item {name:?} is declared above{hint}");
            return self.findings.error(position, text);
        };
        if !item.choices.is_empty() {
            let text = format!("{name:?} is a choice: its words are its bounds");
            return self.findings.error(position, text);
        }
        if let PlateDefault::Value(value, _) = item.default
            && !(low..=high).contains(&value)
        {
            let text = format!("the default of {name:?}, {value}, lies outside {low} to {high}");
            return self.findings.error(position, text);
        }
        if item.plausible.replace((low, high)).is_some() {
            let text = format!("plausible(\"{OF_PLATE}{name}\", ...) is declared twice");
            self.findings.error(position, text);
        }
    }

    fn open(&mut self, name: &str, value: f64, position: Position) {
        match self.header.points.iter_mut().find(|point| point.name == name) {
            Some(point) if point.open_counts_as.is_none() => point.open_counts_as = Some(value),
            Some(_) => self.findings.error(position, format!("open({name:?}, ...) is declared twice")),
            None => {
                let hint = did_you_mean(name, self.header.points.iter().map(|point| point.name.as_str()));
                self.findings.error(position, format!("no reading {name:?} is declared above{hint}"));
            }
        }
    }

    fn may_drift(&mut self, name: &str, drift: AcceptedDrift, position: Position) {
        if drift.name.trim().is_empty() {
            self.findings
                .error(position, "the drift has no name: say what the trade calls it, such as \"pull-down\"");
        }
        if drift.per_minute <= 0.0 {
            self.findings.error(position, "the rate a minute is above zero; it counts up and down");
        }
        match self.header.points.iter_mut().find(|point| point.name == name) {
            Some(point) if point.drift.is_none() => point.drift = Some(drift),
            Some(_) => self.findings.error(position, format!("may_drift({name:?}, ...) is declared twice")),
            None => {
                let hint = did_you_mean(name, self.header.points.iter().map(|point| point.name.as_str()));
                self.findings.error(position, format!("no reading {name:?} is declared above{hint}"));
            }
        }
    }

    fn one_moment(&mut self, names: &[(ImmutableString, Position)], seconds: f64, position: Position) {
        if !MOMENT_S.contains(&seconds) {
            let (least, most) = (MOMENT_S.start(), MOMENT_S.end());
            self.findings
                .error(position, format!("readings of one moment lie {least} to {most} seconds apart"));
            return;
        }
        let mut points = Vec::new();
        for (name, position) in names {
            match self.header.points.iter().position(|point| point.name == name.as_str()) {
                Some(index) if points.contains(&index) => {
                    self.findings.error(*position, format!("reading {name:?} stands twice"));
                }
                Some(index) => points.push(index),
                None => {
                    let hint = did_you_mean(name, self.header.points.iter().map(|point| point.name.as_str()));
                    self.findings.error(*position, format!("no reading {name:?} is declared above{hint}"));
                }
            }
        }
        if names.len() < 2 {
            self.findings.error(position, "one moment takes two readings or more");
        }
        #[allow(clippy::cast_possible_truncation)] // within MOMENT_S
        let within = Duration::from_micros((seconds * 1e6) as i64);
        self.header.moments.push(Moment { points, within, line: At::from(position).line });
    }
}
