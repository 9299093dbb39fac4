//! The program under test: found or built once, run to its end with what it printed. Does not judge what it printed.

use std::ffi::OsString;
use std::io::{Read, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use std::sync::mpsc;

use crate::HANG;
use crate::folder::root;

/// The binary: `CLIPLEAD_BIN` when set, else built by cargo into the target folder of this test, once.
///
/// # Panics
/// When it cannot be built.
#[must_use]
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| match std::env::var_os("CLIPLEAD_BIN") {
        Some(path) => PathBuf::from(path),
        None => build(),
    })
}

fn build() -> PathBuf {
    // <target>/<profile>/deps/it-0123
    let me = std::env::current_exe().expect("the path of this test");
    let out = me.parent().and_then(Path::parent).expect("a folder of the profile");
    let target = out.parent().expect("the target folder");
    let profile = match out.file_name().and_then(|name| name.to_str()).expect("a profile") {
        "debug" => "dev",
        other => other,
    };
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let built = Command::new(cargo)
        .args(["build", "--quiet", "-p", "cliplead", "--profile", profile, "--target-dir"])
        .arg(target)
        .current_dir(root())
        .status()
        .expect("cargo");
    assert!(built.success(), "cargo build -p cliplead failed");
    out.join("cliplead")
}

/// A run of the program that ended.
#[derive(Debug)]
pub struct Ended {
    /// The exit code; `None` when a signal ended it.
    pub code: Option<i32>,
    /// What stood on stdout.
    pub out: String,
    /// What stood on stderr.
    pub err: String,
}

impl Ended {
    /// Lines of stdout.
    #[must_use]
    pub fn lines(&self) -> Vec<&str> {
        self.out.lines().collect()
    }
}

/// One command line.
#[derive(Debug, Default)]
pub struct Invocation {
    args: Vec<OsString>,
    env: Vec<(String, String)>,
    stdin: Vec<u8>,
    dir: Option<PathBuf>,
}

impl Invocation {
    /// `cliplead` with these arguments, in the root of the repository.
    pub fn new<A: Into<OsString>>(args: impl IntoIterator<Item = A>) -> Self {
        Self { args: args.into_iter().map(Into::into).collect(), ..Self::default() }
    }

    /// With a variable of the environment.
    #[must_use]
    pub fn env(mut self, name: &str, value: &str) -> Self {
        self.env.push((name.to_owned(), value.to_owned()));
        self
    }

    /// In this folder.
    #[must_use]
    pub fn dir(mut self, dir: &Path) -> Self {
        self.dir = Some(dir.to_owned());
        self
    }

    /// With this on stdin.
    #[must_use]
    pub fn stdin(mut self, text: impl Into<Vec<u8>>) -> Self {
        self.stdin = text.into();
        self
    }

    /// The command, not yet started.
    #[must_use]
    pub fn command(&self) -> Command {
        let mut command = Command::new(program());
        command
            .args(&self.args)
            .envs(self.env.iter().map(|(name, value)| (name, value)))
            .env_remove("CLIPLEAD_LOG")
            .current_dir(self.dir.clone().unwrap_or_else(root));
        command
    }

    /// Runs it to its end.
    ///
    /// # Panics
    /// When it cannot start or does not end.
    #[must_use]
    pub fn run(&self) -> Ended {
        let mut child = self
            .command()
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut stdin = child.stdin.take().expect("stdin");
        // Who does not read its stdin closes it; that is no fault here.
        let _ = stdin.write_all(&self.stdin);
        drop(stdin);
        let out = collect(child.stdout.take().expect("stdout"));
        let err = collect(child.stderr.take().expect("stderr"));
        let (Ok(out), Ok(err)) = (out.recv_timeout(HANG), err.recv_timeout(HANG)) else {
            let _ = child.kill();
            panic!("{:?} did not end within {HANG:?}", self.args);
        };
        let code = child.wait().expect("its end").code();
        Ended { code, out: text(out), err: text(err) }
    }
}

fn text(bytes: Vec<u8>) -> String {
    String::from_utf8(bytes).expect("the program prints UTF-8")
}

fn collect(mut from: impl Read + Send + 'static) -> mpsc::Receiver<Vec<u8>> {
    let (done, receiver) = mpsc::channel();
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        let _ = from.read_to_end(&mut bytes);
        let _ = done.send(bytes);
    });
    receiver
}
