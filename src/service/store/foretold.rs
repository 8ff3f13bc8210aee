//! What was foretold at each round, a small row each: a feed's document is replaced by its next.

use super::{Store, StoreFault};
use crate::journal::event::ForecastAtRound;
use crate::night::Estimate;
use crate::rounds::RoundKind;
use crate::units::{Celsius, Kelvins, MetresPerSecond};
use crate::zone::NightOf;
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, Sqlite, Transaction};

impl Store {
    /// A round that is made again replaces what it said of the same instant.
    pub(super) async fn insert_foretold(
        &self,
        to: &mut Transaction<'_, Sqlite>,
        garden: &str,
        row: &ForecastAtRound,
    ) -> Result<(), StoreFault> {
        sqlx::query(
            "INSERT OR REPLACE INTO forecast_at_round (garden, night, made_at, round, provider, issued, low, spread,
                 feed_low, lead_hours, cloud, wind_10m, clear_calm, sky, readings)
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )
        .bind(garden)
        .bind(row.night.to_string())
        .bind(row.made_at.timestamp())
        .bind(row.round.word())
        .bind(&row.provider)
        .bind(row.issued.map(|at| at.timestamp()))
        .bind(row.low.mean.0)
        .bind(row.low.spread.0)
        .bind(row.feed_low.map(|low| low.0))
        .bind(row.lead_hours)
        .bind(row.cloud)
        .bind(row.wind_10m.0)
        .bind(row.clear_calm)
        .bind(row.sky().word())
        .bind(i64::from(row.readings))
        .execute(&mut **to)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(())
    }

    /// What a garden's rounds foretold of the nights from one to another, both included, in order of night and time.
    pub async fn foretold(&self, garden: &str, from: NightOf, to: NightOf) -> Result<Vec<ForecastAtRound>, StoreFault> {
        let rows = sqlx::query(
            "SELECT * FROM forecast_at_round WHERE garden = ? AND night BETWEEN ? AND ? ORDER BY night, made_at, round",
        )
        .bind(garden)
        .bind(from.to_string())
        .bind(to.to_string())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.one_foretold(row)).collect()
    }

    fn one_foretold(&self, row: &SqliteRow) -> Result<ForecastAtRound, StoreFault> {
        let round = self.text(row, "round")?;
        let readings = self.number(row, "readings")?;
        Ok(ForecastAtRound {
            night: self.night(row)?,
            made_at: self.time(row, "made_at")?,
            round: RoundKind::from_word(&round).ok_or_else(|| self.unreadable("the kind of a round", &round))?,
            provider: self.optional_text(row, "provider")?,
            issued: self.optional_time(row, "issued")?,
            low: Estimate { mean: Celsius(self.real(row, "low")?), spread: Kelvins(self.real(row, "spread")?) },
            feed_low: self.optional_real(row, "feed_low")?.map(Celsius),
            lead_hours: self.real(row, "lead_hours")?,
            cloud: self.real(row, "cloud")?,
            wind_10m: MetresPerSecond(self.real(row, "wind_10m")?),
            clear_calm: self.real(row, "clear_calm")?,
            readings: u32::try_from(readings).map_err(|error| self.unreadable("a number of readings", error))?,
        })
    }

    pub(super) fn real(&self, row: &SqliteRow, column: &'static str) -> Result<f64, StoreFault> {
        row.try_get(column).map_err(|error| self.unreadable(column, error))
    }

    pub(super) fn optional_real(&self, row: &SqliteRow, column: &'static str) -> Result<Option<f64>, StoreFault> {
        row.try_get(column).map_err(|error| self.unreadable(column, error))
    }
}
