//! Passes and joins of a day, summed up, so that what is shown and planned is there at once however many
//! takes there are. Made anew from the takes of that day whenever one of them comes or goes.

use std::collections::BTreeMap;

use rusqlite::{Transaction, params};

/// A join on one day.
#[derive(Default)]
struct JoinSum {
    tries: i64,
    faulty: i64,
    first_faulty: bool,
    gap_sum: i64,
    gaps: i64,
    clean_share: Option<f64>,
}

/// Sums up one day of one player's line.
pub(super) fn sum_up(
    within: &Transaction<'_>,
    player: i64,
    line: i64,
    day: i64,
) -> rusqlite::Result<()> {
    let place = params![player, line, day];
    for table in ["line_days", "join_days"] {
        let gone = format!("DELETE FROM {table} WHERE player = ?1 AND line = ?2 AND day = ?3");
        within.execute(&gone, place)?;
    }
    within
        .prepare_cached(
            "INSERT INTO line_days
             SELECT ?1, ?2, ?3,
                 (SELECT count(*) FROM takes WHERE player = ?1 AND line = ?2 AND day = ?3),
                 count(passes.id), ifnull(sum(clean), 0), ifnull(sum(whole), 0),
                 ifnull(sum(whole AND clean), 0), max(CASE WHEN whole AND clean THEN share END),
                 (SELECT sum(played_s) / 60.0 FROM takes
                  WHERE player = ?1 AND line = ?2 AND day = ?3)
             FROM takes LEFT JOIN passes ON passes.take = takes.id
             WHERE player = ?1 AND line = ?2 AND day = ?3
             HAVING count(takes.id) > 0",
        )?
        .execute(place)?;
    let mut joins: BTreeMap<i64, JoinSum> = BTreeMap::new();
    let mut played = within.prepare_cached(
        "SELECT notes.note, notes.join_fault, notes.gap, passes.share
         FROM takes JOIN passes ON passes.take = takes.id JOIN notes ON notes.pass = passes.id
         WHERE player = ?1 AND line = ?2 AND day = ?3 AND join_fault IS NOT NULL
         ORDER BY takes.at_s, takes.id, passes.number, notes.note",
    )?;
    let mut rows = played.query(place)?;
    while let Some(row) = rows.next()? {
        let (note, faulty): (i64, bool) = (row.get(0)?, row.get(1)?);
        let (gap, share): (Option<i64>, Option<f64>) = (row.get(2)?, row.get(3)?);
        let sum = joins.entry(note).or_default();
        sum.first_faulty |= sum.tries == 0 && faulty;
        sum.tries += 1;
        sum.faulty += i64::from(faulty);
        if let Some(gap) = gap {
            sum.gap_sum += gap;
            sum.gaps += 1;
        }
        if let Some(share) = share.filter(|_| !faulty) {
            sum.clean_share = Some(sum.clean_share.map_or(share, |best| best.max(share)));
        }
    }
    let mut put = within
        .prepare_cached("INSERT INTO join_days VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)")?;
    for (note, sum) in joins {
        put.execute(params![
            player,
            line,
            day,
            note,
            sum.tries,
            sum.faulty,
            sum.first_faulty,
            sum.gap_sum,
            sum.gaps,
            sum.clean_share
        ])?;
    }
    Ok(())
}
