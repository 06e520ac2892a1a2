//! What is taken out of the record: really, so that nothing of it is left in the file.

use rusqlite::{OptionalExtension, Transaction, params};

use super::days::sum_up;
use super::{Store, StoreError};

/// What went, and where its sound lies.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Removed {
    /// How many takes.
    pub takes: usize,
    /// Copies of their sound in the data folder, by file name.
    pub kept: Vec<String>,
    /// Their sound files as they were judged.
    pub files: Vec<String>,
}

impl Store {
    /// Removes one take of a player by its number; `None` where there is none.
    ///
    /// # Errors
    /// When the record cannot be written.
    pub fn remove_take(
        &mut self,
        player: &str,
        number: i64,
    ) -> Result<Option<Removed>, StoreError> {
        let removed = self.remove(
            "SELECT takes.id FROM takes JOIN players ON players.id = takes.player
             WHERE players.name = ?1 AND takes.id = ?2",
            params![player, number],
        )?;
        Ok(Some(removed).filter(|removed| removed.takes > 0))
    }

    /// Removes all takes of a player; of one line (by its content) or of all.
    ///
    /// # Errors
    /// When the record cannot be written.
    pub fn remove_takes(
        &mut self,
        player: &str,
        content: Option<&str>,
    ) -> Result<Removed, StoreError> {
        self.remove(
            "SELECT takes.id FROM takes JOIN players ON players.id = takes.player
                 JOIN lines ON lines.id = takes.line
             WHERE players.name = ?1 AND (?2 IS NULL OR content = ?2)",
            params![player, content],
        )
    }

    fn remove(&mut self, which: &str, by: &[&dyn rusqlite::ToSql]) -> Result<Removed, StoreError> {
        // What is deleted is overwritten, not only forgotten.
        let set = self.db.pragma_update(None, "secure_delete", true);
        set.map_err(|error| self.failed(&error))?;
        let removed = self.change(|within| {
            let mut found = within.prepare(which)?;
            let takes: Vec<i64> = found
                .query_map(by, |row| row.get(0))?
                .collect::<Result<_, _>>()?;
            let mut removed = Removed::default();
            let mut days = Vec::new();
            for take in takes {
                days.extend(remove_one(within, take, &mut removed)?);
            }
            days.sort_unstable();
            days.dedup();
            for (player, line, day) in days {
                sum_up(within, player, line, day)?;
            }
            for of_nothing in [
                "DELETE FROM lines WHERE id NOT IN (SELECT line FROM takes)",
                "DELETE FROM players WHERE id NOT IN (SELECT player FROM takes)",
            ] {
                within.execute(of_nothing, [])?;
            }
            Ok(removed)
        })?;
        // What was written ahead still holds the old pages.
        let emptied = self
            .db
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()));
        emptied.map_err(|error| self.failed(&error))?;
        Ok(removed)
    }
}

/// Removes a take; gives its player, line and day.
fn remove_one(
    within: &Transaction<'_>,
    take: i64,
    removed: &mut Removed,
) -> rusqlite::Result<Option<(i64, i64, i64)>> {
    type Found = (i64, i64, i64, Option<String>, Option<String>);
    let found: Option<Found> = within
        .query_row(
            "SELECT player, line, day, kept, file FROM takes WHERE id = ?1",
            [take],
            |row| {
                Ok((
                    row.get(0)?,
                    row.get(1)?,
                    row.get(2)?,
                    row.get(3)?,
                    row.get(4)?,
                ))
            },
        )
        .optional()?;
    let Some((player, line, day, kept, file)) = found else {
        return Ok(None);
    };
    within.execute("DELETE FROM takes WHERE id = ?1", [take])?;
    removed.takes += 1;
    removed.kept.extend(kept);
    removed.files.extend(file);
    Ok(Some((player, line, day)))
}
