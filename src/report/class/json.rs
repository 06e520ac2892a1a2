//! The table as one JSON object. Every field is always present; what is unknown is `null`.

use serde::Serialize;

use super::{Counts, ORDER, Outcome, Row};
use crate::report::json::{BY_SCORE, SCHEMA};
use crate::report::layout;

#[derive(Serialize)]
struct Table<'a> {
    schema: u32,
    /// The command: a file that says so may be written again by it.
    written_by: &'static str,
    order: &'static str,
    takes: Vec<RowOut<'a>>,
}

#[derive(Serialize)]
struct RowOut<'a> {
    who: Option<&'a str>,
    take: &'a str,
    line: Option<LineOut<'a>>,
    judged: bool,
    not_judged_because: Option<&'a str>,
    summary: Option<SummaryOut>,
    begin: Option<BeginOut<'a>>,
    recording: &'a [String],
}

#[derive(Serialize)]
struct LineOut<'a> {
    title: Option<&'a str>,
    file: &'a str,
    found_by_ear: bool,
}

#[derive(Serialize)]
struct SummaryOut {
    faulty_percent: Option<usize>,
    faulty: usize,
    passes: usize,
    notes: usize,
    played: usize,
    right: usize,
    wrong: usize,
    missed: usize,
    extra: usize,
    early: usize,
    late: usize,
    joins: usize,
    joins_with_gap: usize,
    rings: Option<usize>,
}

#[derive(Serialize)]
struct BeginOut<'a> {
    sentence: &'a str,
    tempo_bpm: Option<u32>,
}

/// The table as an object, ending with a line feed. Never fails.
pub fn object(rows: &[Row]) -> String {
    let table = Table {
        schema: SCHEMA,
        written_by: BY_SCORE,
        order: ORDER,
        takes: rows.iter().map(RowOut::from).collect(),
    };
    let mut text = layout::text(&table);
    text.push('\n');
    text
}

impl<'a> From<&'a Row> for RowOut<'a> {
    fn from(row: &'a Row) -> Self {
        let (counts, because) = match &row.outcome {
            Outcome::Judged(counts) => (Some(counts), None),
            Outcome::NotJudged(why) => (None, Some(why.as_str())),
        };
        let begin = counts.and_then(|counts| counts.begin.as_ref());
        Self {
            who: row.who.as_deref(),
            take: &row.take,
            line: row.line.as_ref().map(|line| LineOut {
                title: line.title.as_deref(),
                file: &line.file,
                found_by_ear: line.found,
            }),
            judged: counts.is_some(),
            not_judged_because: because,
            summary: counts.map(SummaryOut::from),
            begin: begin.map(|begin| BeginOut {
                sentence: &begin.sentence,
                tempo_bpm: begin.tempo_bpm,
            }),
            recording: counts.map_or(&[], |counts| &counts.recording),
        }
    }
}

impl From<&Counts> for SummaryOut {
    fn from(counts: &Counts) -> Self {
        Self {
            faulty_percent: counts.faulty_percent(),
            faulty: counts.faulty,
            passes: counts.passes,
            notes: counts.notes,
            played: counts.played,
            right: counts.right,
            wrong: counts.wrong,
            missed: counts.missed,
            extra: counts.extra,
            early: counts.early,
            late: counts.late,
            joins: counts.joins,
            joins_with_gap: counts.joins_with_gap,
            rings: counts.rings,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples::{HOSTILE, broken, called, judged};
    use super::*;

    #[test]
    fn every_row_has_every_field() {
        let text = object(&[broken("b.wav", "why"), judged("a.wav", 7)]);
        let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(value["schema"], 1);
        let takes = value["takes"].as_array().expect("takes");
        assert_eq!(takes[0]["not_judged_because"], "why");
        assert!(takes[0]["summary"].is_null() && takes[0]["line"].is_null());
        assert_eq!(takes[1]["summary"]["joins_with_gap"], 5);
        assert_eq!(takes[1]["begin"]["tempo_bpm"], 77);
        let names = |row: &serde_json::Value| -> Vec<String> {
            row.as_object()
                .expect("an object")
                .keys()
                .cloned()
                .collect()
        };
        assert_eq!(names(&takes[0]), names(&takes[1]));
        for name in HOSTILE {
            let value: serde_json::Value =
                serde_json::from_str(&object(&called(name))).expect("JSON");
            assert_eq!(value["takes"][0]["take"], name);
        }
    }
}
