//! Several takes in one table: a row for each, those that need the teacher most first.
//!
//! | file | what lives there |
//! |---|---|
//! | here | [`Row`], what it counts, and the order of the rows |
//! | `text` | the table for a terminal |
//! | `csv` | the table for a spreadsheet, in which nothing that a file is called is a formula |
//! | `json` | the table for other programs |
//!
//! The page is `html::class`. Pure functions from rows to text; a row is all that is kept of a take, so
//! that memory does not grow with what was heard.

pub mod csv;
pub mod json;
pub mod text;

use serde::{Deserialize, Serialize};

use super::opening;
use crate::compare::judgement::{Flag, JudgedNote, Judgement, Verdict};
use crate::session::result::TakeResult;

/// What decides the order, for whoever reads the table.
pub const ORDER: &str = "Takes that could not be judged stand first; then by the share of the notes \
                         played that have something in them, the largest first.";

/// A take's row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Who played, where that was said.
    pub who: Option<String>,
    /// The take's file, as it was named.
    pub take: String,
    /// The line, where it is known.
    pub line: Option<RowLine>,
    /// What came of it.
    pub outcome: Outcome,
}

/// The line that a take was held against.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowLine {
    /// Its title; `None` where it has none.
    pub title: Option<String>,
    /// Its file, as it was named.
    pub file: String,
    /// Whether it was found among several by what was heard.
    pub found: bool,
}

impl RowLine {
    /// The title, or the file's name without its folders.
    pub fn name(&self) -> &str {
        match self.title.as_deref().map(str::trim) {
            Some(title) if !title.is_empty() => title,
            _ => last_part(&self.file),
        }
    }
}

/// What came of a take.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Outcome {
    /// It was judged.
    Judged(Counts),
    /// It could not be judged: why, and what to do.
    NotJudged(String),
}

/// What is counted of a judged take. Each note of the line counts once, from the last complete pass of
/// its bar, as in the report's `summary`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    /// Passes that were judged.
    pub passes: usize,
    /// Notes of the line, or of its bars that were asked for.
    pub notes: usize,
    /// Notes of them that some pass reached.
    pub played: usize,
    /// Notes of these with something in them (another pitch, nothing, or any flag but loud and soft),
    /// and notes that nobody wrote.
    pub faulty: usize,
    /// Notes played as written.
    pub right: usize,
    /// Notes of another pitch.
    pub wrong: usize,
    /// Notes not played.
    pub missed: usize,
    /// Notes nobody wrote.
    pub extra: usize,
    /// Early notes.
    pub early: usize,
    /// Late notes.
    pub late: usize,
    /// Legato joins that some pass reached.
    pub joins: usize,
    /// Joins of them that leave a gap in half of their passes or more.
    pub joins_with_gap: usize,
    /// Strings that rang underneath; `None` when nobody listened for them.
    pub rings: Option<usize>,
    /// The passage most worth work; `None` where nothing has a place.
    pub begin: Option<Begin>,
    /// What is to be known of the recording itself, as whole sentences.
    pub recording: Vec<String>,
    /// Right notes of all judged passes, and all notes of these, for a pass mark.
    pub of_passes: (usize, usize),
}

/// Where to begin.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Begin {
    /// What it is, as a sentence without its full stop.
    pub sentence: String,
    /// Whole beats per minute to practise it at; `None` when no tempo was heard.
    pub tempo_bpm: Option<u32>,
}

impl Outcome {
    /// What came of a take that was held against a line. Never fails.
    pub fn of(result: &TakeResult) -> Self {
        if !result.judgement.is_judged() {
            return Self::NotJudged(opening::reason(result));
        }
        Self::Judged(Counts::of(&result.judgement, &result.take.sound_notes))
    }
}

impl Counts {
    fn of(judgement: &Judgement, recording: &[String]) -> Self {
        let tally = &judgement.tally;
        let reached = |note: &&JudgedNote| note.verdict != Verdict::Unreached;
        let played = judgement.notes.iter().filter(reached);
        let with_gap = judgement
            .joins
            .iter()
            .filter(|join| join.flagged > 0 && 2 * join.flagged >= join.gaps_ms.len());
        Self {
            passes: judgement.passes.iter().filter(|pass| pass.judged).count(),
            notes: judgement.notes.len(),
            played: played.clone().count(),
            faulty: played.filter(|note| has_something(note)).count() + tally.extra,
            right: tally.right,
            wrong: tally.wrong,
            missed: tally.missed,
            extra: tally.extra,
            early: tally.early,
            late: tally.late,
            joins: judgement.joins.len(),
            joins_with_gap: with_gap.count(),
            rings: judgement.bleed.as_ref().map(Vec::len),
            begin: judgement.start_here().map(|passage| Begin {
                sentence: passage.sentence,
                tempo_bpm: passage.tempo_bpm.and_then(whole_bpm),
            }),
            recording: recording.to_vec(),
            of_passes: judgement.right_of_passes(),
        }
    }

    /// Share of the notes played that have something in them, in whole per cent; extra notes may bring
    /// it above 100. `None` where nothing was played.
    pub fn faulty_percent(&self) -> Option<usize> {
        (100 * self.faulty + self.played / 2).checked_div(self.played)
    }
}

/// Whether there is something in a note that a teacher would stop at. How loud it is spoils no line.
fn has_something(note: &JudgedNote) -> bool {
    let spoils = |flag: &Flag| !matches!(flag, Flag::Loud | Flag::Soft);
    note.verdict != Verdict::Right || note.flags.iter().any(spoils)
}

fn whole_bpm(bpm: f64) -> Option<u32> {
    let whole = bpm.round();
    (1.0..=100_000.0).contains(&whole).then_some(whole as u32)
}

/// Sorts the rows as [`ORDER`] says; rows that are alike stay in the order in which they came.
pub fn sort(rows: &mut [Row]) {
    rows.sort_by(|a, b| match (&a.outcome, &b.outcome) {
        (Outcome::NotJudged(_), Outcome::NotJudged(_)) => std::cmp::Ordering::Equal,
        (Outcome::NotJudged(_), Outcome::Judged(_)) => std::cmp::Ordering::Less,
        (Outcome::Judged(_), Outcome::NotJudged(_)) => std::cmp::Ordering::Greater,
        // a / b > c / d as a * d > c * b, in whole numbers: no rounding decides an order.
        (Outcome::Judged(a), Outcome::Judged(b)) => {
            (b.faulty * a.played.max(1)).cmp(&(a.faulty * b.played.max(1)))
        }
    });
}

/// How many were judged, and how many not: "14 takes: 12 judged, 2 not".
pub(super) fn heading(rows: &[Row]) -> String {
    let judged = |row: &&Row| matches!(row.outcome, Outcome::Judged(_));
    let judged = rows.iter().filter(judged).count();
    let takes = crate::words::count(rows.len(), "take");
    match rows.len() - judged {
        0 => format!("{takes}, all judged"),
        others => format!("{takes}: {judged} judged, {others} not"),
    }
}

/// A path's last part.
pub(super) fn last_part(path: &str) -> &str {
    let mut parts = path.rsplit(['/', '\\']);
    parts.find(|part| !part.is_empty()).unwrap_or(path)
}

#[cfg(test)]
pub(crate) mod samples {
    use super::*;

    /// What a spreadsheet, a browser or a terminal might take for orders, in a name.
    pub(crate) const HOSTILE: [&str; 12] = [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(1)",
        "\t=1+1",
        "\r=1+1",
        "a \"quoted\", name",
        "two\nlines\r\nand more",
        "<script>alert(1)</script>",
        "\" onmouseover=\"alert(1)",
        "\u{1b}[31mred\u{7}",
        "\u{202e}turned -->",
    ];

    /// A judged row with as many notes as are given that have something in them, of 100.
    pub(crate) fn judged(take: &str, faulty: usize) -> Row {
        Row {
            who: None,
            take: take.to_owned(),
            line: Some(RowLine {
                title: Some("Two bars up the stairs".to_owned()),
                file: "lines/stairs.line".to_owned(),
                found: false,
            }),
            outcome: Outcome::Judged(Counts {
                passes: 2,
                notes: 120,
                played: 100,
                faulty,
                right: 98,
                wrong: 1,
                missed: 1,
                extra: 2,
                early: 3,
                late: 4,
                joins: 60,
                joins_with_gap: 5,
                rings: Some(6),
                begin: Some(Begin {
                    sentence: "bar 3, the shift from D2 up to Bb2: 84 ms of silence".to_owned(),
                    tempo_bpm: Some(77),
                }),
                recording: Vec::new(),
                of_passes: (190, 200),
            }),
        }
    }

    /// A row of a take that could not be judged.
    pub(crate) fn broken(take: &str, why: &str) -> Row {
        Row {
            who: None,
            take: take.to_owned(),
            line: None,
            outcome: Outcome::NotJudged(why.to_owned()),
        }
    }

    /// A row in which every text is `name`.
    pub(crate) fn called(name: &str) -> [Row; 2] {
        let mut row = judged(name, 3);
        row.who = Some(name.to_owned());
        row.line = Some(RowLine {
            title: Some(name.to_owned()),
            file: name.to_owned(),
            found: true,
        });
        if let Outcome::Judged(counts) = &mut row.outcome {
            counts.recording = vec![name.to_owned()];
            counts.begin = Some(Begin {
                sentence: name.to_owned(),
                tempo_bpm: None,
            });
        }
        [row, broken(name, name)]
    }
}

#[cfg(test)]
mod tests {
    use super::samples::{broken, judged};
    use super::*;
    use crate::report::sample;

    #[test]
    fn those_that_need_the_teacher_most_stand_first() {
        let mut rows = [
            judged("a few", 7),
            judged("none", 0),
            judged("many", 31),
            broken("no sound", "why"),
            judged("as few", 7),
        ];
        // The same faults in fewer notes are a larger share.
        let mut short = judged("short", 7);
        if let Outcome::Judged(counts) = &mut short.outcome {
            counts.played = 20;
        }
        rows[1] = short;
        sort(&mut rows);
        let order: Vec<&str> = rows.iter().map(|row| row.take.as_str()).collect();
        assert_eq!(order, ["no sound", "short", "many", "a few", "as few"]);
    }

    /// Counted by hand from the hand-built result: its tally, and each note with something in it.
    #[test]
    fn a_row_counts_what_the_report_counts() {
        let result = sample::flawed();
        let Outcome::Judged(counts) = Outcome::of(&result) else {
            panic!("it is judged");
        };
        let tally = &result.judgement.tally;
        assert_eq!(
            (counts.right, counts.wrong, counts.missed, counts.extra),
            (tally.right, tally.wrong, tally.missed, tally.extra)
        );
        let plain = |note: &&JudgedNote| note.verdict == Verdict::Right && note.flags.is_empty();
        let plain = result.judgement.notes.iter().filter(plain).count();
        assert_eq!(counts.faulty, counts.notes - plain + tally.extra);
        assert_eq!(counts.played, counts.notes, "the whole line was played");
        assert!(counts.begin.is_some());
    }

    #[test]
    fn a_take_of_something_else_says_why() {
        for result in [sample::another_line(), sample::nothing_heard()] {
            let Outcome::NotJudged(why) = Outcome::of(&result) else {
                panic!("it is not judged");
            };
            assert!(!why.is_empty() && !why.contains(&result.take.file), "{why}");
        }
    }

    #[test]
    fn a_share_is_in_whole_per_cent() {
        for (faulty, played, percent) in [
            (0, 8, Some(0)),
            (1, 8, Some(13)),
            (8, 8, Some(100)),
            (12, 8, Some(150)),
            (0, 0, None),
        ] {
            let counts = Counts {
                faulty,
                played,
                ..Counts::default()
            };
            assert_eq!(counts.faulty_percent(), percent, "{faulty} of {played}");
        }
    }
}
