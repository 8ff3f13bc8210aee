//! What a frost did shows late: the people are asked about its beds three days after it, and again when ten have passed.

use super::post::{Enclosed, Post};
use super::rounds::round_row;
use super::{Daemon, DaemonFault};
use crate::beds::{Garden, Person};
use crate::journal::at_risk::{AtRisk, NightBehind, at_risk};
use crate::journal::event::lows_of_readings;
use crate::message::{AtRiskOf, Reader, look_again_letter};
use crate::plan::said::Said;
use crate::rounds::{Round, RoundKind};
use crate::service::look::{read_back, span_of, taken};
use crate::service::store::RoundState;
use crate::settings::GardenSettings;
use crate::zone::NightOf;
use chrono::Duration;

/// One of the two looks: how many mornings after the night it is due, and the last on which it is of use.
struct Look {
    kind: &'static str,
    first: i64,
    last: i64,
}

/// Ages are counted from the evening, so that 1 is the morning after.
const LOOKS: [Look; 2] = [Look { kind: "look-3", first: 4, last: 6 }, Look { kind: "look-10", first: 11, last: 15 }];

impl Daemon<'_> {
    /// Asks what the frosts of some days ago did, in the morning. Nights in a row are asked about together.
    pub(super) async fn look_again(&self, settings: &GardenSettings, round: Round) -> Result<(), DaemonFault> {
        if round.kind != RoundKind::Morning {
            return Ok(());
        }
        for look in &LOOKS {
            self.look(settings, round, look).await?;
        }
        Ok(())
    }

    async fn look(&self, settings: &GardenSettings, round: Round, look: &Look) -> Result<(), DaemonFault> {
        let (garden, now) = (&settings.garden, self.clock.now());
        let night = |age: i64| NightOf(round.night.0 - Duration::days(age));
        let asked = self.store.nights_told(&garden.id, look.kind, night(look.last), night(look.first)).await?;
        let mut due: Vec<AtRiskOf> = Vec::new();
        // A mail about a later night has asked about an earlier one too, where that was old enough then.
        for of in (look.first..=look.last).map(night).take_while(|of| !asked.contains(of)) {
            due.push((of, self.at_risk(garden, of).await?));
        }
        due.retain(|(_, at_risk)| !at_risk.is_empty());
        due.reverse();
        let Some((oldest, _)) = due.first() else { return Ok(()) };
        // The night after the youngest comes of age tomorrow; unless the oldest cannot wait, they are asked about together.
        if *oldest != night(look.last) && !self.at_risk(garden, night(look.first - 1)).await?.is_empty() {
            return Ok(());
        }
        let Some((youngest, _)) = due.last() else { return Ok(()) };
        let (of, is_last) = (*youngest, look.kind == LOOKS[1].kind);
        let revision = self.store.next_number(&garden.id, of, look.kind).await?;
        let expires = now + Duration::hours(20);
        let post = Post {
            garden,
            of,
            kind: look.kind,
            revision,
            expires,
            others_due: None,
            now,
            enclosed: Enclosed::default(),
        };
        let letter = |person: &Person| {
            let reader = Reader { role: person.role };
            look_again_letter(garden, &self.settings.catalogue, &due, is_last, reader)
        };
        let people: Vec<&Person> = garden.people.iter().filter(|person| letter(person).is_some()).collect();
        if people.is_empty() {
            return Ok(());
        }
        let messages = self.messages(&people, &post, |person| letter(person).unwrap_or_default()).await?;
        self.store.decide(None, round_row(garden, round, RoundState::Done, now), &messages).await?;
        tracing::info!(garden = garden.id, night = %of, kind = look.kind, mails = messages.len(), "asked what a frost did");
        self.shared.mail.notify_one();
        Ok(())
    }

    /// What a night may have harmed, by its last list and by what thermometers saw of it.
    pub(super) async fn at_risk(&self, garden: &Garden, of: NightOf) -> Result<Vec<AtRisk>, DaemonFault> {
        let said: Vec<Said> = self.store.said(&garden.id, of).await?.iter().filter_map(read_back).collect();
        let foretold = self.store.foretold(&garden.id, of, of).await?;
        let longitude = garden.site.longitude;
        let last = foretold.iter().rfind(|round| round.is_of_its_day(longitude));
        let span = span_of(garden, of);
        // A minimum may have been typed in late.
        let interval = (span.sunset - Duration::hours(12), span.sunrise + Duration::hours(24));
        let typed = lows_of_readings(&self.store.entries_that_read(&garden.id, interval).await?.0, longitude);
        let mut lows = self.store.lows_of_logs(&garden.id, longitude, of, of).await?;
        lows.extend(typed.into_iter().filter(|low| low.night == of));
        lows.sort_by(|a, b| a.place.cmp(&b.place).then(a.low.0.total_cmp(&b.low.0)));
        let (taken, _) = taken(self.store, garden, of, self.clock.now()).await?;
        let night = NightBehind { of, said: &said, foretold: last, taken: &taken, lows: &lows };
        Ok(at_risk(garden, &self.settings.catalogue, night))
    }
}
