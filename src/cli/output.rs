//! Standard output, standard error, and files written whole or not at all.

use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};

use super::bar::above;
use super::failure::Failure;
use crate::tui::theme::{Theme, Tone};

/// Writes a result to standard output. A reader that has gone away wants no more: that is no
/// failure.
pub(super) fn print(bytes: &[u8]) -> Result<(), Failure> {
    let written = above(|| {
        let mut out = io::stdout().lock();
        out.write_all(bytes).and_then(|()| out.flush())
    });
    match written {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::new(format!(
            "standard output cannot be written ({error}); write to a file with --json PATH"
        ))),
        _ => Ok(()),
    }
}

/// Says a line on standard error. Where that is closed there is nobody to tell.
pub(super) fn note(line: &str) {
    above(|| writeln!(io::stderr().lock(), "{line}").ok());
}

/// Whether the text on standard output may be coloured: only on a terminal, and not when the
/// player asked for none.
///
/// # Source
/// The NO_COLOR convention (no-color.org): set and not empty, whatever its value.
pub(super) fn colour_wanted() -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    !refused && !dumb && io::stdout().is_terminal()
}

/// Columns of standard output: those of the terminal it is, else what `COLUMNS` says, else 80.
///
/// # Source
/// COLUMNS as the width that the user prefers: POSIX.1-2017, Base Definitions, section 8.3.
pub(super) fn columns() -> usize {
    const USUAL: usize = 80;
    if io::stdout().is_terminal()
        && let Ok((columns, _)) = crossterm::terminal::size()
        && columns > 0
    {
        return usize::from(columns);
    }
    let told = std::env::var("COLUMNS").ok();
    let told = told.and_then(|columns| columns.trim().parse().ok());
    told.filter(|columns| *columns > 0).unwrap_or(USUAL)
}

/// How a screen is to look: without colour where the player asked for none.
pub(super) fn theme(dim: bool, large: bool) -> Theme {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    let tone = match (refused, dim) {
        (true, _) => Tone::Mono,
        (false, true) => Tone::Dim,
        (false, false) => Tone::Normal,
    };
    Theme { tone, large }
}

/// Writes `bytes` as the file `path`: whole, or not at all with what was there left as it was.
///
/// See [`Growing`], of which this is one part alone.
pub(super) fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let mut growing = Growing::begin(path)?;
    growing.add(bytes)?;
    growing.finish()
}

/// A file that is written in parts: whole in the end, or not at all with what was there left as it was.
pub(super) struct Growing {
    path: PathBuf,
    file: File,
    /// The new file beside it that takes its name in the end; `None` where it is written to directly.
    beside: Option<PathBuf>,
}

impl Growing {
    /// Begins the file `path`.
    ///
    /// The parts go to a new file beside it. A place that is no ordinary file (a pipe, a device) is
    /// written to directly.
    pub(super) fn begin(path: &Path) -> Result<Self, Failure> {
        let failed = |error| unwritable(path, &error);
        let new = |path: &Path| {
            let (file, beside) = new_file_beside(path).map_err(failed)?;
            Ok(Self {
                path: path.to_owned(),
                file,
                beside: Some(beside),
            })
        };
        match fs::metadata(path) {
            Ok(there) if there.is_dir() => Err(Failure::new(format!(
                "{}: this is a folder; name a file in it",
                path.display()
            ))),
            Ok(there) if !there.is_file() => Ok(Self {
                path: path.to_owned(),
                file: OpenOptions::new().write(true).open(path).map_err(failed)?,
                beside: None,
            }),
            // Through a link to the file itself, so that the link stays one.
            Ok(_) => new(&path.canonicalize().map_err(failed)?),
            Err(_) => new(path),
        }
    }

    /// Adds a part. A reader of a pipe that has gone away wants no more: that is no failure.
    pub(super) fn add(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        match self.file.write_all(bytes) {
            Err(error) if self.beside.is_none() && error.kind() == ErrorKind::BrokenPipe => Ok(()),
            written => written.map_err(|error| unwritable(&self.path, &error)),
        }
    }

    /// The file is whole, and takes its name.
    pub(super) fn finish(mut self) -> Result<(), Failure> {
        let Some(beside) = &self.beside else {
            return Ok(());
        };
        let named = self
            .file
            .sync_all()
            .and_then(|()| match fs::metadata(&self.path) {
                Ok(old) => self.file.set_permissions(old.permissions()),
                Err(_) => Ok(()),
            })
            .and_then(|()| fs::rename(beside, &self.path));
        named.map_err(|error| unwritable(&self.path, &error))?;
        self.beside = None;
        Ok(())
    }
}

impl Drop for Growing {
    fn drop(&mut self) {
        if let Some(beside) = &self.beside {
            // The failure that is told is the first one; a file left over is only untidy.
            fs::remove_file(beside).ok();
        }
    }
}

fn unwritable(path: &Path, error: &io::Error) -> Failure {
    Failure::new(format!(
        "{}: cannot be written ({error}); check that the folder is there, that you may write in it, and \
         that the disk has room",
        path.display()
    ))
}

/// A file that nobody has, in the folder of `path`.
fn new_file_beside(path: &Path) -> io::Result<(File, PathBuf)> {
    let name = path
        .file_name()
        .ok_or_else(|| io::Error::new(ErrorKind::InvalidInput, "it ends in no file name"))?;
    let mut number = 0;
    loop {
        let mut beside = std::ffi::OsString::from(".");
        beside.push(name);
        beside.push(format!(".{}-{number}.part", std::process::id()));
        let beside = path.with_file_name(beside);
        match OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&beside)
        {
            Ok(file) => return Ok((file, beside)),
            Err(error) if error.kind() == ErrorKind::AlreadyExists && number < 100 => number += 1,
            Err(error) => return Err(error),
        }
    }
}

/// Refuses to write a result over one of the files it is made from.
pub(super) fn keep_apart(output: &Path, inputs: &[&Path]) -> Result<(), Failure> {
    let Ok(target) = output.canonicalize() else {
        return Ok(()); // Not there yet, so it is none of them.
    };
    for input in inputs {
        if input.canonicalize().is_ok_and(|input| input == target) {
            return Err(Failure::new(format!(
                "{}: this file is read, and would be overwritten; name another one",
                output.display()
            )));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_nothing_is_left_beside_it() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("report.json");
        for text in ["first", "second"] {
            write_file(&path, text.as_bytes()).expect("written");
            assert_eq!(fs::read_to_string(&path).expect("read"), text);
        }
        assert_eq!(fs::read_dir(folder.path()).expect("listed").count(), 1);
    }

    #[test]
    fn what_cannot_be_written_is_told_with_its_path() {
        let folder = tempfile::tempdir().expect("a folder");
        let missing = folder.path().join("no/such/report.json");
        let message = write_file(&missing, b"x")
            .expect_err("no folder")
            .to_string();
        assert!(message.contains("no/such/report.json"), "{message}");
        let message = write_file(folder.path(), b"x")
            .expect_err("a folder")
            .to_string();
        assert!(message.contains("folder"), "{message}");
    }

    #[test]
    fn an_input_is_never_overwritten() {
        let folder = tempfile::tempdir().expect("a folder");
        let take = folder.path().join("take.wav");
        fs::write(&take, b"sound").expect("written");
        let again = folder.path().join(".").join("take.wav");
        assert!(keep_apart(&again, &[&take]).is_err());
        assert!(keep_apart(&folder.path().join("other"), &[&take]).is_ok());
    }
}
