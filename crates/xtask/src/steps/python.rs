//! Steps that need Python: reference libraries, and the dashboard in a real browser.
//! Does not hold the checks; they stand in `tests/reference` and `tests/browser`.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, bail};

use crate::context::Context;
use crate::process::{Run, apt_install, is_installed};
use crate::summary::Outcome;

pub(crate) fn reference(context: &Context) -> Result<Outcome> {
    pytest(context, "tests/reference")
}

pub(crate) fn browser(context: &Context) -> Result<Outcome> {
    if context.options.without_browser {
        let why = "--without-browser: THE DASHBOARD WAS NOT TESTED IN A BROWSER";
        return Ok(Outcome::NotRun(why.to_owned()));
    }
    install_browser()?;
    // The page state by state, on a scripted feed; then the page of a running demo.
    context.cargo(&["build", "--package", "dashboard", "--example", "fixture"]).check()?;
    let fixture = context.target.join("debug/examples/fixture");
    let shots = context.target.join("screenshots");
    let python = virtual_environment(context)?;
    let args: [&Path; 5] =
        [Path::new("tests/browser/run.py"), Path::new("--fixture"), &fixture, Path::new("--shots"), &shots];
    Run::new(python, &args).in_dir(&context.root).env("PYTHONDONTWRITEBYTECODE", "1").check()?;
    pytest(context, "tests/browser")
}

/// Runs the tests of one folder on the product's dev build. pytest's exit code 5, "no tests ran", is a failure too.
fn pytest(context: &Context, folder: &str) -> Result<Outcome> {
    let cliplead = context.build_cliplead()?;
    let python = virtual_environment(context)?;
    let args = ["-m", "pytest", "-q", "--tb=short", "-p", "no:cacheprovider", folder];
    let run = Run::new(python, &args).in_dir(&context.root);
    run.env("CLIPLEAD_BIN", cliplead).env("PYTHONDONTWRITEBYTECODE", "1").check()?;
    Ok(Outcome::passed())
}

/// The Python of an environment with exactly what `requirements.txt` pins; made anew when that file has changed.
fn virtual_environment(context: &Context) -> Result<PathBuf> {
    let wanted = std::fs::read_to_string(context.root.join("tests/reference/requirements.txt"))
        .context("tests/reference/requirements.txt cannot be read")?;
    let folder = context.target.join("venv");
    let python = folder.join("bin/python");
    let stamp = folder.join("requirements.stamp");
    if python.exists() && std::fs::read_to_string(&stamp).is_ok_and(|made| made == wanted) {
        return Ok(python);
    }
    if folder.exists() {
        std::fs::remove_dir_all(&folder).with_context(|| format!("cannot remove {}", folder.display()))?;
    }
    std::fs::create_dir_all(&context.target)?;
    let at = folder.to_string_lossy().into_owned();
    Run::new("python3", &["-m", "venv", &at]).check().context("python3 with its venv module is needed")?;
    let pip = [
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "--no-deps",
        "--only-binary",
        ":all:",
        "--no-binary",
        "PsychroLib",
    ];
    let file = ["-r", "tests/reference/requirements.txt"];
    Run::new(&python, &[pip.as_slice(), &file].concat()).in_dir(&context.root).check()?;
    std::fs::write(&stamp, wanted)?;
    Ok(python)
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
