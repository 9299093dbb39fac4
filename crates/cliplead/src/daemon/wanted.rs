//! What whoever types reads: the one thing that is wanted next, told when it changes, and all that can be typed. Decides nothing.

use record::plain;
use visit::act::LINES;
use visit::round::{CheckView, HoldPointState, Owed, Phase, Plan, PointStage, View};

use super::core::Core;
use crate::output::talk;

impl Core {
    /// Tells what is wanted next, if somebody types and it is something else than before. Lines that still wait, and what waits for the
    /// disk, come first.
    pub(super) fn tell_wanted(&mut self) {
        if !self.health.iter().any(|health| health.typed) || !self.lines.is_empty() || self.store.holds_up() {
            return;
        }
        let round = self.pipeline.round();
        let wanted = next(&round.view(self.time.now()), round.unit_under_work(), round.ahead());
        if wanted != self.wanted {
            talk(&format!("  next: {wanted}"));
            self.wanted = wanted;
        }
    }
}

/// What is wanted next, in one line, with what to type for it.
fn next(view: &View, here: Option<&str>, ahead: Option<&Plan>) -> String {
    if view.paused {
        return "`resume` once somebody is at the unit again".to_owned();
    }
    if let Some((unit_tag, _)) = &view.contradicted {
        let unit_tag = plain(unit_tag);
        return format!(
            "hands off {unit_tag}: `power back` if it was switched on on purpose; else lock it out, then `confirm locked out`"
        );
    }
    if let Some(owed) = view.owed.first().filter(|_| view.owed_first) {
        return put_back(owed, view);
    }
    let Some(check) = view.check.as_ref().filter(|_| !view.route_ended) else {
        return onward(view, here, ahead);
    };
    if let Some(question) = &check.question {
        return format!("answer question {0}: `yes {0}` or `no {0}`", question.number);
    }
    match check.phase {
        Phase::HoldPoints => hold_point(check),
        Phase::Measuring | Phase::Asking => point(check),
        Phase::Done => format!("{}; `again` for a second look", onward(view, here, ahead)),
    }
}

/// The hold point that is asked for.
fn hold_point(check: &CheckView) -> String {
    let Some(asked) = check.hold_points.iter().find(|of| of.state == HoldPointState::Asked) else {
        return check.prompt.clone();
    };
    let name = plain(&asked.name);
    let by_hand = format!("or `confirm {name}`");
    match &check.proof {
        Some(proof) if proof.wants_source => format!(
            "{name}: name the live source that the tester is proved on (`source WHAT`), then put the leads on it; {by_hand}"
        ),
        Some(proof) if proof.next_pair.is_some() => {
            let pair = proof.next_pair.as_deref().map(plain).unwrap_or_default();
            format!("{name}: `on {pair}`, then both leads on it; {by_hand}")
        }
        _ if asked.by_stream => {
            let says = if asked.detail.is_empty() { &asked.ask } else { &asked.detail };
            format!("{name}: {}; {by_hand}", plain(says.trim_end_matches('.')))
        }
        _ => format!("{name}: {} `confirm {name}`", plain(&asked.ask)),
    }
}

/// The reading that is asked for.
fn point(check: &CheckView) -> String {
    let open = |stage: PointStage| check.points.iter().find(move |point| point.state == stage);
    let asked = [PointStage::Asked, PointStage::Settling, PointStage::Waiting].into_iter().find_map(open);
    let Some(asked) = asked else { return plain(&check.prompt).into_owned() };
    let (label, name, unit) = (plain(&asked.label), plain(&asked.name), plain(&asked.unit));
    format!("{label}: clip on, or type `{name}=` and the value in {unit}")
}

/// What is owed, by the shortest name that means nothing else.
fn put_back(owed: &Owed, view: &View) -> String {
    let alike = view.owed.iter().filter(|other| other.hold_point == owed.hold_point).count();
    let name = if alike == 1 { owed.hold_point.clone() } else { owed.name() };
    format!("put back {}; then `restored {}`", plain(&owed.in_words()), plain(&name))
}

/// Where the route goes from here, or how the visit ends.
fn onward(view: &View, here: Option<&str>, ahead: Option<&Plan>) -> String {
    let leaves = here.is_some() && ahead.map(|plan| plan.unit_tag.as_str()) != here;
    let on = ahead.filter(|_| !view.route_ended).map(|plan| {
        format!("`next` for {} / {} ({})", plain(&plan.unit_tag), plain(&plan.component), plain(&plan.rule))
    });
    match (view.owed.first(), on) {
        (Some(owed), _) if leaves => put_back(owed, view),
        (_, Some(on)) if leaves => format!("`close` for {}, or {on}", plain(here.unwrap_or_default())),
        (_, Some(on)) => on,
        (_, None) if here.is_some() => "`close`, or `unit TAG` for another unit".to_owned(),
        (_, None) => "`unit TAG` for a unit".to_owned(),
    }
}

/// All that can be typed now: the names of the armed check, then the words.
pub(super) fn help(view: &View) -> String {
    let mut text = String::from("  You can type");
    if let Some(check) = &view.check {
        let points: Vec<_> = check.points.iter().map(|of| format!("{}= (in {})", of.name, of.unit)).collect();
        let holds: Vec<_> = check.hold_points.iter().map(|of| format!("confirm {}", of.name)).collect();
        for (what, names) in [("a value", points), ("a hold point", holds)] {
            if !names.is_empty() {
                text.push_str(&format!("\n    {what}: {}", plain(&names.join(", "))));
            }
        }
    }
    text.push_str("\n    a word: ");
    text.push_str(LINES);
    text
}
