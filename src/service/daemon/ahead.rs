//! A word about a night to come, in the morning of a day that has none of its own: people are asked in time.

use super::post::{Enclosed, Post};
use super::{Daemon, DaemonFault};
use crate::beds::{Person, Role};
use crate::journal::event::ForecastAtRound;
use crate::message::ahead_letter;
use crate::plan::said::{Said, standing};
use crate::plan::spell::{Kept, NightAhead, Spell, ToldAhead, kept};
use crate::plan::{Before, Measure};
use crate::service::look::{covers_elsewhere, day_before, heard, list_after, taken};
use crate::service::store::{LastMail, RoundRow};
use crate::settings::GardenSettings;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

const KIND: &str = "ahead";

fn read_back(garden: &str, mail: &LastMail) -> Option<ToldAhead> {
    serde_json::from_str(mail.told.as_ref()?)
        .inspect_err(|fault| tracing::error!(garden, %fault, "what was told ahead cannot be read back"))
        .ok()
}

impl Daemon<'_> {
    /// Tells the managers of the next night that wants people, and again when it asks for more. `false` where there is nothing to
    /// tell, and then nothing was written.
    pub(super) async fn look_ahead(
        &self,
        settings: &GardenSettings,
        spell: &Spell<'_>,
        done: &RoundRow,
        foretold: &[ForecastAtRound],
    ) -> Result<bool, DaemonFault> {
        let (garden, now) = (&settings.garden, self.clock.now());
        let Some(night) = spell.to_announce() else { return Ok(false) };
        let of = night.plan.of;
        let mails = self.store.last_mails(&garden.id, of, KIND).await?;
        let of_person = |person: &Person| mails.iter().find(|mail| !mail.failed && mail.recipient == person.address);
        let told = |person: &Person| read_back(&garden.id, of_person(person)?);
        // What an older release told cannot be compared, and is not told again.
        let heard = |person: &&Person| {
            of_person(person).is_some() && !told(person).is_some_and(|told| told.is_less_than(night))
        };
        let managers = garden.people.iter().filter(|person| person.role == Role::Manager);
        let people: Vec<&Person> = managers.filter(|person| !heard(person)).collect();
        if people.is_empty() {
            return Ok(false);
        }
        let revision = self.store.next_number(&garden.id, of, KIND).await?;
        // The next morning knows more.
        let expires = now + Duration::hours(20);
        let post =
            Post { garden, of, kind: KIND, revision, expires, others_due: None, now, enclosed: Enclosed::default() };
        let next_word_by = self.next_word_by(garden, None, now);
        let letter = |person: &Person| ahead_letter(spell, night, told(person).as_ref(), next_word_by);
        let mut messages = self.messages(&people, &post, letter).await?;
        let document = serde_json::to_string(&ToldAhead::of(night))?;
        messages.iter_mut().for_each(|message| message.told = Some(document.clone()));
        self.store.decide_and_tell(None, done.clone(), &messages, None, foretold).await?;
        let NightAhead { minutes, people, .. } = night;
        tracing::info!(garden = garden.id, night = %of, minutes = minutes.0, ?people, mails = messages.len(), "looked ahead");
        self.shared.mail.notify_one();
        Ok(true)
    }

    /// Which covers and pots of the night just over the coming one wants again, and what to do with them by day. Without a
    /// forecast there are none: all come off, and out.
    pub(super) async fn kept_by_day(
        &self,
        settings: &GardenSettings,
        over: NightOf,
        said: &Said,
        now: DateTime<Utc>,
    ) -> Result<Kept, DaemonFault> {
        if said.beds.iter().all(|bed| bed.cover.is_none() && bed.measure != Measure::BringIn) {
            return Ok(Kept::default());
        }
        let of = NightOf(over.0 + Duration::days(1));
        let (garden, _) = self.taught(settings, of).await;
        let garden = &garden;
        let forecasts = self.sources().gather(settings, of, now).await.forecasts;
        let lists = heard(self.store, &garden.id, of, now).await?;
        let day = day_before(garden, of, &forecasts, now);
        let elsewhere = covers_elsewhere(self.store, self.settings, garden, of, now).await?;
        let (taken, _) = taken(self.store, garden, of, now).await?;
        let before = Before {
            said: standing(&lists),
            out: Some(said),
            day,
            elsewhere: &elsewhere,
            taken: &taken,
            ..Before::default()
        };
        let tonight = list_after(garden, &self.settings.catalogue, of, &forecasts, &[], before, now);
        Ok(kept(said, &tonight, day.as_ref()))
    }
}
