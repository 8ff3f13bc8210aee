//! From a letter to rows of the outbox, one for each person.

use super::{Daemon, DaemonFault};
use crate::beds::{Garden, Person};
use crate::message::calendar::{Organizer, calendar};
use crate::message::{Letter, hand_out, html, plain_text};
use crate::plan::Plan;
use crate::plan::said::CalendarEntry;
use crate::service::mail::{Correspondent, Enclosure, Letter as Mail, MailFault, Rendered, mailto, render};
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
    /// As of an [`OutboxRow`].
    pub others_due: Option<DateTime<Utc>>,
    pub now: DateTime<Utc>,
    pub enclosed: Enclosed,
}

/// What goes with the mails of one decision; none where nothing does.
#[derive(Default)]
pub(super) struct Enclosed {
    /// For those who want it.
    calendar: Option<Enclosure>,
    hand_out: Option<Enclosure>,
}

/// Texts and page of a mail stay below this, bytes, so that the whole is less than 100 kB: somebody reads it on a telephone
/// out of doors.
const LARGEST: usize = 95_000;

impl Enclosed {
    /// With a list: its entry for the calendar, and where there is work the page to print.
    pub fn of(plan: &Plan<'_>, entry: Option<CalendarEntry>, revision: u32, mail: &MailSettings) -> Enclosed {
        let from = correspondent(&mail.from, &plan.garden.name);
        let mailto = mailto(&from.address);
        let organizer = Organizer { name: &from.name, address: &from.address, mailto: &mailto };
        let calendar = entry.map(|entry| Enclosure {
            file_name: format!("night-{}.ics", plan.of),
            // RFC 6047 section 2.4: the method stands here too.
            content_type: match entry {
                CalendarEntry::Publish => "text/calendar; charset=utf-8; method=PUBLISH",
                CalendarEntry::Cancel => "text/calendar; charset=utf-8; method=CANCEL",
            },
            text: calendar(plan, entry, revision, organizer),
        });
        let hand_out = plan.has_work().then(|| Enclosure {
            file_name: hand_out::file_name(plan),
            content_type: "text/html; charset=utf-8",
            text: hand_out::hand_out(plan),
        });
        Enclosed { calendar, hand_out }
    }

    /// For one person. A page that would make the mail too large is left out: the mail itself can be printed.
    fn to(&self, person: &Person, letter_length: usize) -> Vec<Enclosure> {
        let calendar = self.calendar.iter().filter(|_| person.calendar);
        let hand_out = self.hand_out.iter().filter(|page| letter_length + as_sent(&page.text) < LARGEST);
        calendar.chain(hand_out).cloned().collect()
    }
}

/// How long a text gets at most, bytes: what is beyond ASCII is written in three letters, and lines are broken.
fn as_sent(text: &str) -> usize {
    let beyond = text.bytes().filter(|byte| !byte.is_ascii()).count();
    if beyond == 0 { text.len() + text.lines().count() } else { text.len() + text.len() / 10 + 2 * beyond }
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
                    // That all is quiet tonight must not arrive behind a list either.
                    replaceable: matches!(post.kind, "list" | "all-quiet"),
                    message_id: rendered.message_id,
                    envelope_from: rendered.envelope_from,
                    bytes: rendered.bytes,
                    subject: letter.subject,
                    plain,
                    due: post.now,
                    expires: post.expires,
                    others_due: post.others_due,
                    told: None,
                    quotes: None,
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
    let (plain, html) = (plain_text(letter), html(letter));
    let enclosed = post.enclosed.to(person, as_sent(&plain) + as_sent(&html));
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
        html,
        date: post.now,
        thread_start,
        enclosed,
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
        let post = Post {
            garden,
            of,
            kind: "list",
            revision: 1,
            expires: now,
            others_due: None,
            now,
            enclosed: Enclosed::default(),
        };
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
