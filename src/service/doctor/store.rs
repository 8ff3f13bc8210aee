//! Is the store there, whole, and is there room for it to grow?

use super::{Doctor, Finding, MaybeStore};
use crate::service::store::{Check, Open, Store};
use rustix::fs::{StatVfsMountFlags, statvfs};
use std::path::Path;

/// A year of one garden takes a few megabytes, and its write-ahead log as much again.
const ROOM: u64 = 100 << 20;

impl Doctor<'_> {
    /// The store, as far as it can be asked further questions, and what was found out about it.
    pub(super) async fn store(&self) -> (MaybeStore, Vec<Finding>) {
        let path = self.store_path;
        let mut findings: Vec<Finding> = self.room().into_iter().collect();
        if !path.exists() {
            let text = format!("there is none at {}: the service has never run", path.display());
            findings.push(Finding::wrong("store", text, "Start the service, or correct store in counterpane.toml"));
            return (None, findings);
        }
        let opened = self.of_store(Store::open(path, Open::ReadOnly).await);
        let store = match opened {
            Ok(store) => store,
            Err(finding) => {
                findings.push(finding);
                return (None, findings);
            }
        };
        if let Err(finding) = self.of_store(store.prove_sound(Check::Full).await) {
            findings.push(finding);
            return (None, findings);
        }
        match store.is_behind().await {
            Ok(false) => findings.push(Finding::ok("store", format!("{} is whole", path.display()))),
            Ok(true) => {
                let mend = "Restart the service with this version; it copies the store before it changes it";
                findings.push(Finding::note("store", "it is whole, and of an older version", mend));
                return (None, findings);
            }
            Err(fault) => findings.push(Finding::of_fault("store", &fault.to_string())),
        }
        (Some(store), findings)
    }

    fn room(&self) -> Option<Finding> {
        let folder = self.store_path.parent().filter(|path| !path.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let disk = statvfs(folder).ok()?;
        let shown = folder.display();
        if disk.f_flag.contains(StatVfsMountFlags::RDONLY) {
            let mend = "Look for messages about this disk (`dmesg`), and mount it so that it can be written";
            return Some(Finding::wrong("disk", format!("{shown} can only be read"), mend));
        }
        let free = disk.f_bavail.saturating_mul(disk.f_frsize);
        let text = format!("{} MB are free at {shown}", free >> 20);
        // A system that does not number its files says none of none.
        if free < ROOM || (disk.f_files > 0 && disk.f_favail < 100) {
            return Some(Finding::wrong("disk", text, "Make room there: a full disk stops the rounds"));
        }
        Some(Finding::ok("disk", text))
    }
}
