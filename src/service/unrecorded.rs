//! Mail that goes out although nothing can be written down, because the disk is full, broken or read-only.
//!
//! Nothing else is sent before it is in the store. Here a warning would be lost for the sake of its record, so the
//! record is kept in memory instead: what went out is not sent again while this process lives, and is written down as
//! soon as the store takes it. After a restart in between, or when the round is made again once there is room, people
//! may hear a second time; that is the better of the two faults. Refusals and last tries are logged, not escalated.

use super::clock::Clock;
use super::mail::{Answer, Mailer, Outgoing};
use super::store::{OpenMail, OutboxRow, Store};
use chrono::{DateTime, Duration, Utc};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// What is known of mail that the store could not take.
#[derive(Debug, Default)]
pub struct Unrecorded {
    held: Mutex<Held>,
}

#[derive(Debug, Default)]
struct Held {
    /// By Message-ID: one text to one person.
    mail: BTreeMap<String, HeldMail>,
    /// Rounds whose messages are among them, in the words of whoever made them.
    rounds: BTreeSet<String>,
}

#[derive(Debug)]
struct HeldMail {
    mail: OpenMail,
    state: State,
    tries: i32,
    /// The store has it too.
    is_stored: bool,
}

#[derive(Debug)]
enum State {
    Waiting { due: DateTime<Utc> },
    Sent { answer: String },
    Refused,
}

/// After the first try of a mail; after the second twice as long, and so on up to a quarter of an hour. Its own
/// schedule of waits is in the store, which cannot be written.
const AGAIN: Duration = Duration::minutes(1);
const MOST_WAITS: i32 = 15;

impl Unrecorded {
    /// Takes the messages of a round that could not be written down. False where that round was taken before: it is
    /// made again and again as long as the disk refuses, and people are told once.
    pub fn take(&self, round: &str, messages: &[OutboxRow], now: DateTime<Utc>) -> bool {
        let mut held = self.held();
        if !held.rounds.insert(round.to_string()) {
            return false;
        }
        for message in messages {
            let mail = OpenMail::of(message);
            let state = State::Waiting { due: now };
            held.mail.entry(mail.message_id.clone()).or_insert(HeldMail { mail, state, tries: 0, is_stored: false });
        }
        true
    }

    /// Whether a round's messages were taken.
    pub fn has_taken(&self, round: &str) -> bool {
        self.held().rounds.contains(round)
    }

    /// Whether something waits here to be sent.
    pub fn is_waiting(&self) -> bool {
        self.held().mail.values().any(|held| matches!(held.state, State::Waiting { .. }))
    }

    /// Leaves to the store what it holds to be sent, for it takes writing again.
    pub fn leave_to_the_store(&self) {
        self.held().mail.retain(|_, held| !held.is_stored || !matches!(held.state, State::Waiting { .. }));
    }

    /// Sends what is due, of what was taken and of what the store still holds to be sent. Gives how many were sent.
    pub async fn deliver(&self, store: &Store, mailer: &Mailer, clock: &Clock, go_on: impl Fn() -> bool) -> usize {
        match store.open_mail(clock.now()).await {
            Ok(open) => {
                let (mut held, due) = (self.held(), clock.now());
                for mail in open {
                    let state = State::Waiting { due };
                    let mail = HeldMail { mail, state, tries: 0, is_stored: true };
                    held.mail.entry(mail.mail.message_id.clone()).or_insert(mail);
                }
            }
            Err(fault) => tracing::error!(%fault, "mail that waits in the store cannot even be read"),
        }
        let mut sent = 0;
        while go_on()
            && let Some(mail) = self.next_due(clock.now())
        {
            let left = (mail.expires - clock.now()).to_std().unwrap_or_default();
            let outgoing = Outgoing {
                message_id: &mail.message_id,
                envelope_from: &mail.envelope_from,
                recipient: &mail.recipient,
                bytes: &mail.bytes,
            };
            let answer = mailer.send(outgoing, left).await;
            tracing::warn!(recipient = mail.recipient, ?answer, "mail tried without a record: the disk takes none");
            let Some(tries) = self.tried(&mail.message_id) else { break };
            let due = clock.now() + AGAIN * tries.min(MOST_WAITS);
            let (state, goes_on) = match answer {
                Answer::Sent(answer) => (State::Sent { answer }, true),
                Answer::Refused(_) => (State::Refused, true),
                Answer::TryLater(_) | Answer::Unknown(_) => (State::Waiting { due }, true),
                Answer::Unreachable(_) | Answer::InstallationFault(_) => (State::Waiting { due }, false),
            };
            sent += usize::from(matches!(state, State::Sent { .. }));
            if let Some(held) = self.held().mail.get_mut(&mail.message_id) {
                held.state = state;
            }
            if !goes_on {
                break;
            }
        }
        mailer.rest().await;
        sent
    }

    /// Writes down what went out, where the store has it to be sent and takes writing again, and forgets what is past.
    pub async fn record(&self, store: &Store, now: DateTime<Utc>) {
        for (message_id, answer) in self.sent() {
            match store.record_sent(&message_id, &answer).await {
                Ok(true) => {
                    self.held().mail.remove(&message_id);
                }
                // It may still come into the store, when its round is made again.
                Ok(false) => {}
                Err(fault) => {
                    tracing::debug!(%fault, "what went out cannot be written down yet");
                    return;
                }
            }
        }
        let mut held = self.held();
        held.mail.retain(|_, held| {
            let (is_of_use, recipient) = (held.mail.expires > now, &held.mail.recipient);
            if !is_of_use && matches!(held.state, State::Waiting { .. }) {
                tracing::error!(recipient, "a mail without a record could not be sent in time");
            }
            is_of_use
        });
        if held.mail.is_empty() {
            held.rounds.clear();
        }
    }

    /// Message-ID and answer of what went out.
    fn sent(&self) -> Vec<(String, String)> {
        let held = self.held();
        let sent = held.mail.iter().filter_map(|(id, held)| match &held.state {
            State::Sent { answer } => Some((id.clone(), answer.clone())),
            State::Waiting { .. } | State::Refused => None,
        });
        sent.collect()
    }

    /// Counts a try.
    fn tried(&self, message_id: &str) -> Option<i32> {
        let mut held = self.held();
        let mail = held.mail.get_mut(message_id)?;
        mail.tries += 1;
        Some(mail.tries)
    }

    /// The mail that is due and nearest the end of its use.
    fn next_due(&self, now: DateTime<Utc>) -> Option<OpenMail> {
        let held = self.held();
        let due = held
            .mail
            .values()
            .filter(|held| held.mail.expires > now && matches!(held.state, State::Waiting { due } if due <= now));
        due.map(|held| &held.mail).min_by_key(|mail| mail.expires).cloned()
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        // Each change of it is whole, whatever panicked elsewhere.
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
