//! What was decided: what a garden was told about a night, which rounds took place, and the mail that follows.

use super::{OutboxRow, Store, StoreFault, Trouble};
use crate::journal::event::ForecastAtRound;
use crate::service::failpoint;
use crate::zone::NightOf;
use chrono::{DateTime, Utc};
use sqlx::sqlite::SqliteRow;
use sqlx::{Sqlite, Transaction};

/// What a garden was told about a night.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SaidRow {
    pub garden: String,
    pub night: NightOf,
    /// 1 for the first of the night.
    pub revision: u32,
    /// JSON text; the store does not look inside.
    pub document: String,
    pub said_at: DateTime<Utc>,
}

/// What became of a planned look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RoundState {
    /// It was found due and is not made yet.
    Due,
    Done,
    /// It was due while nobody ran, and its advice was no longer of use.
    Missed,
    /// Several were due at once and one look stood for all.
    Merged,
}

impl RoundState {
    fn key(self) -> &'static str {
        match self {
            RoundState::Due => "due",
            RoundState::Done => "done",
            RoundState::Missed => "missed",
            RoundState::Merged => "merged",
        }
    }

    fn from_key(key: &str) -> Option<RoundState> {
        let all = [RoundState::Due, RoundState::Done, RoundState::Missed, RoundState::Merged];
        all.into_iter().find(|state| state.key() == key)
    }
}

/// One planned look and what became of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RoundRow {
    pub garden: String,
    pub kind: String,
    pub due: DateTime<Utc>,
    pub night: NightOf,
    pub state: RoundState,
    /// Of a due one: when it was found.
    pub finished_at: DateTime<Utc>,
    /// How long after `due` it finished.
    pub late_seconds: i64,
}

impl Store {
    /// Writes a decision whole or not at all: what is said, the round it came from, and its mail.
    ///
    /// Mail that is already in the outbox stays as it is. Older mail to the same person about the same night that has
    /// certainly not arrived is superseded, where both may replace one another.
    ///
    /// Refuses a revision that was said before with [`StoreFault::AlreadySaid`]: two daemons decided at once, and
    /// the second one's list may differ.
    pub async fn decide(
        &self,
        said: Option<SaidRow>,
        round: RoundRow,
        messages: &[OutboxRow],
    ) -> Result<(), StoreFault> {
        self.decide_and_tell(said, round, messages, None, &[]).await
    }

    /// As [`Store::decide`], and notes in the same transaction that one of the messages, by its key, tells a manager
    /// of troubles, and what the round foretold.
    pub async fn decide_and_tell(
        &self,
        said: Option<SaidRow>,
        round: RoundRow,
        messages: &[OutboxRow],
        told: Option<(&[Trouble], &str)>,
        foretold: &[ForecastAtRound],
    ) -> Result<(), StoreFault> {
        let mut transaction = self.begin().await?;
        if let Some(said) = said {
            self.insert_said(&mut transaction, &said).await?;
        }
        failpoint::here("said-written");
        self.insert_round(&mut transaction, &round).await?;
        for message in messages {
            self.queue(&mut transaction, message).await?;
        }
        if let Some((troubles, letter)) = told {
            self.tell(&mut transaction, troubles, letter).await?;
        }
        for foretold in foretold {
            self.insert_foretold(&mut transaction, &round.garden, foretold).await?;
        }
        failpoint::here("decision-written");
        transaction.commit().await.map_err(|error| self.fault(error))?;
        failpoint::here("decision-committed");
        Ok(())
    }

    /// The last thing a garden was told about a night.
    pub async fn last_said(&self, garden: &str, night: NightOf) -> Result<Option<SaidRow>, StoreFault> {
        Ok(self.said(garden, night).await?.pop())
    }

    /// Everything a garden was told about a night, the first thing first. A row that is damaged has an empty document:
    /// it must not keep the garden from hearing anything else.
    pub async fn said(&self, garden: &str, night: NightOf) -> Result<Vec<SaidRow>, StoreFault> {
        let rows = sqlx::query("SELECT * FROM said WHERE garden = ? AND night = ? ORDER BY revision")
            .bind(garden)
            .bind(night.to_string())
            .fetch_all(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.one_said(row)).collect()
    }

    /// Everything a garden was told about the nights from one to another, both included, in order of night and
    /// revision.
    pub async fn said_between(&self, garden: &str, from: NightOf, to: NightOf) -> Result<Vec<SaidRow>, StoreFault> {
        let rows =
            sqlx::query("SELECT * FROM said WHERE garden = ? AND night BETWEEN ? AND ? ORDER BY night, revision")
                .bind(garden)
                .bind(from.to_string())
                .bind(to.to_string())
                .fetch_all(&self.pool)
                .await
                .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.one_said(row)).collect()
    }

    /// The words of all mornings after, which say what they left on the beds, in order of night and revision.
    pub async fn said_of_mornings(&self, garden: &str) -> Result<Vec<SaidRow>, StoreFault> {
        let question =
            "SELECT * FROM said WHERE garden = ? AND instr(document, '\"kept\":') > 0 ORDER BY night, revision";
        let rows = sqlx::query(question).bind(garden).fetch_all(&self.pool).await.map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.one_said(row)).collect()
    }

    fn one_said(&self, row: &SqliteRow) -> Result<SaidRow, StoreFault> {
        let garden = self.text(row, "garden")?;
        let night = self.night(row)?;
        let text = self.text(row, "document").and_then(|text| Ok((text, self.time(row, "said_at")?)));
        // Its revision is taken all the same.
        let (document, said_at) = text.unwrap_or_else(|fault| {
            tracing::error!(garden, %night, %fault, "what was said cannot be read, and counts as not said");
            (String::new(), DateTime::UNIX_EPOCH)
        });
        Ok(SaidRow { revision: self.revision(row)?, garden, night, document, said_at })
    }

    /// When a garden last heard anything, of whichever night since `since`: a word whose every mail was refused or expired
    /// was not heard. A row whose time is damaged, or of a clock that ran ahead, counts for nothing.
    pub async fn last_word(
        &self,
        garden: &str,
        since: NightOf,
        now: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>, StoreFault> {
        const MAILS: &str = "SELECT 1 FROM outbox WHERE outbox.garden = said.garden AND outbox.night = said.night
                             AND outbox.revision = said.revision AND kind <> 'not-reached'";
        let question = format!(
            "SELECT said_at FROM said WHERE garden = ? AND night >= ? AND said_at BETWEEN 0 AND ?
             AND (NOT EXISTS ({MAILS}) OR EXISTS ({MAILS} AND state NOT IN ('refused', 'expired')))
             ORDER BY said_at DESC LIMIT 1"
        );
        let row = sqlx::query(sqlx::AssertSqlSafe(question))
            .bind(garden)
            .bind(since.to_string())
            .bind(now.timestamp())
            .fetch_optional(&self.pool)
            .await
            .map_err(|error| self.fault(error))?;
        row.map(|row| self.time(&row, "said_at")).transpose()
    }

    /// Records a round that led to no decision. A round that was done stays done.
    pub async fn record_round(&self, round: &RoundRow) -> Result<(), StoreFault> {
        let mut transaction = self.begin().await?;
        self.insert_round(&mut transaction, round).await?;
        transaction.commit().await.map_err(|error| self.fault(error))
    }

    /// The garden's round with the latest due time, whatever became of it. What was written down after `now` is left
    /// out: that was a clock that ran ahead, and the round is still to come.
    pub async fn last_round(&self, garden: &str, now: DateTime<Utc>) -> Result<Option<RoundRow>, StoreFault> {
        let row = sqlx::query(
            "SELECT * FROM rounds WHERE garden = ?1 AND due <= ?2 AND finished_at <= ?2
             ORDER BY due DESC, kind LIMIT 1",
        )
        .bind(garden)
        .bind(now.timestamp())
        .fetch_optional(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        row.map(|row| self.round(&row)).transpose()
    }

    /// Writes down rounds that were found due, before anything is done about them. What is known of a round already
    /// stays.
    pub async fn note_due(&self, rounds: &[RoundRow]) -> Result<(), StoreFault> {
        let mut transaction = self.begin().await?;
        for round in rounds {
            sqlx::query(
                "INSERT INTO rounds (garden, kind, due, night, state, finished_at, late_seconds)
                 VALUES (?, ?, ?, ?, 'due', ?, ?) ON CONFLICT (garden, kind, due) DO NOTHING",
            )
            .bind(&round.garden)
            .bind(&round.kind)
            .bind(round.due.timestamp())
            .bind(round.night.to_string())
            .bind(round.finished_at.timestamp())
            .bind(round.late_seconds)
            .execute(&mut *transaction)
            .await
            .map_err(|error| self.fault(error))?;
        }
        transaction.commit().await.map_err(|error| self.fault(error))
    }

    /// The rounds of a garden that were found due and not made yet, the oldest first.
    pub async fn noted_due(&self, garden: &str, now: DateTime<Utc>) -> Result<Vec<RoundRow>, StoreFault> {
        let rows =
            sqlx::query("SELECT * FROM rounds WHERE garden = ? AND state = 'due' AND due <= ? ORDER BY due, kind")
                .bind(garden)
                .bind(now.timestamp())
                .fetch_all(&self.pool)
                .await
                .map_err(|error| self.fault(error))?;
        rows.iter().map(|row| self.round(row)).collect()
    }

    fn round(&self, row: &SqliteRow) -> Result<RoundRow, StoreFault> {
        let state = self.text(row, "state")?;
        Ok(RoundRow {
            garden: self.text(row, "garden")?,
            kind: self.text(row, "kind")?,
            due: self.time(row, "due")?,
            night: self.night(row)?,
            state: RoundState::from_key(&state).ok_or_else(|| self.unreadable("a round's state", &state))?,
            finished_at: self.time(row, "finished_at")?,
            late_seconds: self.number(row, "late_seconds")?,
        })
    }

    /// Whether this very round was done, by a clock that ran ahead too.
    pub async fn is_done(&self, garden: &str, kind: &str, due: DateTime<Utc>) -> Result<bool, StoreFault> {
        let done: i64 = sqlx::query_scalar(
            "SELECT count(*) FROM rounds WHERE garden = ? AND kind = ? AND due = ? AND state = 'done'",
        )
        .bind(garden)
        .bind(kind)
        .bind(due.timestamp())
        .fetch_one(&self.pool)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(done > 0)
    }

    async fn insert_said(&self, to: &mut Transaction<'_, Sqlite>, said: &SaidRow) -> Result<(), StoreFault> {
        let done = sqlx::query("INSERT INTO said (garden, night, revision, document, said_at) VALUES (?, ?, ?, ?, ?)")
            .bind(&said.garden)
            .bind(said.night.to_string())
            .bind(i64::from(said.revision))
            .bind(&said.document)
            .bind(said.said_at.timestamp())
            .execute(&mut **to)
            .await;
        match done {
            Ok(_) => Ok(()),
            Err(sqlx::Error::Database(error)) if error.is_unique_violation() => Err(StoreFault::AlreadySaid {
                garden: said.garden.clone(),
                night: said.night.to_string(),
                revision: said.revision,
            }),
            Err(error) => Err(self.fault(error)),
        }
    }

    async fn insert_round(&self, to: &mut Transaction<'_, Sqlite>, round: &RoundRow) -> Result<(), StoreFault> {
        sqlx::query(
            "INSERT INTO rounds (garden, kind, due, night, state, finished_at, late_seconds)
             VALUES (?, ?, ?, ?, ?, ?, ?)
             ON CONFLICT (garden, kind, due) DO UPDATE SET
                 night = excluded.night, state = excluded.state,
                 finished_at = excluded.finished_at, late_seconds = excluded.late_seconds
             WHERE rounds.state <> 'done' OR excluded.state = 'done'",
        )
        .bind(&round.garden)
        .bind(&round.kind)
        .bind(round.due.timestamp())
        .bind(round.night.to_string())
        .bind(round.state.key())
        .bind(round.finished_at.timestamp())
        .bind(round.late_seconds)
        .execute(&mut **to)
        .await
        .map_err(|error| self.fault(error))?;
        Ok(())
    }
}
