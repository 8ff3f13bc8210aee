//! Mail that was refused or that nobody took in time: somebody else is told, with the list, and a manager hears of it
//! in the next letter too.

use super::post::{Enclosed, Post};
use super::{Daemon, DaemonFault};
use crate::beds::{Garden, Person, Role};
use crate::message::{Fate, MissedRound, Quoted, Unreached, not_reached_letter, store_is_away, untold};
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

    /// Queues a mail to somebody else, in time, for whatever list nobody has taken though its hour comes near. Whoever
    /// waits for mail as well is not told: a relay that takes nothing tells nobody. How many mails that makes.
    pub(super) async fn tell_others_in_time(&self) -> Result<usize, StoreFault> {
        let waiting = self.store.not_taken_yet(self.clock.now()).await?;
        let mut about: Vec<(String, NightOf)> = waiting.iter().map(|row| (row.garden.clone(), row.night)).collect();
        about.sort();
        about.dedup();
        let mut mails = 0;
        for (garden, night) in about {
            let Some(known) = self.settings.gardens.iter().map(|of| &of.garden).find(|known| known.id == garden) else {
                continue;
            };
            let of: Vec<Ended> =
                waiting.iter().filter(|row| row.garden == garden && row.night == night).cloned().collect();
            let mut away = self.store.unreached(&garden, night).await?;
            away.extend(self.store.waited_for(&garden, night).await?);
            let contacts = reached_contacts(known, &away);
            if contacts.is_empty() {
                continue;
            }
            let unreached: Vec<Unreached> = of.iter().map(|row| unreached(known, row, Fate::NotYet)).collect();
            let Some(messages) = self.pass_on(known, night, &of, &unreached, &contacts).await? else { continue };
            for row in &of {
                tracing::error!(garden, %night, recipient = row.recipient, "nobody has taken a list yet; another is told");
            }
            self.store.tell_others(&of, &messages).await?;
            mails += messages.len();
        }
        Ok(mails)
    }

    /// The mails that tell somebody else.
    async fn instead(&self, garden: &Garden, night: NightOf, ended: &[Ended]) -> Result<Vec<OutboxRow>, StoreFault> {
        let failed = self.store.unreached(&garden.id, night).await?;
        let unreached: Vec<Unreached> = ended.iter().map(|row| unreached(garden, row, fate(row))).collect();
        let contacts = next_contacts(garden, &failed, ended);
        // Where none can be written it stays in the list of troubles and in the next letter.
        Ok(self.pass_on(garden, night, ended, &unreached, &contacts).await?.unwrap_or_default())
    }

    /// The mails that pass on what some people were not told. None where not one of the contacts could be written to,
    /// which is logged with each one's reason.
    async fn pass_on(
        &self,
        garden: &Garden,
        night: NightOf,
        rows: &[Ended],
        unreached: &[Unreached],
        contacts: &[&Person],
    ) -> Result<Option<Vec<OutboxRow>>, StoreFault> {
        let now = self.clock.now();
        // What was to be told, rather than that somebody was not told it; of several the last.
        let Some(last) = rows.iter().max_by_key(|row| (row.kind != NOT_REACHED, row.revision)) else {
            return Ok(None);
        };
        let quoted = Quoted { subject: &last.subject, plain: &last.plain, is_past: last.expires <= now };
        let revision = self.store.next_number(&garden.id, night, NOT_REACHED).await?;
        let (expires, enclosed) = (last.expires.max(now + NEWS), Enclosed::default());
        let post = Post { garden, of: night, kind: NOT_REACHED, revision, expires, others_due: None, now, enclosed };
        let letter = |_: &Person| not_reached_letter(garden, unreached, quoted);
        match self.messages(contacts, &post, letter).await {
            Ok(mut messages) => {
                messages.iter_mut().for_each(|message| message.quotes = last.list);
                Ok(Some(messages))
            }
            Err(DaemonFault::Store(fault)) => Err(fault),
            Err(DaemonFault::NoMail { .. } | DaemonFault::Said(_) | DaemonFault::Slept) => Ok(None),
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
                    fate: if *refused { Fate::Refused } else { Fate::Late },
                    may_have_arrived: *maybe_delivered,
                    answer: answer.clone(),
                }),
                TroubleKind::Missed { kind, .. } => {
                    rounds.extend(RoundKind::from_word(kind).map(|kind| MissedRound { night: trouble.night, kind }))
                }
            }
        }
        rounds.sort_by_key(|round| (round.night, round.kind));
        let mut sentences = untold(&mails, &rounds);
        sentences.extend(self.substitute_because.as_deref().map(store_is_away));
        Ok((troubles, sentences))
    }
}

/// The first manager who is not away, else everybody else who is not.
fn reached_contacts<'g>(garden: &'g Garden, away: &[String]) -> Vec<&'g Person> {
    let reached: Vec<&Person> = garden.people.iter().filter(|person| !away.contains(&person.address)).collect();
    match reached.iter().find(|person| person.role == Role::Manager) {
        Some(manager) => vec![manager],
        None => reached,
    }
}

/// Whom to tell of what has ended: whoever was not failed as well. Where nobody is left, and mail was not refused but
/// only taken by nobody in time, the managers concerned, or else all concerned: for when the relay is back.
fn next_contacts<'g>(garden: &'g Garden, failed: &[String], ended: &[Ended]) -> Vec<&'g Person> {
    let reached = reached_contacts(garden, failed);
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

fn fate(row: &Ended) -> Fate {
    if row.expired { Fate::Late } else { Fate::Refused }
}

fn unreached(garden: &Garden, row: &Ended, fate: Fate) -> Unreached {
    Unreached {
        night: row.night,
        person: name_of(garden, &row.recipient),
        address: row.recipient.clone(),
        fate,
        may_have_arrived: row.maybe_delivered,
        answer: row.last_answer.clone(),
    }
}

fn name_of(garden: &Garden, address: &str) -> String {
    let person = garden.people.iter().find(|person| person.address == address);
    person.map_or_else(|| address.to_string(), |person| person.name.clone())
}
