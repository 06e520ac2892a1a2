//! The arrow between the rooms, kept by reading the sources: a room uses only the rooms the table
//! allows, and the rooms that compute know no file, clock, device or environment.
//!
//! The checker is itself held against texts that break each rule.

#[path = "rooms/paths.rs"]
mod paths;

use std::fs;
use std::path::Path;

use paths::mentions;

/// Who may use whom: a room, or one module of it. `*` is everything. The map in `src/lib.rs` and
/// in `DEVELOPERS.md` tells the same in words.
const MAY_USE: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("words", &["units"]),
    ("music", &["units", "words"]),
    ("hearing", &["units"]),
    ("sound", &["units", "music"]),
    (
        "compare",
        &[
            "units",
            "words",
            "music",
            "hearing::events",
            "hearing::beside",
            "hearing::buzz",
            "hearing::choked",
            "hearing::ringing",
        ],
    ),
    (
        "transcribe",
        &[
            "units",
            "words",
            "music",
            "hearing::events",
            "hearing::beside",
            "hearing::choked",
            "compare",
        ],
    ),
    (
        "progress",
        &["units", "words", "music", "compare::judgement"],
    ),
    (
        "session",
        &[
            "units",
            "words",
            "music",
            "hearing",
            "sound",
            "compare",
            "transcribe",
            "progress::ladder",
        ],
    ),
    (
        "report",
        &[
            "units",
            "words",
            "music",
            "compare",
            "progress",
            "session::line_info",
            "session::live::snapshot",
            "session::result",
            "session::tuning",
        ],
    ),
    (
        "tui",
        &[
            "units",
            "words",
            "music",
            "compare::judgement",
            "progress::ladder",
            "session::line_info",
            "session::live::snapshot",
            "session::live::tuner",
            "session::result",
            "session::tuning",
        ],
    ),
    ("cli", &["*"]),
];

/// Rooms that only compute.
const PURE: &[&str] = &[
    "units",
    "words",
    "music",
    "hearing",
    "compare",
    "transcribe",
];

/// What a room that only computes must not mention.
const IMPURE: &[&str] = &[
    "std::fs",
    "std::env",
    "std::time::Instant",
    "std::time::SystemTime",
    "std::net",
    "std::process",
    "std::thread",
];

/// What is wrong in one file of `module` (its room first), as sentences.
fn faults(source: &str, module: &[&str]) -> Vec<String> {
    let room = module.first().copied().unwrap_or("");
    let allowed = MAY_USE
        .iter()
        .find(|(name, _)| *name == room)
        .map_or(&[] as &[&str], |(_, allowed)| allowed);
    let mut faults = Vec::new();
    for mention in mentions(source, module) {
        let path = mention.segments.join("::");
        let own: Vec<&str> = mention
            .segments
            .iter()
            .skip(1)
            .map(String::as_str)
            .collect();
        let fault = match mention.segments[0].as_str() {
            "crate" if !may_use(room, allowed, &own) => "is not for this room",
            "std" if PURE.contains(&room) && is_impure(&path) => "has no place in pure computation",
            _ => continue,
        };
        faults.push(format!("line {}: `{path}` {fault}", mention.line));
    }
    faults
}

/// Whether `room` may mention the item `path` (from the crate's root).
fn may_use(room: &str, allowed: &[&str], path: &[&str]) -> bool {
    // The root itself, all of it, or the root under another name would let everything through.
    let Some(target) = path.first() else {
        return false;
    };
    if *target == room {
        return !path.contains(&"#[path]");
    }
    let known = MAY_USE.iter().any(|(name, _)| name == target);
    known
        && allowed.iter().any(|&allowed| {
            let allowed: Vec<&str> = allowed.split("::").collect();
            allowed == ["*"] || path.starts_with(&allowed)
        })
}

/// Whether `path` names something impure, or a module that holds something impure.
fn is_impure(path: &str) -> bool {
    let path = path.trim_end_matches("::as");
    let within = |inner: &str, outer: &str| {
        inner == outer
            || inner
                .strip_prefix(outer)
                .is_some_and(|rest| rest.starts_with("::"))
    };
    IMPURE.iter().any(|impure| {
        within(path, impure)
            || within(impure, path)
            || path
                .strip_suffix("::*")
                .is_some_and(|path| within(impure, path))
    })
}

/// Every `.rs` file below `folder`, with its module path.
fn files(folder: &Path, module: &[String], out: &mut Vec<(std::path::PathBuf, Vec<String>)>) {
    let mut entries: Vec<_> = fs::read_dir(folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| entry.expect("a folder that can be listed").path())
        .collect();
    entries.sort();
    for path in entries {
        let name = path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let mut inner = module.to_vec();
        if path.is_dir() {
            inner.push(name);
            files(&path, &inner, out);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            if !matches!(name.as_str(), "mod" | "lib" | "main") {
                inner.push(name);
            }
            out.push((path, inner));
        }
    }
}

fn sources() -> Vec<(std::path::PathBuf, Vec<String>)> {
    let mut out = Vec::new();
    files(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &[],
        &mut out,
    );
    out
}

#[test]
fn no_room_reaches_upwards() {
    let mut told = Vec::new();
    let mut read = 0;
    for (path, module) in sources() {
        let module: Vec<&str> = module.iter().map(String::as_str).collect();
        let Some(room) = module.first() else {
            continue; // `lib.rs` and `main.rs` hold the rooms together.
        };
        assert!(
            MAY_USE.iter().any(|(name, _)| name == room),
            "{}: the room `{room}` is not in the table",
            path.display()
        );
        let source = fs::read_to_string(&path).expect("a source that can be read");
        read += 1;
        for fault in faults(&source, &module) {
            told.push(format!("{}: {fault}", path.display()));
        }
    }
    assert!(read > MAY_USE.len(), "only {read} files were found");
    assert!(told.is_empty(), "{}", told.join("\n"));
}

/// The program itself only calls `cli`.
#[test]
fn the_program_only_calls_cli() {
    let main = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/main.rs");
    let source = fs::read_to_string(main).expect("main.rs");
    let own: Vec<Vec<String>> = mentions(&source, &[])
        .into_iter()
        .map(|mention| mention.segments)
        .filter(|segments| segments[0] == "crate")
        .collect();
    assert!(!own.is_empty());
    assert!(own.iter().all(|segments| segments[1] == "cli"), "{own:?}");
}

/// Only `cli` prints; everything else gives values back.
#[test]
fn only_cli_prints() {
    for (path, module) in sources() {
        if module.first().is_some_and(|room| room == "cli") {
            continue;
        }
        let source = fs::read_to_string(&path).expect("a source that can be read");
        for (number, line) in (1..).zip(source.lines()) {
            let code = line.split("//").next().unwrap_or("");
            for word in ["println!", "print!", "eprintln!", "eprint!", "dbg!"] {
                let printed = code.contains(word);
                assert!(
                    !printed,
                    "{}:{number}: {word} outside of cli",
                    path.display()
                );
            }
        }
    }
}

/// A file of this many lines is still read at one sitting.
const LINES_MAX: usize = 400;

#[test]
fn no_file_is_long() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for (path, _) in sources() {
        let text = fs::read_to_string(&path).expect("a source that can be read");
        let name = path.strip_prefix(&source).expect("a file below src");
        let lines = text.lines().count();
        assert!(
            lines <= LINES_MAX,
            "{}: {lines} lines, at most {LINES_MAX}: split it along its seams",
            name.display()
        );
    }
}

#[test]
fn the_checker_sees_what_is_forbidden() {
    for (module, source) in [
        ("music", "use crate::compare::marks::Marks;"),
        ("music", "use crate::{units::Hertz, hearing::events};"),
        ("music::line", "use super::super::sound::file;"),
        ("music", "use super::{\n    units,\n    cli,\n};"),
        (
            "music::line",
            "fn f() { let m = crate::compare::marks::Marks::default(); }",
        ),
        ("music", "mod tests { use super::super::hearing::events; }"),
        (
            "music",
            "mod tests { fn f() { super::super::sound::open(); } }",
        ),
        ("music", "use self::super::sound;"),
        ("music", "use super::*;"),
        ("music", "use crate::*;"),
        ("music", "use crate as root;"),
        ("music::line", "use super::super as root;"),
        ("music", "use {crate::sound as s, std::fmt};"),
        (
            "music",
            "macro_rules! m { () => { $crate::sound::open() } }",
        ),
        ("music", "#[path = \"../sound/file.rs\"] mod file;"),
        ("music", "let x = a + crate::sound::RATE;"),
        ("music", "let x: Vec<crate::sound::Block> = y;"),
        ("music", "impl From<u8> for crate::cli::Error {}"),
        ("compare", "use crate::hearing::listener::Listener;"),
        ("compare", "use crate::hearing;"),
        ("compare", "use crate::hearing::{events, listener};"),
        ("report", "use crate::session::offline;"),
        ("report", "use crate::session::judging::Judging;"),
        ("hearing", "use crate::music::expected::ExpectedNote;"),
        ("units", "use crate::music::expected::ExpectedNote;"),
        ("words", "use crate::music::theory::Key;"),
        ("hearing", "use crate::words;"),
        ("sound", "use crate::compare;"),
        ("session", "use crate::report::text;"),
        ("music", "let x = std::fs::read(y);"),
        ("music", "use std::{fmt, fs};"),
        ("music", "use std::fs::File;"),
        ("hearing", "use std::time::{Duration, Instant};"),
        ("hearing", "use std::time;"),
        ("hearing", "use std::time::*;"),
        ("hearing", "use std as s;"),
        ("hearing", "use ::std::env;"),
        ("compare", "std::thread::spawn(f);"),
        ("compare", "let t = ::std::time::SystemTime::now();"),
        ("compare", "std::process::exit(1)"),
        ("units", "use std::net::TcpStream;"),
    ] {
        let module: Vec<&str> = module.split("::").collect();
        let faults = faults(source, &module);
        assert_eq!(faults.len(), 1, "in {module:?}: {source}\n{faults:?}");
    }
}

#[test]
fn the_checker_lets_pass_what_is_allowed() {
    for (module, source) in [
        ("music", "use crate::units::{Hertz, MidiNote};"),
        (
            "music::line",
            "use super::super::units::Hertz; use super::expected;",
        ),
        (
            "music::line::text",
            "use super::super::super::units; use super::super::theory::key;",
        ),
        (
            "music",
            "// use crate::sound;\n/* crate::cli /* std::fs */ */ let s = \"crate::cli\";",
        ),
        (
            "music",
            "let s = r#\"std::fs \" crate::cli\"#; let c = '\"'; let d = b'\\''; x(crate::units::F)",
        ),
        (
            "music",
            "pub(crate) fn f(&self) { self.sound(); Self::cli() } pub(super) mod x {}",
        ),
        ("music", "mod tests { use super::*; }"),
        (
            "music",
            "fn f<'a>(x: &'a str) -> std::time::Duration { std::time::Duration::ZERO }",
        ),
        ("compare", "use crate::hearing::events::{self, HeardNote};"),
        ("report", "use crate::session::result::TakeResult;"),
        ("sound", "use std::fs::File; use crate::music::expected;"),
        (
            "cli",
            "use crate::{report, session::offline, sound}; use std::fs;",
        ),
        (
            "session",
            "use crate::hearing::listener::Listener; std::thread::spawn(f);",
        ),
    ] {
        let module: Vec<&str> = module.split("::").collect();
        let faults = faults(source, &module);
        assert!(faults.is_empty(), "in {module:?}: {source}\n{faults:?}");
    }
}
