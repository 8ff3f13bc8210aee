//! The rows of thermometers' logs, millions of them: a thermometer in its place once, and of each row three numbers.

use super::{Store, StoreFault};
use crate::journal::event::{MINIMUM_REACHES_BACK, PlaceLow, solar_offset};
use crate::journal::logged_table::Origin;
use crate::journal::{Place, Sampled};
use crate::units::Celsius;
use crate::zone::NightOf;
use chrono::{DateTime, Utc};
use sqlx::Row;
use sqlx::sqlite::SqliteRow;
use std::collections::{BTreeMap, BTreeSet};

/// One thermometer in one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    pub place: Place,
    pub sampled: Sampled,
    /// The thermometer's own name.
    pub source: String,
    /// Above the ground, m; none where nobody said.
    pub height: Option<f64>,
}

/// One row of a log, of an import by its number in the journal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Logged {
    pub at: DateTime<Utc>,
    pub celsius: Celsius,
    pub import: i64,
}

/// Temperatures that are this near to one another are the same, K: one may have gone through another scale and back.
pub const SAME: f64 = 1e-9;

/// Rows of one statement: enough that its overhead does not count.
const ROWS_AT_ONCE: usize = 200;

impl From<&Origin> for Series {
    fn from(origin: &Origin) -> Series {
        Series { place: origin.place.clone(), sampled: origin.of, source: origin.source.clone(), height: origin.height }
    }
}

impl Series {
    /// Height in the store, where none is a number that no height is.
    fn stored_height(&self) -> f64 {
        self.height.unwrap_or(-1.0)
    }
}

impl Store {
    /// The thermometers of a garden whose logs are there, with their numbers, in an order of their own.
    pub async fn series(&self, garden: &str) -> Result<Vec<(i64, Series)>, StoreFault> {
        let rows =
            sqlx::query("SELECT * FROM series WHERE garden = ? ORDER BY place, bed, cover, sampled, source, height")
                .bind(garden)
                .fetch_all(&self.pool)
                .await
                .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| Ok((self.number(row, "id")?, self.one_series(row)?))).collect()
    }

    /// The number of a thermometer, if it is known.
    pub async fn number_of_series(&self, garden: &str, series: &Series) -> Result<Option<i64>, StoreFault> {
        sqlx::query_scalar(
            "SELECT id FROM series WHERE garden = ? AND place = ? AND bed = ? AND cover = ? AND sampled = ?
             AND source = ? AND height = ?",
        )
        .bind(garden)
        .bind(series.place.word())
        .bind(series.place.bed().unwrap_or_default())
        .bind(series.place.cover().unwrap_or_default())
        .bind(series.sampled.word())
        .bind(&series.source)
        .bind(series.stored_height())
        .fetch_optional(&self.pool)
        .await
        .map_err(|error| self.fault(error))
    }

    /// The number of a thermometer, which is made known where it is not.
    pub async fn keep_series(&self, garden: &str, series: &Series) -> Result<i64, StoreFault> {
        sqlx::query(
            "INSERT INTO series (garden, place, bed, cover, sampled, source, height) VALUES (?, ?, ?, ?, ?, ?, ?)
             ON CONFLICT DO NOTHING",
        )
        .bind(garden)
        .bind(series.place.word())
        .bind(series.place.bed().unwrap_or_default())
        .bind(series.place.cover().unwrap_or_default())
        .bind(series.sampled.word())
        .bind(&series.source)
        .bind(series.stored_height())
        .execute(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        let number = self.number_of_series(garden, series).await?;
        number.ok_or_else(|| self.unreadable("a thermometer", "it was not kept"))
    }

    /// Adds rows of a thermometer in one transaction, and gives how many are new. Each import keeps all its rows, also
    /// those that another one brought before, so that striking that one takes none of them away. A time that is there
    /// with another temperature stays as it is, unless one of the two imports was struck.
    pub async fn log(&self, series: i64, rows: &[Logged]) -> Result<u64, StoreFault> {
        let mut transaction = self.begin().await?;
        let mut added = 0;
        for rows in rows.chunks(ROWS_AT_ONCE) {
            let values = vec!["(?, ?, ?)"; rows.len()].join(", ");
            let statement = format!(
                "WITH given (at, import, celsius) AS (VALUES {values})
                 INSERT INTO logged (series, at, import, celsius)
                 SELECT ?, given.at, given.import, given.celsius FROM given
                 WHERE given.import IN (SELECT id FROM struck_imports) OR NOT EXISTS
                     (SELECT 1 FROM logged AS old WHERE old.series = ? AND old.at = given.at
                      AND abs(old.celsius - given.celsius) > {SAME}
                      AND old.import NOT IN (SELECT id FROM struck_imports))
                 ON CONFLICT DO NOTHING"
            );
            let mut query = sqlx::query(sqlx::AssertSqlSafe(statement));
            for row in rows {
                query = query.bind(row.at.timestamp()).bind(row.import).bind(row.celsius.0);
            }
            let done = query.bind(series).bind(series).execute(&mut *transaction).await;
            added += done.map_err(|error| self.fault(error))?.rows_affected();
        }
        transaction.commit().await.map_err(|error| self.fault(error))?;
        Ok(added)
    }

    /// How many rows of each import of a garden are there, by its number in the journal. Reads all rows.
    pub async fn rows_of_imports(&self, garden: &str) -> Result<BTreeMap<i64, u64>, StoreFault> {
        let rows = sqlx::query(
            "SELECT logged.import, count(*) AS count FROM series CROSS JOIN logged ON logged.series = series.id
             WHERE series.garden = ? GROUP BY logged.import",
        )
        .bind(garden)
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter()
            .map(|row| Ok((self.number(row, "import")?, u64::try_from(self.number(row, "count")?).unwrap_or_default())))
            .collect()
    }

    /// Rows of a thermometer within an interval, both ends included, in order of time, whose import stands; once,
    /// where several imports held them.
    pub async fn logged(
        &self,
        series: i64,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<(DateTime<Utc>, Celsius)>, StoreFault> {
        let rows = sqlx::query(
            "SELECT at, min(celsius) AS celsius FROM logged WHERE series = ? AND at BETWEEN ? AND ?
             AND import NOT IN (SELECT id FROM struck_imports) GROUP BY at ORDER BY at",
        )
        .bind(series)
        .bind(from.timestamp())
        .bind(to.timestamp())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| Ok((self.time(row, "at")?, Celsius(self.real(row, "celsius")?)))).collect()
    }

    /// Rows of a thermometer within an interval, both ends included, in order of time; of struck imports too.
    pub async fn logged_of_all(
        &self,
        series: i64,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<Logged>, StoreFault> {
        self.all_logged(series, from, to, -1).await
    }

    /// Rows of a thermometer from a time on, in order of time, at most so many; of struck imports too.
    pub async fn logged_from(&self, series: i64, from: DateTime<Utc>, most: u32) -> Result<Vec<Logged>, StoreFault> {
        self.all_logged(series, from, DateTime::<Utc>::MAX_UTC, i64::from(most)).await
    }

    async fn all_logged(
        &self,
        series: i64,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
        most: i64,
    ) -> Result<Vec<Logged>, StoreFault> {
        let rows = sqlx::query(
            "SELECT at, celsius, import FROM logged WHERE series = ? AND at BETWEEN ? AND ? ORDER BY at LIMIT ?",
        )
        .bind(series)
        .bind(from.timestamp())
        .bind(to.timestamp())
        .bind(most)
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        let logged = |row: &SqliteRow| {
            Ok(Logged {
                at: self.time(row, "at")?,
                celsius: Celsius(self.real(row, "celsius")?),
                import: self.number(row, "import")?,
            })
        };
        rows.iter().map(logged).collect()
    }

    /// The numbers of a garden's imports whose rows do not count.
    pub async fn struck_imports(&self, garden: &str) -> Result<BTreeSet<i64>, StoreFault> {
        let ids: Vec<i64> = sqlx::query_scalar(
            "SELECT struck_imports.id FROM struck_imports JOIN journal ON journal.id = struck_imports.id
             WHERE journal.garden = ?",
        )
        .bind(garden)
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(ids.into_iter().collect())
    }

    /// The lowest row of every place and night, from noon to noon by the mean sun of a longitude, of the nights from
    /// one to another, both included. A minimum is of the night as in [`MINIMUM_REACHES_BACK`].
    pub async fn lows_of_logs(
        &self,
        garden: &str,
        longitude: f64,
        from: NightOf,
        to: NightOf,
    ) -> Result<Vec<PlaceLow>, StoreFault> {
        let offset = solar_offset(longitude).num_seconds();
        let begins = |night: NightOf| night.0.and_time(chrono::NaiveTime::MIN).and_utc().timestamp() - offset;
        let rows = sqlx::query(
            // A day at a time, along the key of the rows: to group them would sort them all, in a file of its own.
            "WITH RECURSIVE ends (id, noon, first, last) AS (
                 SELECT id, noon, (SELECT min(at) FROM logged WHERE series = each.id AND at >= ?3 + back AND at < ?4 + back),
                                  (SELECT max(at) FROM logged WHERE series = each.id AND at >= ?3 + back AND at < ?4 + back)
                 FROM (SELECT id, (sampled = 'minimum') * ?5 AS back, ?2 - (sampled = 'minimum') * ?5 AS noon
                       FROM series WHERE garden = ?1 AND sampled <> 'maximum') AS each),
             days (id, noon, day, last) AS (
                 SELECT id, noon, (first + noon) / 86400, (last + noon) / 86400 FROM ends WHERE first IS NOT NULL
                 UNION ALL SELECT id, noon, day + 1, last FROM days WHERE day < last),
             lows (id, day, celsius) AS (
                 SELECT id, day, (SELECT min(celsius) FROM logged
                                  WHERE series = days.id AND at >= day * 86400 - noon AND at < (day + 1) * 86400 - noon
                                  AND import NOT IN (SELECT id FROM struck_imports)) FROM days)
             SELECT series.place, series.bed, series.cover, series.sampled, series.source, series.height, day, celsius
             FROM lows CROSS JOIN series ON series.id = lows.id WHERE celsius IS NOT NULL ORDER BY day, series.id",
        )
        .bind(garden)
        .bind(offset)
        .bind(begins(from))
        .bind(begins(to) + 86_400)
        .bind(MINIMUM_REACHES_BACK.num_seconds())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter()
            .map(|row| {
                let seconds = self.number(row, "day")?.saturating_mul(86_400);
                let night = DateTime::from_timestamp(seconds, 0).map(|at| NightOf(at.date_naive()));
                Ok(PlaceLow {
                    night: night.ok_or_else(|| self.unreadable("a night", "it is beyond the calendar"))?,
                    place: self.one_series(row)?.place,
                    low: Celsius(self.real(row, "celsius")?),
                })
            })
            .collect()
    }

    fn one_series(&self, row: &SqliteRow) -> Result<Series, StoreFault> {
        let some = |text: String| Some(text).filter(|text| !text.is_empty());
        let (word, sampled) = (self.text(row, "place")?, self.text(row, "sampled")?);
        let height: f64 = row.try_get("height").map_err(|error| self.unreadable("a height", error))?;
        Ok(Series {
            place: Place::of(&word, some(self.text(row, "bed")?), some(self.text(row, "cover")?))
                .map_err(|why| self.unreadable("a thermometer's place", why))?,
            sampled: Sampled::from_word(&sampled, None)
                .ok_or_else(|| self.unreadable("what a thermometer shows", &sampled))?,
            source: self.text(row, "source")?,
            height: Some(height).filter(|height| *height >= 0.0),
        })
    }
}
