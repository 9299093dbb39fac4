//! Steps that need Python: reference libraries, a Bluetooth service of others, and the dashboard in a real browser.
//! Does not hold the checks; they stand in `tests/reference` and `tests/browser`.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, bail};

use crate::context::Context;
use crate::process::{Run, apt_install, is_installed, side_by_side};
use crate::steps::rust::PORTABLE;
use crate::summary::Outcome;

/// The distribution's Python: python-dbusmock is a package for it.
const SYSTEM_PYTHON: &str = "/usr/bin/python3";

pub(crate) fn reference(context: &Context) -> Result<Outcome> {
    install_bluetooth_peer()?;
    let portable = build_portable(context)?;
    pytest(context, REFERENCE, &[("CLIPLEAD_PORTABLE_BIN", portable)])
}

/// The tests of the folder in parts that run side by side: those of Bluetooth wait for most of their time. Each test is in one part.
const REFERENCE: &[&[&str]] = &[
    &["tests/reference", "--ignore=tests/reference/test_bluetooth.py"],
    &["tests/reference/test_bluetooth.py", "-k", "portable"],
    &["tests/reference/test_bluetooth.py", "-k", "not portable"],
];

/// The product with another backend, under a name of its own: the plain build takes the usual one.
fn build_portable(context: &Context) -> Result<PathBuf> {
    context.cargo(&["build", "--package", "cliplead", "--features", PORTABLE]).check()?;
    let portable = context.target.join("debug/cliplead-portable");
    std::fs::copy(context.target.join("debug/cliplead"), &portable)
        .with_context(|| format!("cannot write {}", portable.display()))?;
    Ok(portable)
}

pub(crate) fn browser(context: &Context) -> Result<Outcome> {
    if context.options.without_browser {
        let why = "--without-browser: THE DASHBOARD WAS NOT TESTED IN A BROWSER";
        return Ok(Outcome::NotRun(why.to_owned()));
    }
    install_browser()?;
    // The page state by state, on a scripted feed; then the page of a running demo.
    // The fixture of the whole workspace is that of the step `test`.
    context.cargo(&["build", "--workspace", "--example", "fixture"]).check()?;
    let fixture = context.target.join("debug/examples/fixture");
    let shots = context.target.join("screenshots");
    let python = virtual_environment(context)?;
    let args: [&Path; 5] =
        [Path::new("tests/browser/run.py"), Path::new("--fixture"), &fixture, Path::new("--shots"), &shots];
    Run::new(python, &args).in_dir(&context.root).env("PYTHONDONTWRITEBYTECODE", "1").check()?;
    pytest(context, &[&["tests/browser"]], &[])
}

/// Runs tests on the product's dev build, in parts side by side. pytest's exit code 5, "no tests ran", is a failure too, of each part.
/// `binaries`: further builds, by the variable that names each.
fn pytest(context: &Context, parts: &[&[&str]], binaries: &[(&str, PathBuf)]) -> Result<Outcome> {
    let cliplead = context.build_cliplead()?;
    let python = virtual_environment(context)?;
    let base = ["-m", "pytest", "-q", "--tb=short", "-p", "no:cacheprovider"];
    let ended = side_by_side(parts, parts.len(), |part| {
        let mut run = Run::new(&python, &[base.as_slice(), part].concat()).in_dir(&context.root);
        for (variable, binary) in binaries {
            run = run.env(variable, binary);
        }
        run.env("CLIPLEAD_BIN", &cliplead).env("PYTHONDONTWRITEBYTECODE", "1").check_apart()
    });
    ended.into_iter().collect::<Result<Vec<()>>>()?;
    Ok(Outcome::passed())
}

/// The Python of an environment with exactly what `requirements.txt` pins.
fn virtual_environment(context: &Context) -> Result<PathBuf> {
    const FILE: &str = "tests/reference/requirements.txt";
    let wanted =
        std::fs::read_to_string(context.root.join(FILE)).with_context(|| format!("{FILE} cannot be read"))?;
    environment(context, "venv", &wanted, &["--no-binary", "PsychroLib", "-r", FILE])
}

/// The Python of an environment of its own in the target folder, holding what pip is given; made anew when `wanted`, which says
/// what that is, has changed.
pub(super) fn environment(context: &Context, name: &str, wanted: &str, what: &[&str]) -> Result<PathBuf> {
    let folder = context.target.join(name);
    let python = folder.join("bin/python");
    let stamp = folder.join("made-of.stamp");
    if python.exists() && std::fs::read_to_string(&stamp).is_ok_and(|made| made == wanted) {
        return Ok(python);
    }
    if folder.exists() {
        std::fs::remove_dir_all(&folder).with_context(|| format!("cannot remove {}", folder.display()))?;
    }
    std::fs::create_dir_all(&context.target)?;
    let at = folder.to_string_lossy().into_owned();
    Run::new("python3", &["-m", "venv", &at]).check().context("python3 with its venv module is needed")?;
    let quiet = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check"];
    let wheels = ["--no-deps", "--only-binary", ":all:"];
    Run::new(&python, &[&quiet, wheels.as_slice(), what].concat()).in_dir(&context.root).check()?;
    std::fs::write(&stamp, wanted)?;
    Ok(python)
}

/// python-dbusmock and a bus, by Debian's packages where they are missing.
fn install_bluetooth_peer() -> Result<()> {
    let import = ["-c", "import dbus, dbusmock.templates.bluez5, gi.repository.GLib"];
    let works = || Run::new(SYSTEM_PYTHON, &import).output().is_ok_and(|output| output.status.success());
    let missing = || !works() || !is_installed("dbus-daemon");
    if !missing() {
        return Ok(());
    }
    let advice = "without it Bluetooth is not tested: install python3-dbusmock and dbus-daemon";
    apt_install(&["python3-dbusmock", "dbus-daemon"])
        .with_context(|| format!("the Bluetooth service of others could not be installed; {advice}"))?;
    if missing() {
        bail!("Debian's packages brought no python-dbusmock that {SYSTEM_PYTHON} can import; {advice}");
    }
    Ok(())
}

/// Chromium and its driver, by Debian's packages where they are missing.
fn install_browser() -> Result<()> {
    let missing = || !is_installed("chromium") || !is_installed("chromedriver");
    if !missing() {
        return Ok(());
    }
    let advice = "install chromium and chromedriver, or leave this step out with --without-browser";
    apt_install(&["chromium", "chromium-driver"])
        .with_context(|| format!("Chromium could not be installed: {advice}"))?;
    if missing() {
        bail!("Debian's packages brought no chromium and chromedriver: {advice}");
    }
    Ok(())
}
