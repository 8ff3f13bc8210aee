//! What thermometers said. Rows are added and never changed: a slip is answered by a second reading.

use super::{Store, StoreFault};
use crate::units::Celsius;
use chrono::{DateTime, Utc};
use sqlx::Row;

/// One reading of a thermometer.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingRow {
    pub garden: String,
    /// The bed it was read at; none for the garden's own thermometer.
    pub bed: Option<String>,
    pub at: DateTime<Utc>,
    pub entered_at: DateTime<Utc>,
    /// Within [`crate::units::READING`]; the caller has checked it.
    pub temperature: Celsius,
    pub dew_point: Option<Celsius>,
    /// The text as it was typed, for whoever doubts the number.
    pub as_typed: String,
}

impl Store {
    /// Adds a reading.
    pub async fn add_reading(&self, reading: &ReadingRow) -> Result<(), StoreFault> {
        sqlx::query(
            "INSERT INTO readings (garden, bed, at, entered_at, celsius, dew_point_celsius, as_typed)
             VALUES (?, ?, ?, ?, ?, ?, ?)",
        )
        .bind(&reading.garden)
        .bind(&reading.bed)
        .bind(reading.at.timestamp())
        .bind(reading.entered_at.timestamp())
        .bind(reading.temperature.0)
        .bind(reading.dew_point.map(|dew_point| dew_point.0))
        .bind(&reading.as_typed)
        .execute(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(())
    }

    /// A garden's readings within an interval, both ends included, in order of time.
    pub async fn readings(
        &self,
        garden: &str,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<ReadingRow>, StoreFault> {
        let rows = sqlx::query(
            "SELECT garden, bed, at, entered_at, celsius, dew_point_celsius, as_typed FROM readings
             WHERE garden = ? AND at BETWEEN ? AND ? ORDER BY at, id",
        )
        .bind(garden)
        .bind(from.timestamp())
        .bind(to.timestamp())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter()
            .map(|row| {
                let dew_point: Option<f64> =
                    row.try_get("dew_point_celsius").map_err(|error| self.unreadable("a dew point", error))?;
                Ok(ReadingRow {
                    garden: self.text(row, "garden")?,
                    bed: self.optional_text(row, "bed")?,
                    at: self.time(row, "at")?,
                    entered_at: self.time(row, "entered_at")?,
                    temperature: Celsius(row.try_get("celsius").map_err(|error| self.unreadable("a reading", error))?),
                    dew_point: dew_point.map(Celsius),
                    as_typed: self.text(row, "as_typed")?,
                })
            })
            .collect()
    }
}
