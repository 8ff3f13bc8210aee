//! What was accepted of the learned figures, and what past nights hold for learning.

use super::{Store, StoreFault};
use crate::journal::Place;
use crate::journal::event::Written;
use crate::lessons::lows::LoggedNight;
use crate::night::screen::Span;
use crate::units::Celsius;
use crate::zone::NightOf;
use chrono::{DateTime, Utc};

impl Store {
    /// Writes down that figures are accepted, each with what it is as JSON, or taken back, all of them or none.
    pub async fn accept(
        &self,
        garden: &str,
        at: DateTime<Utc>,
        figures: &[(String, Option<String>)],
    ) -> Result<(), StoreFault> {
        let mut transaction = self.begin().await?;
        for (figure, document) in figures {
            sqlx::query("INSERT INTO accepted (garden, figure, accepted_at, document) VALUES (?, ?, ?, ?)")
                .bind(garden)
                .bind(figure)
                .bind(at.timestamp())
                .bind(document)
                .execute(&mut *transaction)
                .await
                .map_err(|error| self.fault(error))?;
        }
        transaction.commit().await.map_err(|error| self.fault(error))
    }

    /// The figures of a garden that are accepted, by name, each with its JSON.
    pub async fn accepted(&self, garden: &str) -> Result<Vec<(String, String)>, StoreFault> {
        let newest = "SELECT figure, document FROM accepted WHERE garden = ?1 AND document IS NOT NULL AND id =
            (SELECT max(id) FROM accepted AS later WHERE later.garden = ?1 AND later.figure = accepted.figure)
            ORDER BY figure";
        sqlx::query_as(newest).bind(garden).fetch_all(&self.pool).await.map_err(|error| self.fault(error))
    }

    /// The nights before one that a round foretold, the oldest first: all of them, or the newest, at most so many, that a
    /// feed had below a temperature.
    pub async fn nights_foretold(
        &self,
        garden: &str,
        before: NightOf,
        newest_below: Option<(usize, Celsius)>,
    ) -> Result<Vec<NightOf>, StoreFault> {
        let rows = sqlx::query(
            "SELECT night FROM forecast_at_round WHERE garden = ?1 AND night < ?2 GROUP BY night
             HAVING ?3 IS NULL OR min(coalesce(feed_low, low)) < ?3 ORDER BY night DESC LIMIT ?4",
        )
        .bind(garden)
        .bind(before.to_string())
        .bind(newest_below.map(|(_, below)| below.0))
        // A negative limit is none.
        .bind(newest_below.map_or(-1, |(most, _)| i64::try_from(most).unwrap_or(i64::MAX)))
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter().rev().map(|row| self.night(row)).collect()
    }

    /// Whether there was ever a log of a garden's screen, or a minimum read there.
    pub async fn has_lows_of_the_screen(&self, garden: &str) -> Result<bool, StoreFault> {
        sqlx::query_scalar(
            "SELECT EXISTS (SELECT 1 FROM series WHERE garden = ?1 AND sampled = 'instant' AND place = 'screen')
                 OR EXISTS (SELECT 1 FROM journal WHERE garden = ?1 AND kind = 'reading'
                            AND document ->> 'of' = 'minimum' AND document ->> 'place' = 'screen')",
        )
        .bind(garden)
        .fetch_one(&self.pool)
        .await
        .map_err(|error| self.fault(error))
    }

    /// What the logs of a garden hold of nights, from each sunset to an hour after sunrise: of its screen, or of all
    /// places in the air and under covers. Asked along the index of each thermometer, so that years of rows cost nothing.
    pub async fn logged_nights(
        &self,
        garden: &str,
        spans: &[Span],
        screen_alone: bool,
    ) -> Result<Vec<LoggedNight>, StoreFault> {
        let spans: Vec<(String, i64, i64)> =
            spans.iter().map(|span| (span.of.to_string(), span.sunset.timestamp(), span.end().timestamp())).collect();
        let spans = serde_json::to_string(&spans).map_err(|error| self.unreadable("nights", error))?;
        let rows = sqlx::query(
            "WITH nights AS MATERIALIZED
                 (SELECT value ->> 0 AS night, value ->> 1 AS begins, value ->> 2 AS ends FROM json_each(?1))
             SELECT nights.night, series.place, series.bed, series.cover, min(logged.celsius) AS celsius,
                    count(DISTINCT CASE WHEN (logged.at - nights.begins) / 3600 < (nights.ends - nights.begins) / 3600
                                   THEN (logged.at - nights.begins) / 3600 END) AS hours,
                    max(logged.at) AS last
             FROM series CROSS JOIN nights CROSS JOIN logged
             ON logged.series = series.id AND logged.at BETWEEN nights.begins AND nights.ends
             WHERE series.garden = ?2 AND series.sampled = 'instant' AND series.place <> 'soil'
             AND (series.place = 'screen' OR NOT ?3)
             AND logged.import NOT IN (SELECT id FROM struck_imports)
             GROUP BY series.id, nights.night ORDER BY nights.night, series.id",
        )
        .bind(spans)
        .bind(garden)
        .bind(screen_alone)
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        let some = |text: String| Some(text).filter(|text| !text.is_empty());
        rows.iter()
            .map(|row| {
                let word = self.text(row, "place")?;
                Ok(LoggedNight {
                    night: self.night(row)?,
                    place: Place::of(&word, some(self.text(row, "bed")?), some(self.text(row, "cover")?))
                        .map_err(|why| self.unreadable("a thermometer's place", why))?,
                    low: Celsius(self.real(row, "celsius")?),
                    hours: u32::try_from(self.number(row, "hours")?).unwrap_or(0),
                    last: self.time(row, "last")?,
                })
            })
            .collect()
    }

    /// Minima that were read within an interval, of the garden's screen or of all places; those that were corrected too.
    pub async fn minima(
        &self,
        garden: &str,
        (from, to): (DateTime<Utc>, DateTime<Utc>),
        screen_alone: bool,
    ) -> Result<Vec<Written>, StoreFault> {
        let question = format!(
            "SELECT {} FROM journal WHERE garden = ?1 AND kind = 'reading' AND at BETWEEN ?2 AND ?3
             AND document ->> 'of' = 'minimum' AND (document ->> 'place' = 'screen' OR NOT ?4)
             ORDER BY at, entered_at, key",
            super::journal::COLUMNS
        );
        let rows = sqlx::query(sqlx::AssertSqlSafe(question))
            .bind(garden)
            .bind(from.timestamp())
            .bind(to.timestamp())
            .bind(screen_alone)
            .fetch_all(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.written(row)).collect()
    }
}
