//! `cliplead devices doctor`: runs `doctor`, examines the site's file, prints findings worst first, and on request
//! runs their remedies. Crate `doctor` decides what to examine on the machine.

mod fix;
mod site;

use std::io::IsTerminal as _;
use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::bail;
use doctor::{Finding, Machine, Remedy, RunPolicy, State};
use record::{plain, plain_lines};

use crate::cli::{DoctorOptions, Format};
use crate::output::{Exit, data};
use crate::{shipped, sys};

/// Runs the command.
///
/// # Errors
/// When the account is not known, or `--fix` has nobody to ask.
pub(crate) fn run(options: &DoctorOptions) -> anyhow::Result<Exit> {
    if !Machine::SHOWS_IN_FILES
        && (options.rule || options.fix || options.user.is_some() || options.root.is_some())
    {
        bail!("--rule, --fix, --user and --root are for Linux machines; leave them away here");
    }
    if options.rule {
        data(shipped::udev_rule())?;
        return Ok(Exit::Fine);
    }
    if options.fix && !options.dry_run {
        if options.root.is_some() {
            bail!("--fix runs on this machine, and --root looks at another; add --dry-run");
        }
        if !options.yes && !std::io::stdin().is_terminal() {
            bail!(
                "--fix asks before each command and there is no terminal; add --dry-run to see them, or --yes"
            );
        }
    }
    let findings = examine(options)?;
    for finding in &findings {
        show(finding, options.format)?;
    }
    let mut last = findings;
    if options.fix {
        let mut runner = fix::FixRunner::new(options);
        fix::run(&last, &mut runner)?;
        if runner.has_run() {
            let after = examine(options)?;
            fix::compare(&last, &after, &mut runner)?;
            last = after;
        }
    } else if options.format == Format::Text {
        data(&summary(&last))?;
    }
    let hinders = last.iter().any(|finding| finding.state.is_problem());
    Ok(if hinders { Exit::Found } else { Exit::Fine })
}

/// All findings, worst first.
fn examine(options: &DoctorOptions) -> anyhow::Result<Vec<Finding>> {
    let machine = machine(options)?;
    let site = options.config.as_deref().map(|path| site::look(&machine, path));
    let (mut findings, site) = site.unwrap_or_default();
    let uses = |scheme: &str| site.as_ref().is_none_or(|site| site.schemes.iter().any(|one| one == scheme));
    let mut kinds: Vec<Vec<Finding>> = Vec::new();
    #[cfg(feature = "serial")]
    if uses("serial") {
        let mut serial = doctor::serial(&machine, site.as_ref().map(|site| site.ports.as_slice()));
        serial.extend(doctor::udev_rule(&machine, shipped::udev_rule()));
        kinds.push(serial);
    }
    if uses("ble") || uses("ble+portable") {
        kinds.push(doctor::bluetooth(&machine));
    }
    must_be_there(&mut kinds, site.is_some());
    findings.extend(kinds.into_iter().flatten());
    findings.push(clock());
    findings.sort_by_key(|finding| finding.state);
    Ok(findings)
}

/// A missing kind of device is a problem if the site uses it, or if there is no device of any kind.
fn must_be_there(kinds: &mut [Vec<Finding>], site_uses_all: bool) {
    const FIRST: [&str; 2] = ["serial ports", "Bluetooth adapter"];
    let is_missing = |kind: &Vec<Finding>| {
        kind.iter().any(|finding| FIRST.contains(&finding.topic) && finding.state == State::Missing)
    };
    if !site_uses_all && !kinds.iter().all(is_missing) {
        return;
    }
    for finding in kinds.iter_mut().flatten() {
        if FIRST.contains(&finding.topic) && finding.state == State::Missing {
            finding.state = State::Blocked;
        }
    }
}

fn machine(options: &DoctorOptions) -> anyhow::Result<Machine> {
    let look = |name: Option<&str>| match &options.root {
        Some(root) => Machine::under(root, name),
        None => Machine::here(name),
    };
    if let Some(root) = options.root.as_ref().filter(|root| !root.is_dir()) {
        bail!("{} is no folder; name the root of a machine's files", root.display());
    }
    if let Some(name) = &options.user {
        let machine = look(Some(name));
        if !machine.knows_account() {
            bail!(
                "there is no account {name:?} in the machine's /etc/passwd; accounts from a directory service are not seen"
            );
        }
        return Ok(machine);
    }
    let machine = look(None);
    let is_root = machine.is_root();
    // Through sudo the person is meant who called it, not root.
    let person = std::env::var("SUDO_USER").ok().filter(|name| is_root && name != "root");
    if let Some(name) = person {
        let theirs = look(Some(&name));
        if theirs.knows_account() {
            return Ok(theirs);
        }
    }
    Ok(machine)
}

/// The year in which this was written; no correct clock shows an earlier one.
const YEAR_WRITTEN: u64 = 2026;

fn clock() -> Finding {
    const TOPIC: &str = "clock";
    const WHY: &str = "The history carries dates; readings and verdicts do not depend on them.";
    // Mean length of a year in the Gregorian calendar, 365.2425 days; a day off at New Year does not matter here.
    let year =
        SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| 1970 + since.as_secs() / 31_556_952);
    if year >= YEAR_WRITTEN {
        return Finding::new(TOPIC, "the machine's date", State::Fine, format!("the year {year}"), WHY);
    }
    let seen = format!("the year {year} is before this program was written");
    Finding::new(TOPIC, "the machine's date", State::Blocked, seen, WHY).with(sys::date_remedy())
}

/// A remedy's command as a person types it.
fn typed(step: &doctor::Step) -> String {
    typed_by(step, false)
}

/// The same; root needs no `sudo`.
fn typed_by(step: &doctor::Step, is_root: bool) -> String {
    let fed = if step.input.is_some() { "cliplead devices doctor --rule | " } else { "" };
    let sudo = if step.as_root && !is_root { "sudo " } else { "" };
    format!("{fed}{sudo}{}", step.shell_text())
}

#[derive(serde::Serialize)]
struct FindingJson<'a> {
    check: &'a str,
    what: &'a str,
    state: &'a str,
    hinders: bool,
    finding: &'a str,
    why: &'a str,
    remedies: Vec<RemedyJson<'a>>,
}

#[derive(serde::Serialize)]
struct RemedyJson<'a> {
    says: &'a str,
    command: Option<String>,
    fix_runs_it: bool,
}

fn show(finding: &Finding, format: Format) -> anyhow::Result<()> {
    if format == Format::Json {
        let remedy = |remedy: &'_ Remedy| {
            let step = remedy.step.as_ref();
            (step.map(typed), step.is_some_and(|step| step.run == RunPolicy::OnRequest))
        };
        let remedies = finding
            .remedies
            .iter()
            .map(|one| {
                let (command, fix_runs_it) = remedy(one);
                RemedyJson { says: &one.says, command, fix_runs_it }
            })
            .collect();
        return data(&record::to_line(&FindingJson {
            check: finding.topic,
            what: &finding.what,
            state: finding.state.text(),
            hinders: finding.state.is_problem(),
            finding: &finding.finding,
            why: finding.why,
            remedies,
        }));
    }
    let Finding { topic, what, state, finding: seen, why, remedies } = finding;
    data(&format!("{}: {topic}: {}: {}", state.text(), plain(what), plain(seen)))?;
    if *state != State::Fine {
        data(&format!("    why it matters: {why}"))?;
    }
    for remedy in remedies {
        let line = match &remedy.step {
            Some(step) => format!("    $ {}        # {}", typed(step), remedy.says),
            None => format!("    {}", remedy.says),
        };
        data(&plain_lines(&line, ""))?;
    }
    Ok(())
}

fn summary(findings: &[Finding]) -> String {
    let count = |state: State| findings.iter().filter(|finding| finding.state == state).count();
    format!(
        "{} hindered, {} likely, {} could not be looked at, {} not there, {} notes, {} fine",
        count(State::Blocked),
        count(State::Likely),
        count(State::Unknown),
        count(State::Missing),
        count(State::Note),
        count(State::Fine)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(topic: &'static str, state: State) -> Vec<Finding> {
        vec![Finding::new(topic, "", state, "", "")]
    }

    #[test]
    fn what_is_not_there_hinders_who_needs_it() {
        // Serial, Bluetooth, the site names them, and whether each then hinders.
        for (serial, ble, site, want) in [
            (State::Missing, State::Missing, false, [true, true]),
            (State::Missing, State::Fine, false, [false, false]),
            (State::Fine, State::Missing, false, [false, false]),
            (State::Fine, State::Missing, true, [false, true]),
            (State::Unknown, State::Missing, false, [false, false]),
        ] {
            let mut kinds = vec![kind("serial ports", serial), kind("Bluetooth adapter", ble)];
            must_be_there(&mut kinds, site);
            let hinders: Vec<bool> =
                kinds.iter().flatten().map(|finding| finding.state.is_problem()).collect();
            assert_eq!(hinders, want, "{serial:?} {ble:?} {site}");
        }
    }
}
