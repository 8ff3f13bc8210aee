//! Taking in the tables of a journal: all of a folder, or one.

use super::export::LOGGED;
use super::{Faults, Work, at_fault};
use crate::journal::logged_table::{self, LoggedTable, Next};
use crate::journal::table::{Row, RowFault, is_header, read};
use crate::journal::{Entry, Key, Kind, bed_of, belongs, may_replace, whose};
use crate::service::cli::progress::Progress;
use crate::service::cli::{Failure, read_bounded};
use crate::service::store::{Logged, Open, Outcome, SAME, Series, Store};
use crate::units::Celsius;
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::rc::Rc;

/// What a file of a journal is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FileKind {
    Entries,
    Logged,
}

/// The files that are taken in together.
#[derive(Default)]
pub(super) struct Tables {
    entries: Vec<PathBuf>,
    logged: Option<PathBuf>,
    /// Whose journal it is.
    garden: Option<PathBuf>,
    passed_over: Vec<PathBuf>,
}

impl Tables {
    pub(super) fn of_file(path: &Path, kind: FileKind) -> Tables {
        match kind {
            FileKind::Entries => Tables { entries: vec![path.into()], ..Tables::default() },
            FileKind::Logged => Tables { logged: Some(path.into()), ..Tables::default() },
        }
    }
}

/// The tables of an exported folder; what else lies in it is named.
pub(super) fn of_folder(folder: &Path) -> Result<Tables, Failure> {
    let unreadable = |error: std::io::Error| at_fault(folder, format!("it cannot be read ({error})"));
    let mut tables = Tables::default();
    let mut names = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        names.push(entry.map_err(unreadable)?.path());
    }
    names.sort();
    for path in names {
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let is_table = |kind: &&Kind| name == format!("{}.csv", kind.word());
        match name.as_str() {
            LOGGED => tables.logged = Some(path),
            whose::FILE => tables.garden = Some(path),
            _ if Kind::ALL.iter().find(is_table).is_some() => tables.entries.push(path),
            _ => tables.passed_over.push(path),
        }
    }
    if tables.entries.is_empty() && tables.logged.is_none() {
        return Err(at_fault(folder, "there is no table of a journal in it, such as reading.csv or damage.csv"));
    }
    Ok(tables)
}

/// What a file is, by its first line; none where it is no table of a journal.
pub(super) fn kind_of_file(path: &Path) -> Result<Option<FileKind>, Failure> {
    let mut start = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(4096).read_to_end(&mut start))
        .map_err(|error| at_fault(path, format!("it cannot be read ({error})")))?;
    let text = String::from_utf8_lossy(&start);
    let first = text.lines().next().unwrap_or_default().trim();
    Ok(if is_header(first) {
        Some(FileKind::Entries)
    } else if logged_table::is_header(first) {
        Some(FileKind::Logged)
    } else {
        None
    })
}

/// A table of entries is as long as what people wrote by hand.
const LONGEST: u64 = 64 << 20;
/// Rows that are compared with the store, and written, at once: a transaction of a fraction of a second, so that the
/// service is not kept from writing.
pub(super) const ROWS_AT_ONCE: usize = 10_000;

impl Work<'_> {
    pub(super) async fn import_tables(&self, tables: &Tables) -> Result<String, Failure> {
        if let Some(path) = &tables.garden {
            self.is_ours(path)?;
        }
        let mut faults = Faults::default();
        let mut rows: Vec<(PathBuf, Row)> = Vec::new();
        for path in &tables.entries {
            let body = whole(path)?;
            let (good, bad) = read(&body, self.now).map_err(|what| at_fault(path, what))?;
            rows.extend(good.into_iter().map(|row| (path.clone(), row)));
            bad.into_iter().for_each(|fault| faults.add(path, fault));
        }
        let existing = self.existing().await?;
        let rows = self.sound(rows, existing.as_ref(), &mut faults).await?;
        if let Some(path) = &tables.logged {
            self.check_logged(path, existing.as_ref(), &rows, &mut faults).await?;
        }
        if let Some(store) = existing {
            store.close().await;
        }
        let mut text = faults.answer(self.command.keep_good)?;
        let store = Store::open(&self.store, Open::ReadWrite).await?;
        let entries: Vec<(Key, Entry)> = rows.into_iter().map(|row| (row.key, row.entry)).collect();
        let outcomes = store.write(&self.garden.id, &entries).await?;
        let new = outcomes.iter().filter(|outcome| matches!(outcome, Outcome::New(_))).count();
        text.push_str(&format!("Taken in: {new} new entries; {} were there already.\n", outcomes.len() - new));
        if let Some(path) = &tables.logged {
            let (added, read) = self.write_logged(path, &store).await?;
            text.push_str(&format!("Taken in: {added} new rows of logs, of {read}.\n"));
        }
        store.close().await;
        text.push_str(&self.of_unknown_beds(&entries));
        for path in &tables.passed_over {
            text.push_str(&format!("Passed over, for it is no table of a journal: {}.\n", path.display()));
        }
        Ok(text)
    }

    /// Asks where the tables are those of another garden.
    fn is_ours(&self, path: &Path) -> Result<(), Failure> {
        let (garden, name) = whose::read(&whole(path)?).map_err(|what| at_fault(path, what))?;
        if garden == self.garden.id || self.command.other_garden {
            return Ok(());
        }
        let ours = &self.garden.id;
        Err(at_fault(
            path,
            format!(
                "this is the journal of garden {garden:?} ({name}), and it would go into that of {ours:?}; add \
                 --other-garden if that is meant"
            ),
        ))
    }

    /// How many entries are about beds that are not there, in a sentence.
    fn of_unknown_beds(&self, entries: &[(Key, Entry)]) -> String {
        let beds = entries.iter().filter_map(|(_, entry)| entry.what.bed());
        let unknown: Vec<&str> = beds.filter(|bed| bed_of(self.garden, bed).is_err()).collect();
        if unknown.is_empty() {
            return String::new();
        }
        let count = unknown.len();
        let names: Vec<&str> = unknown.into_iter().collect::<BTreeSet<&str>>().into_iter().collect();
        format!("Of these, {count} are about beds that are not in the settings: {}.\n", names.join(", "))
    }

    /// The rows whose bed, planting and corrected entry are there; in an order in which a correction follows what it
    /// corrects.
    async fn sound(
        &self,
        mut rows: Vec<(PathBuf, Row)>,
        store: Option<&Store>,
        faults: &mut Faults,
    ) -> Result<Vec<Row>, Failure> {
        rows.sort_by(|(_, a), (_, b)| {
            (a.entry.entered_at, a.entry.at, &a.key).cmp(&(b.entry.entered_at, b.entry.at, &b.key))
        });
        let given: BTreeMap<Key, Entry> = rows.iter().map(|(_, row)| (row.key.clone(), row.entry.clone())).collect();
        let mut corrected: BTreeMap<Key, Key> = BTreeMap::new();
        let mut sound = Vec::with_capacity(rows.len());
        for (path, row) in rows {
            let mut fault = None;
            if row.by_hand {
                fault = belongs(&row.entry, self.garden, &self.settings.catalogue).err();
            }
            if fault.is_none() {
                fault = self.wrong_correction(&row, &given, &mut corrected, store).await?;
            }
            if row.key.is_old()
                && let Some(store) = store
                && let Some(id) = store.id_of_key(&self.garden.id, &row.key).await?
                && store.entry(&self.garden.id, id).await?.is_some_and(|there| there.entry.what != row.entry.what)
            {
                fault.get_or_insert(format!("the key {} stands for another entry here; leave it blank", row.key));
            }
            match fault {
                None => sound.push(row),
                Some(what) => faults.add(&path, RowFault { line: row.line, what }),
            }
        }
        Ok(sound)
    }

    /// What is wrong with the correction that a row is, where it is one. One that is in the store already was tried
    /// when it came there.
    async fn wrong_correction(
        &self,
        row: &Row,
        given: &BTreeMap<Key, Entry>,
        corrected: &mut BTreeMap<Key, Key>,
        store: Option<&Store>,
    ) -> Result<Option<String>, Failure> {
        let Some(replaced) = &row.entry.replaces else { return Ok(None) };
        let mut old = given.get(replaced).cloned();
        let mut later = corrected.get(replaced).filter(|key| **key != row.key).map(|key| format!("entry {key}"));
        if let Some(store) = store {
            if store.id_of_key(&self.garden.id, &row.key).await?.is_some() {
                return Ok(None);
            }
            if let Some(id) = store.id_of_key(&self.garden.id, replaced).await?
                && let Some(written) = store.entry(&self.garden.id, id).await?
            {
                later = written.corrected_by.map(|later| format!("entry {later}")).or(later);
                old = Some(written.entry);
            }
        }
        let Some(old) = old else { return Ok(Some(format!("it replaces {replaced}, and no entry has that key"))) };
        let fault = may_replace(&format!("Entry {replaced}"), &old, later.as_deref(), &row.entry).err();
        if fault.is_none() {
            corrected.insert(replaced.clone(), row.key.clone());
        }
        Ok(fault)
    }

    /// Looks through a table of rows before anything is written. `entries` are taken in with it.
    async fn check_logged(
        &self,
        path: &Path,
        store: Option<&Store>,
        entries: &[Row],
        faults: &mut Faults,
    ) -> Result<(), Failure> {
        let (mut table, length) = open_logged(path, self.now)?;
        let mut progress = Progress::new(format!("checking {}", path.display()), length);
        let given: BTreeSet<&Key> = entries.iter().map(|row| &row.key).collect();
        let strikes: BTreeSet<&Key> = entries.iter().filter_map(|row| row.entry.replaces.as_ref()).collect();
        let mut struck = BTreeSet::new();
        if let Some(store) = store {
            struck = store.struck_imports(&self.garden.id).await?;
            for key in &strikes {
                struck.extend(store.id_of_key(&self.garden.id, key).await?);
            }
        }
        // Of each import that rows name: its number here, and whether it counts; none where nobody knows it.
        let mut imports: BTreeMap<Key, Option<(Option<i64>, bool)>> = BTreeMap::new();
        let mut batch = Batch { struck: Rc::new(struck), ..Batch::default() };
        loop {
            let done = table.bytes();
            match table.next_row() {
                Next::End => break,
                Next::Fault(fault) => faults.add(path, fault),
                Next::Row { line, at, celsius, origin } => {
                    progress.is_at(done);
                    let key = &origin.import;
                    if !imports.contains_key(key) {
                        let number = match store {
                            Some(store) => store.id_of_key(&self.garden.id, key).await?,
                            None => None,
                        };
                        let is_struck = strikes.contains(key) || number.is_some_and(|id| batch.struck.contains(&id));
                        let known = number.is_some() || given.contains(key);
                        imports.insert(key.clone(), known.then_some((number, !is_struck)));
                    }
                    let Some((import, counts)) = imports.get(key).copied().flatten() else {
                        let what = format!("its import {key} is no entry; take in imported.csv with it");
                        faults.add(path, RowFault { line, what });
                        continue;
                    };
                    let series = Series::from(origin);
                    if batch.series.as_ref() != Some(&series) || batch.rows.len() >= ROWS_AT_ONCE {
                        batch.compare(store, &self.garden.id, path, faults).await?;
                        batch.series = Some(series);
                    }
                    batch.rows.push(Waiting { line, at, celsius, import, counts });
                }
            }
        }
        batch.compare(store, &self.garden.id, path, faults).await?;
        progress.ends();
        Ok(())
    }

    async fn write_logged(&self, path: &Path, store: &Store) -> Result<(u64, u64), Failure> {
        let (mut table, length) = open_logged(path, self.now)?;
        let mut progress = Progress::new(format!("taking in {}", path.display()), length);
        let (mut added, mut read) = (0, 0);
        let mut numbers: BTreeMap<Key, i64> = BTreeMap::new();
        let mut series: Option<(Series, i64)> = None;
        let mut rows: Vec<Logged> = Vec::new();
        loop {
            let done = table.bytes();
            match table.next_row() {
                Next::End => break,
                Next::Fault(_) => {}
                Next::Row { at, celsius, origin, .. } => {
                    progress.is_at(done);
                    if !numbers.contains_key(&origin.import) {
                        let Some(id) = store.id_of_key(&self.garden.id, &origin.import).await? else { continue };
                        numbers.insert(origin.import.clone(), id);
                    }
                    let Some(import) = numbers.get(&origin.import).copied() else { continue };
                    let next = Series::from(origin);
                    let same = series.as_ref().is_some_and(|(series, _)| *series == next);
                    if !same || rows.len() >= ROWS_AT_ONCE {
                        if let Some((_, number)) = &series {
                            added += store.log(*number, &rows).await?;
                        }
                        rows.clear();
                    }
                    if !same {
                        let number = store.keep_series(&self.garden.id, &next).await?;
                        series = Some((next, number));
                    }
                    rows.push(Logged { at, celsius, import });
                    read += 1;
                }
            }
        }
        if let Some((_, number)) = &series {
            added += store.log(*number, &rows).await?;
        }
        progress.ends();
        Ok((added, read))
    }
}

/// A row that waits to be compared with the store.
pub(super) struct Waiting {
    pub(super) line: u64,
    pub(super) at: DateTime<Utc>,
    pub(super) celsius: Celsius,
    /// The number of its import, where that is in the store.
    pub(super) import: Option<i64>,
    /// Its import was not struck.
    pub(super) counts: bool,
}

/// Rows of one thermometer that wait to be compared with the store.
#[derive(Default)]
pub(super) struct Batch {
    pub(super) series: Option<Series>,
    pub(super) rows: Vec<Waiting>,
    /// Imports of the store whose rows do not count.
    pub(super) struck: Rc<BTreeSet<i64>>,
    /// Rows whose time the store did not have.
    pub(super) new: u64,
}

impl Batch {
    /// Compares and empties the rows: a time that is there with another temperature is a fault of its row. What one and
    /// the same import said must not have changed; of two imports only those that count may not disagree.
    pub(super) async fn compare(
        &mut self,
        store: Option<&Store>,
        garden: &str,
        path: &Path,
        faults: &mut Faults,
    ) -> Result<(), Failure> {
        let times = || self.rows.iter().map(|row| row.at);
        let known = match (store, &self.series, times().min(), times().max()) {
            (Some(store), Some(series), Some(first), Some(last)) => {
                match store.number_of_series(garden, series).await? {
                    Some(number) => store.logged_of_all(number, first, last).await?,
                    None => Vec::new(),
                }
            }
            _ => Vec::new(),
        };
        for row in self.rows.drain(..) {
            let from = known.partition_point(|known| known.at < row.at);
            let there = || known.iter().skip(from).take_while(|known| known.at == row.at);
            let of_another = |known: &&Logged| row.counts && !self.struck.contains(&known.import);
            let own = there().find(|known| Some(known.import) == row.import);
            match own.or_else(|| there().find(of_another)) {
                None => self.new += 1,
                Some(known) if (known.celsius - row.celsius).0.abs() < SAME => {}
                Some(known) => {
                    let what = format!(
                        "{} UTC is there already with {:.2} C, and this says {:.2} C; is it another \
                         thermometer (--source)?",
                        row.at.format("%Y-%m-%d %H:%M"),
                        known.celsius.0,
                        row.celsius.0
                    );
                    faults.add(path, RowFault { line: row.line, what });
                }
            }
        }
        Ok(())
    }
}

fn open_logged(path: &Path, now: DateTime<Utc>) -> Result<(LoggedTable<std::fs::File>, u64), Failure> {
    let open = || {
        let file = std::fs::File::open(path)?;
        let length = file.metadata()?.len();
        Ok::<_, std::io::Error>((file, length))
    };
    let (file, length) = open().map_err(|error| at_fault(path, format!("it cannot be read ({error})")))?;
    Ok((LoggedTable::new(file, now).map_err(|what| at_fault(path, what))?, length))
}

fn whole(path: &Path) -> Result<Vec<u8>, Failure> {
    read_bounded(path, LONGEST)
        .map_err(|error| at_fault(path, format!("it cannot be read ({error})")))?
        .ok_or_else(|| at_fault(path, "it is longer than any table of a journal"))
}
