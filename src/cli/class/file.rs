//! The class file: who plays which line in which take, as a table in CSV.
//!
//! A header row names the columns: `who`, `take`, and `line` where no option names the lines. Paths count
//! from the file's own folder.

use std::io::Read;
use std::path::{Path, PathBuf};

use csv::{ReaderBuilder, StringRecord, Trim};

use super::jobs::Job;
use crate::cli::failure::Failure;
use crate::session::played::path_beside;

/// Largest class file read, in bytes: some ten thousand takes. Raised, a file given by mistake is read
/// for longer before it is refused.
const BYTES_MAX: u64 = 1 << 20;

/// The columns that may stand in the header.
const COLUMNS: [&str; 3] = ["who", "take", "line"];

/// Where each column stands, counted from 0.
struct Columns {
    who: usize,
    take: usize,
    line: Option<usize>,
}

/// Reads the takes of a class file. `lines_elsewhere` says whether an option names the lines.
pub(super) fn read(path: &Path, lines_elsewhere: bool) -> Result<Vec<Job>, Failure> {
    let text = text_of(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    parse(&path.display().to_string(), folder, &text, lines_elsewhere)
}

fn text_of(path: &Path) -> Result<String, Failure> {
    let name = path.display();
    let unreadable = |error: std::io::Error| {
        Failure::new(format!(
            "{name}: this class file cannot be read ({error}); check the path and that you may read it"
        ))
    };
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(BYTES_MAX + 1).read_to_end(&mut bytes))
        .map_err(unreadable)?;
    if bytes.len() as u64 > BYTES_MAX {
        return Err(Failure::new(format!(
            "{name}: too large for a class file (at most {BYTES_MAX} bytes); is this a take?"
        )));
    }
    String::from_utf8(bytes).map_err(|error| {
        let before = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = 1 + before.iter().filter(|&&byte| byte == b'\n').count();
        let column = 1 + before.iter().rev().take_while(|&&byte| byte != b'\n').count();
        Failure::new(format!(
            "{name}, line {line}, byte {column}: this is no UTF-8 text; save the table as CSV in UTF-8"
        ))
    })
}

fn parse(
    name: &str,
    folder: &Path,
    text: &str,
    lines_elsewhere: bool,
) -> Result<Vec<Job>, Failure> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let wrong = |what: String| Failure::new(format!("{name}, {what}"));
    let header = text.lines().find(|line| !line.trim().is_empty());
    // Where the comma is the decimal sign, spreadsheets part the cells by semicolons.
    let semicolons = header.is_some_and(|line| line.contains(';') && !line.contains(','));
    let mut reader = ReaderBuilder::new()
        .delimiter(if semicolons { b';' } else { b',' })
        .trim(Trim::All)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut columns: Option<Columns> = None;
    let mut jobs = Vec::new();
    for record in reader.records() {
        // Text in memory is read without a failure; a row of any length is a row.
        let record = record.map_err(|error| wrong(format!("{error}; mend or remove this row")))?;
        let line = record.position().map_or(0, |at| line_of(text, at.byte()));
        if record.iter().all(str::is_empty) {
            continue;
        }
        match &columns {
            None => columns = Some(header_of(&record, line, lines_elsewhere).map_err(wrong)?),
            Some(columns) => {
                let job = job_of(&record, line, columns, (folder, lines_elsewhere));
                jobs.push(job.map_err(wrong)?);
            }
        }
    }
    match (columns, jobs.is_empty()) {
        (None, _) => Err(wrong(
            "line 1: the file is empty; its first row names the columns: who,take,line".to_owned(),
        )),
        (Some(_), true) => Err(wrong(
            "line 2: there is no take; write a row for each one below the header".to_owned(),
        )),
        (Some(_), false) => Ok(jobs),
    }
}

/// The line, counted from 1, of the row that begins behind `byte` bytes: a row's position is that of the
/// empty lines before it.
fn line_of(text: &str, byte: u64) -> u64 {
    let ends = |byte: &u8| matches!(byte, b'\r' | b'\n');
    let bytes = text.as_bytes();
    let from = usize::try_from(byte).unwrap_or(usize::MAX).min(bytes.len());
    let empty = bytes[from..].iter().take_while(|byte| ends(byte)).count();
    let before = &bytes[..from + empty];
    let next = before.iter().skip(1).chain([&0]);
    // A carriage return before a line feed ends the same line.
    let count = before
        .iter()
        .zip(next)
        .filter(|&(byte, next)| ends(byte) && (*byte, *next) != (b'\r', b'\n'));
    1 + count.count() as u64
}

fn header_of(record: &StringRecord, line: u64, lines_elsewhere: bool) -> Result<Columns, String> {
    let mut found: [Option<usize>; COLUMNS.len()] = [None; COLUMNS.len()];
    for (at, cell) in record.iter().enumerate() {
        let column = at + 1;
        let known = COLUMNS
            .iter()
            .position(|known| cell.eq_ignore_ascii_case(known));
        match known {
            None => {
                return Err(format!(
                    "line {line}, column {column}: `{}` is no column of a class file; the first row \
                     names the columns, which are who, take and line",
                    short(cell)
                ));
            }
            Some(known) if found[known].is_some() => {
                return Err(format!(
                    "line {line}, column {column}: the column `{}` is there twice; remove one",
                    COLUMNS[known]
                ));
            }
            Some(known) => found[known] = Some(at),
        }
    }
    let missing = |name: &str, mend: &str| {
        format!("line {line}: there is no column `{name}`; write it into the first row{mend}")
    };
    match found {
        [None, _, _] => Err(missing("who", "")),
        [_, None, _] => Err(missing("take", "")),
        [_, _, None] if !lines_elsewhere => Err(missing("line", ", or give --line or --lines")),
        [Some(who), Some(take), line] => Ok(Columns { who, take, line }),
    }
}

fn job_of(
    record: &StringRecord,
    line: u64,
    columns: &Columns,
    (folder, lines_elsewhere): (&Path, bool),
) -> Result<Job, String> {
    let widest = columns.who.max(columns.take).max(columns.line.unwrap_or(0));
    if let Some((at, cell)) = record
        .iter()
        .enumerate()
        .find(|(at, cell)| *at > widest && !cell.is_empty())
    {
        return Err(format!(
            "line {line}, column {}: `{}` stands beyond the last column; put quotation marks around a \
             cell that holds the sign between cells",
            at + 1,
            short(cell)
        ));
    }
    let cell = |at: usize| record.get(at).filter(|cell| !cell.is_empty());
    let Some(take) = cell(columns.take) else {
        return Err(format!(
            "line {line}, column {} (take): empty; name the take's sound file, or remove the row",
            columns.take + 1
        ));
    };
    let take = folder.join(take);
    let of_line = columns.line.and_then(cell);
    if of_line.is_none() && !lines_elsewhere && !path_beside(&take).is_file() {
        return Err(format!(
            "line {line}, column {} (line): empty; name the line of this take, or give --line or --lines",
            columns.line.unwrap_or(0) + 1
        ));
    }
    Ok(Job {
        who: cell(columns.who).map(str::to_owned),
        take,
        line: of_line.map(|of_line| -> PathBuf { folder.join(of_line) }),
    })
}

/// The beginning of a cell, fit for a message.
fn short(cell: &str) -> String {
    let plain = cell.chars().map(|c| if c.is_control() { '?' } else { c });
    plain.take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &str, lines_elsewhere: bool) -> Result<Vec<Job>, String> {
        parse("class.csv", Path::new("monday"), text, lines_elsewhere).map_err(|f| f.to_string())
    }

    #[test]
    fn paths_count_from_the_files_folder() {
        let job = |who: Option<&str>, take: &str, line: Option<&str>| Job {
            who: who.map(str::to_owned),
            take: PathBuf::from(take),
            line: line.map(PathBuf::from),
        };
        let wanted = [
            job(
                Some("Ada, the 2nd"),
                "monday/a.wav",
                Some("monday/l/x.line"),
            ),
            job(None, "/b.wav", Some("monday/y.line")),
        ];
        let text = "who,take,line\n\"Ada, the 2nd\",a.wav,l/x.line\n\n ,/b.wav, y.line \n";
        assert_eq!(read(text, false).expect("read"), wanted);
        // In another order, with semicolons, a byte order mark and other line ends.
        let text = "\u{feff}Line;WHO;Take\r\nl/x.line;\"Ada, the 2nd\";a.wav\r\ny.line;;/b.wav\r\n";
        assert_eq!(read(text, false).expect("read"), wanted);
        let bare = read("take,who\na.wav,Ada\n", true).expect("read");
        assert_eq!(bare, [job(Some("Ada"), "monday/a.wav", None)]);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_place() {
        for (text, elsewhere, told) in [
            ("", false, "line 1: the file is empty"),
            ("who,take,line\n", false, "line 2: there is no take"),
            (
                "a.wav,x.line\n",
                false,
                "line 1, column 1: `a.wav` is no column",
            ),
            (
                "who,take\nAda,a.wav\n",
                false,
                "line 1: there is no column `line`",
            ),
            ("take,line\n", false, "line 1: there is no column `who`"),
            ("who,line\n", true, "line 1: there is no column `take`"),
            (
                "who,take,take\n",
                true,
                "line 1, column 3: the column `take` is there twice",
            ),
            (
                "who,take,line\nAda,,x.line\n",
                false,
                "line 2, column 2 (take): empty",
            ),
            (
                "who,take,line\nAda,a.wav,\n",
                false,
                "line 2, column 3 (line): empty",
            ),
            (
                "who,take,line\r\n\r\n\"A\r\nB\",a.wav,x\r\n\r\nB,b.wav\r\n",
                false,
                "line 6, column 3 (line): empty",
            ),
            (
                "who,take,line\rA,a.wav,\r",
                false,
                "line 2, column 3 (line): empty",
            ),
            (
                "who,take,line\nA,a.wav,x\n\n\nB,b.wav\n",
                false,
                "line 5, column 3 (line): empty",
            ),
            (
                "who,take\nAda,a.wav,b.wav\n",
                true,
                "line 2, column 3: `b.wav` stands beyond",
            ),
        ] {
            let said = read(text, elsewhere).expect_err(text);
            assert!(
                said.starts_with(&format!("class.csv, {told}")),
                "{text:?}: {said}"
            );
        }
    }

    proptest! {
        #[test]
        fn no_text_breaks_it(text in "\\PC*|(who|take|line|[,;\"\\n\\r=\u{feff} ]|[a-c])*", elsewhere: bool) {
            if let Ok(jobs) = read(&text, elsewhere) {
                prop_assert!(!jobs.is_empty());
            }
        }
    }
}
