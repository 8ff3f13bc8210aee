//! From a letter to rows of the outbox, one for each person.

use super::{Daemon, DaemonFault};
use crate::beds::{Garden, Person};
use crate::message::{Letter, html, plain_text};
use crate::service::mail::{Correspondent, Letter as Mail, MailFault, Rendered, render};
use crate::service::store::OutboxRow;
use crate::settings::{MailSettings, Mailbox, Settings};
use crate::zone::NightOf;
use chrono::{DateTime, NaiveDate, Utc};

/// What the messages of one decision have in common.
pub(super) struct Post<'a> {
    pub garden: &'a Garden,
    pub of: NightOf,
    pub kind: &'static str,
    pub revision: u32,
    pub expires: DateTime<Utc>,
    pub now: DateTime<Utc>,
}

impl Daemon<'_> {
    /// Renders one message for each person. A person whose mail cannot be written does not keep it from the others.
    pub(super) async fn messages(
        &self,
        people: &[&Person],
        post: &Post<'_>,
        letter: impl Fn(&Person) -> Letter,
    ) -> Result<Vec<OutboxRow>, DaemonFault> {
        let garden = &post.garden.id;
        let mut rows = Vec::new();
        for person in people {
            let thread_start = self.store.thread_start(garden, post.of, &person.address).await?;
            let letter = letter(person);
            match rendered(&self.settings.service.mail, post, person, &letter, thread_start) {
                Ok((rendered, plain)) => rows.push(OutboxRow {
                    recipient: person.address.clone(),
                    garden: garden.clone(),
                    night: post.of,
                    kind: post.kind.into(),
                    revision: post.revision,
                    replaceable: post.kind == "list",
                    message_id: rendered.message_id,
                    envelope_from: rendered.envelope_from,
                    bytes: rendered.bytes,
                    subject: letter.subject,
                    plain,
                    due: post.now,
                    expires: post.expires,
                }),
                Err(fault) => tracing::error!(garden, person = person.name, %fault, "mail cannot be written"),
            }
        }
        if rows.is_empty() && !people.is_empty() {
            return Err(DaemonFault::NoMail { garden: garden.clone() });
        }
        Ok(rows)
    }
}

fn rendered(
    mail: &MailSettings,
    post: &Post<'_>,
    person: &Person,
    letter: &Letter,
    thread_start: Option<String>,
) -> Result<(Rendered, String), MailFault> {
    let plain = plain_text(letter);
    let rendered = render(&Mail {
        garden_id: post.garden.id.clone(),
        night: post.of,
        kind: post.kind,
        revision: post.revision,
        to: Correspondent { name: person.name.clone(), address: person.address.clone() },
        from: correspondent(&mail.from, &post.garden.name),
        reply_to: mail.reply_to.as_ref().map(|mailbox| correspondent(mailbox, &post.garden.name)),
        subject: letter.subject.clone(),
        plain: plain.clone(),
        html: html(letter),
        date: post.now,
        thread_start,
    })?;
    Ok((rendered, plain))
}

fn correspondent(mailbox: &Mailbox, garden: &str) -> Correspondent {
    Correspondent { name: mailbox.name.clone().unwrap_or_else(|| garden.to_string()), address: mailbox.address.clone() }
}

/// The people to whom no mail could be written, and why, a sentence each: a rehearsal with the longest subject there is.
pub fn unwritable(settings: &Settings) -> Vec<String> {
    let gardens = settings.gardens.iter().map(|settings| &settings.garden);
    let faults = gardens.flat_map(|garden| garden.people.iter().map(move |person| (garden, person)));
    let faults = faults.filter_map(|(garden, person)| {
        let (of, now) = (NightOf(NaiveDate::default()), DateTime::UNIX_EPOCH);
        let post = Post { garden, of, kind: "list", revision: 1, expires: now, now };
        let letter = Letter {
            subject: format!(
                "Worse: harvest 999, bring in 999, cover 999 by 16:40: low -99 F near 07:00 ({})",
                garden.name
            ),
            lead: vec!["A rehearsal.".into()],
            ..Letter::default()
        };
        let fault = rendered(&settings.service.mail, &post, person, &letter, None).err()?;
        Some(format!("{} of garden {} cannot be written to: {fault}.", person.name, garden.id))
    });
    faults.collect()
}
