//! One garden's rounds: which are due, and what each becomes.

use super::post::{Enclosed, Post};
use super::{Daemon, DaemonFault};
use crate::beds::{Garden, Person, Role};
use crate::journal::event::ForecastAtRound;
use crate::message::{Context, NightOver, Reader, evening_letter, morning_after_letter};
use crate::night::NightHour;
use crate::plan::before::{Hand, still_out, with_carried, with_hands};
use crate::plan::said::{Said, SayReason, SilentReason, calendar_entry, changes, standing, whether};
use crate::plan::spell::TOLD;
use crate::plan::{Before, Measure, Plan, turning};
use crate::rounds::{AllQuiet, MORNING_AFTER, Round, RoundKind, next_firing, next_round, night_at, night_hours};
use crate::service::failpoint;
use crate::service::look::{
    NOT_TAUGHT, UNREAD, covers_elsewhere, day_before, hands, heard, is_heard, laid_by_day, left_out, read_back,
    readings, spell, taken, teach, work_ends,
};
use crate::service::store::{LastMail, OutboxRow, RoundRow, RoundState, SaidRow};
use crate::settings::GardenSettings;
use crate::units::{Kelvins, Minutes};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use tokio::time::Instant;

/// Rounds that a stopped daemon made none of are made up this far back; older ones are recorded as missed.
const FIRST_LOOK_BACK: Duration = Duration::hours(12);
const LONGEST_LOOK_BACK: Duration = Duration::days(4);
/// A morning-after message later than this tells nobody anything.
const UNCOVER_IN_TIME: Duration = Duration::hours(8);
/// Whoever is told in another's place needs so long to act, and the relay is given so long first.
const IN_TIME: Duration = Duration::minutes(45);
const TRIED: Duration = Duration::minutes(10);
/// A word that is older than this is none: signs of life come at least once a week.
const WORDS_COUNT: Duration = Duration::days(30);
/// How much later than planned the next message may be before silence means trouble.
const GRACE: Duration = Duration::minutes(45);

impl Daemon<'_> {
    /// Makes the rounds of a garden that are due, and tells when the next one is.
    pub(super) async fn rounds_of(&self, settings: &GardenSettings) -> Result<Option<DateTime<Utc>>, DaemonFault> {
        let garden = &settings.garden;
        let now = self.clock.now();
        let last = self.store.last_round(&garden.id, now).await?;
        let since = last.as_ref().map_or(now - FIRST_LOOK_BACK, |last| last.due.max(now - LONGEST_LOOK_BACK));
        let mut due = self.noted_due(garden, now).await?;
        let (noted, mut after) = (due.len(), since);
        // Rounds due at one instant are one look; `next_round` gives the first of them, and the sun rarely meets a
        // clock.
        let next = loop {
            match next_round(&self.settings.service.timetable, &garden.site, &garden.zone, after) {
                Some(round) if round.due <= now => {
                    after = round.due;
                    due.push(round);
                }
                next => break next.map(|round| round.due),
            }
        };
        if due.is_empty() {
            return Ok(next);
        }
        if due.len() > noted {
            failpoint::here("round-found");
            let found = due.iter().skip(noted).map(|round| round_row(garden, *round, RoundState::Due, now));
            self.store.note_due(&found.collect::<Vec<_>>()).await?;
            failpoint::here("round-noted");
        }
        // One that was noted may have been found again.
        due.sort_by_key(|round| (round.due, round.kind));
        due.dedup();
        // Never closed, so that there is always a permit to come.
        let _permit = self.shared.looks.acquire().await.ok();
        // The morning's round speaks of the coming night while the last one is still going on.
        let tonight = night_at(&garden.site, &garden.zone, now);
        let of_use = |round: &&Round| round.kind != RoundKind::Uncover && round.night >= tonight;
        let list_round = due.iter().rfind(of_use).copied();
        let uncover = |round: &&Round| round.kind == RoundKind::Uncover && now - round.due <= UNCOVER_IN_TIME;
        let uncover_round = due.iter().rfind(uncover).copied();
        let mut trouble = None;
        for round in due {
            let made = if Some(round) == list_round {
                let late = last.is_some().then_some(now - round.due);
                self.list_round(settings, round, late).await
            } else if Some(round) == uncover_round {
                self.uncover_round(settings, round).await
            } else {
                let merged = list_round.is_some_and(|list| list.night == round.night);
                self.passed_over(garden, round, merged, last.is_some()).await
            };
            match made {
                Ok(()) => {}
                // It stays due: each of the others must have its try, above all the list.
                Err(fault) => {
                    tracing::error!(garden = garden.id, kind = round.kind.word(), %fault, "a round cannot be made");
                    trouble.get_or_insert(fault);
                }
            }
        }
        if let Some(round) = list_round.filter(|_| trouble.is_none()) {
            for made in [self.repeat_morning_after(settings).await, self.look_again(settings, round).await] {
                if let Err(fault) = made {
                    tracing::error!(garden = garden.id, %fault, "a question or a word of the morning cannot be sent");
                    trouble.get_or_insert(fault);
                }
            }
        }
        trouble.map_or(Ok(next), Err)
    }

    /// The rounds that were found due before, over a crash too, and are not made yet.
    async fn noted_due(&self, garden: &Garden, now: DateTime<Utc>) -> Result<Vec<Round>, DaemonFault> {
        let noted = self.store.noted_due(&garden.id, now).await?;
        let rounds = noted.iter().filter_map(|row| {
            let kind = RoundKind::from_word(&row.kind)?;
            Some(Round { kind, due: row.due, night: row.night })
        });
        Ok(rounds.collect())
    }

    /// A round that no look is made for: a later one stands for it, or its night is over.
    async fn passed_over(
        &self,
        garden: &Garden,
        round: Round,
        merged: bool,
        was_running: bool,
    ) -> Result<(), DaemonFault> {
        let state = if merged { RoundState::Merged } else { RoundState::Missed };
        if !merged && was_running {
            let (garden, kind) = (&garden.id, round.kind.word());
            tracing::warn!(garden, kind, night = %round.night, "a round was missed: the service was not running");
        }
        Ok(self.store.record_round(&round_row(garden, round, state, self.clock.now())).await?)
    }

    /// A look at the coming night: gather, decide, and say what there is to say.
    async fn list_round(
        &self,
        settings: &GardenSettings,
        round: Round,
        late_by: Option<Duration>,
    ) -> Result<(), DaemonFault> {
        let now = self.clock.now();
        // Without a store that can be written no list can be sent from here: no feed is bothered for it.
        self.store.prove_writable().await?;
        let asked = Instant::now();
        let mut gathered = self.sources().gather(settings, round.night, now).await;
        self.keep_silences().await;
        self.was_awake(now, asked)?;
        let (garden, untaught) = self.taught(settings, round.night).await;
        gathered.troubles.extend(untaught);
        let garden = &garden;
        let readings = readings(self.store, garden, round.night).await.unwrap_or_else(|fault| {
            tracing::error!(garden = garden.id, %fault, "readings cannot be read");
            gathered.troubles.push("The evening's thermometer readings could not be read.".into());
            Vec::new()
        });
        failpoint::here("weather-gathered");
        // Of gardens that share covers one decides at a time, with its weather at hand: what it takes is in the store before
        // another decides, and none waits for another's feeds.
        let shares = garden.covers.iter().any(|stock| !stock.shared_with.is_empty());
        let _shelf = if shares { Some(self.shared.shelf.lock().await) } else { None };
        let elsewhere = covers_elsewhere(self.store, self.settings, garden, round.night, now).await?;
        let rows = self.store.said(&garden.id, round.night).await?;
        // What was said by a clock that ran ahead, or in a rehearsal, is not said yet.
        let heard = || rows.iter().filter(|row| is_heard(row, now));
        let said = heard().next_back().and_then(read_back);
        let (catalogue, forecasts) = (&self.settings.catalogue, &gathered.forecasts);
        // At dusk people are out for tonight.
        let nights = if round.kind == RoundKind::Dusk { 1 } else { TOLD };
        let all: Vec<Said> = heard().filter_map(read_back).collect();
        let stands = standing(&all);
        // A word about the day keeps back no list of the night.
        if let Err(fault) = self.too_hot_by_day(garden, round, forecasts).await {
            tracing::error!(garden = garden.id, %fault, "covers by day could not be looked at");
        }
        let out = left_out(self.store, garden, round.night, stands, now).await?;
        let day = day_before(garden, round.night, forecasts, now);
        let (taken, unread) = taken(self.store, garden, round.night, now).await?;
        let laid = laid_by_day(self.store, garden, round.night, now).await?;
        if unread > 0 {
            gathered.troubles.push(UNREAD.into());
        }
        let out = out.as_ref();
        let before = Before { said: stands, out, day, elsewhere: &elsewhere, laid: &laid, taken: &taken };
        let mut spell = spell(garden, catalogue, round.night, nights, forecasts, &readings, before, now);
        let plan = &spell.tonight;
        failpoint::here("list-made");
        if plan.gap > Minutes(0.01) {
            tracing::warn!(
                garden = garden.id,
                minutes = plan.gap.0,
                "a better choice of measures may exist, by at most"
            );
        }
        let foretold = ForecastAtRound::of_spell(&spell, round.kind, forecasts, readings.len());
        let next = Said::of(plan);
        let since = NightOf(round.night.0 - WORDS_COUNT);
        let last_word = self.store.last_word(&garden.id, since, now).await?;
        let timetable = &self.settings.service.timetable;
        let done = round_row(garden, round, RoundState::Done, now);
        let mut people: Vec<&Person> = garden.people.iter().collect();
        let reason = match whether(round.kind, &next, said.as_ref(), last_word, timetable.all_quiet) {
            Ok(reason) => reason,
            Err(silence) => {
                let all: Vec<Said> = rows.iter().filter_map(read_back).collect();
                let Some(reason) = self.to_repeat(plan, said.is_some(), &all, &mut people).await? else {
                    let is_free = round.kind == RoundKind::Morning && silence == SilentReason::Quiet;
                    if is_free && self.look_ahead(settings, &spell, &done, &foretold).await? {
                        return Ok(());
                    }
                    tracing::info!(garden = garden.id, kind = round.kind.word(), ?silence, "nothing to say");
                    return Ok(self.store.decide_and_tell(None, done, &[], None, &foretold).await?);
                };
                tracing::warn!(garden = garden.id, people = people.len(), "what did not arrive is sent again");
                reason
            }
        };
        // Only what is sent needs it.
        turning::find(&mut spell.tonight, catalogue, before);
        let plan = &spell.tonight;
        let (untold, of_untold) = self.untold(garden).await?;
        let for_managers: Vec<String> = gathered.troubles.iter().cloned().chain(of_untold).collect();
        let changed = said.map(|said| (changes(&said, &next), said.at));
        let asks = plan.has_work() || plan.count(Measure::Unknown) > 0;
        let context = Context {
            reason,
            since: changed.as_ref().map(|(changes, at)| (changes, *at)),
            next_word_by: None,
            late_by,
            spell: (nights > 1).then_some(&spell),
            troubles: &gathered.troubles,
        };
        people.retain(|person| reason != SayReason::AllQuiet || person.role == Role::Manager);
        let lists = self.store.last_mails(&garden.id, round.night, "list").await?;
        people.retain(|person| concerns(person, garden, &next, &lists));
        // Signs of life go to managers; volunteers hear the morning after what they were asked, and when asked again.
        let with_this: Vec<Said> = all.iter().cloned().chain([next.clone()]).collect();
        let carried = left_out(self.store, garden, round.night, None, now).await?;
        let hands = hands(self.store, garden, round.night, now).await?;
        let asked = to_uncover(garden, round.night, &with_this, carried, &hands).map(|_| round.night);
        let next_word_by = self.next_word_by(garden, asked, now);
        let next_word_to = |person: &Person| next_word_by.filter(|_| asked.is_some() || person.role == Role::Manager);
        let kind = if reason == SayReason::AllQuiet { "all-quiet" } else { "list" };
        let revision = next_revision(&rows);
        let entry = calendar_entry(reason, &next, &all);
        let enclosed = Enclosed::of(plan, entry, revision, &self.settings.service.mail);
        let expires = useful_until(plan);
        let others_due = (asks && kind == "list").then(|| others_due(now, plan.deadline, expires));
        let post = Post { garden, of: round.night, kind, revision, expires, others_due, now, enclosed };
        let letter = |person: &Person| {
            let troubles = if person.role == Role::Manager { &for_managers } else { &gathered.troubles };
            // Whoever was told nothing of this night yet knows no earlier message.
            let (reason, since) = match reason {
                SayReason::Worse | SayReason::Better if !has_mail(&lists, person) => (SayReason::First, None),
                _ => (reason, context.since),
            };
            let context = Context { reason, since, next_word_by: next_word_to(person), troubles, ..context };
            evening_letter(plan, &context, Reader { role: person.role })
        };
        let messages = self.messages(&people, &post, letter).await?;
        failpoint::here("mail-written");
        let said = said_row(garden, round.night, revision, &next, now)?;
        let to_manager = self.to_manager(garden, &messages);
        let told = to_manager.as_deref().map(|key| (untold.as_slice(), key));
        self.store.decide_and_tell(Some(said), done, &messages, told, &foretold).await?;
        tracing::info!(garden = garden.id, kind = round.kind.word(), ?reason, mails = messages.len(), "said");
        self.shared.mail.notify_one();
        Ok(())
    }

    /// After a sleep of the machine, what is of use, how late it is and what the weather services say may all be otherwise.
    fn was_awake(&self, since: DateTime<Utc>, asked: Instant) -> Result<(), DaemonFault> {
        if self.clock.leapt(since, asked.elapsed()) { Err(DaemonFault::Slept) } else { Ok(()) }
    }

    /// The garden with what its nights have taught, or as its file has it and a word about that.
    pub(super) async fn taught(&self, settings: &GardenSettings, of: NightOf) -> (Garden, Option<String>) {
        let mut garden = settings.garden.clone();
        let fault = teach(self.store, &mut garden, of).await.err();
        let untaught = fault.map(|fault| {
            tracing::error!(garden = garden.id, %fault, "what the garden's nights have taught cannot be read");
            NOT_TAUGHT.to_string()
        });
        (garden, untaught)
    }

    /// What is said again, and to whom: to those whom it did not reach.
    async fn to_repeat(
        &self,
        plan: &Plan<'_>,
        was_said: bool,
        said: &[Said],
        people: &mut Vec<&Person>,
    ) -> Result<Option<SayReason>, DaemonFault> {
        let garden = plan.garden;
        if !was_said {
            return Ok(None);
        }
        let lists = self.store.last_mails(&garden.id, plan.of, "list").await?;
        let is_failed = |mails: &[LastMail], person: &Person| {
            mails.iter().any(|mail| mail.failed && mail.recipient == person.address)
        };
        let reason = if !plan.is_quiet() {
            // Somebody new has no mail yet, and is told too.
            let heard = |person: &Person| lists.iter().any(|mail| !mail.failed && mail.recipient == person.address);
            people.retain(|person| !heard(person));
            let next = Said::of(plan);
            people.retain(|person| concerns(person, garden, &next, &lists));
            SayReason::First
        } else if said.iter().any(Said::has_work) || !lists.is_empty() {
            people.retain(|person| is_failed(&lists, person));
            SayReason::CalledOff
        } else {
            let words = self.store.last_mails(&garden.id, plan.of, "all-quiet").await?;
            people.retain(|person| is_failed(&words, person));
            SayReason::AllQuiet
        };
        Ok((!people.is_empty()).then_some(reason))
    }

    /// The key of the mail in which a manager reads what was not told yet.
    fn to_manager(&self, garden: &Garden, messages: &[OutboxRow]) -> Option<String> {
        let is_manager = |address: &str| {
            garden.people.iter().any(|person| person.role == Role::Manager && person.address == address)
        };
        messages.iter().find(|message| is_manager(&message.recipient)).map(OutboxRow::key)
    }

    /// Says again to those whom last night's word of the morning did not reach, while it is still of use.
    async fn repeat_morning_after(&self, settings: &GardenSettings) -> Result<(), DaemonFault> {
        let (garden, now) = (&settings.garden, self.clock.now());
        let night = NightOf(garden.zone.local(now).date_naive() - Duration::days(1));
        let (_, sunrise) = night_hours(&garden.site, &garden.zone, night);
        let round = Round { kind: RoundKind::Uncover, due: sunrise + MORNING_AFTER, night };
        if !(Duration::zero()..=UNCOVER_IN_TIME).contains(&(now - round.due)) {
            return Ok(());
        }
        let mails = self.store.last_mails(&garden.id, night, "morning-after").await?;
        let is_failed = |person: &&Person| mails.iter().any(|mail| mail.failed && mail.recipient == person.address);
        let people: Vec<&Person> = garden.people.iter().filter(is_failed).collect();
        if people.is_empty() {
            return Ok(());
        }
        tracing::warn!(garden = garden.id, people = people.len(), "the word of the morning is sent again");
        self.morning_after(settings, round, &people, None).await
    }

    /// The morning after.
    async fn uncover_round(&self, settings: &GardenSettings, round: Round) -> Result<(), DaemonFault> {
        let (garden, now) = (&settings.garden, self.clock.now());
        let done = round_row(garden, round, RoundState::Done, now);
        // A clock that was set back comes by again. A list is then compared with what was said; this is not.
        if self.store.is_done(&garden.id, round.kind.word(), round.due).await? {
            return Ok(self.store.record_round(&done).await?);
        }
        let late_by = Some(now - round.due);
        self.morning_after(settings, round, &garden.people.iter().collect::<Vec<_>>(), late_by).await
    }

    async fn morning_after(
        &self,
        settings: &GardenSettings,
        round: Round,
        people: &[&Person],
        late_by: Option<Duration>,
    ) -> Result<(), DaemonFault> {
        let (garden, now) = (&settings.garden, self.clock.now());
        let done = round_row(garden, round, RoundState::Done, now);
        let rows = self.store.said(&garden.id, round.night).await?;
        let all: Vec<Said> = rows.iter().filter_map(read_back).collect();
        let carried = left_out(self.store, garden, round.night, None, now).await?;
        let hands = hands(self.store, garden, round.night, now).await?;
        let Some(said) = to_uncover(garden, round.night, &all, carried, &hands) else {
            return Ok(self.store.decide(None, done, &[]).await?);
        };
        let asked = Instant::now();
        let kept = self.kept_by_day(settings, round.night, &said, now).await?;
        self.was_awake(now, asked)?;
        let coming = NightOf(round.night.0 + Duration::days(1));
        let told = Said { at: now, kept: Some(kept.beds()), open: kept.opened(), ..said.clone() };
        let carried = said.clone().after_the_morning(std::slice::from_ref(&told), None);
        let lists = heard(self.store, &garden.id, coming, now).await?;
        let asked = to_uncover(garden, coming, &lists, Some(carried), &hands).map(|_| coming);
        let next_word_by = self.next_word_by(garden, asked, now);
        let (untold, of_untold) = self.untold(garden).await?;
        // The word goes out whether or not it can ask.
        let at_risk = self.at_risk(garden, round.night).await.unwrap_or_else(|fault| {
            tracing::error!(garden = garden.id, %fault, "what the night may have harmed cannot be told");
            Vec::new()
        });
        let letter = |person: &Person| {
            let is_manager = person.role == Role::Manager;
            let next_word_by = next_word_by.filter(|_| asked.is_some() || is_manager);
            let reader = Reader { role: person.role };
            let catalogue = &self.settings.catalogue;
            let over = NightOver { of: round.night, said: &said, kept: &kept, at_risk: &at_risk };
            let mut letter = morning_after_letter(garden, catalogue, over, next_word_by, late_by, reader);
            letter.lead.extend(of_untold.iter().filter(|_| is_manager).cloned());
            letter
        };
        let revision = next_revision(&rows);
        let expires = round.due + UNCOVER_IN_TIME + Duration::hours(2);
        let (others_due, enclosed) = (None, Enclosed::default());
        let post =
            Post { garden, of: round.night, kind: "morning-after", revision, expires, others_due, now, enclosed };
        let messages = self.messages(people, &post, letter).await?;
        let said = said_row(garden, round.night, revision, &told, now)?;
        let to_manager = self.to_manager(garden, &messages);
        let told = to_manager.as_deref().map(|key| (untold.as_slice(), key));
        self.store.decide_and_tell(Some(said), done, &messages, told, &[]).await?;
        tracing::info!(garden = garden.id, kind = round.kind.word(), mails = messages.len(), "said");
        self.shared.mail.notify_one();
        Ok(())
    }

    /// When the garden hears from us again, or something is broken: the morning after a night of which something is
    /// `asked`, else at the next sign of life.
    pub(super) fn next_word_by(
        &self,
        garden: &Garden,
        asked: Option<NightOf>,
        now: DateTime<Utc>,
    ) -> Option<DateTime<Utc>> {
        let timetable = &self.settings.service.timetable;
        let next = match asked {
            Some(of) => {
                let (_, sunrise) = night_hours(&garden.site, &garden.zone, of);
                Some(sunrise + MORNING_AFTER)
            }
            None => {
                let quiet = now + Duration::days(timetable.all_quiet.days()) - Duration::hours(6);
                next_firing(&timetable.morning, &garden.zone, quiet)
            }
        };
        next.map(|next| next + GRACE)
    }
}

fn has_mail(lists: &[LastMail], person: &Person) -> bool {
    lists.iter().any(|mail| mail.recipient == person.address)
}

/// Whether a list is for somebody. What asks for nothing goes to managers, and to whoever has a list of this night already:
/// that one is called off by it. What is not known goes to everybody, and so does all where a garden has no manager.
fn concerns(person: &Person, garden: &Garden, next: &Said, lists: &[LastMail]) -> bool {
    let nobody_manages = garden.people.iter().all(|person| person.role != Role::Manager);
    let is_for_all = next.has_work() || next.is_unknown() || nobody_manages;
    is_for_all || person.role == Role::Manager || has_mail(lists, person)
}

/// What the word of the morning after asks to uncover, from the lists of its night, oldest first, and what was left out
/// through the day before it, and from what people wrote down since; nothing where there is no such word.
fn to_uncover(garden: &Garden, of: NightOf, lists: &[Said], carried: Option<Said>, hands: &[Hand]) -> Option<Said> {
    let deadline = work_ends(garden, of);
    let out = with_hands(still_out(lists, deadline), hands, deadline, DateTime::<Utc>::MAX_UTC);
    let out = with_carried(out, carried)?;
    let says = whether(RoundKind::Uncover, &out, Some(&out), None, AllQuiet::Weekly).is_ok();
    says.then_some(out)
}

/// Until it has been about as cold as it gets a late cover still helps; after that the list is of no use.
fn useful_until(plan: &Plan<'_>) -> DateTime<Utc> {
    let coldest = plan.night.as_ref().map(|night| {
        let near_the_low = |hour: &&NightHour| hour.air - night.minimum.mean <= Kelvins(1.0);
        let last = night.hours.iter().rfind(near_the_low).map_or(night.sunrise, |hour| hour.time);
        last.max(night.sunset)
    });
    let sunset = plan.deadline + plan.garden.finish_before_sunset;
    coldest.unwrap_or(sunset + Duration::hours(8)).max(plan.made_at + Duration::hours(1))
}

/// Somebody else hears of a list that nobody has taken while the work can still be done: when half of the time for it is
/// over, or so long before its end, whichever comes first; but not before it was tried for a while (a first choice).
fn others_due(now: DateTime<Utc>, deadline: DateTime<Utc>, expires: DateTime<Utc>) -> DateTime<Utc> {
    let end = if deadline > now { deadline } else { expires };
    (now + (end - now) / 2).min(end - IN_TIME).max(now + TRIED)
}

pub(super) fn round_row(garden: &Garden, round: Round, state: RoundState, now: DateTime<Utc>) -> RoundRow {
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

pub(super) fn said_row(
    garden: &Garden,
    night: NightOf,
    revision: u32,
    said: &Said,
    now: DateTime<Utc>,
) -> Result<SaidRow, DaemonFault> {
    Ok(SaidRow { garden: garden.id.clone(), night, revision, document: serde_json::to_string(said)?, said_at: now })
}

pub(super) fn next_revision(rows: &[SaidRow]) -> u32 {
    rows.last().map_or(1, |row| row.revision + 1)
}
