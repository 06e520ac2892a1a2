//! A take put into the record: the same sound of the same line by the same player replaces what was there.

use rusqlite::{OptionalExtension, Transaction, params};

use super::days::sum_up;
use super::{Store, StoreError};
use crate::compare::judgement::{Flag, Verdict};
use crate::progress::record::Day;
use crate::progress::rows::{LineRow, NoteRow, PassRow, TakeRow};

/// Verdicts in the order in which they are numbered in the file.
pub(super) const VERDICTS: [Verdict; 3] = [Verdict::Right, Verdict::Wrong, Verdict::Missed];
/// Flags in the order of their bits in the file.
pub(super) const FLAGS: [Flag; 11] = [
    Flag::Early,
    Flag::Late,
    Flag::Gap,
    Flag::Clipped,
    Flag::Bleed,
    Flag::Dead,
    Flag::Sharp,
    Flag::Flat,
    Flag::Loud,
    Flag::Soft,
    Flag::Buzzes,
];
/// Parts of a millisecond, a cent and a decibel that are kept.
pub(super) const PARTS: f64 = 10.0;

impl Store {
    /// Puts a take of `line` in; gives its number.
    ///
    /// # Errors
    /// When the record cannot be written; nothing of the take is in it then.
    pub fn add(&mut self, line: &LineRow, take: &TakeRow) -> Result<i64, StoreError> {
        self.change(|within| {
            let line = put_line(within, line)?;
            put_take(within, line, take)
        })
    }

    /// Keeps what was measured of a set-up: its devices, and the way from a click to the ear.
    ///
    /// # Errors
    /// When the record cannot be written.
    pub fn note_rig(
        &mut self,
        devices: &str,
        round_trip_ms: f64,
        at_s: i64,
    ) -> Result<(), StoreError> {
        self.change(|within| {
            within.execute(
                "INSERT INTO rigs (devices, round_trip_ms, measured_s) VALUES (?1, ?2, ?3)
                 ON CONFLICT (devices) DO UPDATE SET round_trip_ms = ?2, measured_s = ?3",
                params![devices, round_trip_ms, at_s],
            )?;
            Ok(())
        })
    }
}

/// The number of a line; its title, tempo and file are those it was last seen with.
pub(super) fn put_line(within: &Transaction<'_>, line: &LineRow) -> rusqlite::Result<i64> {
    let id: i64 = within
        .prepare_cached(
            "INSERT INTO lines (content, title, file, part, first_bar, last_bar, tempo_bpm, notes)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
             ON CONFLICT (content) DO UPDATE SET title = ?2, file = ifnull(?3, file),
                 part = ifnull(?4, part), first_bar = ?5, last_bar = ?6, tempo_bpm = ?7
             RETURNING id",
        )?
        .query_row(
            params![
                line.content,
                line.title,
                line.file,
                line.part,
                line.bars.0,
                line.bars.1,
                line.tempo_bpm,
                line.notes as i64
            ],
            |row| row.get(0),
        )?;
    let mut put =
        within.prepare_cached("INSERT OR REPLACE INTO joins VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?;
    for join in &line.joins {
        put.execute(params![
            id,
            join.note as i64,
            join.bar,
            join.beat,
            join.to_bar,
            join.kind
        ])?;
    }
    Ok(id)
}

/// Puts a take of a line in whose number is known, and sums up its day.
pub(super) fn put_take(
    within: &Transaction<'_>,
    line: i64,
    take: &TakeRow,
) -> rusqlite::Result<i64> {
    within.execute(
        "INSERT INTO players (name) VALUES (?1) ON CONFLICT (name) DO NOTHING",
        [&take.player],
    )?;
    let player: i64 = within.query_row(
        "SELECT id FROM players WHERE name = ?1",
        [&take.player],
        |row| row.get(0),
    )?;
    let older: Option<(i64, i64, Option<String>)> = within
        .query_row(
            "SELECT id, day, kept FROM takes WHERE player = ?1 AND line = ?2 AND sound = ?3",
            params![player, line, take.sound],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
        .optional()?;
    let day = Day::of(take.at_s, take.ahead_s).0;
    let mut kept = take.kept.clone();
    if let Some((older, its_day, its_kept)) = older {
        within.execute("DELETE FROM takes WHERE id = ?1", [older])?;
        kept = kept.or(its_kept);
        if its_day != day {
            sum_up(within, player, line, its_day)?;
        }
    }
    let rig: Option<i64> = match &take.rig {
        Some(devices) => Some(put_rig(within, devices)?),
        None => None,
    };
    let played_s: f64 = take.passes.iter().map(|pass| pass.to_s - pass.from_s).sum();
    within
        .prepare_cached(
            "INSERT INTO takes (player, line, sound, file, kept, instrument, rig, at_s, ahead_s, day,
                 duration_s, played_s)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
        )?
        .execute(params![
            player,
            line,
            take.sound,
            take.file,
            kept,
            take.instrument,
            rig,
            take.at_s,
            take.ahead_s,
            day,
            take.duration_s,
            played_s.max(0.0)
        ])?;
    let id = within.last_insert_rowid();
    for pass in &take.passes {
        put_pass(within, id, pass)?;
    }
    sum_up(within, player, line, day)?;
    Ok(id)
}

/// The number of a set-up.
fn put_rig(within: &Transaction<'_>, devices: &str) -> rusqlite::Result<i64> {
    within.execute(
        "INSERT INTO rigs (devices) VALUES (?1) ON CONFLICT (devices) DO NOTHING",
        [devices],
    )?;
    within.query_row("SELECT id FROM rigs WHERE devices = ?1", [devices], |row| {
        row.get(0)
    })
}

fn put_pass(within: &Transaction<'_>, take: i64, pass: &PassRow) -> rusqlite::Result<()> {
    let with_verdict = |verdict: Verdict| {
        let is = |note: &&NoteRow| Some(note.verdict.as_str()) == verdict.word();
        pass.notes.iter().filter(is).count() as i64
    };
    let with_flag = |flag: Flag| {
        let is = |note: &&NoteRow| note.flags.iter().any(|word| word == flag.word());
        pass.notes.iter().filter(is).count() as i64
    };
    within
        .prepare_cached(
            "INSERT INTO passes (take, number, from_s, to_s, first_bar, last_bar, complete, whole,
                 clean, share, stumbles, written, played_right, wrong, missed, extra, gaps, early,
                 late, bleed)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17,
                 ?18, ?19, ?20)",
        )?
        .execute(params![
            take,
            pass.number as i64,
            pass.from_s,
            pass.to_s,
            pass.bars.0,
            pass.bars.1,
            pass.complete,
            pass.whole,
            pass.clean,
            pass.share,
            pass.stumbles as i64,
            pass.notes.len() as i64,
            with_verdict(Verdict::Right),
            with_verdict(Verdict::Wrong),
            with_verdict(Verdict::Missed),
            pass.extra as i64,
            with_flag(Flag::Gap),
            with_flag(Flag::Early),
            with_flag(Flag::Late),
            with_flag(Flag::Bleed)
        ])?;
    let id = within.last_insert_rowid();
    let mut put = within.prepare_cached(
        "INSERT OR REPLACE INTO notes VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    )?;
    for note in &pass.notes {
        let verdict = VERDICTS
            .iter()
            .position(|verdict| verdict.word() == Some(&note.verdict));
        let flags = FLAGS
            .iter()
            .enumerate()
            .filter(|(_, flag)| note.flags.iter().any(|word| word == flag.word()));
        let bits: i64 = flags.map(|(bit, _)| 1 << bit).sum();
        let parts = |value: Option<f64>| value.map(|value| (value * PARTS).round() as i64);
        put.execute(params![
            id,
            note.note as i64,
            verdict.map(|verdict| verdict as i64),
            bits,
            parts(note.timing_ms),
            parts(note.gap_ms),
            parts(note.cents),
            parts(note.level_dbfs),
            note.join_fault
        ])?;
    }
    Ok(())
}
