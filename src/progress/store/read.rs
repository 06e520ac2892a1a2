//! What is in the record: the lines of a player with their days and joins, and the takes.

use std::collections::HashMap;

use rusqlite::{OptionalExtension, Row, params};

use super::add::PARTS;
use super::{Store, StoreError};
use crate::progress::ladder::Tried;
use crate::progress::record::{Day, JoinDay, LineDay, LineRecord, PractisedJoin};
use crate::progress::rows::join_kind;

/// A take as a list shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct TakeEntry {
    /// Its number in the record.
    pub number: i64,
    /// Who played; empty where nobody was named.
    pub player: String,
    /// The title of its line.
    pub title: String,
    /// When it was played, in seconds since 1970, universal time.
    pub at_s: i64,
    /// How far the clock where it was played ran ahead of that, in seconds.
    pub ahead_s: i32,
    /// Judged passes.
    pub passes: usize,
    /// Those that were clean.
    pub clean: usize,
    /// Its sound file: the copy in the data folder where there is one.
    pub file: Option<String>,
}

/// The passes of a line at one tempo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtTempo {
    /// The tempo relative to the written one, to the nearest twentieth.
    pub share: f64,
    /// Judged passes.
    pub passes: usize,
    /// Those that were clean.
    pub clean: usize,
}

impl Store {
    /// The lines that a player has practised, the one played last first, or the one with this content; days before `since` are left out
    /// of their days and joins, not of their counts.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub fn lines(
        &self,
        player: &str,
        content: Option<&str>,
        since: Option<Day>,
    ) -> Result<Vec<LineRecord>, StoreError> {
        let read = || {
            // One moment of the record, whatever another program writes meanwhile.
            let within = self.db.unchecked_transaction()?;
            let lines = self.read_lines(player, content, since.map_or(i64::MIN, |day| day.0))?;
            within.finish()?;
            Ok(lines)
        };
        read().map_err(|error| self.failed(&error))
    }

    fn read_lines(
        &self,
        player: &str,
        content: Option<&str>,
        since: i64,
    ) -> rusqlite::Result<Vec<LineRecord>> {
        let Some(player) = self.player(player)? else {
            return Ok(Vec::new());
        };
        let mut found = self.db.prepare(
            "SELECT lines.id, title, file, first_bar, last_bar, tempo_bpm,
                 sum(line_days.takes), sum(line_days.passes)
             FROM line_days JOIN lines ON lines.id = line_days.line
             WHERE player = ?1 AND (?2 IS NULL OR content = ?2) GROUP BY lines.id ORDER BY max(day) DESC, lines.id DESC",
        )?;
        let line = |row: &Row<'_>| {
            let record = LineRecord {
                title: row.get(1)?,
                file: row.get(2)?,
                bars: (row.get(3)?, row.get(4)?),
                tempo_bpm: row.get(5)?,
                takes: count(row, 6)?,
                passes: count(row, 7)?,
                days: Vec::new(),
                joins: Vec::new(),
            };
            Ok((row.get::<_, i64>(0)?, record))
        };
        let rows = found.query_map(params![player, content], line)?;
        let mut lines = Vec::new();
        for row in rows {
            let (id, mut line) = row?;
            line.days = self.line_days(player, id, since)?;
            line.joins = self.joins(player, id, since)?;
            lines.push(line);
        }
        Ok(lines)
    }

    fn line_days(&self, player: i64, line: i64, since: i64) -> rusqlite::Result<Vec<LineDay>> {
        let mut days = self.db.prepare_cached(
            "SELECT day, passes, clean, whole, whole_clean, clean_share, minutes
             FROM line_days WHERE player = ?1 AND line = ?2 AND day >= ?3 ORDER BY day",
        )?;
        let day = |row: &Row<'_>| {
            Ok(LineDay {
                day: Day(row.get(0)?),
                passes: count(row, 1)?,
                clean: count(row, 2)?,
                whole: count(row, 3)?,
                whole_clean: count(row, 4)?,
                clean_share: row.get(5)?,
                minutes: row.get(6)?,
            })
        };
        days.query_map(params![player, line, since], day)?.collect()
    }

    fn joins(&self, player: i64, line: i64, since: i64) -> rusqlite::Result<Vec<PractisedJoin>> {
        let mut days = self.db.prepare_cached(
            "SELECT note, day, tries, faulty, first_faulty, gap_sum, gaps, clean_share
             FROM join_days WHERE player = ?1 AND line = ?2 AND day >= ?3 ORDER BY day",
        )?;
        let mut played: HashMap<usize, Vec<JoinDay>> = HashMap::new();
        let mut rows = days.query(params![player, line, since])?;
        while let Some(row) = rows.next()? {
            let (gap_sum, gaps): (i64, i64) = (row.get(5)?, row.get(6)?);
            let gap_ms = (gaps > 0).then(|| gap_sum as f64 / gaps as f64 / PARTS);
            let day = JoinDay {
                day: Day(row.get(1)?),
                tries: count(row, 2)?,
                faulty: count(row, 3)?,
                first_faulty: row.get(4)?,
                gap_ms,
                clean_share: row.get(7)?,
            };
            played.entry(count(row, 0)?).or_default().push(day);
        }
        let written = self.join_rows(line)?.into_iter();
        Ok(written
            .filter_map(|join| {
                let days = played.remove(&join.note)?;
                Some(PractisedJoin {
                    index: join.note,
                    bar: join.bar,
                    beat: join.beat,
                    to_bar: join.to_bar,
                    kind: join.kind.as_deref().and_then(join_kind),
                    days,
                })
            })
            .collect())
    }

    /// The passes of the line with this content by their tempo, the slowest first.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub fn tempos(&self, player: &str, content: &str) -> Result<Vec<AtTempo>, StoreError> {
        let read = || -> rusqlite::Result<Vec<AtTempo>> {
            let mut found = self.db.prepare(
                "SELECT round(share * 20) / 20 AS at, count(*), sum(clean)
                 FROM passes JOIN takes ON takes.id = passes.take
                     JOIN players ON players.id = takes.player
                     JOIN lines ON lines.id = takes.line
                 WHERE players.name = ?1 AND content = ?2 AND share IS NOT NULL
                 GROUP BY at ORDER BY at",
            )?;
            let at = |row: &Row<'_>| {
                Ok(AtTempo {
                    share: row.get(0)?,
                    passes: count(row, 1)?,
                    clean: count(row, 2)?,
                })
            };
            found.query_map([player, content], at)?.collect()
        };
        read().map_err(|error| self.failed(&error))
    }

    /// The last passes over these bars (printed numbers) of the line with this content that were played to
    /// their end: the newest `most` of them, the oldest first.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub fn tried(
        &self,
        player: &str,
        content: &str,
        bars: (u32, u32),
        most: u32,
    ) -> Result<Vec<Tried>, StoreError> {
        let read = || -> rusqlite::Result<Vec<Tried>> {
            let mut found = self.db.prepare(
                "SELECT share, clean
                 FROM passes JOIN takes ON takes.id = passes.take
                     JOIN players ON players.id = takes.player
                     JOIN lines ON lines.id = takes.line
                 WHERE players.name = ?1 AND content = ?2 AND passes.first_bar = ?3
                     AND passes.last_bar = ?4 AND complete AND share IS NOT NULL
                 ORDER BY at_s DESC, takes.id DESC, number DESC LIMIT ?5",
            )?;
            let tried = |row: &Row<'_>| {
                Ok(Tried {
                    share: row.get(0)?,
                    clean: row.get(1)?,
                })
            };
            let by = params![player, content, bars.0, bars.1, most];
            let mut passes: Vec<Tried> = found.query_map(by, tried)?.collect::<Result<_, _>>()?;
            passes.reverse();
            Ok(passes)
        };
        read().map_err(|error| self.failed(&error))
    }

    /// Takes, the newest first: of one line (by its content) or of all, at most `most`.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub fn takes(
        &self,
        player: &str,
        content: Option<&str>,
        most: usize,
    ) -> Result<Vec<TakeEntry>, StoreError> {
        let read = || -> rusqlite::Result<Vec<TakeEntry>> {
            let mut found = self.db.prepare(
                "SELECT takes.id, players.name, title, at_s, ahead_s, ifnull(kept, takes.file),
                     (SELECT count(*) FROM passes WHERE take = takes.id),
                     (SELECT ifnull(sum(clean), 0) FROM passes WHERE take = takes.id)
                 FROM takes JOIN players ON players.id = takes.player
                     JOIN lines ON lines.id = takes.line
                 WHERE players.name = ?1 AND (?2 IS NULL OR content = ?2)
                 ORDER BY at_s DESC, takes.id DESC LIMIT ?3",
            )?;
            let take = |row: &Row<'_>| {
                Ok(TakeEntry {
                    number: row.get(0)?,
                    player: row.get(1)?,
                    title: row.get(2)?,
                    at_s: row.get(3)?,
                    ahead_s: row.get(4)?,
                    file: row.get(5)?,
                    passes: count(row, 6)?,
                    clean: count(row, 7)?,
                })
            };
            let most = i64::try_from(most).unwrap_or(i64::MAX);
            found
                .query_map(params![player, content, most], take)?
                .collect()
        };
        read().map_err(|error| self.failed(&error))
    }

    /// Everybody who has takes in the record, by name; the one without a name is the empty one.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub fn players(&self) -> Result<Vec<String>, StoreError> {
        let read = || -> rusqlite::Result<Vec<String>> {
            let mut found = self.db.prepare(
                "SELECT name FROM players
                 WHERE EXISTS (SELECT 1 FROM takes WHERE player = players.id) ORDER BY name",
            )?;
            found.query_map([], |row| row.get(0))?.collect()
        };
        read().map_err(|error| self.failed(&error))
    }

    /// The last day on which a player played; `None` of one who never did.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub fn last_day(&self, player: &str) -> Result<Option<Day>, StoreError> {
        let read = || -> rusqlite::Result<Option<i64>> {
            self.db.query_row(
                "SELECT max(day) FROM line_days JOIN players ON players.id = player
                 WHERE name = ?1",
                [player],
                |row| row.get(0),
            )
        };
        let day = read().map_err(|error| self.failed(&error))?;
        Ok(day.map(Day))
    }

    /// The number of a player; `None` of one who never played.
    fn player(&self, name: &str) -> rusqlite::Result<Option<i64>> {
        self.db
            .query_row("SELECT id FROM players WHERE name = ?1", [name], |row| {
                row.get(0)
            })
            .optional()
    }
}

/// A count in column `at`; what is below nothing counts as nothing.
pub(super) fn count(row: &Row<'_>, at: usize) -> rusqlite::Result<usize> {
    let number: i64 = row.get(at)?;
    Ok(usize::try_from(number).unwrap_or(0))
}
