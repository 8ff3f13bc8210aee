//! What can go wrong with the store, told to the person who has to mend it.

use sqlx::migrate::MigrateError;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why the store could not be opened, read or written: what is wrong, where, and how to mend it.
#[derive(Debug, Error)]
pub enum StoreFault {
    #[error(
        "{path} is not a store of this program: {why}. Mend: name another file for the store, or move this one aside and \
         let a new store be created; what it held is then no longer known"
    )]
    NotADatabase { path: PathBuf, why: String },
    #[error(
        "the store {path} was last used by a newer version of this program (its layout {version} is unknown here). \
         Mend: install that version again, or put back a copy of the store from before the upgrade"
    )]
    NewerVersion { path: PathBuf, version: i64 },
    #[error(
        "the store {path} has layout {version} already, and this program would change it by the earlier layout {next}. \
         Mend: install the version that used it last, and report this: a release must not slip a layout in"
    )]
    OutOfOrder { path: PathBuf, version: i64, next: i64 },
    #[error(
        "the store {path} cannot be written. Mend: give the account that runs this program the right to write the file \
         and its folder, and check that the disk is not mounted read-only"
    )]
    ReadOnly { path: PathBuf },
    #[error(
        "the store {path} cannot be opened: {why}. Mend: check the path in the settings, that its folder exists, and \
         that the account that runs this program may use it"
    )]
    CannotOpen { path: PathBuf, why: String },
    #[error(
        "the store {path} is damaged: {what}. Mend: stop the service, copy the newest backup over this file, delete the \
         files {path}-wal and {path}-shm beside it, and start again. Without a backup, move all three aside: a new store \
         is made, and what was said and read before is no longer known"
    )]
    Damaged { path: PathBuf, what: String },
    #[error("{path} is there already, and a copy is never written over another file. Mend: choose another name")]
    CopyExists { path: PathBuf },
    #[error("the copy {path} cannot be written: {why}. Mend: check that its folder exists and may be written")]
    CopyFailed { path: PathBuf, why: String },
    #[error(
        "the disk under the store {path} fails: {why}. Mend: look for messages of the system about this disk \
         (`dmesg`), save a copy with `counterpane backup`, and replace it"
    )]
    Disk { path: PathBuf, why: String },
    #[error("there is no room left for the store {path}. Nothing was half written. Mend: free some space on that disk")]
    Full { path: PathBuf },
    #[error(
        "the store {path} was locked by another program for too long. Mend: try again; if it stays so, look for a \
         second program or a backup that holds the file"
    )]
    Busy { path: PathBuf },
    #[error(
        "another process has already said revision {revision} for garden {garden}, night {night}. Nothing was written. \
         Mend: read what was last said and decide again"
    )]
    AlreadySaid { garden: String, night: String, revision: u32 },
    #[error("the store {path} holds {what} that cannot be read: {why}")]
    Unreadable { path: PathBuf, what: &'static str, why: String },
    #[error("the store {path} refused to work: {why}")]
    Other { path: PathBuf, why: String },
}

/// SQLite's primary result codes (<https://www.sqlite.org/rescode.html>); the low byte of an extended code.
mod code {
    pub const PERM: i32 = 3;
    pub const BUSY: i32 = 5;
    pub const LOCKED: i32 = 6;
    pub const READONLY: i32 = 8;
    pub const IOERR: i32 = 10;
    pub const CORRUPT: i32 = 11;
    pub const FULL: i32 = 13;
    pub const CANTOPEN: i32 = 14;
    pub const NOTADB: i32 = 26;
}

impl StoreFault {
    /// Whether it is of the store as a whole, and stays until somebody mends it or the disk has room: what must go out
    /// then goes out from a substitute.
    pub fn lasts(&self) -> bool {
        !matches!(
            self,
            StoreFault::Busy { .. }
                | StoreFault::AlreadySaid { .. }
                | StoreFault::CopyExists { .. }
                | StoreFault::CopyFailed { .. }
        )
    }

    pub(super) fn from_sqlx(path: &Path, error: sqlx::Error) -> StoreFault {
        let path = path.to_path_buf();
        let why = error.to_string();
        match &error {
            sqlx::Error::PoolTimedOut => StoreFault::Busy { path },
            sqlx::Error::Database(database) => {
                let extended = database.code().and_then(|code| code.parse::<i32>().ok()).unwrap_or_default();
                let why = database.message().to_string();
                match extended & 0xff {
                    code::NOTADB => StoreFault::NotADatabase { path, why },
                    code::CORRUPT => StoreFault::Damaged { path, what: why },
                    code::IOERR => StoreFault::Disk { path, why },
                    code::READONLY => StoreFault::ReadOnly { path },
                    code::CANTOPEN | code::PERM => StoreFault::CannotOpen { path, why },
                    code::FULL => StoreFault::Full { path },
                    code::BUSY | code::LOCKED => StoreFault::Busy { path },
                    _ => StoreFault::Other { path, why },
                }
            }
            _ => StoreFault::Other { path, why },
        }
    }

    pub(super) fn from_migration(path: &Path, error: MigrateError) -> StoreFault {
        match error {
            MigrateError::Execute(error) | MigrateError::ExecuteMigration(error, _) => {
                StoreFault::from_sqlx(path, error)
            }
            MigrateError::VersionMissing(version) | MigrateError::VersionMismatch(version) => {
                StoreFault::NewerVersion { path: path.to_path_buf(), version }
            }
            other => StoreFault::Other { path: path.to_path_buf(), why: other.to_string() },
        }
    }
}
