//! Whose the name of a take is: no take is written over, and no two programs name the same one.

use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use rustix::fs::{FlockOperation, flock};

use crate::sound::error::SoundError;

/// Makes the file at `path`, and says where an older one was put. With `reserved` the file is there
/// already, made for this take and empty.
///
/// # Errors
/// When it cannot be made, or another program keeps its take there.
pub(super) fn make(path: &Path, reserved: bool) -> Result<(File, Option<PathBuf>), SoundError> {
    let failed = |error: io::Error| SoundError::Write {
        file: path.display().to_string(),
        reason: error.to_string(),
    };
    let mut moved = None;
    loop {
        let ordinary = std::fs::metadata(path).is_ok_and(|there| there.is_file());
        let special = path.exists() && !ordinary;
        let opened = OpenOptions::new()
            .write(true)
            .create_new(!reserved && !special)
            .open(path);
        match opened {
            Ok(file) => {
                lock(&file, path)?;
                return Ok((file, moved));
            }
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {
                moved = put_aside(path)?.or(moved);
            }
            Err(error) => return Err(failed(error)),
        }
    }
}

/// Marks a take as one that is being kept, until its file is closed.
fn lock(file: &File, path: &Path) -> Result<(), SoundError> {
    match flock(file, FlockOperation::NonBlockingLockExclusive) {
        Err(error) if error == rustix::io::Errno::WOULDBLOCK => Err(SoundError::Kept {
            file: path.display().to_string(),
        }),
        // A file system that knows no locks keeps takes all the same.
        _ => Ok(()),
    }
}

/// Gives what is at `path` another name, `NAME.1.wav` or the next that is free; `None` when it is
/// gone meanwhile.
fn put_aside(path: &Path) -> Result<Option<PathBuf>, SoundError> {
    let failed = |error: io::Error| SoundError::Write {
        file: path.display().to_string(),
        reason: error.to_string(),
    };
    let old = match File::open(path) {
        Ok(old) => old,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(failed(error)),
    };
    lock(&old, path)?;
    let mut number = 1;
    loop {
        let aside = numbered(path, ".", number);
        // The name is taken first, so that no two programs take the same.
        match OpenOptions::new().write(true).create_new(true).open(&aside) {
            Ok(_) => {
                std::fs::rename(path, &aside).map_err(failed)?;
                return Ok(Some(aside));
            }
            Err(error) if error.kind() == ErrorKind::AlreadyExists => number += 1,
            Err(error) => return Err(failed(error)),
        }
    }
}

/// `take.wav` as `take` + `between` + `number` + `.wav`.
pub(super) fn numbered(path: &Path, between: &str, number: u32) -> PathBuf {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(format!("{between}{number}"));
    if let Some(extension) = path.extension() {
        name.push(".");
        name.push(extension);
    }
    path.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_taken_by_one_program_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("take.wav");
        let (first, moved) = make(&path, false).expect("made");
        assert_eq!(moved, None);
        let error = make(&path, false).expect_err("it is being kept");
        assert!(error.to_string().contains("another program"), "{error}");
        assert!(make(&path, true).is_err());
        drop(first);
        let (_second, moved) = make(&path, false).expect("made");
        assert_eq!(moved, Some(folder.path().join("take.1.wav")));
        assert_eq!(std::fs::read_dir(folder.path()).expect("listed").count(), 2);
    }
}
