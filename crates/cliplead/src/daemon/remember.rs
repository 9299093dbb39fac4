//! What the history remembers of visits that are still open: read from their events and verdicts, told in words, and handed to the
//! round. What makes people safe is not among it. Changes nothing.

use std::time::{Duration, UNIX_EPOCH};

use history::{HistoryError, Reader, Visit, VisitEvent};
use judge::limits::Word;
use record::plain;
use visit::round::{Owed, Recall, Service};

/// The last word of each check of a visit, by component and rule.
pub(super) type Given = Vec<(String, String, Word)>;

/// A visit that is open, or that was closed and left something undone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Remembered {
    /// Its id in the history; empty where the visits cannot be read.
    uid: String,
    pub(super) unit_tag: String,
    /// The machine that holds it.
    machine: String,
    opened_wall_ms: i64,
    held: Held,
    /// What its checks were given; of a visit that this machine holds.
    pub(super) given: Given,
}

/// Where it is held, and what is known of it.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Held {
    /// By this machine, which goes on with it.
    Here(Box<Recall>),
    /// By this machine, and it cannot be read.
    Unreadable(String),
    Elsewhere,
    /// By nobody: it is closed, and this is owed to the next one.
    Closed(Box<Recall>),
}

/// All open visits of a site; of those that `machine` holds, the one worked at last is the last. What cannot be read hides nothing
/// else, and holds nothing up.
pub(super) fn all(reader: &Reader, site: &str, machine: &str) -> Vec<Remembered> {
    let open = match reader.open_visits(site) {
        Ok(open) => open,
        Err(error) => {
            let unknown = Held::Unreadable(error.to_string());
            return vec![Remembered {
                uid: String::new(),
                unit_tag: String::new(),
                machine: machine.to_owned(),
                opened_wall_ms: 0,
                held: unknown,
                given: Vec::new(),
            }];
        }
    };
    let remembered = |visit: Visit| {
        if visit.machine != machine {
            return Remembered::of(visit, Held::Elsewhere, Vec::new());
        }
        match recall(reader, &visit) {
            Ok((recall, given)) => Remembered::of(visit, Held::Here(Box::new(recall)), given),
            Err(error) => Remembered::of(visit, Held::Unreadable(error.to_string()), Vec::new()),
        }
    };
    let open: Vec<Remembered> = open.into_iter().map(remembered).collect();
    left_undone(reader, site).into_iter().chain(open).collect()
}

/// What closed visits left undone, each at a unit of which no later visit is known.
fn left_undone(reader: &Reader, site: &str) -> Vec<Remembered> {
    // What cannot be read is told of the open visits.
    let closed = reader.last_visits_closed(site).unwrap_or_default();
    let left = |visit: Visit| {
        let held = match recall(reader, &visit) {
            Ok((Recall { owed, .. }, _)) if owed.is_empty() => return None,
            Ok((Recall { unit_tag, owed, .. }, _)) => {
                Held::Closed(Box::new(Recall { unit_tag, owed, closed: true, ..Recall::default() }))
            }
            Err(error) => Held::Unreadable(error.to_string()),
        };
        Some(Remembered::of(Visit { uid: String::new(), ..visit }, held, Vec::new()))
    };
    closed.into_iter().filter_map(left).collect()
}

/// The visits of a site that other machines have open.
///
/// # Errors
/// That the file cannot be read.
pub(super) fn elsewhere(reader: &Reader, site: &str, machine: &str) -> Result<Vec<Remembered>, HistoryError> {
    let open = reader.open_visits(site)?;
    let others = open.into_iter().filter(|visit| visit.machine != machine);
    Ok(others.map(|visit| Remembered::of(visit, Held::Elsewhere, Vec::new())).collect())
}

/// Names the visit that `event` takes over: of those that others have open at its unit, the one that began first.
///
/// # Errors
/// That there is none, or that the file cannot be read.
pub(super) fn to_take_over(reader: &Reader, site: &str, event: &mut VisitEvent) -> Result<(), HistoryError> {
    let open = reader.open_visits(site)?;
    let others = open.into_iter().filter(|visit| {
        visit.machine != event.machine && visit.unit_tag.eq_ignore_ascii_case(&event.unit_tag)
    });
    let first = others.min_by_key(|visit| visit.opened_wall_ms);
    let Some(visit) = first else {
        let of = "taking over".to_owned();
        return Err(HistoryError::NoOpenVisit { of, at: event.unit_tag.clone() });
    };
    event.text = Some(visit.machine);
    event.unit_tag = visit.unit_tag;
    event.visit = Some(visit.uid);
    Ok(())
}

/// What its events and its verdicts leave.
fn recall(reader: &Reader, visit: &Visit) -> Result<(Recall, Given), HistoryError> {
    let mut recall = Recall { unit_tag: visit.unit_tag.clone(), ..Recall::default() };
    for stored in reader.visit_events(&visit.uid)? {
        let event = stored.event;
        match event.kind.as_str() {
            "finding" => recall.findings = recall.findings.saturating_add(1),
            "owed" => {
                let owed = owed(event);
                if !recall.owed.contains(&owed) {
                    recall.owed.push(owed);
                }
            }
            "restored" => {
                let restored = owed(event);
                recall.owed.retain(|known| *known != restored);
            }
            kind => recall.service = Service::of_word(kind).unwrap_or(recall.service),
        }
    }
    let mut given = Vec::new();
    for check in reader.visit_checks(&visit.uid)? {
        if check.failed {
            recall.failed.push((check.component.clone(), check.rule.clone()));
        }
        if check.judged {
            recall.judged.push((check.component.clone(), check.rule.clone()));
        }
        given.extend(Word::parse(&check.word).map(|word| (check.component, check.rule, word)));
    }
    Ok((recall, given))
}

fn owed(event: VisitEvent) -> Owed {
    Owed {
        unit_tag: event.unit_tag,
        component: event.component,
        hold_point: event.hold_point.unwrap_or_default(),
        what: event.text.unwrap_or_default(),
    }
}

impl Remembered {
    fn of(visit: Visit, held: Held, given: Given) -> Self {
        let Visit { uid, unit_tag, machine, opened_wall_ms, .. } = visit;
        Self { uid, unit_tag, machine, opened_wall_ms, held, given }
    }

    /// One that this machine holds.
    #[cfg(test)]
    pub(super) fn here(recall: Recall) -> Self {
        let unit_tag = recall.unit_tag.clone();
        Self {
            uid: String::new(),
            unit_tag,
            machine: String::new(),
            opened_wall_ms: 0,
            held: Held::Here(Box::new(recall)),
            given: Vec::new(),
        }
    }

    /// One that another machine holds.
    #[cfg(test)]
    pub(super) fn of_another(unit_tag: &str, machine: &str) -> Self {
        let recall = Recall { unit_tag: unit_tag.to_owned(), ..Recall::default() };
        Self { machine: machine.to_owned(), held: Held::Elsewhere, ..Self::here(recall) }
    }

    /// Its unit, and a sentence for the page, where another machine holds it.
    pub(super) fn elsewhere(&self) -> Option<(&str, String)> {
        let since = day_and_time(self.opened_wall_ms);
        let words = format!("{:?} has a visit open here since {since}.", plain(&self.machine));
        (self.held == Held::Elsewhere).then_some((self.unit_tag.as_str(), words))
    }

    /// Whether this machine goes on with it.
    pub(super) fn is_here(&self) -> bool {
        matches!(self.held, Held::Here(_))
    }

    /// Its unit and its id, where this machine holds it, whether it can be read or not.
    pub(super) fn held_here(&self) -> Option<(&str, &str)> {
        let here = matches!(self.held, Held::Here(_) | Held::Unreadable(_)) && !self.uid.is_empty();
        here.then_some((self.unit_tag.as_str(), self.uid.as_str()))
    }

    /// What the round is told of it.
    pub(super) fn recall(self) -> Option<Recall> {
        match self.held {
            Held::Here(recall) | Held::Closed(recall) => Some(*recall),
            Held::Unreadable(_) | Held::Elsewhere => None,
        }
    }

    /// What stands, for people.
    pub(super) fn words(&self) -> String {
        let (unit, since) = (plain(&self.unit_tag), day_and_time(self.opened_wall_ms));
        match &self.held {
            Held::Here(recall) => {
                let mut text = format!(
                    "cliplead: {unit}: visit open since {since}, {} check(s) judged, {} finding(s)",
                    recall.judged.len(),
                    recall.findings
                );
                let owed: Vec<String> = recall.owed.iter().map(Owed::in_words).collect();
                if !owed.is_empty() {
                    text.push_str("; still to put back: ");
                    text.push_str(&plain(&owed.join("; ")));
                }
                if let Some(lacks) = recall.service.lacks() {
                    text.push_str("; ");
                    text.push_str(lacks);
                }
                text + "; every hold point must be shown again"
            }
            Held::Closed(recall) => {
                let owed: Vec<String> = recall.owed.iter().map(Owed::in_words).collect();
                let owed = plain(&owed.join("; ")).into_owned();
                format!(
                    "cliplead: {unit}: the visit of {since} was closed with something still to put back: {owed}"
                )
            }
            Held::Elsewhere => format!(
                "cliplead: {unit}: a visit by {:?} is open since {since}; `take over {unit}` goes on with it here",
                plain(&self.machine)
            ),
            Held::Unreadable(why) => format!(
                "cliplead: {unit}: a visit is open and cannot be read, so nobody knows what is still to put back; look at the unit \
                 before it gets power: {}",
                plain(why)
            ),
        }
    }
}

/// Day and time of a wall clock, UTC.
fn day_and_time(wall_ms: i64) -> String {
    let at = UNIX_EPOCH + Duration::from_millis(u64::try_from(wall_ms).unwrap_or(0));
    let written = httpdate::fmt_http_date(at);
    // "Sun, 06 Nov 1994 08:49:37 GMT" (RFC 9110, 5.6.7).
    written.get(5..22).map_or_else(|| written.clone(), |part| format!("{part} UTC"))
}

#[cfg(test)]
mod tests;
