//! The outbox's rows: who may try to send which mail, until when, and what became of it.
//!
//! ```text
//! waiting    -> leased, expired, superseded
//! leased     -> sent, waiting, unknown, refused, superseded; when the lease is over: leased again, or expired
//! unknown    -> leased, expired, superseded        an earlier try may have arrived
//! sent, refused, expired, superseded   ends
//! ```
//!
//! A claim adds one to the row's fence, and what an owner writes later names owner and fence: one that was slow to
//! answer never overwrites the result of the one that took over. No transaction is open while mail is sent.

use super::{Store, StoreFault};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, Sqlite, Transaction};

/// A mail to be sent to one person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutboxRow {
    pub recipient: String,
    pub garden: String,
    pub night: NightOf,
    pub kind: String,
    pub revision: u32,
    /// Whether a newer one to the same person about the same night makes this one needless, and the other way round:
    /// true for lists of what to do and for the word that there is nothing to do, false for news of something that
    /// happened.
    pub replaceable: bool,
    pub message_id: String,
    pub envelope_from: String,
    /// The complete message, sent unchanged at every try.
    pub bytes: Vec<u8>,
    pub subject: String,
    /// The message as plain text, for whoever is told in this person's place.
    pub plain: String,
    /// Not before this.
    pub due: DateTime<Utc>,
    /// The end of its useful life: the last minute at which the work can still be done.
    pub expires: DateTime<Utc>,
    /// From when on somebody else is told, where nobody has taken it by then.
    pub others_due: Option<DateTime<Utc>>,
    /// What it tells, as JSON, where a later one is compared with it; the store does not look inside.
    pub told: Option<String>,
    /// The revision of the list that it quotes to somebody who is told in another's place: a newer list to that person
    /// makes it needless.
    pub quotes: Option<u32>,
}

impl OutboxRow {
    /// What makes the row itself: writing it twice is one row.
    pub fn key(&self) -> String {
        outbox_key(&self.recipient, &self.garden, self.night, &self.kind, self.revision)
    }
}

/// The key of a row: what it is about and, last, whom it goes to.
pub fn outbox_key(recipient: &str, garden: &str, night: NightOf, kind: &str, revision: u32) -> String {
    format!("{night} {kind} {revision} {garden} {recipient}")
}

/// A row that its owner may try to send until the lease is over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Claimed {
    pub key: String,
    pub message_id: String,
    pub recipient: String,
    pub envelope_from: String,
    pub bytes: Vec<u8>,
    pub expires: DateTime<Utc>,
    /// This try included.
    pub tries: u32,
    /// An earlier try may have arrived.
    pub maybe_delivered: bool,
    pub owner: String,
    pub lease_until: DateTime<Utc>,
    pub fence: i64,
}

/// What a try came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Settled {
    Sent,
    /// It did not arrive this time.
    Again {
        due: DateTime<Utc>,
    },
    /// It may have arrived.
    MaybeArrived {
        due: DateTime<Utc>,
    },
    Refused {
        at: DateTime<Utc>,
    },
}

/// A mail that somebody else must now be told of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ended {
    pub key: String,
    pub recipient: String,
    pub garden: String,
    pub night: NightOf,
    pub kind: String,
    pub revision: u32,
    /// Not taken by anybody in time, rather than refused for good.
    pub expired: bool,
    /// The end of its useful life.
    pub expires: DateTime<Utc>,
    pub subject: String,
    pub plain: String,
    pub maybe_delivered: bool,
    pub last_answer: Option<String>,
    /// The revision of the list that it is or quotes.
    pub list: Option<u32>,
}

/// The last mail of a kind to a person about a night.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LastMail {
    pub recipient: String,
    /// It was refused or expired.
    pub failed: bool,
    /// As of an [`OutboxRow`].
    pub told: Option<String>,
}

/// No mail is put off longer than this by a clock that is right.
const LONGEST_WAIT: Duration = Duration::hours(1);

/// The revision of the list that a mail is or quotes, null where it is about something else.
macro_rules! list {
    () => {
        "CASE WHEN outbox.replaceable THEN outbox.revision ELSE outbox.quotes END"
    };
}

/// A list in whose place there is a newer one, or a mail that quotes such a list. One that was being tried when the newer
/// one was decided must not arrive behind it, and nobody need hear that it did not: the newer one keeps the promise that
/// somebody is told, and tells a manager whom it did not reach.
macro_rules! outdated {
    () => {
        concat!(
            "EXISTS (SELECT 1 FROM outbox AS newer WHERE newer.garden = outbox.garden AND newer.night = outbox.night
             AND newer.recipient = outbox.recipient AND newer.replaceable AND newer.revision > ",
            list!(),
            ")"
        )
    };
}

impl Store {
    pub(super) async fn queue(&self, to: &mut Transaction<'_, Sqlite>, row: &OutboxRow) -> Result<(), StoreFault> {
        // Tried or not, and also where it may have arrived: an old list must not arrive behind the newer one when its
        // next try is due. The newer one keeps the promise that somebody is told.
        let superseded = sqlx::query(concat!(
            "UPDATE outbox SET state = 'superseded'
             WHERE ? AND recipient = ? AND garden = ? AND night = ? AND state IN ('waiting', 'unknown') AND ",
            list!(),
            " < ?",
        ))
        .bind(row.replaceable)
        .bind(&row.recipient)
        .bind(&row.garden)
        .bind(row.night.to_string())
        .bind(i64::from(row.revision))
        .execute(&mut **to)
        .await;
        superseded.map_err(|error| self.fault(error))?;
        sqlx::query(
            "INSERT INTO outbox (key, recipient, garden, night, kind, revision, replaceable, message_id, envelope_from,
                                 bytes, subject, plain, due, expires, others_due, told, quotes)
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
             ON CONFLICT (key) DO NOTHING",
        )
        .bind(row.key())
        .bind(&row.recipient)
        .bind(&row.garden)
        .bind(row.night.to_string())
        .bind(&row.kind)
        .bind(i64::from(row.revision))
        .bind(row.replaceable)
        .bind(&row.message_id)
        .bind(&row.envelope_from)
        .bind(&row.bytes)
        .bind(&row.subject)
        .bind(&row.plain)
        .bind(row.due.timestamp())
        .bind(row.expires.timestamp())
        .bind(row.others_due.map(|at| at.timestamp()))
        .bind(&row.told)
        .bind(row.quotes)
        .execute(&mut **to)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(())
    }

    /// Claims the row that has to be sent first: of those due and not expired, the one nearest its `expires`. A row
    /// whose lease is over is due as well, and may have arrived; so is one that would be due later than anybody sets
    /// it, for that was a clock that ran ahead. No two claims give the same row at the same time, and none gives a list
    /// in whose place there is a newer one.
    pub async fn claim(&self, now: DateTime<Utc>, owner: &str, lease: Duration) -> Result<Option<Claimed>, StoreFault> {
        let rows = sqlx::query(concat!(
            "UPDATE outbox SET
                 state = 'leased', owner = ?2, lease_until = ?3, fence = fence + 1, tries = tries + 1,
                 maybe_delivered = (maybe_delivered OR state = 'leased')
             WHERE key = (
                 SELECT key FROM outbox
                 WHERE state IN ('waiting', 'leased', 'unknown') AND expires > ?1
                   AND CASE state WHEN 'leased' THEN lease_until ELSE due END NOT BETWEEN ?1 + 1 AND ?4
                   AND NOT ",
            outdated!(),
            "    ORDER BY expires, night, revision, key LIMIT 1)
             RETURNING *",
        ))
        .bind(now.timestamp())
        .bind(owner)
        .bind((now + lease).timestamp())
        .bind((now + LONGEST_WAIT.max(lease)).timestamp())
        // To the end of the answer, which is where the claim is written down: whoever takes the row and goes would not
        // hear that the disk refused it, and would send it again and again.
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.first().map(|row| self.claimed(row)).transpose()
    }

    /// Writes what a try came to. False where the row has another owner by now: the result is then dropped.
    pub async fn settle(&self, claimed: &Claimed, settled: Settled, answer: &str) -> Result<bool, StoreFault> {
        let (state, due, ended, maybe) = match settled {
            Settled::Sent => ("sent", None, None, false),
            Settled::Refused { at } => ("refused", None, Some(at), false),
            Settled::Again { due } => ("waiting", Some(due), None, false),
            Settled::MaybeArrived { due } => ("waiting", Some(due), None, true),
        };
        let done = sqlx::query(concat!(
            "UPDATE outbox SET
                 state = CASE WHEN ?4 <> 'sent' AND ",
            outdated!(),
            "                 THEN 'superseded'
                              WHEN ?4 = 'waiting' AND (maybe_delivered OR ?6) THEN 'unknown' ELSE ?4 END,
                 due = coalesce(?5, due), maybe_delivered = (maybe_delivered OR ?6), last_answer = ?7,
                 ended_at = ?8, owner = NULL, lease_until = NULL
             WHERE key = ?1 AND owner = ?2 AND fence = ?3 AND state = 'leased'",
        ))
        .bind(&claimed.key)
        .bind(&claimed.owner)
        .bind(claimed.fence)
        .bind(state)
        .bind(due.map(|due| due.timestamp()))
        .bind(maybe)
        .bind(answer)
        .bind(ended.map(|at| at.timestamp()))
        .execute(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(done.rows_affected() == 1)
    }

    /// Ends the rows whose useful life is over, and returns them; and those that gave place to a newer one while their
    /// owner was trying them and went. A row that somebody is trying just now is left until its lease is over.
    pub async fn expire_overdue(&self, now: DateTime<Utc>) -> Result<Vec<Ended>, StoreFault> {
        sqlx::query(concat!(
            "UPDATE outbox SET state = 'superseded', owner = NULL, lease_until = NULL
             WHERE state IN ('waiting', 'leased', 'unknown') AND (state <> 'leased' OR lease_until <= ?) AND ",
            outdated!(),
        ))
        .bind(now.timestamp())
        .execute(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        let rows = sqlx::query(
            "UPDATE outbox SET
                 state = 'expired', maybe_delivered = (maybe_delivered OR state = 'leased'),
                 ended_at = ?1, owner = NULL, lease_until = NULL
             WHERE state IN ('waiting', 'leased', 'unknown') AND expires <= ?1
               AND (state <> 'leased' OR lease_until <= ?1)
             RETURNING *",
        )
        .bind(now.timestamp())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.ended(row)).collect()
    }

    /// The mails that were refused or expired and that nobody else was told of yet. They stay in this list, over a
    /// crash too, until [`Store::escalate`].
    pub async fn unescalated(&self) -> Result<Vec<Ended>, StoreFault> {
        let rows = sqlx::query(
            "SELECT * FROM outbox WHERE state IN ('refused', 'expired') AND NOT escalated ORDER BY night, key",
        )
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.ended(row)).collect()
    }

    /// The mails that nobody has taken though their hour comes near, and that nobody else was told of yet. They are
    /// tried on.
    pub async fn not_taken_yet(&self, now: DateTime<Utc>) -> Result<Vec<Ended>, StoreFault> {
        let rows = sqlx::query(concat!(
            "SELECT * FROM outbox WHERE state IN ('waiting', 'leased', 'unknown') AND others_due <= ? AND NOT others_told
             AND NOT ",
            outdated!(),
            " ORDER BY night, key",
        ))
        .bind(now.timestamp())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.ended(row)).collect()
    }

    /// The people for whom a mail about a night waits.
    pub async fn waited_for(&self, garden: &str, night: NightOf) -> Result<Vec<String>, StoreFault> {
        sqlx::query_scalar(
            "SELECT DISTINCT recipient FROM outbox
             WHERE garden = ? AND night = ? AND state IN ('waiting', 'leased', 'unknown')",
        )
        .bind(garden)
        .bind(night.to_string())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))
    }

    /// Queues the mails that tell somebody else of mail that nobody has taken yet, and notes that, in one transaction.
    pub async fn tell_others(&self, of: &[Ended], messages: &[OutboxRow]) -> Result<(), StoreFault> {
        let mut transaction = self.begin().await?;
        for row in of {
            sqlx::query("UPDATE outbox SET others_told = 1 WHERE key = ?")
                .bind(&row.key)
                .execute(&mut *transaction)
                .await
                .map_err(|error| self.fault(error))?;
        }
        for message in messages {
            self.queue(&mut transaction, message).await?;
        }
        transaction.commit().await.map_err(|error| self.fault(error))
    }

    /// Queues the mails that tell somebody else, and marks what they tell of, in one transaction. With no mails:
    /// nobody is left who could be told by mail.
    pub async fn escalate(&self, ended: &[Ended], messages: &[OutboxRow]) -> Result<(), StoreFault> {
        let mut transaction = self.begin().await?;
        let told: Vec<&str> = messages.iter().map(|message| message.recipient.as_str()).collect();
        for row in ended {
            sqlx::query("UPDATE outbox SET escalated = 1, escalated_to = ? WHERE key = ?")
                .bind(told.join(","))
                .bind(&row.key)
                .execute(&mut *transaction)
                .await
                .map_err(|error| self.fault(error))?;
        }
        for message in messages {
            self.queue(&mut transaction, message).await?;
        }
        transaction.commit().await.map_err(|error| self.fault(error))
    }

    /// Gives back the leases of a former life of this owner, at its start: nobody is trying those rows any more, and
    /// each may have arrived.
    pub async fn recover_leases(&self, owner: &str, now: DateTime<Utc>) -> Result<u64, StoreFault> {
        // The three states are those of the index: with one alone every mail that was ever sent would be read.
        let done = sqlx::query(
            "UPDATE outbox SET state = 'unknown', maybe_delivered = 1, due = ?, owner = NULL, lease_until = NULL
             WHERE state IN ('waiting', 'leased', 'unknown') AND state = 'leased' AND owner = ?",
        )
        .bind(now.timestamp())
        .bind(owner)
        .execute(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(done.rows_affected())
    }

    /// How many rows are due and not yet sent.
    pub async fn overdue(&self, now: DateTime<Utc>) -> Result<u64, StoreFault> {
        let count: i64 = sqlx::query_scalar(
            "SELECT count(*) FROM outbox WHERE state IN ('waiting', 'leased', 'unknown') AND due <= ?",
        )
        .bind(now.timestamp())
        .fetch_one(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        u64::try_from(count).map_err(|error| self.unreadable("a count", error))
    }

    /// The last mail of a kind about a night, for each person to whom there was one.
    pub async fn last_mails(&self, garden: &str, night: NightOf, kind: &str) -> Result<Vec<LastMail>, StoreFault> {
        let rows = sqlx::query(
            "SELECT recipient, state IN ('refused', 'expired') AS failed, told, max(revision) FROM outbox
             WHERE garden = ? AND night = ? AND kind = ? GROUP BY recipient",
        )
        .bind(garden)
        .bind(night.to_string())
        .bind(kind)
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        let mails = rows.iter().map(|row| {
            Ok(LastMail {
                recipient: self.text(row, "recipient")?,
                failed: self.number(row, "failed")? != 0,
                told: self.optional_text(row, "told")?,
            })
        });
        mails.collect()
    }

    /// The people whose last mail about a night, of whatever kind, was refused or expired.
    pub async fn unreached(&self, garden: &str, night: NightOf) -> Result<Vec<String>, StoreFault> {
        sqlx::query_scalar(
            "SELECT recipient FROM outbox AS last WHERE garden = ? AND night = ? AND state IN ('refused', 'expired')
               AND rowid = (SELECT max(rowid) FROM outbox WHERE garden = last.garden AND night = last.night
                            AND recipient = last.recipient)",
        )
        .bind(garden)
        .bind(night.to_string())
        .fetch_all(&self.pool)
        .await
        .map_err(|error| self.fault(error))
    }

    /// The number of the next mail of a kind to a garden about a night, where what was said does not number it.
    pub async fn next_number(&self, garden: &str, night: NightOf, kind: &str) -> Result<u32, StoreFault> {
        let last: i64 = sqlx::query_scalar(
            "SELECT coalesce(max(revision), 0) FROM outbox WHERE garden = ? AND night = ? AND kind = ?",
        )
        .bind(garden)
        .bind(night.to_string())
        .bind(kind)
        .fetch_one(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        u32::try_from(last + 1).map_err(|error| self.unreadable("revision", error))
    }

    /// The Message-ID of the first mail about a night that a person was sent or will be; later ones answer it.
    pub async fn thread_start(
        &self,
        garden: &str,
        night: NightOf,
        recipient: &str,
    ) -> Result<Option<String>, StoreFault> {
        sqlx::query_scalar(
            "SELECT message_id FROM outbox
             WHERE garden = ? AND night = ? AND recipient = ? AND state NOT IN ('superseded', 'refused', 'expired')
             ORDER BY revision, rowid LIMIT 1",
        )
        .bind(garden)
        .bind(night.to_string())
        .bind(recipient)
        .fetch_optional(&self.pool)
        .await
        .map_err(|error| self.fault(error))
    }

    fn claimed(&self, row: &SqliteRow) -> Result<Claimed, StoreFault> {
        Ok(Claimed {
            key: self.text(row, "key")?,
            message_id: self.text(row, "message_id")?,
            recipient: self.text(row, "recipient")?,
            envelope_from: self.text(row, "envelope_from")?,
            bytes: row.try_get("bytes").map_err(|error| self.unreadable("a mail", error))?,
            expires: self.time(row, "expires")?,
            tries: u32::try_from(self.number(row, "tries")?).unwrap_or(u32::MAX),
            maybe_delivered: self.number(row, "maybe_delivered")? != 0,
            owner: self.text(row, "owner")?,
            lease_until: self.time(row, "lease_until")?,
            fence: self.number(row, "fence")?,
        })
    }

    fn ended(&self, row: &SqliteRow) -> Result<Ended, StoreFault> {
        Ok(Ended {
            key: self.text(row, "key")?,
            recipient: self.text(row, "recipient")?,
            garden: self.text(row, "garden")?,
            night: self.night(row)?,
            kind: self.text(row, "kind")?,
            revision: self.revision(row)?,
            expired: self.text(row, "state")? == "expired",
            expires: self.time(row, "expires")?,
            subject: self.text(row, "subject")?,
            plain: self.text(row, "plain")?,
            maybe_delivered: self.number(row, "maybe_delivered")? != 0,
            last_answer: self.optional_text(row, "last_answer")?,
            list: match self.number(row, "replaceable")? {
                0 => row.try_get("quotes").map_err(|error| self.unreadable("the revision of a list", error))?,
                _ => Some(self.revision(row)?),
            },
        })
    }
}
