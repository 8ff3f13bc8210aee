//! Mail that is still to be sent, for when nothing can be written: it is read without a claim.

use super::{OutboxRow, Store, StoreFault};
use chrono::{DateTime, Utc};
use sqlx::Row;

/// A mail that may be sent now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OpenMail {
    pub message_id: String,
    pub recipient: String,
    pub envelope_from: String,
    pub bytes: Vec<u8>,
    pub expires: DateTime<Utc>,
}

impl OpenMail {
    pub fn of(row: &OutboxRow) -> OpenMail {
        OpenMail {
            message_id: row.message_id.clone(),
            recipient: row.recipient.clone(),
            envelope_from: row.envelope_from.clone(),
            bytes: row.bytes.clone(),
            expires: row.expires,
        }
    }
}

impl Store {
    /// The mail that is due, of use, and held by nobody, nearest its end first.
    pub async fn open_mail(&self, now: DateTime<Utc>) -> Result<Vec<OpenMail>, StoreFault> {
        let rows = sqlx::query(
            "SELECT message_id, recipient, envelope_from, bytes, expires FROM outbox
             WHERE state IN ('waiting', 'leased', 'unknown') AND expires > ?1
               AND CASE state WHEN 'leased' THEN lease_until <= ?1 ELSE due <= ?1 END
             ORDER BY expires, key",
        )
        .bind(now.timestamp())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        let mails = rows.iter().map(|row| {
            Ok(OpenMail {
                message_id: self.text(row, "message_id")?,
                recipient: self.text(row, "recipient")?,
                envelope_from: self.text(row, "envelope_from")?,
                bytes: row.try_get("bytes").map_err(|error| self.unreadable("a mail", error))?,
                expires: self.time(row, "expires")?,
            })
        });
        mails.collect()
    }

    /// Writes down that a mail went out while nothing could be written. False where there is none of that Message-ID
    /// left to be sent.
    pub async fn record_sent(&self, message_id: &str, answer: &str) -> Result<bool, StoreFault> {
        let done = sqlx::query(
            "UPDATE outbox SET state = 'sent', last_answer = ?2, owner = NULL, lease_until = NULL, tries = tries + 1
             WHERE message_id = ?1 AND state IN ('waiting', 'leased', 'unknown')",
        )
        .bind(message_id)
        .bind(answer)
        .execute(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(done.rows_affected() > 0)
    }
}
