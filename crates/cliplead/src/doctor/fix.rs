//! `--fix`: runs the permitted remedies one by one, announcing and confirming each, then examines again. `--dry-run`
//! prints the same list. Each finding says which of its remedies may be run.

use std::io::BufRead as _;
use std::time::Duration;

use doctor::{Finding, Machine, RunPolicy, Step};

use super::typed_by;
use crate::cli::{DoctorOptions, Format};
use crate::command;
use crate::output::{data, talk};
use crate::sys;

/// How long one command may take.
const COMMAND_TIME_MAX: Duration = Duration::from_secs(60);

type Runner = Box<dyn FnMut(&Step) -> anyhow::Result<command::Done>>;
type Asker = Box<dyn FnMut() -> bool>;

/// What `--fix` may do, and where it prints.
pub(crate) struct FixRunner {
    dry_run: bool,
    is_root: bool,
    to_stdout: bool,
    ask: Asker,
    run: Runner,
    runs: usize,
}

impl FixRunner {
    pub(crate) fn new(options: &DoctorOptions) -> Self {
        let yes = options.yes;
        Self {
            dry_run: options.dry_run,
            is_root: Machine::here(None).is_root(),
            to_stdout: options.format == Format::Text,
            ask: Box::new(move || yes || asked()),
            run: Box::new(|step| {
                command::run(&step.argv, sys::PROGRAM_PATH, step.input.as_deref(), COMMAND_TIME_MAX)
            }),
            runs: 0,
        }
    }

    /// Whether anything was run.
    pub(crate) fn has_run(&self) -> bool {
        self.runs > 0
    }

    fn say(&self, line: &str) -> anyhow::Result<()> {
        if self.to_stdout {
            return data(line);
        }
        talk(line);
        Ok(())
    }
}

/// A plain yes on the terminal; anything else, including the end of input, is a no.
fn asked() -> bool {
    talk("    run it? [y/N]");
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line).is_ok() && matches!(line.trim(), "y" | "Y" | "yes")
}

/// Goes through the remedies that may be run.
pub(crate) fn run(findings: &[Finding], runner: &mut FixRunner) -> anyhow::Result<()> {
    let mut steps: Vec<(&str, &Step)> = Vec::new();
    for remedy in findings.iter().flat_map(|finding| &finding.remedies) {
        if let Some(step) = remedy.step.as_ref().filter(|step| step.run == RunPolicy::OnRequest)
            && !steps.iter().any(|(_, known)| *known == step)
        {
            steps.push((&remedy.says, step));
        }
    }
    if steps.is_empty() {
        return runner.say("fix: there is nothing that may be run; what else helps stands above");
    }
    for (says, step) in steps {
        one(says, step, runner)?;
    }
    Ok(())
}

fn one(says: &str, step: &Step, runner: &mut FixRunner) -> anyhow::Result<()> {
    let shown = format!("{}        # {says}", typed_by(step, runner.is_root));
    let needs_root = step.as_root && !runner.is_root;
    match (runner.dry_run, needs_root) {
        (true, false) => return runner.say(&format!("would run: {shown}")),
        (true, true) => return runner.say(&format!("would run as root: {shown}")),
        (false, true) => return runner.say(&format!("needs root, not run: {shown}")),
        (false, false) => runner.say(&format!("next: {shown}"))?,
    }
    if !(runner.ask)() {
        return runner.say("    not run");
    }
    runner.runs += 1;
    match (runner.run)(step) {
        Ok(done) => {
            for line in done.out.lines().chain(done.err.lines()) {
                runner.say(&format!("    | {}", record::plain(line)))?;
            }
            runner.say(if done.success { "    done" } else { "    it says that it failed" })
        }
        Err(error) => runner.say(&format!("    failed: {error:#}")),
    }
}

/// Reports the second result for everything that was a problem.
pub(crate) fn compare(before: &[Finding], after: &[Finding], runner: &mut FixRunner) -> anyhow::Result<()> {
    runner.say("looked again:")?;
    for old in before.iter().filter(|finding| !finding.remedies.is_empty()) {
        let new = after.iter().find(|new| new.topic == old.topic && new.what == old.what);
        runner.say(&match new {
            Some(new) => format!("    {}: {}: {}: {}", new.state.text(), new.topic, new.what, new.finding),
            None => format!("    no longer found: {}: {}", old.topic, old.what),
        })?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::cell::RefCell;
    use std::rc::Rc;

    use doctor::{Remedy, State};

    use super::*;

    fn findings() -> Vec<Finding> {
        let join = Remedy::root(RunPolicy::OnRequest, "joins", &["usermod", "-aG", "dialout", "bench"]);
        let twice = Finding::new("right to open", "/dev/ttyUSB0", State::Blocked, "", "").with(join.clone());
        let remove = Remedy::root(RunPolicy::ByHand, "takes away", &["apt", "remove", "brltty"]);
        vec![twice.clone().with(remove), twice.with(join).with(Remedy::advice("log in again"))]
    }

    /// Runs with this runner and returns what was run.
    fn ran(dry_run: bool, is_root: bool, yes: bool) -> Vec<String> {
        let log = Rc::new(RefCell::new(Vec::new()));
        let kept = Rc::clone(&log);
        let mut runner = FixRunner {
            dry_run,
            is_root,
            to_stdout: false,
            ask: Box::new(move || yes),
            run: Box::new(move |step| {
                kept.borrow_mut().push(step.shell_text());
                Ok(command::Done { success: false, out: "a\u{1b}[2J".to_owned(), err: String::new() })
            }),
            runs: 0,
        };
        run(&findings(), &mut runner).unwrap();
        assert_eq!(runner.has_run(), !log.borrow().is_empty());
        log.take()
    }

    #[test]
    fn runs_only_what_may_be_run_once_asked_as_root() {
        assert_eq!(ran(false, true, true), ["usermod -aG dialout bench"], "once, and nothing by hand");
        for (dry_run, is_root, yes) in [(true, true, true), (false, false, true), (false, true, false)] {
            assert_eq!(ran(dry_run, is_root, yes), Vec::<String>::new(), "{dry_run} {is_root} {yes}");
        }
    }
}
