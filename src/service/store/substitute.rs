//! A store in memory, for when the one on the disk cannot be used. It begins with what can still be read of that one, so
//! that nothing is said twice that was said, and what it holds in the end is carried back.

use super::outbox::not_ended;
use super::{BUSY_TIMEOUT, MIGRATIONS, Store, StoreFault};
use chrono::{DateTime, Duration, Utc};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqlitePoolOptions};
use std::path::Path;

/// So many nights back rounds are made up, signs of life are counted, failed mail is told and people are asked what a
/// frost did.
const NIGHTS: i64 = 16;
/// The disk's store beside that in memory, within one connection.
const BESIDE: &str = "kept";

impl Store {
    /// An empty store in memory, in place of the one at a path.
    pub async fn in_memory(path: &Path) -> Result<Store, StoreFault> {
        let options = SqliteConnectOptions::new()
            .in_memory(true)
            .foreign_keys(true)
            .busy_timeout(BUSY_TIMEOUT)
            .statement_cache_capacity(32);
        let pool = SqlitePoolOptions::new()
            .max_connections(1)
            // Its end would be the end of what it holds.
            .idle_timeout(None)
            .max_lifetime(None)
            .test_before_acquire(false)
            .connect_with(options)
            .await
            .map_err(|error| StoreFault::from_sqlx(path, error))?;
        let store = Store { pool, path: path.to_path_buf() };
        store.migrate(&MIGRATIONS).await?;
        Ok(store)
    }

    /// Takes from the store on the disk what the coming nights need: mail that waits, and of the last nights what was
    /// said, which rounds were made and what became of mail; forecasts and readings. The disk's store is only read.
    /// Gives what could not be read; the rest is there.
    pub async fn take_over(&self, gardens: &[&str], now: DateTime<Utc>) -> Vec<StoreFault> {
        let mut faults = Vec::new();
        let mut connection = match self.pool.acquire().await {
            Ok(connection) => connection,
            Err(error) => return vec![self.fault(error)],
        };
        // The second where its log cannot even be opened for reading, as in a folder that nobody may write to, or where
        // another process locks readers out.
        let mut is_open = false;
        for how in ["mode=ro", "immutable=1"] {
            match attach(&mut connection, &self.path, how).await {
                Ok(()) => {
                    is_open = true;
                    break;
                }
                Err(error) => faults.push(self.fault(error)),
            }
        }
        if is_open {
            faults.clear();
            for statement in statements(gardens, now) {
                if let Err(error) = self.copied(&mut connection, &statement).await {
                    faults.push(self.fault(error));
                }
            }
            if let Err(error) = detach(&mut connection).await {
                faults.push(self.fault(error));
            }
        }
        faults
    }

    async fn copied(&self, connection: &mut SqliteConnection, part: &Part) -> Result<(), sqlx::Error> {
        let Part { table, condition } = part;
        let columns = common_columns(connection, table).await?;
        if columns.is_empty() {
            return Ok(());
        }
        run(
            connection,
            &format!(
                "INSERT OR IGNORE INTO main.{table} ({columns}) SELECT {columns} FROM {BESIDE}.{table} WHERE {condition}"
            ),
        )
        .await
    }

    /// Writes what was said, made and sent meanwhile into the store on the disk, whole or not at all. That store must
    /// be there, and of the same layout.
    pub async fn carry_back(&self) -> Result<(), StoreFault> {
        let mut connection = self.pool.acquire().await.map_err(|error| self.fault(error))?;
        attach(&mut connection, &self.path, "mode=rw").await.map_err(|error| self.fault(error))?;
        let carried = carried(&mut connection).await;
        if carried.is_err()
            && let Err(error) = run(&mut connection, "ROLLBACK").await
        {
            tracing::debug!(%error, "nothing was begun");
        }
        let detached = detach(&mut connection).await;
        carried.and(detached).map_err(|error| self.fault(error))
    }
}

/// Rows of one table. Each is a statement of its own, along an index: a broken page takes with it only what lies on it.
struct Part {
    table: &'static str,
    condition: String,
}

fn statements(gardens: &[&str], now: DateTime<Utc>) -> Vec<Part> {
    let part = |table, condition| Part { table, condition };
    let mut parts = vec![part("outbox", not_ended!().to_string())];
    let nights = (-NIGHTS..=2).rev().map(|days| now + Duration::days(days));
    let nights: Vec<DateTime<Utc>> = nights.collect();
    for garden in gardens {
        let garden = garden.replace('\'', "''");
        for at in &nights {
            let night = at.date_naive();
            parts.push(part("said", format!("garden = '{garden}' AND night = '{night}'")));
            parts.push(part("outbox", format!("garden = '{garden}' AND night = '{night}'")));
            let (from, to) = (at.timestamp(), (*at + Duration::days(1)).timestamp());
            parts.push(part("rounds", format!("garden = '{garden}' AND due >= {from} AND due < {to}")));
        }
        parts.push(part("rounds", format!("garden = '{garden}' AND state = 'due'")));
        let evening = (now - Duration::days(2)).timestamp();
        parts.push(part("journal", format!("garden = '{garden}' AND at >= {evening}")));
        parts.push(part("accepted", format!("garden = '{garden}'")));
        parts.push(part("forecasts", format!("garden = '{garden}'")));
        parts.push(part("grid_addresses", format!("garden = '{garden}'")));
    }
    parts
}

/// Puts the disk's store beside the one in memory; `how` is a parameter of SQLite's addresses
/// (<https://www.sqlite.org/uri.html>). A database of another program is none.
async fn attach(connection: &mut SqliteConnection, path: &Path, how: &str) -> Result<(), sqlx::Error> {
    let path = std::path::absolute(path).map_err(sqlx::Error::Io)?;
    let path = path.to_str().unwrap_or_default().replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    sqlx::query("ATTACH DATABASE ? AS kept").bind(format!("file:{path}?{how}")).execute(&mut *connection).await?;
    let ours: Result<i64, _> =
        sqlx::query_scalar("SELECT count(*) FROM kept.sqlite_schema WHERE name = '_sqlx_migrations'")
            .fetch_one(&mut *connection)
            .await;
    let failed = match ours {
        Ok(1) => return Ok(()),
        Ok(_) => sqlx::Error::Protocol("it is no store of this program".into()),
        Err(error) => error,
    };
    detach(connection).await?;
    Err(failed)
}

async fn detach(connection: &mut SqliteConnection) -> Result<(), sqlx::Error> {
    // A statement that is kept for another use would keep the file open.
    sqlx::Connection::clear_cached_statements(connection).await?;
    run(connection, "DETACH DATABASE kept").await
}

/// The columns that both stores have of a table, whichever of them is the newer one.
async fn common_columns(connection: &mut SqliteConnection, table: &str) -> Result<String, sqlx::Error> {
    let columns: Vec<String> = sqlx::query_scalar(
        "SELECT name FROM pragma_table_info(?1, 'main')
         WHERE name IN (SELECT name FROM pragma_table_info(?1, 'kept'))",
    )
    .bind(table)
    .fetch_all(connection)
    .await?;
    Ok(columns.join(", "))
}

/// Of what both hold, a round that was made and mail that was sent stay so; else the memory is the newer.
async fn carried(connection: &mut SqliteConnection) -> Result<(), sqlx::Error> {
    run(connection, "PRAGMA kept.synchronous = FULL").await?;
    run(connection, "BEGIN IMMEDIATE").await?;
    for (table, key, unless) in [
        ("said", "garden, night, revision", None),
        ("rounds", "garden, kind, due", Some("rounds.state <> 'done' AND excluded.state <> 'due'")),
        ("outbox", "key", Some("outbox.state <> 'sent'")),
        ("forecast_at_round", "garden, night, made_at, round", None),
        ("forecasts", "garden, feed", Some("excluded.fetched >= forecasts.fetched")),
        ("grid_addresses", "garden, feed", Some("excluded.looked_up >= grid_addresses.looked_up")),
    ] {
        let columns = common_columns(connection, table).await?;
        let sets: Vec<String> = columns.split(", ").map(|column| format!("{column} = excluded.{column}")).collect();
        let otherwise = match unless {
            None => "NOTHING".to_string(),
            Some(condition) => format!("UPDATE SET {} WHERE {condition}", sets.join(", ")),
        };
        let statement = format!(
            "INSERT INTO {BESIDE}.{table} ({columns}) SELECT {columns} FROM main.{table} WHERE true
             ON CONFLICT ({key}) DO {otherwise}"
        );
        run(connection, &statement).await?;
    }
    run(connection, "COMMIT").await
}

/// A statement of our own making: names of tables, columns and gardens, and numbers.
async fn run(connection: &mut SqliteConnection, statement: &str) -> Result<(), sqlx::Error> {
    sqlx::raw_sql(sqlx::AssertSqlSafe(statement.to_string())).execute(connection).await.map(|_| ())
}
