//! Mail that was refused or that nobody took in time: somebody else is told, with the list, and a manager hears of it
//! in the next letter too.

use super::post::{Enclosed, Post};
use super::{Daemon, DaemonFault};
use crate::beds::{Garden, Person, Role};
use crate::message::{MissedRound, Quoted, Unreached, not_reached_letter, untold};
use crate::rounds::RoundKind;
use crate::service::store::{Ended, OutboxRow, StoreFault, Trouble, TroubleKind};
use crate::zone::NightOf;
use chrono::Duration;

/// The kind of such a mail.
pub(super) const NOT_REACHED: &str = "not-reached";
/// News that somebody was not told is news for a day, also where the advice is past.
const NEWS: Duration = Duration::hours(24);
/// What is older is in the log and in `Store::troubles`.
const TOLD_WITHIN: Duration = Duration::days(14);

impl Daemon<'_> {
    /// Queues a mail to somebody else for whatever was refused or expired. How many mails that makes.
    pub(super) async fn escalate(&self) -> Result<usize, StoreFault> {
        let ended = self.store.unescalated().await?;
        let mut about: Vec<(String, NightOf)> = ended.iter().map(|row| (row.garden.clone(), row.night)).collect();
        about.sort();
        about.dedup();
        let mut mails = 0;
        for (garden, night) in about {
            let ended: Vec<Ended> =
                ended.iter().filter(|row| row.garden == garden && row.night == night).cloned().collect();
            let known = self.settings.gardens.iter().map(|settings| &settings.garden).find(|known| known.id == garden);
            let messages = match known {
                Some(known) => self.instead(known, night, &ended).await?,
                None => Vec::new(),
            };
            for row in &ended {
                let told: Vec<&str> = messages.iter().map(|message| message.recipient.as_str()).collect();
                let (recipient, kind, answer) = (&row.recipient, &row.kind, row.last_answer.as_deref());
                tracing::error!(garden, %night, recipient, kind, expired = row.expired, answer, ?told, "not reached");
            }
            self.store.escalate(&ended, &messages).await?;
            mails += messages.len();
        }
        Ok(mails)
    }

    /// The mails that tell somebody else.
    async fn instead(&self, garden: &Garden, night: NightOf, ended: &[Ended]) -> Result<Vec<OutboxRow>, StoreFault> {
        let failed = self.store.unreached(&garden.id, night).await?;
        let now = self.clock.now();
        // What was to be told, rather than that somebody was not told it; of several the last.
        let Some(last) = ended.iter().max_by_key(|row| (row.kind != NOT_REACHED, row.revision)) else {
            return Ok(Vec::new());
        };
        let quoted = Quoted { subject: &last.subject, plain: &last.plain, is_past: last.expires <= now };
        let unreached: Vec<Unreached> = ended.iter().map(|row| unreached(garden, row)).collect();
        let revision = self.store.next_number(&garden.id, night, NOT_REACHED).await?;
        let (expires, enclosed) = (last.expires.max(now + NEWS), Enclosed::default());
        let post = Post { garden, of: night, kind: NOT_REACHED, revision, expires, now, enclosed };
        let letter = |_: &Person| not_reached_letter(garden, &unreached, quoted);
        match self.messages(&next_contacts(garden, &failed, ended), &post, letter).await {
            Ok(messages) => Ok(messages),
            Err(DaemonFault::Store(fault)) => Err(fault),
            // Logged with each person's reason. It stays in the list of troubles and in the next letter.
            Err(DaemonFault::NoMail { .. } | DaemonFault::Said(_)) => Ok(Vec::new()),
        }
    }

    /// What the garden's managers were not told yet of mail that failed and rounds that were missed.
    pub(super) async fn untold(&self, garden: &Garden) -> Result<(Vec<Trouble>, Vec<String>), StoreFault> {
        let troubles = self.store.untold(&garden.id, self.clock.now() - TOLD_WITHIN).await?;
        let (mut mails, mut rounds) = (Vec::new(), Vec::new());
        for trouble in &troubles {
            match &trouble.what {
                TroubleKind::NotReached { recipient, refused, maybe_delivered, answer, .. } => mails.push(Unreached {
                    night: trouble.night,
                    person: name_of(garden, recipient),
                    address: recipient.clone(),
                    expired: !refused,
                    may_have_arrived: *maybe_delivered,
                    answer: answer.clone(),
                }),
                TroubleKind::Missed { kind, .. } => {
                    rounds.extend(RoundKind::from_word(kind).map(|kind| MissedRound { night: trouble.night, kind }))
                }
            }
        }
        rounds.sort_by_key(|round| (round.night, round.kind));
        let sentences = untold(&mails, &rounds);
        Ok((troubles, sentences))
    }
}

/// Whom to tell: the first manager who was not failed herself, else everybody else. Where nobody is left, and mail was
/// not refused but only taken by nobody in time, the managers concerned, or else all concerned: for when the relay is
/// back.
fn next_contacts<'g>(garden: &'g Garden, failed: &[String], ended: &[Ended]) -> Vec<&'g Person> {
    let is_reached = |person: &&Person| !failed.contains(&person.address);
    let reached: Vec<&Person> = garden.people.iter().filter(is_reached).collect();
    if let Some(manager) = reached.iter().find(|person| person.role == Role::Manager) {
        return vec![manager];
    }
    if !reached.is_empty() {
        return reached;
    }
    let is_late = |person: &&Person| {
        ended.iter().any(|row| row.expired && row.kind != NOT_REACHED && row.recipient == person.address)
    };
    let late: Vec<&Person> = garden.people.iter().filter(is_late).collect();
    let managers: Vec<&Person> = late.iter().copied().filter(|person| person.role == Role::Manager).collect();
    if managers.is_empty() { late } else { managers }
}

fn unreached(garden: &Garden, row: &Ended) -> Unreached {
    Unreached {
        night: row.night,
        person: name_of(garden, &row.recipient),
        address: row.recipient.clone(),
        expired: row.expired,
        may_have_arrived: row.maybe_delivered,
        answer: row.last_answer.clone(),
    }
}

fn name_of(garden: &Garden, address: &str) -> String {
    let person = garden.people.iter().find(|person| person.address == address);
    person.map_or_else(|| address.to_string(), |person| person.name.clone())
}
