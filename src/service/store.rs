//! The store: one SQLite file with forecasts, readings, what was said, the rounds and the outbox.
//!
//! Whatever is decided is written in one transaction, to the disk, before anything is sent. Every time is kept as
//! whole seconds since 1970 UTC: they sort as numbers and cannot be out of range; fractions of a second are dropped.
//! One connection serves everybody: the load is a few writes per night, and each connection costs memory.

mod accepted;
mod backup;
mod decisions;
mod fault;
mod forecasts;
mod foretold;
mod journal;
mod logged;
mod outbox;
mod signs;
mod substitute;
mod troubles;

pub use backup::Check;
pub use decisions::{RoundRow, RoundState, SaidRow};
pub use fault::StoreFault;
pub use forecasts::{ForecastRow, GridAddress};
pub use journal::{Outcome, ReadingRow};
pub use logged::{Logged, SAME, Series};
pub use outbox::{Claimed, Ended, LastMail, OutboxRow, Settled, outbox_key};
pub use signs::MailCounts;
pub use troubles::{Trouble, TroubleKind};

use crate::zone::NightOf;
use chrono::{DateTime, NaiveDate, Utc};
use sqlx::migrate::Migrator;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteRow, SqliteSynchronous,
};
use sqlx::{Connection, Row, Sqlite, SqliteConnection, Transaction};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

static MIGRATIONS: Migrator = sqlx::migrate!("src/service/store/migrations");

/// "cntr" in ASCII, in the place that SQLite keeps for the kind of a file (<https://www.sqlite.org/pragma.html>).
const MARK: &str = "PRAGMA application_id = 1668183154";

/// How long a writer waits for another process to finish, before [`StoreFault::Busy`].
const BUSY_TIMEOUT: Duration = Duration::from_secs(5);
const PAUSE: Duration = Duration::from_millis(20);

/// What to do when there is no store yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Open {
    /// Create it.
    ReadWrite,
    /// Refuse: a command that only adds to what a daemon keeps must not start a second, empty store by a slip.
    ExistingOnly,
    /// Refuse, and change nothing in one that is there, its layout least of all: a newer program may look at the store
    /// of an older one while that is running.
    ReadOnly,
}

/// An open store.
#[derive(Clone, Debug)]
pub struct Store {
    pool: SqlitePool,
    path: PathBuf,
}

/// Makes an empty file that its own account alone can read; SQLite gives its log the same rights.
fn begin_private(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::OpenOptionsExt;
    std::fs::File::options().write(true).create_new(true).mode(0o600).open(path).map(|_| ())
}

impl Store {
    /// Opens the store and brings its layout up to date.
    ///
    /// Refuses a file that is no store of ours, one of a newer version, and one that cannot be written; see
    /// [`StoreFault`].
    pub async fn open(path: &Path, mode: Open) -> Result<Store, StoreFault> {
        if mode != Open::ReadWrite && !path.exists() {
            let why = "there is no such file".to_string();
            return Err(StoreFault::CannotOpen { path: path.to_path_buf(), why });
        }
        if mode == Open::ReadWrite
            && let Err(error) = begin_private(path)
        {
            // Where the file cannot be made, opening it says why.
            tracing::debug!(%error, "the store is not new");
        }
        let options = SqliteConnectOptions::new()
            .filename(path)
            .create_if_missing(mode == Open::ReadWrite)
            // A warning must survive a power cut.
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(BUSY_TIMEOUT)
            // In KiB when negative. The whole working set of a garden is smaller.
            .pragma("cache_size", "-512")
            .statement_cache_capacity(32);
        let options = match mode {
            Open::ReadOnly => options.read_only(true),
            Open::ReadWrite | Open::ExistingOnly => options.journal_mode(SqliteJournalMode::Wal),
        };
        let started = Instant::now();
        let pool = loop {
            let pool = SqlitePoolOptions::new()
                .max_connections(1)
                .idle_timeout(None)
                .max_lifetime(None)
                // A file in this process does not go away, as a server does.
                .test_before_acquire(false)
                .before_acquire(|connection, _| Box::pin(is_at_rest(connection)))
                .connect_with(options.clone())
                .await
                .map_err(|error| StoreFault::from_sqlx(path, error));
            match pool {
                // The change to a write-ahead log does not wait for another process that changes the same new file.
                Err(StoreFault::Busy { .. }) if started.elapsed() < BUSY_TIMEOUT => tokio::time::sleep(PAUSE).await,
                pool => break pool?,
            }
        };
        let store = Store { pool, path: path.to_path_buf() };
        store.refuse_foreign_tables().await?;
        match mode {
            Open::ReadOnly => store.refuse_newer(&MIGRATIONS).await?,
            Open::ReadWrite | Open::ExistingOnly => store.migrate(&MIGRATIONS).await?,
        }
        Ok(store)
    }

    /// Whether the next start of the service brings the layout of this store up to date.
    pub async fn is_behind(&self) -> Result<bool, StoreFault> {
        let applied = self.layouts().await?;
        Ok(MIGRATIONS.iter().any(|migration| !applied.contains(&migration.version)))
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Closes the file; later calls fail.
    pub async fn close(&self) {
        self.pool.close().await;
    }

    /// Shows that the store can be written now, to the disk: a full one is not noticed before something is written.
    /// What is written is whose file it is, the same every time.
    pub async fn prove_writable(&self) -> Result<(), StoreFault> {
        let mut transaction = self.begin().await?;
        let done = sqlx::query(MARK).execute(&mut *transaction).await;
        done.map_err(|error| self.fault(error))?;
        transaction.commit().await.map_err(|error| self.fault(error))
    }

    /// Another program's database is a valid one too; ours must not grow into it.
    async fn refuse_foreign_tables(&self) -> Result<(), StoreFault> {
        let (tables, ours): (i64, i64) =
            sqlx::query_as("SELECT count(*), coalesce(sum(name = '_sqlx_migrations'), 0) FROM sqlite_schema")
                .fetch_one(&self.pool)
                .await
                .map_err(|error| self.fault(error))?;
        if tables > 0 && ours == 0 {
            let why = "it is a database of another program".to_string();
            return Err(StoreFault::NotADatabase { path: self.path.clone(), why });
        }
        Ok(())
    }

    /// The layouts that the file has gone through; none in a new one.
    async fn layouts(&self) -> Result<Vec<i64>, StoreFault> {
        let exists: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema WHERE name = '_sqlx_migrations'")
            .fetch_one(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        if exists == 0 {
            return Ok(Vec::new());
        }
        let versions = sqlx::query_scalar("SELECT version FROM _sqlx_migrations ORDER BY version");
        versions.fetch_all(&self.pool).await.map_err(|error| self.fault(error))
    }

    async fn refuse_newer(&self, known: &Migrator) -> Result<(), StoreFault> {
        match self.layouts().await?.into_iter().find(|version| !known.version_exists(*version)) {
            Some(version) => Err(StoreFault::NewerVersion { path: self.path.clone(), version }),
            None => Ok(()),
        }
    }

    /// A store that holds something is copied before its layout changes. The change itself is one immediate
    /// transaction, so that two processes that open a new store do not both create its tables, and so that a file that
    /// cannot be written is found out now and not when the first warning is due.
    async fn migrate(&self, migrations: &Migrator) -> Result<(), StoreFault> {
        let applied = self.layouts().await?;
        let next = migrations.iter().map(|migration| migration.version).find(|version| !applied.contains(version));
        if let Some(next) = next.filter(|_| !applied.is_empty()) {
            self.refuse_newer(migrations).await?;
            // One that was written for an older layout, and came to this program after a later one.
            if let Some(version) = applied.into_iter().find(|version| *version > next) {
                return Err(StoreFault::OutOfOrder { path: self.path.clone(), version, next });
            }
            let copy = self.back_up_before(next).await?;
            tracing::info!(copy = %copy.display(), layout = next, "the store's layout is brought up to date");
        }
        let mut transaction = self.begin().await?;
        // `run` on one connection cannot move between threads (its bound is not general enough); this is what it calls.
        migrations
            .run_direct(None, &mut *transaction, false)
            .await
            .map_err(|error| StoreFault::from_migration(&self.path, error))?;
        self.write_nothing(&mut transaction).await?;
        transaction.commit().await.map_err(|error| self.fault(error))
    }

    /// A statement that writes, of no row: on a file that is read-only, an immediate transaction begins all the same,
    /// and only a statement is refused.
    async fn write_nothing(&self, to: &mut Transaction<'_, Sqlite>) -> Result<(), StoreFault> {
        let done = sqlx::query("DELETE FROM rounds WHERE 0").execute(&mut **to).await;
        done.map(|_| ()).map_err(|error| self.fault(error))
    }

    /// Begins a transaction that is a writer from its first statement: one that reads first and writes later would
    /// fail at once where another has written in between.
    async fn begin(&self) -> Result<Transaction<'static, Sqlite>, StoreFault> {
        self.pool.begin_with("BEGIN IMMEDIATE").await.map_err(|error| self.fault(error))
    }

    fn fault(&self, error: sqlx::Error) -> StoreFault {
        StoreFault::from_sqlx(&self.path, error)
    }

    fn unreadable(&self, what: &'static str, why: impl ToString) -> StoreFault {
        StoreFault::Unreadable { path: self.path.clone(), what, why: why.to_string() }
    }

    fn text(&self, row: &SqliteRow, column: &'static str) -> Result<String, StoreFault> {
        row.try_get(column).map_err(|error| self.unreadable(column, error))
    }

    fn optional_text(&self, row: &SqliteRow, column: &'static str) -> Result<Option<String>, StoreFault> {
        row.try_get(column).map_err(|error| self.unreadable(column, error))
    }

    fn number(&self, row: &SqliteRow, column: &'static str) -> Result<i64, StoreFault> {
        row.try_get(column).map_err(|error| self.unreadable(column, error))
    }

    fn revision(&self, row: &SqliteRow) -> Result<u32, StoreFault> {
        u32::try_from(self.number(row, "revision")?).map_err(|error| self.unreadable("revision", error))
    }

    fn time(&self, row: &SqliteRow, column: &'static str) -> Result<DateTime<Utc>, StoreFault> {
        let seconds = self.number(row, column)?;
        DateTime::from_timestamp(seconds, 0).ok_or_else(|| self.unreadable(column, "it is beyond the calendar"))
    }

    fn optional_time(&self, row: &SqliteRow, column: &'static str) -> Result<Option<DateTime<Utc>>, StoreFault> {
        let seconds: Option<i64> = row.try_get(column).map_err(|error| self.unreadable(column, error))?;
        seconds.map(|_| self.time(row, column)).transpose()
    }

    fn night(&self, row: &SqliteRow) -> Result<NightOf, StoreFault> {
        let text = self.text(row, "night")?;
        text.parse::<NaiveDate>().map(NightOf).map_err(|error| self.unreadable("night", error))
    }
}

/// Where the disk is full SQLite rolls back by itself, and the library still counts a transaction: it would refuse to
/// begin another for ever. Such a connection is replaced. One that is at rest is not asked; the ping waits until what was
/// sent before, such as the end of a transaction that was dropped, is done.
async fn is_at_rest(connection: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    if connection.is_in_transaction() {
        connection.ping().await?;
    }
    Ok(!connection.is_in_transaction())
}

#[cfg(test)]
mod tests;
