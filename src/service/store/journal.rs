//! The journal. Rows are added and never changed: a slip is answered by an entry that names the one it replaces.

use super::{Store, StoreFault};
use crate::journal::event::Written;
use crate::journal::{Entry, Key};
use crate::units::Celsius;
use chrono::{DateTime, Utc};
use sqlx::sqlite::SqliteRow;

/// One reading of the air, by hand or from a log, as a forecast is corrected with it.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingRow {
    /// The bed it was read at; none for the garden's own thermometer.
    pub bed: Option<String>,
    pub at: DateTime<Utc>,
    /// Within [`crate::units::READING`].
    pub temperature: Celsius,
    pub dew_point: Option<Celsius>,
    /// Whoever wrote it down said that it is right, however doubtful.
    pub sure: bool,
}

/// What became of an entry that was to be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It has this number now.
    New(i64),
    /// The very same was there already, under this number.
    Known(i64),
}

impl Outcome {
    /// Its number in this store.
    pub fn id(self) -> i64 {
        match self {
            Outcome::New(id) | Outcome::Known(id) => id,
        }
    }
}

pub(super) const COLUMNS: &str = "id, key, at, entered_at, entered_by, as_typed, replaces, document,
    (SELECT min(later.id) FROM journal AS later WHERE later.garden = journal.garden AND later.replaces = journal.key)
        AS corrected_by";

impl Store {
    /// Writes entries, all of them or none, and says of each whether it is new.
    ///
    /// An entry whose key is there with other words is a fault: two old stores counted the same numbers.
    pub async fn write(&self, garden: &str, entries: &[(Key, Entry)]) -> Result<Vec<Outcome>, StoreFault> {
        let mut transaction = self.begin().await?;
        let mut outcomes = Vec::with_capacity(entries.len());
        for (key, entry) in entries {
            let document = entry.document();
            let known: Option<(i64, String)> =
                sqlx::query_as("SELECT id, document FROM journal WHERE garden = ? AND key = ?")
                    .bind(garden)
                    .bind(key.as_str())
                    .fetch_optional(&mut *transaction)
                    .await
                    .map_err(|error| self.fault(error))?;
            if let Some((id, there)) = known {
                let same = |text: &str| serde_json::from_str::<serde_json::Value>(text).ok();
                if same(&there) != same(&document) {
                    let why = format!("the key {key} stands for another entry there");
                    return Err(self.unreadable("an entry of another journal", why));
                }
                outcomes.push(Outcome::Known(id));
                continue;
            }
            let done = sqlx::query(
                "INSERT INTO journal (garden, key, kind, at, bed, entered_at, entered_by, as_typed, replaces, document)
                 VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            )
            .bind(garden)
            .bind(key.as_str())
            .bind(entry.what.kind().word())
            .bind(entry.at.timestamp())
            .bind(entry.what.bed())
            .bind(entry.entered_at.timestamp())
            .bind(&entry.by)
            .bind(&entry.as_typed)
            .bind(entry.replaces.as_ref().map(Key::as_str))
            .bind(document)
            .execute(&mut *transaction)
            .await
            .map_err(|error| self.fault(error))?;
            outcomes.push(Outcome::New(done.last_insert_rowid()));
        }
        transaction.commit().await.map_err(|error| self.fault(error))?;
        Ok(outcomes)
    }

    /// The entries of a garden about an interval, both ends included, in order of their time; those that were corrected
    /// too. With no interval all of them.
    pub async fn entries(
        &self,
        garden: &str,
        interval: Option<(DateTime<Utc>, DateTime<Utc>)>,
    ) -> Result<Vec<Written>, StoreFault> {
        let (from, to) = interval.map_or((i64::MIN, i64::MAX), |(from, to)| (from.timestamp(), to.timestamp()));
        let rows = self.rows_of_entries(garden, from, to).await?;
        rows.iter().map(|row| self.written(row)).collect()
    }

    /// The same for whoever must go on without what cannot be read back: those that can, and how many cannot, each of which is
    /// logged.
    pub async fn entries_that_read(
        &self,
        garden: &str,
        interval: (DateTime<Utc>, DateTime<Utc>),
    ) -> Result<(Vec<Written>, usize), StoreFault> {
        let rows = self.rows_of_entries(garden, interval.0.timestamp(), interval.1.timestamp()).await?;
        let (mut entries, mut unread) = (Vec::with_capacity(rows.len()), 0);
        for row in &rows {
            match self.written(row) {
                Ok(written) => entries.push(written),
                Err(fault) => {
                    tracing::error!(garden, %fault, "an entry is passed over");
                    unread += 1;
                }
            }
        }
        Ok((entries, unread))
    }

    async fn rows_of_entries(&self, garden: &str, from: i64, to: i64) -> Result<Vec<SqliteRow>, StoreFault> {
        let question = format!("SELECT {COLUMNS} FROM journal WHERE garden = ? AND at BETWEEN ? AND ? ORDER BY at, id");
        let rows = sqlx::query(sqlx::AssertSqlSafe(question)).bind(garden).bind(from).bind(to).fetch_all(&self.pool);
        rows.await.map_err(|error| self.fault(error))
    }

    /// The entry of a number.
    pub async fn entry(&self, garden: &str, id: i64) -> Result<Option<Written>, StoreFault> {
        let question = format!("SELECT {COLUMNS} FROM journal WHERE garden = ? AND id = ?");
        let row = sqlx::query(sqlx::AssertSqlSafe(question))
            .bind(garden)
            .bind(id)
            .fetch_optional(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        row.map(|row| self.written(&row)).transpose()
    }

    /// The numbers of the entries with keys, of those that are there.
    pub async fn id_of_key(&self, garden: &str, key: &Key) -> Result<Option<i64>, StoreFault> {
        sqlx::query_scalar("SELECT id FROM journal WHERE garden = ? AND key = ?")
            .bind(garden)
            .bind(key.as_str())
            .fetch_optional(&self.pool)
            .await
            .map_err(|error| self.fault(error))
    }

    pub(super) fn written(&self, row: &SqliteRow) -> Result<Written, StoreFault> {
        let key = |text: String| Key::parse(&text).ok_or_else(|| self.unreadable("a key of the journal", text));
        let document = self.text(row, "document")?;
        let what =
            serde_json::from_str(&document).map_err(|error| self.unreadable("an entry of the journal", error))?;
        let corrected_by = sqlx::Row::try_get(row, "corrected_by")
            .map_err(|error| self.unreadable("a correction of the journal", error))?;
        Ok(Written {
            id: self.number(row, "id")?,
            key: key(self.text(row, "key")?)?,
            entry: Entry {
                at: self.time(row, "at")?,
                entered_at: self.time(row, "entered_at")?,
                by: self.optional_text(row, "entered_by")?,
                as_typed: self.text(row, "as_typed")?,
                replaces: self.optional_text(row, "replaces")?.map(key).transpose()?,
                what,
            },
            corrected_by,
        })
    }

    /// What thermometers of a garden showed of its air within an interval, both ends included, in order of time:
    /// readings that stand, and rows of logs.
    pub async fn readings(
        &self,
        garden: &str,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<ReadingRow>, StoreFault> {
        let rows = sqlx::query(
            "SELECT bed, at, celsius, dew_point_celsius,
                    coalesce((SELECT document ->> 'sure' FROM journal WHERE journal.id = readings.id), 0) AS sure
             FROM readings WHERE garden = ?1 AND at BETWEEN ?2 AND ?3
             UNION ALL
             SELECT nullif(series.bed, ''), logged.at, min(logged.celsius), NULL, 0 FROM series
             CROSS JOIN logged ON logged.series = series.id
             WHERE series.garden = ?1 AND series.place IN ('screen', 'bed') AND series.sampled = 'instant'
             AND logged.at BETWEEN ?2 AND ?3 AND logged.import NOT IN (SELECT id FROM struck_imports)
             GROUP BY series.id, logged.at
             ORDER BY 2",
        )
        .bind(garden)
        .bind(from.timestamp())
        .bind(to.timestamp())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter()
            .map(|row| {
                Ok(ReadingRow {
                    bed: self.optional_text(row, "bed")?,
                    at: self.time(row, "at")?,
                    temperature: Celsius(self.real(row, "celsius")?),
                    dew_point: self.optional_real(row, "dew_point_celsius")?.map(Celsius),
                    sure: self.number(row, "sure")? != 0,
                })
            })
            .collect()
    }
}
