//! Runs each test of this folder for both backends. Run directly, a test uses the Linux backend. The other backend
//! takes its bus from the environment of the process, so each test gets a process of its own, and runs under the real
//! clock: its library has timers of its own. [`the_portable_backend`] starts them and counts the results.

use std::time::Duration;

use super::fake::{BUS, Fake};
use crate::{Adapter, BleAdapter, CloseFuture, Found, Link, OpenError, OpenOptions, ScanFuture, Selector};

/// Whether this process tests the portable backend.
pub(super) fn portable() -> bool {
    std::env::var_os(BUS).is_some()
}

/// The portable library has timers of its own, which know no stopped clock.
fn let_time_run() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    if portable() {
        // A test whose clock was never stopped has nothing to let go on.
        ONCE.call_once(|| drop(std::panic::catch_unwind(tokio::time::resume)));
    }
}

/// Lets time pass: by the stopped clock where that is possible.
pub(super) async fn pass(time: Duration) {
    if portable() {
        // tidy: allow-sleep this is the silence of a device, which the test plays; nothing is waited for with it
        tokio::time::sleep(time).await;
    } else {
        tokio::time::advance(time).await;
    }
}

/// The adapter under test.
pub(super) enum Tested {
    Own(BleAdapter),
    #[cfg(feature = "ble-portable")]
    Portable(crate::PortableBleAdapter),
}

pub(super) fn adapter(fake: &Fake) -> Tested {
    let_time_run();
    #[cfg(feature = "ble-portable")]
    if portable() {
        return Tested::Portable(crate::PortableBleAdapter::at("ble"));
    }
    Tested::Own(BleAdapter::on_bus(&fake.address()))
}

impl Tested {
    fn inner(&self) -> &dyn Adapter {
        match self {
            Self::Own(adapter) => adapter,
            #[cfg(feature = "ble-portable")]
            Self::Portable(adapter) => adapter,
        }
    }

    /// Set, the code that takes the next signal fails.
    pub(super) fn trip(&self) -> &std::sync::atomic::AtomicBool {
        match self {
            Self::Own(adapter) => adapter.trip(),
            #[cfg(feature = "ble-portable")]
            Self::Portable(adapter) => adapter.trip(),
        }
    }
}

impl Adapter for Tested {
    fn scheme(&self) -> &'static str {
        self.inner().scheme()
    }
    fn list(&self) -> Vec<Found> {
        self.inner().list()
    }
    fn scan(&self) -> Option<ScanFuture<'_>> {
        self.inner().scan()
    }
    fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
        self.inner().validate(selector)
    }
    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        self.inner().open(selector, options)
    }
    fn close(&self) -> CloseFuture {
        self.inner().close()
    }
}

#[cfg(feature = "ble-portable")]
pub(super) mod portable_runs {
    use std::process::{Command, Stdio};

    /// How many run at once: they wait more than they compute.
    const AT_ONCE: usize = 16;
    /// Bounds a hang only: a test that waits for what never comes while something else goes on coming.
    const HANG: std::time::Duration = std::time::Duration::from_secs(240);
    /// Not for the portable backend, and why.
    const NOT: [(&str, &str); 2] =
        [("places", "no backend in it"), ("both::portable_runs::the_portable_backend", "this test itself")];

    /// Tests that start their own process ([`apart`]).
    const ONLY_PORTABLE: &str = "tests::ble::library::";

    fn this_program(args: &[&str]) -> Command {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command.args(args).stdin(Stdio::null());
        command
    }

    /// The tests of this folder, by name.
    fn names() -> Vec<String> {
        let listed = this_program(&["--list", "--format", "terse", "tests::ble::"]).output().unwrap();
        let listed = String::from_utf8(listed.stdout).unwrap();
        let names: Vec<String> =
            listed.lines().filter_map(|line| line.strip_suffix(": test")).map(str::to_owned).collect();
        for (name, why) in NOT {
            assert!(
                names.contains(&format!("tests::ble::{name}")),
                "{name} is excepted ({why}) and not there"
            );
        }
        names
            .into_iter()
            .filter(|name| !name.starts_with(ONLY_PORTABLE))
            .filter(|name| NOT.iter().all(|(not, _)| format!("tests::ble::{not}") != *name))
            .collect()
    }

    /// Runs a test that is about the portable backend alone, from a process that tests the other.
    pub(in crate::tests::ble) fn apart(name: &str) {
        // A number beyond those that the whole run gives out.
        let at = name.bytes().fold(1_000_usize, |sum, byte| sum.wrapping_mul(31).wrapping_add(byte.into()));
        if let Err(said) = run(at, &format!("{ONLY_PORTABLE}{name}")) {
            panic!("{said}");
        }
    }

    /// Runs one test in a process of its own; gives what it said if it failed.
    fn run(at: usize, name: &str) -> Result<(), String> {
        let folder = std::env::temp_dir().join(format!("cliplead-portable-{}-{at}", std::process::id()));
        let bus = format!("unix:path={}", folder.join("bus").display());
        let mut command = this_program(&["--exact", name, "--nocapture"]);
        command.env("RUST_BACKTRACE", "0").env(super::BUS, &folder).env("DBUS_SYSTEM_BUS_ADDRESS", bus);
        let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (ended, end) = std::sync::mpsc::channel::<()>();
        let id = child.id().to_string();
        let watch = std::thread::spawn(move || {
            if end.recv_timeout(HANG) == Err(std::sync::mpsc::RecvTimeoutError::Timeout) {
                let _ = Command::new("kill").args(["-9", &id]).status();
            }
        });
        let ran = child.wait_with_output().unwrap();
        drop(ended);
        watch.join().unwrap();
        let said = String::from_utf8_lossy(&ran.stdout);
        let _ = std::fs::remove_dir_all(&folder);
        if ran.status.success() && said.contains("test result: ok. 1 passed") {
            for line in said.lines().filter(|line| line.contains("back after")) {
                println!("{line}");
            }
            return Ok(());
        }
        Err(format!("{name}:\n{said}\n{}", String::from_utf8_lossy(&ran.stderr)))
    }

    #[test]
    fn the_portable_backend() {
        let names = names();
        assert!(names.len() > 30, "{names:?}");
        let next = std::sync::atomic::AtomicUsize::new(0);
        let work = || {
            let mut failed = Vec::new();
            loop {
                let at = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                let Some(name) = names.get(at) else { return failed };
                failed.extend(run(at, name).err());
            }
        };
        let failed: Vec<String> = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..AT_ONCE).map(|_| scope.spawn(work)).collect();
            threads.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
        });
        assert!(failed.is_empty(), "{} of {} failed:\n{}", failed.len(), names.len(), failed.join("\n"));
    }
}
