//! The whole record as JSON, and back: one object for each line and each take, so that neither side
//! holds more than one of them.
//!
//! The file is text in lines: the first says what it is, then come lines and takes, each an object of its
//! own (JSON Lines). What is read in adds to what is there; a take that is there already is replaced.

use std::io::{BufRead, Write};

use rusqlite::{Row, params};
use serde::{Deserialize, Serialize};

use super::add::{FLAGS, PARTS, VERDICTS, put_line, put_take};
use super::read::count;
use super::{Store, StoreError};
use crate::progress::rows::{JoinRow, LineRow, NoteRow, PassRow, TakeRow};

/// The number of this format; a field that changes its meaning or goes raises it.
const SCHEMA: u32 = 1;
/// What the first line says the file is.
const KIND: &str = "a record of practice";
/// Longest line read, in bytes: a take of some ten hours.
const LINE_BYTES_MAX: u64 = 64 << 20;

/// What an exported record says of itself in its first line.
pub const WRITTEN_BY: &str = "seamline log";

/// The first line.
#[derive(Serialize, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
struct Head {
    written_by: String,
    kind: String,
    schema: u32,
}

impl Head {
    fn new() -> Self {
        Self {
            written_by: WRITTEN_BY.to_owned(),
            kind: KIND.to_owned(),
            schema: SCHEMA,
        }
    }
}

/// Each further line.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Entry {
    Line(LineRow),
    Take(TakeRow),
}

/// How much was carried.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Carried {
    /// Lines.
    pub lines: usize,
    /// Takes.
    pub takes: usize,
}

impl Store {
    /// Writes all there is, as it stands at one moment.
    ///
    /// # Errors
    /// When the record cannot be read, or `out` cannot be written.
    pub fn export(&self, out: &mut dyn Write) -> Result<Carried, StoreError> {
        let told =
            |error: std::io::Error| StoreError::Carry(format!("it cannot be written ({error})"));
        let within = self.db.unchecked_transaction();
        let within = within.map_err(|error| self.failed(&error))?;
        let mut carried = Carried::default();
        put(out, &Head::new()).map_err(told)?;
        for (id, line) in self.line_rows().map_err(|error| self.failed(&error))? {
            let content = line.content.clone();
            put(out, &Entry::Line(line)).map_err(told)?;
            carried.lines += 1;
            let takes = self.take_numbers(id).map_err(|error| self.failed(&error))?;
            for take in takes {
                let row = self.take_row(take, &content);
                let row = row.map_err(|error| self.failed(&error))?;
                put(out, &Entry::Take(row)).map_err(told)?;
                carried.takes += 1;
            }
        }
        within.finish().map_err(|error| self.failed(&error))?;
        out.flush().map_err(told)?;
        Ok(carried)
    }

    /// Reads an exported record in: all of it or nothing.
    ///
    /// # Errors
    /// When `from` is no exported record, with the line at which that shows.
    pub fn import(&mut self, from: &mut dyn BufRead) -> Result<Carried, StoreError> {
        let mut wrong = None;
        let carried = self.change(|within| {
            let mut carried = Carried::default();
            let mut lines = std::collections::HashMap::new();
            if let Err(what) = read_head(from) {
                wrong = Some(what);
                return Err(rusqlite::Error::ExecuteReturnedResults);
            }
            for number in 2.. {
                let entry = match read_entry(from, number) {
                    Ok(Some(entry)) => entry,
                    Ok(None) => break,
                    Err(what) => {
                        wrong = Some(what);
                        return Err(rusqlite::Error::ExecuteReturnedResults);
                    }
                };
                match entry {
                    Entry::Line(line) => {
                        let id = put_line(within, &line)?;
                        lines.insert(line.content, id);
                        carried.lines += 1;
                    }
                    Entry::Take(take) => {
                        let Some(&line) = lines.get(&take.line) else {
                            wrong = Some(format!(
                                "line {number}: a take of a line that is not in the file"
                            ));
                            return Err(rusqlite::Error::ExecuteReturnedResults);
                        };
                        put_take(within, line, &take)?;
                        carried.takes += 1;
                    }
                }
            }
            Ok(carried)
        });
        match wrong {
            Some(what) => Err(StoreError::Carry(format!("{what}; nothing was read in"))),
            None => carried,
        }
    }

    fn line_rows(&self) -> rusqlite::Result<Vec<(i64, LineRow)>> {
        let mut found = self.db.prepare(
            "SELECT id, content, title, file, part, first_bar, last_bar, tempo_bpm, notes
             FROM lines ORDER BY id",
        )?;
        let line = |row: &Row<'_>| {
            let id: i64 = row.get(0)?;
            Ok((
                id,
                LineRow {
                    content: row.get(1)?,
                    title: row.get(2)?,
                    file: row.get(3)?,
                    part: row.get(4)?,
                    bars: (row.get(5)?, row.get(6)?),
                    tempo_bpm: row.get(7)?,
                    notes: count(row, 8)?,
                    joins: self.join_rows(id)?,
                },
            ))
        };
        found.query_map([], line)?.collect()
    }

    pub(super) fn join_rows(&self, line: i64) -> rusqlite::Result<Vec<JoinRow>> {
        let mut found = self.db.prepare_cached(
            "SELECT note, bar, beat, to_bar, kind FROM joins WHERE line = ?1 ORDER BY note",
        )?;
        let join = |row: &Row<'_>| {
            Ok(JoinRow {
                note: count(row, 0)?,
                bar: row.get(1)?,
                beat: row.get(2)?,
                to_bar: row.get(3)?,
                kind: row.get(4)?,
            })
        };
        found.query_map([line], join)?.collect()
    }

    fn take_numbers(&self, line: i64) -> rusqlite::Result<Vec<i64>> {
        let mut found = self
            .db
            .prepare_cached("SELECT id FROM takes WHERE line = ?1 ORDER BY id")?;
        found.query_map([line], |row| row.get(0))?.collect()
    }

    fn take_row(&self, take: i64, line: &str) -> rusqlite::Result<TakeRow> {
        let mut found = self.db.prepare_cached(
            "SELECT players.name, sound, file, kept, instrument, at_s, ahead_s, duration_s, devices
             FROM takes JOIN players ON players.id = takes.player
                 LEFT JOIN rigs ON rigs.id = takes.rig
             WHERE takes.id = ?1",
        )?;
        found.query_row([take], |row| {
            Ok(TakeRow {
                player: row.get(0)?,
                line: line.to_owned(),
                sound: row.get(1)?,
                file: row.get(2)?,
                kept: row.get(3)?,
                instrument: row.get(4)?,
                at_s: row.get(5)?,
                ahead_s: row.get(6)?,
                duration_s: row.get(7)?,
                rig: row.get(8)?,
                passes: self.pass_rows(take)?,
            })
        })
    }

    fn pass_rows(&self, take: i64) -> rusqlite::Result<Vec<PassRow>> {
        let mut found = self.db.prepare_cached(
            "SELECT id, number, from_s, to_s, first_bar, last_bar, complete, whole, clean, share,
                 stumbles, extra
             FROM passes WHERE take = ?1 ORDER BY number",
        )?;
        let pass = |row: &Row<'_>| {
            Ok(PassRow {
                number: count(row, 1)?,
                from_s: row.get(2)?,
                to_s: row.get(3)?,
                bars: (row.get(4)?, row.get(5)?),
                complete: row.get(6)?,
                whole: row.get(7)?,
                clean: row.get(8)?,
                share: row.get(9)?,
                stumbles: row.get::<_, i64>(10)? as usize,
                extra: row.get::<_, i64>(11)? as usize,
                notes: self.note_rows(row.get(0)?)?,
            })
        };
        found.query_map([take], pass)?.collect()
    }

    fn note_rows(&self, pass: i64) -> rusqlite::Result<Vec<NoteRow>> {
        let mut found = self.db.prepare_cached(
            "SELECT note, verdict, flags, timing, gap, cents, level, join_fault
             FROM notes WHERE pass = ?1 ORDER BY note",
        )?;
        let note = |row: &Row<'_>| {
            let (verdict, bits): (i64, i64) = (row.get(1)?, row.get(2)?);
            let verdict = VERDICTS
                .get(verdict as usize)
                .and_then(|verdict| verdict.word());
            let flags = FLAGS.iter().enumerate();
            let flags = flags.filter(|(bit, _)| bits & (1 << bit) != 0);
            let part = |at: usize| -> rusqlite::Result<Option<f64>> {
                Ok(row
                    .get::<_, Option<i64>>(at)?
                    .map(|value| value as f64 / PARTS))
            };
            Ok(NoteRow {
                note: count(row, 0)?,
                verdict: verdict.unwrap_or_default().to_owned(),
                flags: flags.map(|(_, flag)| flag.word().to_owned()).collect(),
                timing_ms: part(3)?,
                gap_ms: part(4)?,
                cents: part(5)?,
                level_dbfs: part(6)?,
                join_fault: row.get(7)?,
            })
        };
        found.query_map(params![pass], note)?.collect()
    }
}

/// Writes a line of an exported record.
fn put(out: &mut dyn Write, value: &impl Serialize) -> std::io::Result<()> {
    let text = serde_json::to_string(value).map_err(std::io::Error::from)?;
    writeln!(out, "{text}")
}

/// The first line, which must say what it is.
fn read_head(from: &mut dyn BufRead) -> Result<(), String> {
    let known = || format!("an exported record begins with `{KIND}`, schema {SCHEMA}");
    let text = read_line(from, 1)?;
    let head: Head = serde_json::from_slice(&text)
        .map_err(|error| format!("line 1: this is no exported record ({error}); {}", known()))?;
    match head == Head::new() {
        true => Ok(()),
        false => Err(format!("line 1: {}", known())),
    }
}

/// The next line or take; `None` at the end.
fn read_entry(from: &mut dyn BufRead, number: usize) -> Result<Option<Entry>, String> {
    let text = read_line(from, number)?;
    if text.is_empty() {
        return Ok(None);
    }
    let entry = serde_json::from_slice(&text).map_err(|error| format!("line {number}: {error}"))?;
    if let Entry::Take(take) = &entry {
        check(take).map_err(|what| format!("line {number}: {what}"))?;
    }
    Ok(Some(entry))
}

fn read_line(from: &mut dyn BufRead, number: usize) -> Result<Vec<u8>, String> {
    let mut text = Vec::new();
    let mut limited = std::io::Read::take(from, LINE_BYTES_MAX);
    let read = limited.read_until(b'\n', &mut text);
    read.map_err(|error| format!("line {number}: cannot be read ({error})"))?;
    if text.len() as u64 == LINE_BYTES_MAX {
        return Err(format!("line {number}: longer than any take is"));
    }
    Ok(text)
}

/// What of a take no program can have written.
fn check(take: &TakeRow) -> Result<(), String> {
    let known = |word: &str| VERDICTS.iter().any(|verdict| verdict.word() == Some(word));
    let flag = |word: &String| FLAGS.iter().any(|flag| flag.word() == word);
    for note in take.passes.iter().flat_map(|pass| &pass.notes) {
        if !known(&note.verdict) {
            return Err(format!("`{}` is no verdict", note.verdict));
        }
        if let Some(word) = note.flags.iter().find(|word| !flag(word)) {
            return Err(format!("`{word}` is no flag"));
        }
    }
    let mut numbers: Vec<usize> = take.passes.iter().map(|pass| pass.number).collect();
    numbers.sort_unstable();
    numbers.dedup();
    if numbers.len() != take.passes.len() {
        return Err("two passes have the same number".to_owned());
    }
    Ok(())
}
