//! `counterpane backup`: a copy of the store, also while the service runs.

use super::{Configuration, Done, Failure, print};
use crate::service::store::{Open, Store};
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub(super) struct Backup {
    #[command(flatten)]
    configuration: Configuration,
    /// Where the copy goes; a file that is there already is never written over
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

impl Backup {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.configuration.read(chrono::Utc::now())?;
        let path = self.configuration.store_path(&settings);
        let length = super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ReadOnly).await?;
            let copied = store.back_up(&self.file).await;
            store.close().await;
            copied
        })?;
        let (from, to) = (path.display(), self.file.display());
        print(&format!("{from} was copied to {to}, {} kB, and the copy is whole.\n", length.div_ceil(1024)))?;
        Ok(Done::Well)
    }
}
