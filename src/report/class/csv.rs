//! The table as CSV, for a spreadsheet: RFC 4180, UTF-8, a header row, empty cells for what is unknown.
//!
//! A cell that begins as a formula would is led by an apostrophe: a title or the name of a file can make
//! no spreadsheet compute or fetch anything.
//!
//! # Source
//! RFC 4180; OWASP, *CSV Injection* (from memory): `=`, `+`, `-`, `@`, tab and carriage return begin what
//! a spreadsheet may run, the first four also in their full-width forms.

use csv::{Terminator, WriterBuilder};

use super::{Outcome, Row};

/// The columns, in their order.
const COLUMNS: [&str; 23] = [
    "who",
    "take",
    "line",
    "line_file",
    "line_found_by_ear",
    "judged",
    "faulty_percent",
    "passes",
    "notes",
    "played",
    "right",
    "wrong",
    "missed",
    "extra",
    "early",
    "late",
    "joins",
    "joins_with_gap",
    "rings",
    "begin",
    "begin_tempo_bpm",
    "not_judged_because",
    "recording",
];

/// The header row without its line end: by it a file is known as such a table.
pub fn header() -> String {
    COLUMNS.join(",")
}

/// The table, a line for the header and one for each row. Never fails.
pub fn table(rows: &[Row]) -> String {
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .from_writer(Vec::new());
    let written = writer
        .write_record(COLUMNS)
        .and_then(|()| {
            rows.iter()
                .try_for_each(|row| writer.write_record(cells(row)))
        })
        .and_then(|()| {
            writer
                .into_inner()
                .map_err(|error| error.into_error().into())
        });
    // Into memory nothing fails, and every row has a cell for each column.
    String::from_utf8(written.expect("written to memory")).expect("only text was written")
}

fn cells(row: &Row) -> [String; COLUMNS.len()] {
    let number = |number: usize| number.to_string();
    let maybe = |number: Option<usize>| number.map_or_else(String::new, |n| n.to_string());
    let line = row.line.as_ref();
    let title = line.map_or("", |line| line.name());
    let file = line.map_or("", |line| line.file.as_str());
    let found = line.map_or("", |line| if line.found { "yes" } else { "no" });
    let who = row.who.as_deref().unwrap_or_default();
    let mut cells = std::array::from_fn(|_| String::new());
    cells[..4].clone_from_slice(&[who, &row.take, title, file].map(harmless));
    cells[4] = found.to_owned();
    match &row.outcome {
        Outcome::NotJudged(why) => {
            cells[5] = "no".to_owned();
            cells[21] = harmless(why);
        }
        Outcome::Judged(counts) => {
            cells[5] = "yes".to_owned();
            cells[6] = maybe(counts.faulty_percent());
            let counted = [
                counts.passes,
                counts.notes,
                counts.played,
                counts.right,
                counts.wrong,
                counts.missed,
                counts.extra,
                counts.early,
                counts.late,
                counts.joins,
                counts.joins_with_gap,
            ];
            cells[7..18].clone_from_slice(&counted.map(number));
            cells[18] = maybe(counts.rings);
            if let Some(begin) = &counts.begin {
                cells[19] = harmless(&begin.sentence);
                cells[20] = begin.tempo_bpm.map_or_else(String::new, |n| n.to_string());
            }
            cells[22] = harmless(&counts.recording.join(" "));
        }
    }
    cells
}

/// A text that no spreadsheet takes for a formula. What stands before the sign, spaces and control
/// characters, may be cut off by the reader and does not hide it.
fn harmless(text: &str) -> String {
    let signs = ['=', '+', '-', '@', '＝', '＋', '－', '＠'];
    let first = text.trim_start_matches(|c: char| c.is_whitespace() || c.is_control());
    if first.starts_with(signs) || text.starts_with(char::is_control) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples::{HOSTILE, broken, called, judged};
    use super::*;

    /// By the `csv` crate's reader, which is not what wrote the cells' meaning: each cell comes back,
    /// behind its apostrophe where it would begin a formula.
    #[test]
    fn hostile_names_come_back_and_begin_no_formula() {
        for name in HOSTILE {
            let text = table(&called(name));
            let mut reader = csv::Reader::from_reader(text.as_bytes());
            let rows: Vec<csv::StringRecord> =
                reader.records().map(|row| row.expect("a row")).collect();
            assert_eq!(rows.len(), 2, "{text:?}");
            for (row, columns) in rows.iter().zip([&[0, 1, 2, 3, 19, 22][..], &[1, 21][..]]) {
                assert_eq!(row.len(), COLUMNS.len());
                for &column in columns {
                    let cell = &row[column];
                    let plain = cell.strip_prefix('\'').unwrap_or(cell);
                    // A title is told without the space around it.
                    assert_eq!(plain.trim(), name.trim(), "{}", COLUMNS[column]);
                }
                for cell in row {
                    let begins = cell.trim_start().chars().next();
                    assert!(
                        begins.is_none_or(|c| !"=+-@".contains(c)),
                        "{cell:?} begins a formula"
                    );
                }
            }
        }
        assert_eq!(harmless("a = b"), "a = b");
        assert_eq!(harmless("＝1"), "'＝1");
    }

    #[test]
    fn a_row_has_its_figures_in_their_columns() {
        let text = table(&[broken("b.wav", "cannot be read"), judged("a.wav", 7)]);
        let wanted = "b.wav,,,,no,,,,,,,,,,,,,,,,cannot be read,\r\n";
        let lines: Vec<&str> = text.split_inclusive("\r\n").collect();
        assert_eq!(lines[0], format!("{}\r\n", header()));
        assert_eq!(lines[1], format!(",{wanted}"));
        assert_eq!(
            lines[2],
            ",a.wav,Two bars up the stairs,lines/stairs.line,no,yes,7,2,120,100,98,1,1,2,3,4,60,5,6,\
             \"bar 3, the shift from D2 up to Bb2: 84 ms of silence\",77,,\r\n"
        );
        assert_eq!(lines.len(), 3);
    }
}
