//! Results of takes already judged, kept in a folder, so that a run that was broken off does only what is
//! left.
//!
//! A result is a file of its own, written whole or not at all as soon as its take is judged. Its name is a
//! hash of all that the result depends on: the program, the sound, the line, what stands beside the take,
//! and the options. Where one of them changes there is no such file, and the take is judged anew: nothing
//! in the folder can be out of date.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::cli::failure::Failure;
use crate::cli::output;
use crate::cli::own;
use crate::progress::rows::sound_hash;
use crate::report::class::{Outcome, RowLine};
use crate::report::json::BY_SCORE;

/// The number of this format; a change of what is kept raises it.
const SCHEMA: u32 = 1;
/// Largest kept result read, in bytes: the report of an hour of playing has some 20 MB.
const BYTES_MAX: u64 = 256 << 20;

/// What is kept of a take.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::cli) struct Kept {
    schema: u32,
    written_by: String,
    /// The key once more, so that a file under a wrong name is not taken.
    key: String,
    /// The line.
    pub(in crate::cli) line: Option<RowLine>,
    /// What came of it.
    pub(in crate::cli) outcome: Outcome,
    /// The report as JSON; `None` where nothing was judged.
    pub(in crate::cli) report: Option<String>,
}

/// The folder of kept results.
pub(in crate::cli) struct Results {
    folder: PathBuf,
    /// Hash of what is the same for all takes.
    common: String,
}

/// All that a result depends on, hashed piece by piece.
#[derive(Default)]
pub(in crate::cli) struct Key(Sha256);

impl Key {
    /// Adds a piece under its name; its length is hashed with it, so that no two pieces run together.
    pub(in crate::cli) fn add(&mut self, name: &str, bytes: &[u8]) {
        for part in [name.as_bytes(), bytes] {
            self.0.update((part.len() as u64).to_le_bytes());
            self.0.update(part);
        }
    }

    /// Adds a file by its name and what it holds; one that cannot be read counts as such.
    pub(in crate::cli) fn add_file(&mut self, name: &str, path: &Path) {
        self.add(name, path.as_os_str().as_encoded_bytes());
        let hash = File::open(path).and_then(sound_hash);
        self.add("holds", hash.unwrap_or_default().as_bytes());
    }

    /// The digits by which it is known.
    pub(in crate::cli) fn digits(self) -> String {
        let digits = self.0.finalize();
        digits.iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

impl Results {
    /// The folder, made where it is not there; `options` is all that holds for every take.
    pub(in crate::cli) fn open(folder: &Path, options: Key) -> Result<Self, Failure> {
        std::fs::create_dir_all(folder).map_err(|error| {
            Failure::new(format!(
                "{}: this folder for results cannot be made ({error}); name another one with --resume",
                folder.display()
            ))
        })?;
        // The program itself: another build may judge otherwise, whatever it calls its version.
        let program = std::env::current_exe()
            .and_then(File::open)
            .and_then(sound_hash);
        let program = program.map_err(|error| {
            Failure::new(format!(
                "--resume: the program cannot read its own file ({error}), so that kept results \
                 cannot be told from those of another version; leave --resume out"
            ))
        })?;
        let mut common = Key::default();
        common.add("schema", &SCHEMA.to_le_bytes());
        common.add("version", own::BUILD.as_bytes());
        common.add("program", program.as_bytes());
        common.add("options", options.digits().as_bytes());
        Ok(Self {
            folder: folder.to_owned(),
            common: common.digits(),
        })
    }

    /// The key of a take: `of_take` is all that holds for it alone.
    pub(in crate::cli) fn key(&self, of_take: Key) -> String {
        let mut key = Key::default();
        key.add("common", self.common.as_bytes());
        key.add("take", of_take.digits().as_bytes());
        key.digits()
    }

    /// What is kept under this key; `None` where nothing is. What is damaged is said, and judged anew.
    pub(in crate::cli) fn find(&self, key: &str) -> Option<Kept> {
        let path = self.path(key);
        let mut bytes = Vec::new();
        File::open(&path)
            .ok()?
            .take(BYTES_MAX)
            .read_to_end(&mut bytes)
            .ok()?;
        let kept = serde_json::from_slice(&bytes).ok().filter(|kept: &Kept| {
            kept.schema == SCHEMA && kept.written_by == BY_SCORE && kept.key == key
        });
        if kept.is_none() {
            output::note(&format!(
                "{}: damaged, so the take is judged anew",
                path.display()
            ));
        }
        kept
    }

    /// Keeps the result of a take.
    pub(in crate::cli) fn keep(
        &self,
        key: String,
        line: Option<RowLine>,
        outcome: Outcome,
        report: Option<String>,
    ) -> Result<(), Failure> {
        let path = self.path(&key);
        let kept = Kept {
            schema: SCHEMA,
            written_by: BY_SCORE.to_owned(),
            key,
            line,
            outcome,
            report,
        };
        let bytes = serde_json::to_vec(&kept).map_err(Failure::of)?;
        output::write_file(&path, &bytes)
    }

    fn path(&self, key: &str) -> PathBuf {
        self.folder.join(format!("{key}.json"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(pieces: &[(&str, &[u8])]) -> Key {
        let mut key = Key::default();
        pieces.iter().for_each(|(name, bytes)| key.add(name, bytes));
        key
    }

    #[test]
    fn another_piece_is_another_key() {
        let digits = |pieces: &[(&str, &[u8])]| key(pieces).digits();
        let one = digits(&[("line", b"ab"), ("take", b"c")]);
        assert_eq!(one, digits(&[("line", b"ab"), ("take", b"c")]));
        for other in [
            digits(&[("line", b"a"), ("take", b"bc")]),
            digits(&[("line", b"ab"), ("take", b"")]),
            digits(&[("take", b"ab"), ("line", b"c")]),
            digits(&[("line", b"ab")]),
        ] {
            assert_ne!(one, other);
        }
    }

    #[test]
    fn what_is_kept_comes_back_and_nothing_else_does() {
        let folder = tempfile::tempdir().expect("a folder");
        let open = |options: &[u8]| {
            Results::open(folder.path(), key(&[("options", options)])).expect("a folder")
        };
        let results = open(b"one");
        let of_take = || results.key(key(&[("sound", b"x")]));
        assert_eq!(results.find(&of_take()), None);
        let outcome = Outcome::NotJudged("why, \u{1F3B8}\n".to_owned());
        let report = Some("{\n}\n".to_owned());
        results
            .keep(of_take(), None, outcome.clone(), report.clone())
            .expect("kept");
        let kept = results.find(&of_take()).expect("it is there");
        assert_eq!((kept.outcome, kept.report), (outcome, report));
        // Other options have another key, and another take has.
        let other = open(b"two");
        assert_eq!(other.find(&other.key(key(&[("sound", b"x")]))), None);
        assert_eq!(results.find(&results.key(key(&[("sound", b"y")]))), None);
        // Cut off, or under another's name, it is not taken.
        let path = results.path(&of_take());
        let bytes = std::fs::read(&path).expect("read");
        std::fs::write(&path, &bytes[..bytes.len() - 3]).expect("cut");
        assert_eq!(results.find(&of_take()), None);
        let wrong = results.key(key(&[("sound", b"y")]));
        std::fs::write(results.path(&wrong), &bytes).expect("written");
        assert_eq!(results.find(&wrong), None);
    }
}
