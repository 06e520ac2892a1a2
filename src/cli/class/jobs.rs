//! Which takes are to be judged: named one by one, the sound files of a folder, the rows of a class file.

use std::path::{Path, PathBuf};

use super::file;
use crate::cli::failure::Failure;
use crate::sound;

/// Endings of sound files. A file that has one and holds no sound is a broken take and is told as such;
/// one without is a take when its content is.
const ENDINGS: [&str; 10] = [
    "wav", "wave", "flac", "mp3", "m4a", "mp4", "aac", "ogg", "oga", "aif",
];

/// A take to be judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::cli) struct Job {
    /// Who played, where that was said.
    pub(in crate::cli) who: Option<String>,
    /// The sound; `-` is standard input.
    pub(in crate::cli) take: PathBuf,
    /// Its line, where one is named for this take.
    pub(in crate::cli) line: Option<PathBuf>,
}

impl Job {
    fn of(take: PathBuf) -> Self {
        Self {
            who: None,
            take,
            line: None,
        }
    }
}

/// The takes in the order in which they were named; a folder stands for its sound files in the order of
/// their names. `lines_elsewhere` says whether an option names the lines, so that a class file need not.
pub(in crate::cli) fn jobs(
    takes: &[PathBuf],
    class: Option<&Path>,
    lines_elsewhere: bool,
) -> Result<Vec<Job>, Failure> {
    if let Some(class) = class {
        return file::read(class, lines_elsewhere);
    }
    let mut jobs = Vec::new();
    for take in takes {
        if take.is_dir() {
            jobs.extend(sounds_in(take)?.into_iter().map(Job::of));
        } else {
            jobs.push(Job::of(take.clone()));
        }
    }
    Ok(jobs)
}

/// The sound files of a folder, not those of folders in it; hidden files are passed over.
fn sounds_in(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let mut sounds: Vec<PathBuf> = files_in(folder)?
        .into_iter()
        .filter(|path| has_ending(path) || sound::file::is_sound(path))
        .collect();
    sounds.sort();
    if sounds.is_empty() {
        return Err(Failure::new(format!(
            "{}: there is no sound file in this folder; folders in it are not looked into",
            folder.display()
        )));
    }
    Ok(sounds)
}

fn has_ending(path: &Path) -> bool {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str()))
}

/// The ordinary files of a folder that are not hidden, in no order.
pub(super) fn files_in(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let unreadable = |error: std::io::Error| {
        Failure::new(format!(
            "{}: this folder cannot be read ({error}); check the path and that you may read it",
            folder.display()
        ))
    };
    let mut files = Vec::new();
    for entry in folder.read_dir().map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let hidden = entry.file_name().to_string_lossy().starts_with('.');
        if !hidden && entry.path().is_file() {
            files.push(entry.path());
        }
    }
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_stands_for_its_sound_files() {
        let folder = tempfile::tempdir().expect("a folder");
        let write = |name: &str, bytes: &[u8]| {
            std::fs::write(folder.path().join(name), bytes).expect("written");
        };
        // A FLAC stream begins so (RFC 9639, section 6).
        for (name, bytes) in [
            ("b.wav", &b"not at all"[..]),
            ("a.WAV", b""),
            ("without an ending", b"fLaC and so on"),
            ("a.wav.played.json", b"{}"),
            ("stairs.line", b"1/4 3:0"),
            (".hidden.wav", b""),
        ] {
            write(name, bytes);
        }
        std::fs::create_dir(folder.path().join("more.wav")).expect("a folder");
        let found = jobs(&[folder.path().to_owned()], None, true).expect("takes");
        let names: Vec<_> = found
            .iter()
            .map(|job| {
                job.take
                    .file_name()
                    .expect("a name")
                    .to_string_lossy()
                    .into_owned()
            })
            .collect();
        assert_eq!(names, ["a.WAV", "b.wav", "without an ending"]);

        let empty = folder.path().join("more.wav");
        let said = jobs(&[empty], None, true).expect_err("no take").to_string();
        assert!(said.contains("no sound file"), "{said}");
    }
}
