//! One daemon for one store: two would send every list twice.

use std::fs::{File, TryLockError};
use std::io::{Read, Seek, Write};
use std::path::{Path, PathBuf};

/// The right to work on a store, held until it is dropped. The operating system takes it back from whoever dies.
#[derive(Debug)]
pub struct StoreLock {
    _file: Option<File>,
}

/// Another daemon is at work on the store.
#[derive(Debug, thiserror::Error)]
#[error(
    "another `counterpane run` is at work on {}{}: two of them would send every list twice. End that one first, or give \
     this one a store of its own (store = \"...\" in counterpane.toml). Nothing was started.",
    store.display(),
    process.as_ref().map(|id| format!(" (process {id})")).unwrap_or_default()
)]
pub struct InUse {
    pub store: PathBuf,
    /// As the other one wrote it down.
    pub process: Option<u32>,
}

impl StoreLock {
    /// Whether a daemon holds the lock beside a store. Nothing is made or written; where that cannot be seen, as if one did.
    pub fn is_held(store: &Path) -> bool {
        let mut name = store.as_os_str().to_owned();
        name.push(".lock");
        match File::open(&name) {
            Ok(file) => file.try_lock_shared().is_err(),
            Err(error) => error.kind() != std::io::ErrorKind::NotFound,
        }
    }

    /// Takes the lock beside a store, or says who holds it.
    ///
    /// Where locks are not to be had, on some network disks, or where the file cannot be made, the daemon goes on with
    /// a warning: a list that comes twice is better than none, and a store that cannot be used says so itself.
    pub fn take(store: &Path) -> Result<StoreLock, InUse> {
        let mut name = store.as_os_str().to_owned();
        name.push(".lock");
        let open = File::options().read(true).write(true).create(true).truncate(false).open(&name);
        let mut file = match open {
            Ok(file) => file,
            Err(error) => {
                tracing::warn!(store = %store.display(), %error, "no lock: a second daemon would not be noticed");
                return Ok(StoreLock { _file: None });
            }
        };
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                let process = file.read_to_string(&mut text).ok().and_then(|_| text.trim().parse().ok());
                return Err(InUse { store: store.to_path_buf(), process });
            }
            Err(TryLockError::Error(error)) => {
                tracing::warn!(store = %store.display(), %error, "no lock: a second daemon would not be noticed");
                return Ok(StoreLock { _file: None });
            }
        }
        let noted =
            file.set_len(0).and_then(|()| file.rewind()).and_then(|()| writeln!(file, "{}", std::process::id()));
        if let Err(error) = noted {
            tracing::debug!(%error, "the lock does not say whose it is");
        }
        Ok(StoreLock { _file: Some(file) })
    }
}
