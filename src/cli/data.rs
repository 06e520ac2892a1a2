//! The folder in which the program keeps what it must remember: takes, round trips, the record.

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::output;
use crate::session::live::latency_book::LatencyBook;

/// Where things are kept.
#[derive(Args, Debug, Clone)]
pub(super) struct DataOptions {
    /// Folder for takes, what was measured and the record of practice (also SEAMLINE_DATA; by default the
    /// system's own)
    #[arg(long, value_name = "DIR", global = true, display_order = 900)]
    data: Option<PathBuf>,

    /// The folder that the player's settings name.
    #[arg(skip)]
    of_settings: Option<PathBuf>,
}

/// The empty file that keeps a new take's name; it goes again when no take came into it.
pub(super) struct Reserved {
    /// Where it is.
    path: PathBuf,
}

impl Drop for Reserved {
    fn drop(&mut self) {
        let empty = std::fs::metadata(&self.path).is_ok_and(|there| there.len() == 0);
        if empty {
            // A file left over is only untidy.
            std::fs::remove_file(&self.path).ok();
        }
    }
}

/// Largest file of round trips read, in bytes.
const BOOK_BYTES_MAX: u64 = 1 << 20;

impl DataOptions {
    /// Takes the folder of the settings where neither an option nor the environment names one.
    pub(super) fn or(&mut self, folder: Option<PathBuf>) {
        self.of_settings = folder;
    }

    /// The folder; it is made when something is written.
    pub(super) fn folder(&self) -> Result<PathBuf, Failure> {
        let asked = self.data.clone().or_else(|| {
            std::env::var_os("SEAMLINE_DATA")
                .filter(|value| !value.is_empty())
                .map(PathBuf::from)
        });
        asked
            .or_else(|| self.of_settings.clone())
            .or_else(|| dirs::data_dir().map(|folder| folder.join("seamline")))
            .ok_or_else(|| {
                Failure::new("there is no folder for data on this system; name one with --data DIR")
            })
    }

    /// Where a take of the line `line` is kept: at `keep`, or under a new name that is kept for it.
    pub(super) fn take_at(
        &self,
        keep: Option<&Path>,
        line: &Path,
    ) -> Result<(PathBuf, Option<Reserved>), Failure> {
        if let Some(path) = keep {
            return Ok((path.to_owned(), None));
        }
        let reserved = self.new_take(line)?;
        Ok((reserved.path.clone(), Some(reserved)))
    }

    /// A name for a new take of the line `line`, kept by an empty file so that no other program
    /// takes the same.
    fn new_take(&self, line: &Path) -> Result<Reserved, Failure> {
        let folder = self.folder()?.join("takes");
        make(&folder)?;
        let stem = line.file_stem().map_or_else(
            || "take".to_owned(),
            |stem| stem.to_string_lossy().into_owned(),
        );
        let mut number = 1;
        loop {
            let path = folder.join(format!("{stem}-{number:04}.wav"));
            match std::fs::File::create_new(&path) {
                Ok(_) => return Ok(Reserved { path }),
                Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => number += 1,
                Err(error) => {
                    return Err(Failure::new(format!(
                        "{}: this take cannot be begun ({error}); name another place with --keep \
                         or --data",
                        path.display()
                    )));
                }
            }
        }
    }

    /// The round trips measured so far; an empty book when there is none.
    pub(super) fn latencies(&self) -> Result<LatencyBook, Failure> {
        let path = self.book()?;
        let there = match std::fs::metadata(&path) {
            Ok(there) => there,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Ok(LatencyBook::default());
            }
            Err(error) => return Err(unreadable(&path, &error)),
        };
        if there.len() > BOOK_BYTES_MAX {
            return Err(broken(&path, "is too large for a file of round trips"));
        }
        let bytes = std::fs::read(&path).map_err(|error| unreadable(&path, &error))?;
        LatencyBook::read(&bytes).map_err(|what| broken(&path, &what))
    }

    /// Keeps the round trips.
    pub(super) fn keep_latencies(&self, book: &LatencyBook) -> Result<PathBuf, Failure> {
        make(&self.folder()?)?;
        let path = self.book()?;
        output::write_file(&path, &book.write())?;
        Ok(path)
    }

    fn book(&self) -> Result<PathBuf, Failure> {
        Ok(self.folder()?.join("round-trips.json"))
    }
}

fn make(folder: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|error| {
        Failure::new(format!(
            "{}: this folder cannot be made ({error}); name another with --data DIR",
            folder.display()
        ))
    })
}

fn unreadable(path: &Path, error: &std::io::Error) -> Failure {
    Failure::new(format!(
        "{}: cannot be read ({error}); check that you may read it",
        path.display()
    ))
}

fn broken(path: &Path, what: &str) -> Failure {
    Failure::new(format!(
        "{}: {what}; remove it and measure again with `seamline sound --measure`",
        path.display()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_programs_get_the_same_name() {
        let folder = tempfile::tempdir().expect("a folder");
        let data = &DataOptions {
            data: Some(folder.path().to_owned()),
            of_settings: None,
        };
        let names = std::thread::scope(|scope| {
            let take = |_| data.new_take(Path::new("a.line")).expect("a name");
            let run = move || (0..20).map(take).collect::<Vec<_>>();
            let other = scope.spawn(run);
            let mut all = run();
            all.extend(other.join().expect("names"));
            all
        });
        let mut paths: Vec<PathBuf> = names.iter().map(|name| name.path.clone()).collect();
        paths.sort();
        paths.dedup();
        assert_eq!(paths.len(), 40);
        // One holds a take: it stays, the others go.
        std::fs::write(&paths[3], b"sound").expect("written");
        drop(names);
        let left = std::fs::read_dir(folder.path().join("takes")).expect("listed");
        let left: Vec<PathBuf> = left.map(|entry| entry.expect("an entry").path()).collect();
        assert_eq!(left, [paths[3].clone()]);
    }
}
