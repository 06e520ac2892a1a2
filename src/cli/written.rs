//! Nothing of the player's is written over: which files a command may write, found out before
//! anything starts.
//!
//! A file that the same command wrote before says so in itself and may be written again. Anything
//! else at that path stays, unless `--replace` is given. What a command reads is never written
//! over. Pipes and devices hold nothing that could be lost.

use std::fs::{self, File};
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Deserialize;
use serde::de::IgnoredAny;

use super::failure::Failure;
use super::output::keep_apart;
use crate::report::class::csv as class_csv;
use crate::report::json::BY_SCORE;
use crate::sound::wav_info;

/// How a page says it: in a comment of SVG and HTML, as the producer of a PDF. Common to all three.
pub(super) const PAGE_MARK: &str = "written by ";

/// Bytes at the head of a page in which it says who wrote it: in SVG and HTML the first two lines,
/// in PDF the first objects. Raising it reads more of files that are not ours.
const PAGE_HEAD_BYTES: u64 = 4 << 10;

/// Whether files that the command did not write may be written over.
#[derive(Args, Debug, Clone, Copy)]
pub(super) struct ReplaceOption {
    /// Write over files that this command did not write; what it reads stays in any case
    #[arg(long)]
    replace: bool,
}

impl ReplaceOption {
    /// Whether `--replace` was given.
    pub(super) fn given(self) -> bool {
        self.replace
    }
}

/// A file that a command is to write.
#[derive(Clone, Copy, Debug)]
pub(super) struct Planned<'a> {
    path: &'a Path,
    /// Whose files may be written again; `None` where what is there is put aside.
    by: Option<&'static str>,
}

impl<'a> Planned<'a> {
    /// A file that says `by` when it was written before.
    pub(super) fn new(path: &'a Path, by: &'static str) -> Self {
        Self { path, by: Some(by) }
    }

    /// A take: an older one is put aside under another name.
    pub(super) fn take(path: &'a Path) -> Self {
        Self { path, by: None }
    }
}

/// Checks all files a command is to write, against what it reads (`inputs`), against each other,
/// and against what is there.
///
/// # Errors
/// One message for the first that must not be written: which, why, and how to mend it.
pub(super) fn check(
    planned: &[Planned],
    inputs: &[&Path],
    replace: ReplaceOption,
) -> Result<(), Failure> {
    for (at, file) in planned.iter().enumerate() {
        keep_apart(file.path, inputs)?;
        let twice = |other: &&Planned| is_ordinary(file.path) && same_place(file.path, other.path);
        if let Some(other) = planned[..at].iter().find(twice) {
            return Err(Failure::new(format!(
                "{}: two results cannot be the same file ({}); name another one",
                file.path.display(),
                other.path.display()
            )));
        }
        if let Some(by) = file.by
            && !replace.given()
        {
            may_write(file.path, by)?;
        }
    }
    Ok(())
}

/// Refuses a file that is there and that `by` did not write.
fn may_write(path: &Path, by: &str) -> Result<(), Failure> {
    // A link that leads nowhere is there, too: writing would put a file in its place.
    if fs::symlink_metadata(path).is_err() || !is_ordinary(path) || path.is_dir() {
        return Ok(()); // A folder is refused when it is written, with a word of its own.
    }
    let whose = match writer(path) {
        Some(writer) if writer == by => return Ok(()),
        Some(writer) => format!("`{writer}` wrote it"),
        None => format!("`{by}` did not write it"),
    };
    Err(Failure::new(format!(
        "{}: there is such a file already, and {whose}; name another one, or say --replace to \
         write over it",
        path.display()
    )))
}

/// Whether something at `path` could be lost: all but pipes and devices.
fn is_ordinary(path: &Path) -> bool {
    fs::metadata(path).map_or(true, |there| there.is_file() || there.is_dir())
}

/// Whether two paths lead to the same file, there or not.
fn same_place(a: &Path, b: &Path) -> bool {
    match (place(a), place(b)) {
        (Some(a), Some(b)) => a == b,
        _ => a == b,
    }
}

/// A path without links and detours; of a file that is not there, its folder's.
fn place(path: &Path) -> Option<PathBuf> {
    if let Ok(there) = path.canonicalize() {
        return Some(there);
    }
    let folder = match path.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    Some(folder.canonicalize().ok()?.join(path.file_name()?))
}

/// What the JSON of a command says of itself; all else in it is passed over.
#[derive(Deserialize)]
struct Mark {
    written_by: String,
}

/// The command that wrote the file at `path`, as the file itself says it: a field in JSON (in each
/// object of a list), the header of a class's table, the software in WAV, a comment at the head of a line, an SVG or an HTML page, the
/// producer of a PDF. `None` when it does not say.
fn writer(path: &Path) -> Option<String> {
    let open = || File::open(path).map(BufReader::new).ok();
    let mut first = [0u8; 1];
    open()?.read_exact(&mut first).ok()?;
    match &first {
        b"R" => wav_info::software(open()?),
        b"<" => {
            page_mark(open()?, "<!-- ", " -->").or_else(|| line_writer(&first_bytes(path)?, path))
        }
        b"%" => page_mark(open()?, "/Producer (", ")"),
        b"w" => {
            // The table of a class has no room for a comment: its header says it.
            let header = class_csv::header();
            let mut head = vec![0u8; header.len()];
            open()?.read_exact(&mut head).ok()?;
            (head == header.as_bytes()).then(|| BY_SCORE.to_owned())
        }
        b";" | b"#" | b"M" | b"P" => line_writer(&first_bytes(path)?, path),
        b"{" => {
            // An exported record has an object on each line: the first one says it.
            let mut objects = serde_json::Deserializer::from_reader(open()?);
            let mark = Mark::deserialize(&mut objects).ok()?;
            let mut more = objects.into_iter::<IgnoredAny>();
            more.all(|value| value.is_ok()).then_some(mark.written_by)
        }
        b"[" => {
            let marks: Vec<Mark> = serde_json::from_reader(open()?).ok()?;
            let first = marks.first()?.written_by.clone();
            let all = marks.iter().all(|mark| mark.written_by == first);
            all.then_some(first)
        }
        _ => None,
    }
}

/// Most bytes at the start or the end of a line in which its mark stands.
const MARK_BYTES: u64 = 4096;

fn first_bytes(path: &Path) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)
        .ok()?
        .take(MARK_BYTES)
        .read_to_end(&mut bytes)
        .ok()?;
    Some(bytes)
}

/// The command that wrote a line: the first comment of a `.line` or a table, the comment above a
/// score, the text event of a MIDI file, the comment of the archive of a compressed score.
fn line_writer(first: &[u8], path: &Path) -> Option<String> {
    let text = String::from_utf8_lossy(first);
    let mark = match first {
        [b';' | b'#', ..] => text[1..].lines().next()?.to_owned(),
        [b'<', ..] => text.split_once("<!--")?.1.split_once("-->")?.0.to_owned(),
        [b'M', b'T', b'h', b'd', ..] => {
            // A text event: ff 01, its length in one byte, its text.
            let at = first.windows(2).position(|pair| pair == [0xff, 0x01])?;
            let length = usize::from(*first.get(at + 2)?);
            String::from_utf8(first.get(at + 3..at + 3 + length)?.to_vec()).ok()?
        }
        [b'P', b'K', ..] => {
            let mut file = File::open(path).ok()?;
            let length = file.metadata().ok()?.len();
            file.seek(SeekFrom::Start(length.saturating_sub(MARK_BYTES)))
                .ok()?;
            let mut last = Vec::new();
            file.take(MARK_BYTES).read_to_end(&mut last).ok()?;
            // The end of the central directory: 22 bytes, then the comment (APPNOTE.TXT 4.3.16).
            let at = last.windows(4).rposition(|four| four == b"PK\x05\x06")?;
            String::from_utf8(last.get(at + 22..)?.to_vec()).ok()?
        }
        _ => return None,
    };
    let mark = mark.trim();
    mark.starts_with("seamline ").then(|| mark.to_owned())
}

/// The command that a page names between `before` and `after`, near its head.
fn page_mark(file: impl Read, before: &str, after: &str) -> Option<String> {
    let mut head = Vec::new();
    file.take(PAGE_HEAD_BYTES).read_to_end(&mut head).ok()?;
    let head = String::from_utf8_lossy(&head);
    // The mark stands before everything that the line itself brings, its title too.
    let (_, mark) = head.split_once(before)?;
    let (mark, _) = mark.split_once(after)?;
    Some(mark.strip_prefix(PAGE_MARK)?.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    const GO_ON: ReplaceOption = ReplaceOption { replace: true };
    const ASK: ReplaceOption = ReplaceOption { replace: false };

    #[test]
    fn a_file_says_who_wrote_it() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("file");
        for (text, wanted) in [
            ("", None),
            ("{}", None),
            ("{\"schema\": 1, \"notes\": []}", None),
            ("{\"written_by\": 3}", None),
            ("{\"written_by\": \"one\", \"notes\": [1, 2]}", Some("one")),
            ("{\"written_by\": \"one\"} and more", None),
            ("{\"written_by\": \"one\"}\n{\"take\": 1}\n", Some("one")),
            ("[]", None),
            (
                "[{\"written_by\": \"one\"}, {\"written_by\": \"one\"}]",
                Some("one"),
            ),
            (
                "[{\"written_by\": \"one\"}, {\"written_by\": \"two\"}]",
                None,
            ),
            ("[{\"written_by\": \"one\"}, {}]", None),
            ("written_by: one", None),
            ("RIFF", None),
            ("who,take,line\nAda,a.wav,x.line\n", None),
            (
                &format!("{}\r\n,a.wav\r\n", class_csv::header()),
                Some(BY_SCORE),
            ),
            ("; seamline one\ntitle: x\n", Some("seamline one")),
            ("; my own line\n", None),
            ("<!-- written by one -->\n<svg/>", Some("one")),
            (
                "<!doctype html>\n<!-- written by one -->\n<html>",
                Some("one"),
            ),
            ("<svg><!-- mine --><!-- written by one --></svg>", None),
            ("<svg/>", None),
            ("%PDF-1.7\n<< /Producer (written by one) >>", Some("one")),
            (
                "%PDF-1.7\n<< /Producer (mine) /Title (/Producer (written by one)) >>",
                None,
            ),
            ("%PDF-1.7\n", None),
        ] {
            fs::write(&path, text).expect("written");
            assert_eq!(writer(&path).as_deref(), wanted, "{text}");
        }
    }

    #[test]
    fn only_its_own_files_are_written_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("report.json");
        let planned = [Planned::new(&path, "one")];
        assert!(check(&planned, &[], ASK).is_ok(), "nothing is there");
        fs::write(&path, "{\"written_by\": \"one\"}").expect("written");
        assert!(check(&planned, &[], ASK).is_ok());
        for text in ["", "{\"written_by\": \"two\"}", "mine"] {
            fs::write(&path, text).expect("written");
            let said = check(&planned, &[], ASK).expect_err(text).to_string();
            assert!(
                said.contains("report.json") && said.contains("--replace"),
                "{said}"
            );
            assert!(check(&planned, &[], GO_ON).is_ok());
            assert!(check(&planned, &[&path], GO_ON).is_err(), "it is read");
            assert!(check(&[Planned::take(&path)], &[], ASK).is_ok());
        }
        assert!(check(&[Planned::new(Path::new("/dev/null"), "one")], &[], ASK).is_ok());
    }

    #[test]
    fn two_results_are_two_files() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("one.json");
        let again = folder.path().join(".").join("one.json");
        let both = [Planned::take(&path), Planned::new(&again, "one")];
        assert!(check(&both, &[], GO_ON).is_err(), "neither is there");
        fs::write(&path, "").expect("written");
        assert!(check(&both, &[], GO_ON).is_err());
        let other = folder.path().join("two.json");
        let both = [Planned::take(&path), Planned::new(&other, "one")];
        assert!(check(&both, &[], ASK).is_ok());
        let nowhere = Path::new("/dev/null");
        let both = [Planned::take(nowhere), Planned::new(nowhere, "one")];
        assert!(check(&both, &[], ASK).is_ok());
    }
}
