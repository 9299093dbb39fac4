//! The notices of what the binary holds from others: a list of packages, and each licence text once. It asks for nothing
//! that differs between two machines: the same packages give the same bytes.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use anyhow::{Context as _, Result, bail, ensure};

use crate::supply::Package;

/// How the file opens.
const OPENING: &str = "\
Third-party software in cliplead

Builds of cliplead hold code of the packages below, unchanged, under their own licences: each build those that its system
and its features need. Of alternatives (OR), cliplead takes MIT where it is offered. After each package stand its licence, where its source is kept,
its copyright notices, and the numbers of its texts at the end. The source of every package, those under MPL-2.0 among
them, is on https://crates.io too, under the name and version given.

== Packages
";
/// What no package manifest tells of.
const STANDARD_LIBRARY: &str = "\
The Rust standard library
    MIT OR Apache-2.0
    https://github.com/rust-lang/rust
    Copyright (c) The Rust Project Contributors
";
/// Openings of the names of files that hold licences or notices.
const NAMES: &[&str] = &["LICENSE", "LICENCE", "COPYING", "COPYRIGHT", "NOTICE", "UNLICENSE"];
/// A text of a licence that nobody here relies on, as there is a choice.
const NOT_TAKEN: &[&str] = &["LICENSE-GPL3"];

/// A package and the files that say under what terms it comes.
#[derive(Debug)]
pub(crate) struct Notice {
    pub(crate) name: String,
    pub(crate) version: String,
    pub(crate) license: String,
    pub(crate) repository: String,
    /// Texts by file name.
    pub(crate) files: BTreeMap<String, String>,
}

/// Reads what the packages' folders hold, and the version of the SQLite that is built in. Libraries of C that a package carries
/// get a notice of their own.
pub(crate) fn read(packages: &[Package]) -> Result<(Vec<Notice>, String)> {
    let mut sqlite = None;
    let mut notices = Vec::new();
    for package in packages {
        let dbus = package.folder.join("vendor/dbus");
        if dbus.is_dir() {
            notices.push(libdbus(&dbus)?);
        }
        let amalgamation = package.folder.join("sqlite3/sqlite3.c");
        if amalgamation.is_file() {
            sqlite = Some(blessing(&String::from_utf8_lossy(&std::fs::read(&amalgamation)?))?);
        }
        notices.push(Notice {
            name: package.name.clone(),
            version: package.version.clone(),
            license: package.license.clone(),
            repository: package.repository.clone(),
            files: files(&package.folder).with_context(|| format!("the source of {}", package.name))?,
        });
    }
    Ok((notices, sqlite.context("no package holds SQLite, which the history needs; mend xtask's notices")?))
}

fn files(folder: &Path) -> Result<BTreeMap<String, String>> {
    let mut files = BTreeMap::new();
    for entry in std::fs::read_dir(folder).with_context(|| format!("{} cannot be read", folder.display()))? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let upper = name.to_uppercase();
        let named =
            NAMES.iter().any(|known| upper.starts_with(known)) && !NOT_TAKEN.contains(&upper.as_str());
        if named && entry.path().is_file() {
            files.insert(name, String::from_utf8_lossy(&std::fs::read(entry.path())?).into_owned());
        }
    }
    Ok(files)
}

/// The entry of libdbus: the Academic Free License, of the two that it offers.
fn libdbus(folder: &Path) -> Result<Notice> {
    let read = |name: &str| {
        let path = folder.join(name);
        std::fs::read(&path)
            .map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
            .with_context(|| format!("{} cannot be read", path.display()))
    };
    libdbus_entry(&read("configure.ac")?, &read("COPYING")?)
}

/// From what its build and its licences say.
fn libdbus_entry(configure: &str, copying: &str) -> Result<Notice> {
    let part = |name: &str| {
        let opening = format!("m4_define([dbus_{name}_version], [");
        let number = configure.lines().find_map(|line| line.strip_prefix(&opening)?.split(']').next());
        number.with_context(|| format!("libdbus does not say its {name} version where it did"))
    };
    let version = format!("{}.{}.{}", part("major")?, part("minor")?, part("micro")?);
    let text =
        copying.split_once("START OF GNU GENERAL PUBLIC LICENSE").map(|(academic, _)| academic.to_owned());
    let text = text.filter(|text| text.contains("Academic Free License"));
    let text = text.context("libdbus's COPYING does not hold the Academic Free License where it did")?;
    Ok(Notice {
        name: "libdbus".to_owned(),
        version,
        license: "AFL-2.1 (C, built by libdbus-sys, in builds for Linux with the feature ble-portable alone)"
            .to_owned(),
        repository: "https://gitlab.freedesktop.org/dbus/dbus".to_owned(),
        files: BTreeMap::from([("COPYING".to_owned(), text)]),
    })
}

/// The entry of SQLite, from the head of its source.
fn blessing(source: &str) -> Result<String> {
    let quoted = |line: &str| line.split('"').nth(1).map(str::to_owned);
    let version = source.lines().find(|line| line.starts_with("#define SQLITE_VERSION ")).and_then(quoted);
    let version = version.context("sqlite3.c does not say its version")?;
    let opening = "** The author disclaims copyright to this source code.";
    let said = source
        .lines()
        .skip_while(|line| !line.starts_with(opening))
        .take_while(|line| line.starts_with("**") && !line.starts_with("****"));
    let said: Vec<&str> = said.map(|line| line.trim_start_matches('*').trim()).collect();
    ensure!(said.len() > 3, "sqlite3.c does not disclaim its copyright where it did");
    let said = said.join("\n    ").replace("\n    \n", "\n\n");
    Ok(format!("SQLite {version}\n    public domain\n    https://sqlite.org/\n    {}\n", said.trim()))
}

/// The whole file. `mit` is a text of the MIT licence, for packages that offer it and ship no text.
pub(crate) fn write(notices: &[Notice], sqlite: &str, mit: &str) -> Result<String> {
    let mut texts = Texts::default();
    let mut out = OPENING.to_owned();
    let own = BTreeMap::from([(String::new(), mit.to_owned())]);
    for Notice { name, version, license, repository, files } in notices {
        let repository = if repository.is_empty() {
            format!("https://crates.io/crates/{name}")
        } else {
            repository.clone()
        };
        let _ = write!(out, "\n{name} {version}\n    {license}\n    {repository}\n");
        let shipped = !files.is_empty();
        if !shipped && !license.contains("MIT") {
            bail!(
                "{name} {version} ({license}) ships no licence text; say in xtask's notices where its text is"
            );
        }
        let (mut copyrights, mut numbers) = (Vec::new(), Vec::new());
        for text in if shipped { files.values() } else { own.values() } {
            let (notices, body) = split(text);
            if shipped {
                copyrights.extend(notices);
            }
            numbers.extend(texts.number(&body));
        }
        if !shipped {
            out.push_str("    (the package ships no licence text and no copyright notice)\n");
        }
        copyrights.sort();
        copyrights.dedup();
        numbers.sort_unstable();
        numbers.dedup();
        for copyright in copyrights {
            let _ = writeln!(out, "    {copyright}");
        }
        let numbers: Vec<String> = numbers.iter().map(ToString::to_string).collect();
        let _ = writeln!(out, "    texts: {}", numbers.join(", "));
    }
    let _ = write!(out, "\n{STANDARD_LIBRARY}\n{sqlite}\n== Texts\n");
    for (number, text) in texts.bodies.iter().enumerate() {
        let _ = write!(out, "\n-- text {}\n\n{text}\n", number + 1);
    }
    Ok(out)
}

/// Each text once.
#[derive(Default)]
struct Texts {
    bodies: Vec<String>,
    /// Numbers from 1, by the words alone: how lines are broken is no difference.
    known: BTreeMap<String, usize>,
}

impl Texts {
    /// The number of this text; none for one without words.
    fn number(&mut self, body: &str) -> Option<usize> {
        let words = body.split_whitespace().collect::<Vec<_>>().join(" ");
        if words.is_empty() {
            return None;
        }
        let next = self.bodies.len() + 1;
        Some(*self.known.entry(words).or_insert_with(|| {
            self.bodies.push(body.to_owned());
            next
        }))
    }
}

/// Takes a text's copyright notices out of it.
fn split(text: &str) -> (Vec<String>, String) {
    let (mut notices, mut body) = (Vec::new(), Vec::new());
    for line in text.lines() {
        let line = line.trim_end();
        if is_copyright(line.trim_start()) {
            notices.push(line.trim_start().to_owned());
        } else if !(line.is_empty() && body.last().is_none_or(String::is_empty)) {
            body.push(line.to_owned());
        }
    }
    (notices, body.join("\n").trim_end().to_owned())
}

/// Whether this line is a notice (`Copyright (c) 2020 The Authors`) and not a sentence about copyright or a form to fill in.
fn is_copyright(line: &str) -> bool {
    let lower = line.to_lowercase();
    let year = line.split(|c: char| !c.is_ascii_digit()).any(|digits| digits.len() == 4);
    let sign = lower.contains("(c)") || line.contains('©');
    let word = lower.starts_with("copyright ") && (year || sign);
    let alone = (lower.starts_with("(c) ") || line.starts_with('©')) && year;
    (word || alone) && !lower.contains("yyyy")
}

#[cfg(test)]
mod tests {
    use super::*;

    const MIT: &str = "MIT License\n\nCopyright (c) 2020 Somebody\n\nPermission is granted.\nAS IS.\n";

    fn notice(name: &str, license: &str, files: &[(&str, &str)]) -> Notice {
        let files = files.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
        Notice {
            name: name.into(),
            version: "1.0.0".into(),
            license: license.into(),
            repository: String::new(),
            files,
        }
    }

    #[test]
    fn each_text_stands_once_and_each_notice_with_its_package() {
        let other = "MIT License\r\n\r\nCopyright 2021 Else\r\n\r\nPermission is\r\ngranted. AS IS.\r\n";
        let both = [("LICENSE-MIT", MIT), ("NOTICE", "Take care of the copyright notice.\n")];
        let list =
            [notice("a", "MIT", &both), notice("b", "MIT", &[("LICENSE", other)]), notice("c", "MIT", &[])];
        let out = write(&list, "SQLite 3\n", MIT).unwrap();
        for want in [
            "\na 1.0.0\n    MIT\n    https://crates.io/crates/a\n    Copyright (c) 2020 Somebody\n    texts: 1, 2\n",
            "\nb 1.0.0\n    MIT\n    https://crates.io/crates/b\n    Copyright 2021 Else\n    texts: 1\n",
            "ships no licence text and no copyright notice)\n    texts: 1\n",
            "\nSQLite 3\n\n== Texts\n\n-- text 1\n\nMIT License\n\nPermission is granted.\nAS IS.\n\n-- text 2\n",
        ] {
            assert!(out.contains(want), "{want}\n---\n{out}");
        }
        assert_eq!(out.matches("Permission").count(), 1);
        let error = write(&[notice("d", "Zlib", &[])], "", MIT).unwrap_err();
        assert!(error.to_string().contains("Zlib"), "{error}");
    }

    #[test]
    fn a_notice_is_told_from_a_sentence() {
        for (line, is) in [
            ("Copyright (c) 2015-2020 The Authors", true),
            ("Copyright © 1991-2023 Unicode, Inc.", true),
            ("Copyright 2016 A", true),
            ("(c) 2016 A", true),
            ("(c) You must retain, in the Source form of any Derivative Works", false),
            ("Copyright [yyyy] [name of copyright owner]", false),
            ("copyright notice that is included in or attached to the work", false),
            ("COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM", false),
            ("The above copyright notice of 2016", false),
        ] {
            assert_eq!(is_copyright(line), is, "{line}");
        }
    }

    #[test]
    fn libdbus_tells_its_version_and_comes_under_one_of_its_two_licences() {
        let configure = "x\nm4_define([dbus_major_version], [1])\nm4_define([dbus_minor_version], [14])\n\
                         m4_define([dbus_micro_version], [4])\n";
        let copying =
            "The Academic Free License\nv. 2.1\n-----\nSTART OF GNU GENERAL PUBLIC LICENSE\nother\n";
        let entry = libdbus_entry(configure, copying).unwrap();
        assert_eq!((entry.version.as_str(), entry.license.starts_with("AFL-2.1")), ("1.14.4", true));
        assert_eq!(entry.files["COPYING"], "The Academic Free License\nv. 2.1\n-----\n");
        assert!(libdbus_entry("", copying).is_err() && libdbus_entry(configure, "GPL alone").is_err());
    }

    #[test]
    fn sqlite_tells_its_version_and_its_blessing() {
        let head = "/*\n** 2001 September 15\n**\n** The author disclaims copyright to this source code.  In place of\n\
                    ** a legal notice, here is a blessing:\n**\n**    May you do good.\n**\n*******\n** x\n";
        let source = format!("{head}#define SQLITE_VERSION        \"3.1.2\"\n");
        let entry = blessing(&source).unwrap();
        assert!(entry.starts_with("SQLite 3.1.2\n    public domain\n"), "{entry}");
        assert!(entry.ends_with("blessing:\n\n    May you do good.\n"), "{entry}");
        assert!(blessing(head).is_err() && blessing("#define SQLITE_VERSION \"3\"\n").is_err());
    }
}
