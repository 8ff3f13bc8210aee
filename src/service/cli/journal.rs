//! `counterpane journal`: list what is written, copy it into tables, and take tables and logs in.

mod export;
mod log;
mod tables;

use super::reading::height;
use super::writing::refused;
use super::{Configuration, Done, Failure, choose, nothing_yet, print};
use crate::beds::Garden;
use crate::journal::event::Written;
use crate::journal::table::RowFault;
use crate::journal::when::Speaker;
use crate::journal::{Imported, What};
use crate::message::journal_list::journal_list;
use crate::service::store::{Open, Store};
use crate::settings::Settings;
use chrono::{DateTime, Duration, NaiveDate, Utc};
use clap::Args;
use std::path::{Path, PathBuf};

#[derive(Debug, Args)]
pub(super) struct JournalCommand {
    #[command(flatten)]
    configuration: Configuration,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// From this day on
    #[arg(long, value_name = "DATE", value_parser = super::date)]
    from: Option<NaiveDate>,
    /// Up to this day
    #[arg(long, value_name = "DATE", value_parser = super::date)]
    to: Option<NaiveDate>,
    /// Write all of it into this new folder, one table for each kind
    #[arg(long, value_name = "DIR", conflicts_with_all = ["import", "from", "to"])]
    export: Option<PathBuf>,
    /// Take in an exported folder, one table of it, or a thermometer's log (a table with time_utc or time_local, and
    /// columns such as air_c, soil_f, min_c, under_cover_c)
    #[arg(long, value_name = "PATH", conflicts_with_all = ["from", "to"])]
    import: Option<PathBuf>,
    /// Of a log: the bed where the thermometer is; leave it out for the garden's own
    #[arg(long, value_name = "BED", requires = "import")]
    bed: Option<String>,
    /// Of a log: its air is that under a cover; which one, as the shelf calls it
    #[arg(long, value_name = "COVER", requires = "bed", num_args = 0..=1, default_missing_value = "")]
    under_cover: Option<String>,
    /// Of a log with local times: their zone, or the offset of a clock that is never put forward, such as -05:00
    #[arg(long, value_name = "ZONE", requires = "import", allow_hyphen_values = true)]
    zone: Option<String>,
    /// Of a log: the thermometer's own name, where there are several in one place
    #[arg(long, value_name = "NAME", requires = "import", default_value = "logger")]
    source: String,
    /// Of a log: how high it hangs, m
    #[arg(long, value_name = "METRES", requires = "import", value_parser = height)]
    height: Option<f64>,
    /// Of a log: a column to pass over
    #[arg(long, value_name = "COLUMN", requires = "import")]
    ignore: Vec<String>,
    /// Take in the good rows and leave out the others, instead of refusing all
    #[arg(long, requires = "import")]
    keep_good: bool,
    /// The tables are those of a garden of another name, and are meant for this one
    #[arg(long, requires = "import")]
    other_garden: bool,
    /// What looks doubtful was looked at and is right
    #[arg(long, requires = "import")]
    sure: bool,
    /// Who takes it in
    #[arg(long, value_name = "NAME", requires = "import")]
    by: Option<String>,
    /// Pretend that it is this time, such as 2027-01-16T18:40:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    now: Option<DateTime<Utc>>,
}

/// One garden's journal at work.
struct Work<'w> {
    command: &'w JournalCommand,
    settings: &'w Settings,
    garden: &'w Garden,
    store: PathBuf,
    now: DateTime<Utc>,
}

impl JournalCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let now = self.now.unwrap_or_else(Utc::now);
        let settings = self.configuration.read(now)?;
        let garden = &choose(&settings, self.garden.as_deref())?.garden;
        let store = self.configuration.store_path(&settings);
        let work = Work { command: self, settings: &settings, garden, store, now };
        let text = super::runtime()?.block_on(async {
            match (&self.export, &self.import) {
                (Some(folder), _) => work.export(folder).await,
                (None, Some(path)) => work.import(path).await,
                (None, None) => work.list().await,
            }
        })?;
        print(&text)?;
        Ok(Done::Well)
    }
}

impl Work<'_> {
    /// What is there already, or nothing.
    async fn existing(&self) -> Result<Option<Store>, Failure> {
        Ok(if self.store.exists() { Some(Store::open(&self.store, Open::ExistingOnly).await?) } else { None })
    }

    async fn list(&self) -> Result<String, Failure> {
        let Some(store) = self.existing().await? else {
            return Ok(nothing_yet(&self.store) + "\n");
        };
        let zone = &self.garden.zone;
        let start = |date: NaiveDate| zone.instant(date.and_time(chrono::NaiveTime::MIN));
        let from = self.command.from.map_or(DateTime::UNIX_EPOCH, start);
        let to = self
            .command
            .to
            .map_or(self.now + Duration::days(1), |to| start(to + Duration::days(1)) - Duration::seconds(1));
        let entries = store.entries(&self.garden.id, Some((from, to))).await?;
        let mut interrupted = String::new();
        for (written, imported, there) in self.interrupted(&store, &entries).await? {
            interrupted.push_str(&format!(
                "\nEntry {} was interrupted: {there} of {} rows of {} are there. Take it in again, and the others are \
                 added.\n",
                written.id, imported.rows, imported.file
            ));
        }
        store.close().await;
        let speaker = Speaker { zone, site: &self.garden.site, now: self.now };
        Ok(journal_list(&entries, &speaker, self.garden) + &interrupted)
    }

    /// Of some entries the imports that stand and of which rows are missing, with how many are there: the program ended while
    /// they were written.
    async fn interrupted<'e>(
        &self,
        store: &Store,
        entries: &'e [Written],
    ) -> Result<Vec<(&'e Written, &'e Imported, u64)>, Failure> {
        let imports =
            entries.iter().filter(|written| written.stands()).filter_map(|written| match &written.entry.what {
                What::Imported(imported) => Some((written, imported)),
                _ => None,
            });
        let imports: Vec<_> = imports.collect();
        if imports.is_empty() {
            return Ok(Vec::new());
        }
        let rows = store.rows_of_imports(&self.garden.id).await?;
        let counted = imports
            .into_iter()
            .map(|(written, imported)| (written, imported, rows.get(&written.id).copied().unwrap_or_default()));
        Ok(counted.filter(|(_, imported, there)| *there < imported.rows).collect())
    }

    async fn import(&self, path: &Path) -> Result<String, Failure> {
        let is_folder =
            std::fs::metadata(path).map_err(|error| at_fault(path, format!("it cannot be read ({error})")))?.is_dir();
        if is_folder {
            return self.import_tables(&tables::of_folder(path)?).await;
        }
        match tables::kind_of_file(path)? {
            Some(kind) => self.import_tables(&tables::Tables::of_file(path, kind)).await,
            None => self.import_log(path).await,
        }
    }
}

/// A fault of a file, before anything was written.
fn at_fault(path: &Path, what: impl std::fmt::Display) -> Failure {
    refused(format!("{}: {what}", path.display()))
}

/// Faults of rows: the first of them in words, and how many there are.
#[derive(Default)]
struct Faults {
    shown: Vec<String>,
    count: usize,
}

const MOST_SHOWN: usize = 50;

impl Faults {
    fn add(&mut self, path: &Path, fault: RowFault) {
        self.count += 1;
        if self.shown.len() < MOST_SHOWN {
            self.shown.push(format!("{}:{}: {}", path.display(), fault.line, fault.what));
        }
    }

    fn text(&self) -> String {
        let mut text = self.shown.join("\n");
        if self.count > self.shown.len() {
            text.push_str(&format!("\nand {} more", self.count - self.shown.len()));
        }
        text
    }

    /// Refuses all, or says what is left out.
    fn answer(&self, keep_good: bool) -> Result<String, Failure> {
        match (self.count, keep_good) {
            (0, _) => Ok(String::new()),
            (count, true) => Ok(format!("{}\nLeft out: {count} rows.\n", self.text())),
            (count, false) => Err(Failure::Settings(format!(
                "{}\n{count} rows are at fault. Nothing was written. Mend them, or add --keep-good to leave them out.",
                self.text()
            ))),
        }
    }
}
