//! The last forecast of each feed, and where a feed keeps a garden's grid cell.

use super::{Store, StoreFault};
use crate::weather::Forecast;
use chrono::{DateTime, Utc};

/// A forecast with what its server said about asking again.
#[derive(Clone, Debug, PartialEq)]
pub struct ForecastRow {
    pub forecast: Forecast,
    /// The server's mark of this version, sent back with the next request.
    pub etag: Option<String>,
    /// The server's own text of when it changed, sent back unchanged.
    pub last_modified: Option<String>,
    /// Before this, the server does not want to be asked again.
    pub expires: Option<DateTime<Utc>>,
}

/// Where a feed keeps a garden's grid cell, and when it said so.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GridAddress {
    pub address: String,
    pub looked_up: DateTime<Utc>,
}

impl Store {
    /// Keeps a forecast in place of the feed's last one.
    pub async fn keep_forecast(&self, garden: &str, feed: &str, row: &ForecastRow) -> Result<(), StoreFault> {
        let document = serde_json::to_string(&row.forecast).map_err(|error| self.unreadable("a forecast", error))?;
        sqlx::query(
            "INSERT OR REPLACE INTO forecasts
                 (garden, feed, provider, document, fetched, issued, etag, last_modified, expires)
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )
        .bind(garden)
        .bind(feed)
        .bind(row.forecast.provider.key())
        .bind(document)
        .bind(row.forecast.fetched.timestamp())
        .bind(row.forecast.issued.map(|at| at.timestamp()))
        .bind(&row.etag)
        .bind(&row.last_modified)
        .bind(row.expires.map(|at| at.timestamp()))
        .execute(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(())
    }

    /// The feed's last forecast, however old. One that can no longer be read, say after an upgrade, is a fault and
    /// not an absence: the next fetch replaces it.
    pub async fn last_forecast(&self, garden: &str, feed: &str) -> Result<Option<ForecastRow>, StoreFault> {
        let row =
            sqlx::query("SELECT document, etag, last_modified, expires FROM forecasts WHERE garden = ? AND feed = ?")
                .bind(garden)
                .bind(feed)
                .fetch_optional(&self.pool)
                .await
                .map_err(|error| self.fault(error))?;
        let Some(row) = row else { return Ok(None) };
        let forecast = serde_json::from_str(&self.text(&row, "document")?)
            .map_err(|error| self.unreadable("a forecast", error))?;
        Ok(Some(ForecastRow {
            forecast,
            etag: self.optional_text(&row, "etag")?,
            last_modified: self.optional_text(&row, "last_modified")?,
            expires: self.optional_time(&row, "expires")?,
        }))
    }

    /// The last forecast of each feed that a garden ever had, the newest first; what can no longer be read is left out.
    pub async fn forecasts(&self, garden: &str) -> Result<Vec<Forecast>, StoreFault> {
        let rows = sqlx::query("SELECT document FROM forecasts WHERE garden = ? ORDER BY fetched DESC, feed")
            .bind(garden)
            .fetch_all(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        let documents: Vec<String> = rows.iter().map(|row| self.text(row, "document")).collect::<Result<_, _>>()?;
        Ok(documents.iter().filter_map(|document| serde_json::from_str(document).ok()).collect())
    }

    /// Keeps until when providers, by their origin, want to be left alone; what is past is forgotten.
    pub async fn keep_silences(
        &self,
        silences: &[(String, DateTime<Utc>)],
        now: DateTime<Utc>,
    ) -> Result<(), StoreFault> {
        let mut transaction = self.begin().await?;
        let past = sqlx::query("DELETE FROM silences WHERE until <= ?").bind(now.timestamp());
        past.execute(&mut *transaction).await.map_err(|error| self.fault(error))?;
        for (origin, until) in silences {
            sqlx::query("INSERT OR REPLACE INTO silences (origin, until) VALUES (?, ?)")
                .bind(origin)
                .bind(until.timestamp())
                .execute(&mut *transaction)
                .await
                .map_err(|error| self.fault(error))?;
        }
        transaction.commit().await.map_err(|error| self.fault(error))
    }

    /// As they were kept, those that still hold.
    pub async fn silences(&self, now: DateTime<Utc>) -> Result<Vec<(String, DateTime<Utc>)>, StoreFault> {
        let rows = sqlx::query("SELECT origin, until FROM silences WHERE until > ? ORDER BY origin")
            .bind(now.timestamp())
            .fetch_all(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| Ok((self.text(row, "origin")?, self.time(row, "until")?))).collect()
    }

    /// Keeps where a feed has a garden's grid cell.
    pub async fn keep_grid_address(
        &self,
        garden: &str,
        feed: &str,
        address: &str,
        looked_up: DateTime<Utc>,
    ) -> Result<(), StoreFault> {
        sqlx::query("INSERT OR REPLACE INTO grid_addresses (garden, feed, address, looked_up) VALUES (?, ?, ?, ?)")
            .bind(garden)
            .bind(feed)
            .bind(address)
            .bind(looked_up.timestamp())
            .execute(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        Ok(())
    }

    /// Where a feed has a garden's grid cell, if it was ever asked.
    pub async fn grid_address(&self, garden: &str, feed: &str) -> Result<Option<GridAddress>, StoreFault> {
        let row = sqlx::query("SELECT address, looked_up FROM grid_addresses WHERE garden = ? AND feed = ?")
            .bind(garden)
            .bind(feed)
            .fetch_optional(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        row.map(|row| {
            Ok(GridAddress { address: self.text(&row, "address")?, looked_up: self.time(&row, "looked_up")? })
        })
        .transpose()
    }
}
