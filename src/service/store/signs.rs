//! What the store knows of how the service fares: when it last did what, and whose mail has not gone out.

use super::outbox::not_ended;
use super::{Store, StoreFault};
use chrono::{DateTime, Duration, Utc};

/// What became of mail, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MailCounts {
    /// Not sent, and due for longer than was asked, or tried three times: each try puts off when it is due.
    pub overdue: u64,
    /// Refused or expired, and nobody else was told of it yet, or for a day where nobody is left who could be.
    pub untold: u64,
    /// Refused or expired in the time asked, whether somebody was told or not.
    pub failed: u64,
    /// Not sent yet, overdue or not.
    pub open: u64,
}

/// So long mail counts as untold of which nobody can be told by mail.
const UNTOLD: Duration = Duration::hours(24);

impl Store {
    /// When a garden's last round was complete: looked at, decided and written. Of a clock that ran ahead, nothing.
    pub async fn last_complete_round(
        &self,
        garden: &str,
        now: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>, StoreFault> {
        self.newest(
            "SELECT max(finished_at) AS newest FROM rounds WHERE garden = ?1 AND state = 'done' AND finished_at <= ?2",
            garden,
            now,
        )
        .await
    }

    /// When the last round of any garden was complete.
    pub async fn newest_complete_round(&self, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, StoreFault> {
        let question =
            "SELECT max(finished_at) AS newest FROM rounds WHERE ?1 = '' AND state = 'done' AND finished_at <= ?2";
        self.newest(question, "", now).await
    }

    /// When a garden's newest good forecast was issued, or fetched where its issue is not known or not to be believed.
    pub async fn newest_forecast(&self, garden: &str, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, StoreFault> {
        self.newest(
            "SELECT max(min(coalesce(issued, fetched), fetched)) AS newest FROM forecasts
             WHERE garden = ?1 AND fetched <= ?2",
            garden,
            now,
        )
        .await
    }

    /// The latest instant that was ever written down, of whichever garden: a clock that shows less was set back.
    pub async fn latest_instant(&self) -> Result<Option<DateTime<Utc>>, StoreFault> {
        self.newest(
            "SELECT max(at) AS newest FROM (
                 SELECT max(finished_at) AS at FROM rounds UNION ALL SELECT max(said_at) FROM said
                 UNION ALL SELECT max(fetched) FROM forecasts)
             WHERE ?1 = '' AND ?2 IS NOT NULL",
            "",
            DateTime::UNIX_EPOCH,
        )
        .await
    }

    /// Mail that has not gone out. `patience` is how long mail may be due before it counts as overdue; `since` bounds
    /// the failed ones by the end of their useful life.
    pub async fn mail_counts(
        &self,
        now: DateTime<Utc>,
        patience: Duration,
        since: DateTime<Utc>,
    ) -> Result<MailCounts, StoreFault> {
        // Each count along an index of the few rows that it counts: a state stands behind the whole mail, so that to read
        // all of them is to read every mail that was ever sent.
        let row = sqlx::query(concat!(
            "SELECT (SELECT count(*) FROM outbox WHERE ",
            not_ended!(),
            ") AS open,
                    (SELECT count(*) FROM outbox WHERE ",
            not_ended!(),
            " AND (tries > 2 OR due <= ?1)) AS overdue,
                    (SELECT count(*) FROM outbox WHERE state IN ('refused', 'expired') AND NOT escalated)
                  + (SELECT count(*) FROM outbox WHERE state IN ('refused', 'expired') AND escalated
                        AND coalesce(escalated_to, '') = '' AND ended_at > ?3) AS untold,
                    (SELECT count(*) FROM outbox WHERE state IN ('refused', 'expired') AND expires >= ?2) AS failed",
        ))
        .bind((now - patience).timestamp())
        .bind(since.timestamp())
        .bind((now - UNTOLD).timestamp())
        .fetch_one(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        let count = |column| u64::try_from(self.number(&row, column)?).map_err(|error| self.unreadable(column, error));
        Ok(MailCounts {
            open: count("open")?,
            overdue: count("overdue")?,
            untold: count("untold")?,
            failed: count("failed")?,
        })
    }

    async fn newest(
        &self,
        question: &'static str,
        garden: &str,
        now: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>, StoreFault> {
        let row = sqlx::query(question)
            .bind(garden)
            .bind(now.timestamp())
            .fetch_one(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        self.optional_time(&row, "newest")
    }
}
