//! What went wrong with telling people: mail that never arrived, and rounds that nobody made. It is kept for whoever
//! asks after the health of the service, and until a manager was told.

use super::{Store, StoreFault};
use crate::zone::NightOf;
use chrono::{DateTime, Utc};
use sqlx::sqlite::SqliteRow;
use sqlx::{Sqlite, Transaction};

/// One thing that a garden's people were not told, or not in time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    pub garden: String,
    pub night: NightOf,
    /// When it was found.
    pub at: DateTime<Utc>,
    pub what: TroubleKind,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TroubleKind {
    NotReached {
        /// Of the mail, unique in this store.
        key: String,
        recipient: String,
        /// Of the mail, such as `list`.
        kind: String,
        /// Refused for good, rather than not taken by anybody in time.
        refused: bool,
        /// A try ended so that it may have arrived all the same.
        maybe_delivered: bool,
        /// The server's last words.
        answer: Option<String>,
        /// Who was told instead; empty where nobody was, or is yet to be.
        told_instead: Vec<String>,
    },
    /// A round whose advice was of no more use when it could have been made.
    Missed {
        /// Of the round, such as `afternoon`.
        kind: String,
        due: DateTime<Utc>,
    },
}

/// Both kinds, in one shape.
const TROUBLES: &str = "
    SELECT * FROM (
        SELECT garden, night, ended_at AS at, key, recipient, kind, state = 'refused' AS refused, maybe_delivered,
               last_answer, escalated_to, NULL AS due, told_in
        FROM outbox WHERE state IN ('refused', 'expired') AND ended_at >= ?1
        UNION ALL
        SELECT garden, night, finished_at, NULL, NULL, kind, 0, 0, NULL, NULL, due, told_in
        FROM rounds WHERE state = 'missed' AND finished_at >= ?1
          -- Before the first round that was ever made nobody was promised one.
          AND EXISTS (SELECT 1 FROM rounds AS made
                      WHERE made.garden = rounds.garden AND made.state = 'done' AND made.due < rounds.due))";

impl Store {
    /// Everything that went wrong since an instant, the oldest first, told or not.
    pub async fn troubles(&self, since: DateTime<Utc>) -> Result<Vec<Trouble>, StoreFault> {
        let question = format!("{TROUBLES} ORDER BY at, night, key, due");
        let rows = sqlx::query(sqlx::AssertSqlSafe(question)).bind(since.timestamp()).fetch_all(&self.pool).await;
        rows.map_err(|error| self.fault(error))?.iter().map(|row| self.trouble(row)).collect()
    }

    /// Those of a garden since an instant of which no manager was told: in no mail yet, or in one that failed as well.
    pub async fn untold(&self, garden: &str, since: DateTime<Utc>) -> Result<Vec<Trouble>, StoreFault> {
        let question = format!(
            // The plus keeps it off the index of all mails of the garden, of which the failed ones are few.
            "{TROUBLES} AS trouble
             WHERE +garden = ?2 AND coalesce(told_in, '-') <> ''
               AND NOT EXISTS (SELECT 1 FROM outbox WHERE outbox.key = trouble.told_in
                               AND outbox.state NOT IN ('refused', 'expired', 'superseded'))
             ORDER BY at, night, key, due"
        );
        let rows =
            sqlx::query(sqlx::AssertSqlSafe(question)).bind(since.timestamp()).bind(garden).fetch_all(&self.pool).await;
        rows.map_err(|error| self.fault(error))?.iter().map(|row| self.trouble(row)).collect()
    }

    /// Notes that a mail tells a manager of these.
    pub(super) async fn tell(
        &self,
        to: &mut Transaction<'_, Sqlite>,
        troubles: &[Trouble],
        letter: &str,
    ) -> Result<(), StoreFault> {
        for trouble in troubles {
            let noted = match &trouble.what {
                TroubleKind::NotReached { key, .. } => {
                    sqlx::query("UPDATE outbox SET told_in = ? WHERE key = ?").bind(letter).bind(key)
                }
                TroubleKind::Missed { kind, due } => {
                    sqlx::query("UPDATE rounds SET told_in = ? WHERE garden = ? AND kind = ? AND due = ?")
                        .bind(letter)
                        .bind(&trouble.garden)
                        .bind(kind)
                        .bind(due.timestamp())
                }
            };
            noted.execute(&mut **to).await.map_err(|error| self.fault(error))?;
        }
        Ok(())
    }

    fn trouble(&self, row: &SqliteRow) -> Result<Trouble, StoreFault> {
        let kind = self.text(row, "kind")?;
        let what = match self.optional_text(row, "key")? {
            Some(key) => {
                let told_instead = self.optional_text(row, "escalated_to")?.unwrap_or_default();
                TroubleKind::NotReached {
                    key,
                    recipient: self.text(row, "recipient")?,
                    kind,
                    refused: self.number(row, "refused")? != 0,
                    maybe_delivered: self.number(row, "maybe_delivered")? != 0,
                    answer: self.optional_text(row, "last_answer")?,
                    told_instead: told_instead.split(',').filter(|one| !one.is_empty()).map(str::to_string).collect(),
                }
            }
            None => TroubleKind::Missed { kind, due: self.time(row, "due")? },
        };
        Ok(Trouble { garden: self.text(row, "garden")?, night: self.night(row)?, at: self.time(row, "at")?, what })
    }
}
