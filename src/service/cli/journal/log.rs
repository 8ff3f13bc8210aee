//! Taking in a thermometer's log: looked through first, and written only when nothing is wrong or somebody has
//! answered.

use super::tables::{Batch, ROWS_AT_ONCE, Waiting};
use super::{Faults, Work, at_fault};
use crate::journal::doubts::{Doubt, Watch};
use crate::journal::event::lows_of_readings;
use crate::journal::log::{Column, Log, LogClock, Medium, Next};
use crate::journal::{Entry, Imported, Place, Sampled, What, bed_of, note};
use crate::service::cli::covered::cover_named;
use crate::service::cli::progress::Progress;
use crate::service::cli::writing::refused;
use crate::service::cli::{Failure, zone_named};
use crate::service::store::{Logged, Open, Outcome, Series, Store};
use crate::units::Celsius;
use crate::zone::NightOf;
use chrono::{DateTime, FixedOffset, NaiveDate, Utc};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;
use std::rc::Rc;

/// What one column comes to.
struct Found {
    column: Column,
    batch: Batch,
    watch: Watch,
    rows: u64,
    first: Option<DateTime<Utc>>,
    last: Option<DateTime<Utc>>,
}

impl Work<'_> {
    pub(super) async fn import_log(&self, path: &Path) -> Result<String, Failure> {
        if let Some(bed) = &self.command.bed {
            bed_of(self.garden, bed).map_err(refused)?;
        }
        note(&self.command.source).map_err(refused)?;
        let store = self.existing().await?;
        let mut faults = Faults::default();
        let (found, repeated, lows) = self.look_through(path, store.as_ref(), &mut faults).await?;
        if let Some(store) = store {
            store.close().await;
        }
        let mut text = faults.answer(self.command.keep_good)?;
        let doubts = self.doubts(&found, repeated, &lows);
        for doubt in &doubts {
            text.push_str(&format!("{}: {doubt}.\n", path.display()));
        }
        if doubts.iter().any(Doubt::asks) && !self.command.sure {
            return Err(Failure::Settings(format!(
                "{text}Nothing was written. Add --sure if it is right as it stands."
            )));
        }
        if found.iter().all(|found| found.rows == 0) {
            return Err(at_fault(path, format!("{text}it has no row with a temperature")));
        }
        let store = Store::open(&self.store, Open::ReadWrite).await?;
        text.push_str(&self.take_in(path, &store, &found).await?);
        store.close().await;
        Ok(text)
    }

    /// The place of a column's thermometer.
    fn place(&self, column: &Column) -> Result<Place, String> {
        let bed = self.command.bed.clone();
        let needs = |bed: Option<String>| bed.ok_or_else(|| format!("of which bed is {}? Add --bed", column.name));
        let cover = self.command.under_cover.as_deref().map(|named| cover_named(self.garden, named)).transpose()?;
        Ok(match (column.medium, cover) {
            (Medium::Soil, _) => Place::Soil { bed: needs(bed)? },
            (Medium::UnderCover, cover) => Place::UnderCover { bed: needs(bed)?, cover: cover.flatten() },
            (Medium::Air, Some(cover)) => Place::UnderCover { bed: needs(bed)?, cover },
            (Medium::Air, None) => bed.map_or(Place::Screen, |bed| Place::Bed { bed }),
        })
    }

    fn series(&self, column: &Column) -> Result<Series, String> {
        Ok(Series {
            place: self.place(column)?,
            sampled: column.sampled,
            source: self.command.source.trim().into(),
            height: self.command.height,
        })
    }

    fn clock(&self) -> Result<Option<LogClock>, Failure> {
        let Some(text) = &self.command.zone else { return Ok(None) };
        if let Ok(offset) = text.parse::<FixedOffset>() {
            return Ok(Some(LogClock::Fixed(offset)));
        }
        zone_named(text)
            .map(|zone| Some(LogClock::Zone(zone)))
            .map_err(|what| refused(format!("--zone {text}: {what}")))
    }

    fn open(&self, path: &Path) -> Result<(Log<File>, u64), Failure> {
        let unreadable = |error: std::io::Error| at_fault(path, format!("it cannot be read ({error})"));
        let mut file = File::open(path).map_err(unreadable)?;
        let length = file.metadata().map_err(unreadable)?.len();
        let mut last = [b'\n'];
        if length > 0 {
            file.seek(SeekFrom::End(-1)).map_err(unreadable)?;
            file.read_exact(&mut last).map_err(unreadable)?;
            file.rewind().map_err(unreadable)?;
        }
        let open_end = (last != [b'\n']).then_some(length);
        let log = Log::new(file, &self.command.ignore, self.clock()?, open_end, self.now);
        Ok((log.map_err(|what| at_fault(path, what))?, length))
    }

    async fn look_through(
        &self,
        path: &Path,
        store: Option<&Store>,
        faults: &mut Faults,
    ) -> Result<(Vec<Found>, u64, BTreeMap<NightOf, Celsius>), Failure> {
        let (mut log, length) = self.open(path)?;
        let (known, lows) = match store {
            Some(store) => self.known(store).await?,
            None => (Vec::new(), BTreeMap::new()),
        };
        let struck = match store {
            Some(store) => Rc::new(store.struck_imports(&self.garden.id).await?),
            None => Rc::default(),
        };
        let columns: Vec<Column> = log.header().columns().cloned().collect();
        let mut found = Vec::new();
        for column in columns {
            let series = Some(self.series(&column).map_err(|what| at_fault(path, what))?);
            let batch = Batch { series, struck: Rc::clone(&struck), ..Batch::default() };
            let known = if column.sampled == Sampled::Instant && column.medium == Medium::Air {
                known.clone()
            } else {
                Vec::new()
            };
            let watch = Watch::new(&column, &self.garden.site, known);
            found.push(Found { column, batch, watch, rows: 0, first: None, last: None });
        }
        let mut progress = Progress::new(format!("checking {}", path.display()), length);
        let mut repeated = 0;
        loop {
            let row = match log.next_row() {
                Next::End => break,
                Next::Fault(fault) => {
                    faults.add(path, fault);
                    continue;
                }
                Next::Repeated { .. } => {
                    repeated += 1;
                    continue;
                }
                Next::Part(row, fault) => {
                    faults.add(path, fault);
                    row
                }
                Next::Row(row) => row,
            };
            progress.is_at(log.bytes());
            for (found, value) in found.iter_mut().zip(&row.values) {
                let Some(value) = value else { continue };
                found.rows += 1;
                found.first.get_or_insert(row.at);
                found.last = Some(row.at);
                found.watch.look(&row, *value);
                let (line, at) = (row.line, row.at);
                found.batch.rows.push(Waiting { line, at, celsius: *value, import: None, counts: true });
                if found.batch.rows.len() >= ROWS_AT_ONCE {
                    found.batch.compare(store, &self.garden.id, path, faults).await?;
                }
            }
        }
        for found in &mut found {
            found.batch.compare(store, &self.garden.id, path, faults).await?;
        }
        progress.ends();
        Ok((found, repeated, lows))
    }

    /// What is known of the garden's air without this log: readings in order of time, and lows of nights.
    async fn known(
        &self,
        store: &Store,
    ) -> Result<(Vec<(DateTime<Utc>, Celsius)>, BTreeMap<NightOf, Celsius>), Failure> {
        let entries = store.entries(&self.garden.id, None).await?;
        let mut known = Vec::new();
        for written in entries.iter().filter(|written| written.stands()) {
            if let What::Reading(reading) = &written.entry.what
                && reading.of == Sampled::Instant
                && matches!(reading.place, Place::Screen | Place::Bed { .. })
            {
                known.push((written.entry.at, reading.temperature));
            }
        }
        let far = |date: Option<NaiveDate>| NightOf(date.unwrap_or_default());
        let (first, last) = (far(NaiveDate::from_ymd_opt(1970, 1, 1)), far(NaiveDate::from_ymd_opt(2200, 1, 1)));
        let foretold = store.foretold(&self.garden.id, first, last).await?;
        let mut lows: BTreeMap<NightOf, Celsius> = foretold.iter().map(|round| (round.night, round.low.mean)).collect();
        for low in lows_of_readings(&entries, self.garden.site.longitude) {
            if matches!(low.place, Place::Screen | Place::Bed { .. }) {
                lows.insert(low.night, low.low);
            }
        }
        Ok((known, lows))
    }

    fn doubts(&self, found: &[Found], repeated: u64, lows: &BTreeMap<NightOf, Celsius>) -> Vec<Doubt> {
        let clock = self.clock().ok().flatten();
        let zone = match &clock {
            Some(LogClock::Zone(zone)) => zone,
            _ => &self.garden.zone,
        };
        let mut doubts = Vec::new();
        for found in found {
            doubts.extend(found.watch.doubts(&self.garden.site, zone, lows));
        }
        if repeated > 0 {
            doubts.push(Doubt::Repeated { rows: repeated });
        }
        // Columns share their clock and their holes: what is said of one is not said again of the next.
        let mut said: Vec<Doubt> = Vec::new();
        for doubt in doubts {
            if !said.contains(&doubt) {
                said.push(doubt);
            }
        }
        said
    }

    /// Writes what was looked through.
    async fn take_in(&self, path: &Path, store: &Store, found: &[Found]) -> Result<String, Failure> {
        let file = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let file = note(&file).ok().flatten().unwrap_or_else(|| "log".into());
        let by = self.command.by.as_deref().map(note).transpose().map_err(refused)?.flatten();
        let mut text = String::new();
        let mut targets: Vec<Option<(i64, i64)>> = Vec::new();
        let entries = store.entries(&self.garden.id, None).await?;
        let interrupted = self.interrupted(store, &entries).await?;
        for found in found {
            let series = self.series(&found.column).map_err(refused)?;
            let (Some(first), Some(last)) = (found.first, found.last) else {
                text.push_str(&format!("{}: no temperatures.\n", found.column.name));
                targets.push(None);
                continue;
            };
            let new = found.batch.new;
            let place = series.place.to_string();
            let day = |at: DateTime<Utc>| self.garden.zone.local(at).format("%-d %B %Y").to_string();
            let what = format!("{} {place} from {} to {}", found.column.name, day(first), day(last));
            if new == 0 {
                text.push_str(&format!("Nothing new: {what}, {} rows, all there already.\n", found.rows));
                targets.push(None);
                continue;
            }
            // The rest of an import during which the program ended belongs to its entry, which says how many rows there are.
            let rest = interrupted.iter().find(|(_, imported, there)| {
                imported.file == file
                    && imported.column == found.column.name
                    && imported.place == series.place
                    && there + new == imported.rows
            });
            if let Some((written, ..)) = rest {
                text.push_str(&format!("Taken in: {what}, {new} rows that entry {} had been without.\n", written.id));
                targets.push(Some((store.keep_series(&self.garden.id, &series).await?, written.id)));
                continue;
            }
            let imported = Imported {
                file: file.clone(),
                column: found.column.name.clone(),
                place: series.place.clone(),
                rows: new,
                first,
                last,
            };
            let mut entry =
                Entry { by: by.clone(), ..Entry::new(last, self.now, file.clone(), What::Imported(imported)) };
            let number = loop {
                match store.write(&self.garden.id, &[(entry.key(), entry.clone())]).await?.first() {
                    Some(Outcome::New(id)) => break *id,
                    // The same within a second, and struck in between: its rows must not be taken for those.
                    _ => entry.entered_at += chrono::Duration::seconds(1),
                }
            };
            text.push_str(&format!(
                "Taken in: {what}, {} rows, of which {new} are new. It is entry {}.\n",
                found.rows, number
            ));
            targets.push(Some((store.keep_series(&self.garden.id, &series).await?, number)));
        }
        if targets.iter().any(Option::is_some) {
            self.write_rows(path, store, &targets).await?;
        }
        Ok(text)
    }

    async fn write_rows(&self, path: &Path, store: &Store, targets: &[Option<(i64, i64)>]) -> Result<(), Failure> {
        let (mut log, length) = self.open(path)?;
        let mut progress = Progress::new(format!("taking in {}", path.display()), length);
        let mut rows: Vec<Vec<Logged>> = vec![Vec::new(); targets.len()];
        loop {
            let row = match log.next_row() {
                Next::End => break,
                Next::Fault(_) | Next::Repeated { .. } => continue,
                Next::Row(row) | Next::Part(row, _) => row,
            };
            progress.is_at(log.bytes());
            for ((target, rows), value) in targets.iter().zip(&mut rows).zip(&row.values) {
                let (Some((series, import)), Some(celsius)) = (target, value) else { continue };
                rows.push(Logged { at: row.at, celsius: *celsius, import: *import });
                if rows.len() >= ROWS_AT_ONCE {
                    store.log(*series, rows).await?;
                    rows.clear();
                }
            }
        }
        for (target, rows) in targets.iter().zip(&rows) {
            if let Some((series, _)) = target {
                store.log(*series, rows).await?;
            }
        }
        progress.ends();
        Ok(())
    }
}
