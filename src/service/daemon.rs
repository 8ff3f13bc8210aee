//! The loop: at every garden, each round that is due becomes one look, one decision and its messages in one
//! transaction, and only then is anything sent.

use super::clock::Clock;
use super::feed::Fetcher;
use super::look::{Sources, list, readings};
use super::mail::{Correspondent, Letter as Mail, MailFault, Mailer, render};
use super::outbox::{Delivered, deliver_due};
use super::store::{OutboxRow, RoundRow, RoundState, SaidRow, Store, StoreFault};
use crate::beds::{Garden, Person, Role};
use crate::message::{Context, Letter, Reader, evening_letter, html, morning_after_letter, plain_text};
use crate::plan::Plan;
use crate::plan::said::{Said, SayReason, changes, whether};
use crate::rounds::{Round, RoundKind, next_firing, next_round, night_at, night_hours};
use crate::settings::{GardenSettings, Mailbox, Settings};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

/// Everything the loop works with.
pub struct Daemon<'a> {
    pub settings: &'a Settings,
    /// The folder of the settings: relative paths of feeds start here.
    pub folder: &'a Path,
    pub store: &'a Store,
    pub mailer: &'a Mailer,
    pub fetcher: &'a Fetcher,
    pub clock: &'a Clock,
    /// Set once by whoever wants the loop to end.
    pub stopping: &'a AtomicBool,
}

/// What can wake the loop.
enum Event {
    /// The wall clock is looked at: a suspended machine or a changed clock is noticed within this time.
    Tick,
    Stop,
}

/// The longest sleep.
const TICK: std::time::Duration = std::time::Duration::from_secs(20);
/// The longest time for one feed within a round, tries included.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(90);
/// A forecast is asked for this often between rounds, so that a copy is at hand when a feed fails just then.
const POLL: Duration = Duration::minutes(60);
/// Rounds that a stopped daemon made none of are made up this far back; older ones are recorded as missed.
const FIRST_LOOK_BACK: Duration = Duration::hours(12);
const LONGEST_LOOK_BACK: Duration = Duration::days(4);
/// A morning-after message later than this tells nobody anything.
const UNCOVER_IN_TIME: Duration = Duration::hours(8);
/// How much later than planned the next message may be before silence means trouble.
const GRACE: Duration = Duration::minutes(45);
/// The one owner of leases where one daemon runs on a store; a restart recovers its own.
const OWNER: &str = "daemon";

impl Daemon<'_> {
    /// Runs until stopped. `stop` resolves when the process is asked to end.
    pub async fn run(&self, stop: impl Future<Output = ()>) -> Result<(), StoreFault> {
        tokio::pin!(stop);
        self.store.recover_leases(OWNER, self.clock.now()).await?;
        tracing::info!(gardens = self.settings.gardens.len(), "counterpane is looking after its gardens");
        let mut last_poll: Vec<Option<DateTime<Utc>>> = vec![None; self.settings.gardens.len()];
        loop {
            let turn = self.turn(&mut last_poll);
            tokio::pin!(turn);
            // A stop during a turn lets it finish the mail in hand; nothing is decided twice and nothing half.
            tokio::select! {
                () = &mut turn => {}
                () = &mut stop => {
                    self.stopping.store(true, Ordering::SeqCst);
                    turn.await;
                    return Ok(());
                }
            }
            let event = tokio::select! {
                () = tokio::time::sleep(TICK) => Event::Tick,
                () = &mut stop => Event::Stop,
            };
            match event {
                Event::Tick => {}
                Event::Stop => return Ok(()),
            }
        }
    }

    async fn turn(&self, last_poll: &mut [Option<DateTime<Utc>>]) {
        self.due_rounds().await;
        self.deliver().await;
        for (settings, last) in self.settings.gardens.iter().zip(last_poll) {
            let now = self.clock.now();
            // A clock set back must not stop the asking.
            let is_due = last.is_none_or(|last| now - last >= POLL || now < last);
            if is_due && !self.stopping.load(Ordering::SeqCst) {
                *last = Some(now);
                let of = night_at(&settings.garden.site, &settings.garden.zone, now);
                let gathered = self.sources().gather(settings, of, now).await;
                for trouble in gathered.troubles {
                    tracing::warn!(garden = settings.garden.id, trouble);
                }
            }
        }
    }

    /// Makes every look that is due, at every garden. One garden's trouble does not touch another's look.
    pub async fn due_rounds(&self) {
        for settings in &self.settings.gardens {
            if self.stopping.load(Ordering::SeqCst) {
                return;
            }
            if let Err(fault) = self.rounds_of(settings).await {
                tracing::error!(garden = settings.garden.id, %fault, "a round could not be made and stays due");
            }
        }
    }

    /// Hands over what is due.
    pub async fn deliver(&self) -> Option<Delivered> {
        let go_on = || !self.stopping.load(Ordering::SeqCst);
        match deliver_due(self.store, self.mailer, self.clock, OWNER, go_on).await {
            Ok(delivered) => {
                if let Some(answer) = &delivered.stopped {
                    tracing::error!(answer = answer.text(), "mail cannot be handed over; it waits and is tried again");
                }
                if delivered.expired + delivered.refused > 0 {
                    tracing::error!(expired = delivered.expired, refused = delivered.refused, "somebody was not told");
                }
                Some(delivered)
            }
            Err(fault) => {
                tracing::error!(%fault, "the outbox cannot be read or written");
                None
            }
        }
    }

    async fn rounds_of(&self, settings: &GardenSettings) -> Result<(), DaemonFault> {
        let garden = &settings.garden;
        let now = self.clock.now();
        let last = self.store.last_round(&garden.id).await?;
        let since = last.as_ref().map_or(now - FIRST_LOOK_BACK, |last| last.due.max(now - LONGEST_LOOK_BACK));
        let mut due = Vec::new();
        let mut after = since;
        while let Some(round) = next_round(&self.settings.service.timetable, &garden.site, &garden.zone, after) {
            if round.due > now {
                break;
            }
            after = round.due;
            due.push(round);
        }
        // Rounds due at one instant are one look; `next_round` gives the first of them, and the sun rarely meets a clock.
        let tonight = night_at(&garden.site, &garden.zone, now);
        let for_tonight = |round: &&Round| round.kind != RoundKind::Uncover && round.night == tonight;
        let list_round = due.iter().rfind(for_tonight).copied();
        let uncover = |round: &&Round| round.kind == RoundKind::Uncover && now - round.due <= UNCOVER_IN_TIME;
        let uncover_round = due.iter().rfind(uncover).copied();
        for round in due {
            if Some(round) == list_round {
                let late = last.is_some().then_some(now - round.due);
                self.list_round(settings, round, late, now).await?;
            } else if Some(round) == uncover_round {
                self.uncover_round(settings, round, now).await?;
            } else {
                let merged = round.night == tonight;
                let state = if merged { RoundState::Merged } else { RoundState::Missed };
                if !merged && last.is_some() {
                    let (garden, kind) = (&garden.id, round.kind.word());
                    tracing::warn!(garden, kind, night = %round.night, "a round was missed: the service was not running");
                }
                self.store.record_round(&round_row(garden, round, state, now)).await?;
            }
        }
        Ok(())
    }

    /// A look at the coming night: gather, decide, and say what there is to say.
    async fn list_round(
        &self,
        settings: &GardenSettings,
        round: Round,
        late_by: Option<Duration>,
        now: DateTime<Utc>,
    ) -> Result<(), DaemonFault> {
        let garden = &settings.garden;
        let gathered = self.sources().gather(settings, round.night, now).await;
        let readings = readings(self.store, garden, round.night).await?;
        let plan = list(garden, &self.settings.catalogue, round.night, &gathered.forecasts, &readings, now);
        let next = Said::of(&plan);
        let last = self.last_said(garden, round.night).await?;
        let last_word = self.store.last_word(&garden.id).await?;
        let said = last.as_ref().map(|(_, said)| said);
        let timetable = &self.settings.service.timetable;
        let done = round_row(garden, round, RoundState::Done, now);
        let reason = match whether(round.kind, &next, said, last_word, timetable.all_quiet) {
            Ok(reason) => reason,
            Err(silence) => {
                tracing::info!(garden = garden.id, kind = round.kind.word(), ?silence, "nothing to say");
                return Ok(self.store.decide(None, done, &[]).await?);
            }
        };
        tracing::info!(garden = garden.id, kind = round.kind.word(), ?reason, "a message goes out");
        let changed = said.map(|said| (changes(said, &next), said.at));
        let context = Context {
            reason,
            since: changed.as_ref().map(|(changes, at)| (changes, *at)),
            next_word_by: self.next_word_by(garden, round.night, reason, now),
            late_by,
            troubles: &gathered.troubles,
        };
        let revision = last.as_ref().map_or(1, |(revision, _)| revision + 1);
        let to = |person: &&Person| reason != SayReason::AllQuiet || person.role == Role::Manager;
        let kind = if reason == SayReason::AllQuiet { "all-quiet" } else { "list" };
        let letter = |person: &Person| evening_letter(&plan, &context, Reader { role: person.role });
        let people: Vec<&Person> = garden.people.iter().filter(to).collect();
        let post = Post { garden, of: round.night, kind, revision, expires: useful_until(&plan), now };
        let messages = self.messages(&people, &post, letter).await?;
        let said = said_row(garden, round.night, revision, &next, now)?;
        Ok(self.store.decide(Some(said), done, &messages).await?)
    }

    /// The morning after.
    async fn uncover_round(
        &self,
        settings: &GardenSettings,
        round: Round,
        now: DateTime<Utc>,
    ) -> Result<(), DaemonFault> {
        let garden = &settings.garden;
        let done = round_row(garden, round, RoundState::Done, now);
        let last = self.last_said(garden, round.night).await?;
        let Some((revision, said)) = last else { return Ok(self.store.decide(None, done, &[]).await?) };
        let all_quiet = self.settings.service.timetable.all_quiet;
        let Ok(reason) = whether(round.kind, &said, Some(&said), None, all_quiet) else {
            return Ok(self.store.decide(None, done, &[]).await?);
        };
        let next_word_by = self.next_word_by(garden, round.night, reason, now);
        let letter = |person: &Person| {
            morning_after_letter(garden, round.night, &said, next_word_by, Reader { role: person.role })
        };
        let revision = revision + 1;
        let people: Vec<&Person> = garden.people.iter().collect();
        let post = Post {
            garden,
            of: round.night,
            kind: "morning-after",
            revision,
            expires: round.due + UNCOVER_IN_TIME + Duration::hours(2),
            now,
        };
        let messages = self.messages(&people, &post, letter).await?;
        let said = said_row(garden, round.night, revision, &Said { at: now, ..said.clone() }, now)?;
        Ok(self.store.decide(Some(said), done, &messages).await?)
    }

    async fn last_said(&self, garden: &Garden, of: NightOf) -> Result<Option<(u32, Said)>, DaemonFault> {
        let Some(row) = self.store.last_said(&garden.id, of).await? else { return Ok(None) };
        Ok(Some((row.revision, serde_json::from_str(&row.document)?)))
    }

    /// Renders one message for each person. A person whose mail cannot be written does not keep it from the others.
    async fn messages(
        &self,
        people: &[&Person],
        post: &Post<'_>,
        letter: impl Fn(&Person) -> Letter,
    ) -> Result<Vec<OutboxRow>, DaemonFault> {
        let mail = &self.settings.service.mail;
        let mut rows = Vec::new();
        for person in people {
            let letter = letter(person);
            let thread_start = self.store.thread_start(&post.garden.id, post.of, &person.address).await?;
            let rendered = render(&Mail {
                garden_id: post.garden.id.clone(),
                night: post.of,
                kind: post.kind,
                revision: post.revision,
                to: Correspondent { name: person.name.clone(), address: person.address.clone() },
                from: correspondent(&mail.from, &post.garden.name),
                reply_to: mail.reply_to.as_ref().map(|mailbox| correspondent(mailbox, &post.garden.name)),
                subject: letter.subject.clone(),
                plain: plain_text(&letter),
                html: html(&letter),
                date: post.now,
                thread_start,
            });
            match rendered {
                Ok(rendered) => rows.push(OutboxRow {
                    recipient: person.address.clone(),
                    garden: post.garden.id.clone(),
                    night: post.of,
                    kind: post.kind.into(),
                    revision: post.revision,
                    replaceable: post.kind == "list",
                    message_id: rendered.message_id,
                    envelope_from: rendered.envelope_from,
                    bytes: rendered.bytes,
                    due: post.now,
                    expires: post.expires,
                }),
                Err(fault) => {
                    tracing::error!(garden = post.garden.id, person = person.name, %fault, "mail cannot be written");
                }
            }
        }
        if rows.is_empty() && !people.is_empty() { Err(DaemonFault::NoMail) } else { Ok(rows) }
    }

    /// When the garden hears from us again, or something is broken: after a list the morning after, else the next sign
    /// of life.
    fn next_word_by(
        &self,
        garden: &Garden,
        of: NightOf,
        reason: SayReason,
        now: DateTime<Utc>,
    ) -> Option<DateTime<Utc>> {
        let timetable = &self.settings.service.timetable;
        let next = match reason {
            SayReason::First | SayReason::Worse | SayReason::Better | SayReason::DataMissing => {
                let (_, sunrise) = night_hours(&garden.site, &garden.zone, of);
                Some(sunrise + crate::rounds::MORNING_AFTER)
            }
            SayReason::CalledOff | SayReason::AllQuiet | SayReason::MorningAfter => {
                let quiet = now + Duration::days(timetable.all_quiet.days()) - Duration::hours(6);
                next_firing(&timetable.morning, &garden.zone, quiet)
            }
        };
        next.map(|next| next + GRACE)
    }

    fn sources(&self) -> Sources<'_> {
        Sources { fetcher: self.fetcher, store: Some(self.store), folder: self.folder, patience: PATIENCE }
    }
}

/// What the messages of one decision have in common.
struct Post<'a> {
    garden: &'a Garden,
    of: NightOf,
    kind: &'static str,
    revision: u32,
    expires: DateTime<Utc>,
    now: DateTime<Utc>,
}

/// Until the coldest hour a late cover still helps; after it the list is of no use.
fn useful_until(plan: &Plan<'_>) -> DateTime<Utc> {
    let coldest = plan.night.as_ref().map(|night| night.coldest_at().max(night.sunset));
    let sunset = plan.deadline + plan.garden.finish_before_sunset;
    coldest.unwrap_or(sunset + Duration::hours(8)).max(plan.made_at + Duration::hours(1))
}

fn correspondent(mailbox: &Mailbox, garden: &str) -> Correspondent {
    Correspondent { name: mailbox.name.clone().unwrap_or_else(|| garden.to_string()), address: mailbox.address.clone() }
}

fn round_row(garden: &Garden, round: Round, state: RoundState, now: DateTime<Utc>) -> RoundRow {
    RoundRow {
        garden: garden.id.clone(),
        kind: round.kind.word().into(),
        due: round.due,
        night: round.night,
        state,
        finished_at: now,
        late_seconds: (now - round.due).num_seconds().max(0),
    }
}

fn said_row(
    garden: &Garden,
    night: NightOf,
    revision: u32,
    said: &Said,
    now: DateTime<Utc>,
) -> Result<SaidRow, DaemonFault> {
    Ok(SaidRow { garden: garden.id.clone(), night, revision, document: serde_json::to_string(said)?, said_at: now })
}

/// Why a round was not made. It stays due and is tried again.
#[derive(Debug, thiserror::Error)]
pub enum DaemonFault {
    #[error("{0}")]
    Store(#[from] StoreFault),
    #[error("what was said last cannot be read back: {0}")]
    Said(#[from] serde_json::Error),
    #[error("{0}")]
    Mail(#[from] MailFault),
    #[error("not one of the garden's people could be written to; see the lines above")]
    NoMail,
}
