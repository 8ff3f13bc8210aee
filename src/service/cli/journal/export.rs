//! The whole journal as tables in a new folder.

use super::{Work, at_fault};
use crate::journal::event::Written;
use crate::journal::logged_table::{COLUMNS, Origin, fields};
use crate::journal::{Kind, table, whose};
use crate::service::cli::Failure;
use crate::service::store::{Open, Store};
use chrono::DateTime;
use std::collections::BTreeMap;
use std::io::BufWriter;
use std::path::Path;

/// The table of logs' rows.
pub(super) const LOGGED: &str = "logged.csv";

/// Rows asked for at once.
const PAGE: u32 = 20_000;

impl Work<'_> {
    pub(super) async fn export(&self, folder: &Path) -> Result<String, Failure> {
        let unwritable =
            |error: std::io::Error| Failure::Unexpected(format!("{} cannot be written: {error}.", folder.display()));
        std::fs::create_dir_all(folder).map_err(unwritable)?;
        if std::fs::read_dir(folder).map_err(unwritable)?.next().is_some() {
            return Err(at_fault(folder, "it is not empty; name a new folder"));
        }
        let store = Store::open(&self.store, Open::ExistingOnly).await?;
        let mut entries = store.entries(&self.garden.id, None).await?;
        // Numbers are this store's own: in another the same journal is exported to the same bytes.
        entries.sort_by(|a, b| {
            let order = |written: &Written| (written.entry.at, written.entry.entered_at);
            order(a).cmp(&order(b)).then_with(|| a.key.as_str().cmp(b.key.as_str()))
        });
        for kind in Kind::ALL {
            let of_kind = entries.iter().filter(|written| written.entry.what.kind() == *kind);
            let text = table::write(*kind, of_kind.map(|written| (&written.key, &written.entry)));
            std::fs::write(folder.join(format!("{}.csv", kind.word())), text).map_err(unwritable)?;
        }
        std::fs::write(folder.join(whose::FILE), whose::write(self.garden)).map_err(unwritable)?;
        let rows = self.export_logs(&store, &entries, &folder.join(LOGGED)).await?;
        store.close().await;
        let count = entries.len();
        Ok(format!("Written to {}: {count} entries, and {rows} rows of logs.\n", folder.display()))
    }

    async fn export_logs(&self, store: &Store, entries: &[Written], path: &Path) -> Result<u64, Failure> {
        let unwritable = |error: &dyn std::fmt::Display| {
            Failure::Unexpected(format!("{} cannot be written: {error}.", path.display()))
        };
        let file = std::fs::File::create(path).map_err(|error| unwritable(&error))?;
        let mut table = csv::Writer::from_writer(BufWriter::new(file));
        table.write_record(COLUMNS).map_err(|error| unwritable(&error))?;
        let keys: BTreeMap<i64, _> = entries.iter().map(|written| (written.id, &written.key)).collect();
        let mut count = 0;
        for (number, series) in store.series(&self.garden.id).await? {
            let mut from = DateTime::UNIX_EPOCH;
            loop {
                let mut rows = store.logged_from(number, from, PAGE).await?;
                let is_full = rows.len() == PAGE as usize;
                let last = rows.last().map_or(from, |row| row.at);
                if is_full {
                    // The next page begins with all rows of this time.
                    rows.retain(|row| row.at < last);
                    from = last;
                }
                // By keys, for numbers are those of this store alone.
                rows.sort_by_key(|row| (row.at, keys.get(&row.import)));
                for row in &rows {
                    let Some(import) = keys.get(&row.import) else {
                        return Err(Failure::Unexpected(format!("Row of no import in {}.", self.store.display())));
                    };
                    let origin = Origin {
                        place: series.place.clone(),
                        of: series.sampled,
                        source: series.source.clone(),
                        height: series.height,
                        import: (*import).clone(),
                    };
                    let fields = fields(row.at, row.celsius, &origin);
                    table.write_record(&fields).map_err(|error| unwritable(&error))?;
                    count += 1;
                }
                if !is_full {
                    break;
                }
            }
        }
        table.flush().map_err(|error| unwritable(&error))?;
        Ok(count)
    }
}
