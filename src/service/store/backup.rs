//! Copies of the store, and whether a file is whole.

use super::{Store, StoreFault, begin_private};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{ConnectOptions, Connection};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// How closely a file is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Check {
    /// Every page, without comparing indexes with their tables: milliseconds for a garden's store.
    Quick,
    /// Everything that SQLite can check.
    Full,
}

impl Store {
    /// Writes a copy of the store as it is at this moment, also while the service works on it, and gives its length
    /// in bytes.
    ///
    /// Refuses to write over a file. The copy can be read by this account alone, lies on the disk whole when this
    /// returns, and has passed SQLite's full check; one that does not is removed again.
    pub async fn back_up(&self, to: &Path) -> Result<u64, StoreFault> {
        begin_private(to).map_err(|error| match error.kind() {
            ErrorKind::AlreadyExists => StoreFault::CopyExists { path: to.to_path_buf() },
            _ => StoreFault::CopyFailed { path: to.to_path_buf(), why: error.to_string() },
        })?;
        let copied = self.copy_over(to).await;
        if copied.is_err()
            && let Err(error) = std::fs::remove_file(to)
        {
            tracing::warn!(path = %to.display(), %error, "an unfinished copy cannot be removed");
        }
        copied
    }

    /// Fills the empty file that was made for the copy.
    async fn copy_over(&self, to: &Path) -> Result<u64, StoreFault> {
        let failed = |why: String| StoreFault::CopyFailed { path: to.to_path_buf(), why };
        // SQLite takes a name that begins with "file:" for an address.
        let name = std::path::absolute(to).map_err(|error| failed(error.to_string()))?;
        let name = name.to_str().ok_or_else(|| failed("its name is not in UTF-8".into()))?;
        let copied = sqlx::query("VACUUM INTO ?").bind(name).execute(&self.pool).await;
        copied.map_err(|error| StoreFault::from_sqlx(to, error))?;
        // SQLite leaves it to the system when the copy reaches the disk; the folder holds the name.
        let folder = Path::new(name).parent().unwrap_or(Path::new("/"));
        for path in [to, folder] {
            std::fs::File::open(path).and_then(|file| file.sync_all()).map_err(|error| failed(error.to_string()))?;
        }
        prove_copy_sound(to).await?;
        Ok(std::fs::metadata(to).map_err(|error| failed(error.to_string()))?.len())
    }

    /// Shows that the file is whole, or says what is broken in it.
    pub async fn prove_sound(&self, check: Check) -> Result<(), StoreFault> {
        let mut connection = self.pool.acquire().await.map_err(|error| self.fault(error))?;
        sound(&self.path, &mut connection, check).await
    }

    /// A copy beside the store from before its layout changes, under the first name that is free. Where enough are
    /// there already and one is sound, that is the copy: the service must start all the same.
    pub(super) async fn back_up_before(&self, version: i64) -> Result<PathBuf, StoreFault> {
        let mut number = 1;
        let mut kept = None;
        loop {
            let mut name = self.path.as_os_str().to_os_string();
            name.push(format!(".before-layout-{version}"));
            if number > 1 {
                name.push(format!("-{number}"));
            }
            let path = PathBuf::from(name);
            match self.back_up(&path).await {
                Err(StoreFault::CopyExists { .. }) if number < MOST_NAMES => {
                    match prove_copy_sound(&path).await {
                        Ok(()) => kept = Some(path),
                        Err(fault) => tracing::warn!(%fault, "an earlier copy is of no use"),
                    }
                    if number >= MOST_COPIES
                        && let Some(kept) = kept
                    {
                        tracing::warn!(copy = %kept.display(), "no further copy: an earlier one is kept");
                        return Ok(kept);
                    }
                    number += 1;
                }
                done => return done.map(|_| path),
            }
        }
    }
}

/// More copies than this before one and the same change are a sign that it never succeeds.
const MOST_COPIES: u32 = 3;
/// As many names are tried where the copies under the first of them are of no use.
const MOST_NAMES: u32 = 99;

/// Shows that a file that nobody writes is a whole store; an empty one, of a copy that was cut off, is none.
async fn prove_copy_sound(path: &Path) -> Result<(), StoreFault> {
    let options = SqliteConnectOptions::new().filename(path).read_only(true).immutable(true);
    let mut copy = options.connect().await.map_err(|error| StoreFault::from_sqlx(path, error))?;
    let mut found = sound(path, &mut copy, Check::Full).await;
    if found.is_ok() {
        let tables: Result<i64, _> =
            sqlx::query_scalar("SELECT count(*) FROM sqlite_schema WHERE name = '_sqlx_migrations'")
                .fetch_one(&mut copy)
                .await;
        found = match tables {
            Ok(0) => Err(StoreFault::NotADatabase { path: path.to_path_buf(), why: "it holds nothing".into() }),
            other => other.map(|_| ()).map_err(|error| StoreFault::from_sqlx(path, error)),
        };
    }
    copy.close().await.map_err(|error| StoreFault::from_sqlx(path, error))?;
    found
}

async fn sound(path: &Path, connection: &mut SqliteConnection, check: Check) -> Result<(), StoreFault> {
    let question = match check {
        Check::Quick => "PRAGMA quick_check(1)",
        Check::Full => "PRAGMA integrity_check(1)",
    };
    let answer: String =
        sqlx::query_scalar(question).fetch_one(connection).await.map_err(|error| StoreFault::from_sqlx(path, error))?;
    if answer == "ok" { Ok(()) } else { Err(StoreFault::Damaged { path: path.to_path_buf(), what: answer }) }
}
