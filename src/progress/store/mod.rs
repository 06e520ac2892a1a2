//! The record of a player's practice: an SQLite file in the data folder.
//!
//! | file | what lives there |
//! |---|---|
//! | this one | the file: opened, brought up to date, set aside where it is damaged |
//! | `add` | a take put in |
//! | `days` | passes and joins summed up for each day |
//! | [`read`] | what is in it |
//! | `remove` | what is taken out of it |
//! | [`carry`] | the whole of it as JSON, and back |
//!
//! The only files of the program that know the database. Several programs may use it at once: each
//! change is one transaction, and who comes second waits. No clock: moments are handed in. A change that
//! was committed outlives the program; of a breakdown of the whole machine the last few may be lost, the
//! record is whole in any case (write-ahead log, `synchronous = NORMAL`).

mod add;
pub mod carry;
mod days;
pub mod read;
mod remove;

pub use remove::Removed;

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};

/// Each step from one version of the tables to the next, the first from nothing. A step that was
/// published is never changed: another one is added.
const STEPS: &[&str] = &[include_str!("0001.sql")];
/// What says in the file's header whose it is (`PRAGMA application_id`): "SmLn".
const OURS: i32 = 0x536d_4c6e;
/// How long another program is waited for. Raised, a program that hangs holds up this one longer.
const WAIT: Duration = Duration::from_secs(5);
/// The name of the file in the data folder.
const NAME: &str = "record.sqlite";

/// The record of the players of a machine.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    path: PathBuf,
}

/// Why the record cannot be used. The message says how to mend it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// It, or its folder, cannot be opened or written.
    #[error("{path}: the record cannot be used ({what}); {mend}", path = .path.display())]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        what: String,
        /// What to do.
        mend: &'static str,
    },
    /// It is damaged, and was set aside where that could be done.
    #[error(
        "{path}: the record is damaged ({what}); it stays as it is in {aside}, and the next command \
         begins a new one. What can be read of the old one, `sqlite3 FILE .recover` gives back",
        path = .path.display(), aside = .aside.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        what: String,
        /// Where it is now.
        aside: PathBuf,
    },
    /// A newer program made it.
    #[error(
        "{path}: the record is of version {found}, and this program knows {known}; use the newer \
         program, or another folder (--data DIR)",
        path = .path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The newest that is known.
        known: usize,
    },
    /// It cannot be written out, or what was to be read in is no exported record.
    #[error("{0}")]
    Carry(String),
}

impl Store {
    /// Opens the record in `folder`; makes both where there is none.
    ///
    /// # Errors
    /// When it cannot be opened, is damaged (it is set aside then), or is of a newer program.
    pub fn open(folder: &Path) -> Result<Self, StoreError> {
        let path = folder.join(NAME);
        std::fs::create_dir_all(folder).map_err(|error| StoreError::Unusable {
            path: path.clone(),
            what: error.to_string(),
            mend: "name another folder with --data DIR",
        })?;
        let flags = OpenFlags::default();
        Self::at(path, flags)
    }

    /// Opens the record in `folder` for reading; `None` where there is none.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_there(folder: &Path) -> Result<Option<Self>, StoreError> {
        let path = folder.join(NAME);
        if !path.exists() {
            return Ok(None);
        }
        Self::at(path, OpenFlags::default() & !OpenFlags::SQLITE_OPEN_CREATE).map(Some)
    }

    fn at(path: PathBuf, flags: OpenFlags) -> Result<Self, StoreError> {
        let fresh = std::fs::metadata(&path).map_or(true, |there| there.len() == 0);
        let opened = Connection::open_with_flags(&path, flags).and_then(|mut db| {
            db.busy_timeout(WAIT)?;
            db.pragma_update(None, "journal_mode", "WAL")?;
            db.pragma_update(None, "synchronous", "NORMAL")?;
            db.pragma_update(None, "foreign_keys", true)?;
            let newer = prepare(&mut db)?;
            Ok((db, newer))
        });
        match opened {
            Ok((db, Prepared::Ready)) => Ok(Self { db, path }),
            Ok((_, Prepared::Newer(found))) => Err(StoreError::Newer {
                path,
                found,
                known: STEPS.len(),
            }),
            Ok((db, Prepared::NotOurs)) => {
                drop(db);
                Err(set_aside(&path, "it is another program's file"))
            }
            Err(error) if is_damage(&error) && !fresh => Err(set_aside(&path, &error.to_string())),
            Err(error) => Err(unusable(&path, &error)),
        }
    }

    /// What an error of the database means for the player; a damaged file is set aside.
    fn failed(&self, error: &rusqlite::Error) -> StoreError {
        if is_damage(error) {
            set_aside(&self.path, &error.to_string())
        } else {
            unusable(&self.path, error)
        }
    }

    /// Reads the whole file over and tells what is wrong with it, line by line; nothing when all is well.
    ///
    /// # Errors
    /// When it cannot be read at all.
    pub fn check(&self) -> Result<Vec<String>, StoreError> {
        let read = || -> rusqlite::Result<Vec<String>> {
            let mut told = self.db.prepare("PRAGMA integrity_check(20)")?;
            let rows = told.query_map([], |row| row.get(0))?;
            rows.collect()
        };
        let told = read().map_err(|error| self.failed(&error))?;
        Ok(told.into_iter().filter(|line| line != "ok").collect())
    }

    /// Writes a copy that is whole, also while another program writes to the record.
    ///
    /// # Errors
    /// When `to` is there already, or cannot be written.
    pub fn copy(&self, to: &Path) -> Result<(), StoreError> {
        let name = to.to_string_lossy();
        self.db
            .execute("VACUUM INTO ?1", [&name])
            .map_err(|error| unusable(to, &error))?;
        Ok(())
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Runs a change as one transaction.
    fn change<T>(
        &mut self,
        change: impl FnOnce(&rusqlite::Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        let run = |db: &mut Connection| {
            let within = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let given = change(&within)?;
            within.commit()?;
            Ok(given)
        };
        run(&mut self.db).map_err(|error| self.failed(&error))
    }
}

enum Prepared {
    Ready,
    Newer(i64),
    NotOurs,
}

/// Brings the tables up to date.
fn prepare(db: &mut Connection) -> rusqlite::Result<Prepared> {
    let number = |db: &Connection, name: &str| db.pragma_query_value(None, name, |row| row.get(0));
    let known = STEPS.len() as i64;
    // Most often nothing is to be done, and nobody needs to be waited for.
    if number(db, "user_version")? == known && number(db, "application_id")? == i64::from(OURS) {
        return Ok(Prepared::Ready);
    }
    let within = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let version = number(&within, "user_version")?;
    let tables: i64 =
        within.query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))?;
    if number(&within, "application_id")? != i64::from(OURS) && (tables > 0 || version != 0) {
        return Ok(Prepared::NotOurs);
    }
    if version > known {
        return Ok(Prepared::Newer(version));
    }
    for step in STEPS.iter().skip(version.max(0) as usize) {
        within.execute_batch(step)?;
    }
    within.pragma_update(None, "user_version", known)?;
    within.pragma_update(None, "application_id", OURS)?;
    within.commit()?;
    Ok(Prepared::Ready)
}

fn is_damage(error: &rusqlite::Error) -> bool {
    matches!(
        error.sqlite_error_code(),
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase)
    )
}

fn unusable(path: &Path, error: &rusqlite::Error) -> StoreError {
    let mend = match error.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            "another program holds it; try again when that is done"
        }
        Some(ErrorCode::DiskFull) => "make room on the disk",
        _ => "check that you may write there, or name another folder with --data DIR",
    };
    StoreError::Unusable {
        path: path.to_owned(),
        what: error.to_string(),
        mend,
    }
}

/// Moves a damaged record, with what belongs to it, to a name that is free.
fn set_aside(path: &Path, what: &str) -> StoreError {
    let named = |ending: &str| {
        let mut name = OsString::from(path);
        name.push(ending);
        PathBuf::from(name)
    };
    let free = (1..).map(|number| format!(".damaged-{number}"));
    let ending = free
        .into_iter()
        .find(|ending| !named(ending).exists())
        .unwrap_or_default();
    let aside = named(&ending);
    if let Err(error) = std::fs::rename(path, &aside) {
        return StoreError::Unusable {
            path: path.to_owned(),
            what: format!("it is damaged: {what}; it cannot be set aside: {error}"),
            mend: "move it away yourself, or name another folder with --data DIR",
        };
    }
    for part in ["-wal", "-shm"] {
        // What was not yet taken over from there belongs to the damaged file; there may be none.
        std::fs::rename(named(part), named(&format!("{ending}{part}"))).ok();
    }
    StoreError::Damaged {
        path: path.to_owned(),
        what: what.to_owned(),
        aside,
    }
}
