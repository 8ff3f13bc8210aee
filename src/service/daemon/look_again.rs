//! What a frost did shows late: the people are asked about its beds three days after it, and again when ten have passed.

use super::post::{Enclosed, Post};
use super::rounds::round_row;
use super::{Daemon, DaemonFault};
use crate::beds::Person;
use crate::message::{Reader, look_again_letter};
use crate::plan::said::Said;
use crate::rounds::{Round, RoundKind};
use crate::service::look::read_back;
use crate::service::store::{RoundState, SaidRow};
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
        let rows = self.store.said_between(&garden.id, night(look.last), night(look.first - 1)).await?;
        // A mail about a later night has asked about an earlier one too, where that was old enough then.
        let unasked = (look.first..=look.last).map(night).take_while(|of| !asked.contains(of));
        let mut due: Vec<(NightOf, Said)> = unasked.filter_map(|of| Some((of, of_work(&rows, of)?))).collect();
        due.reverse();
        let Some((oldest, _)) = due.first() else { return Ok(()) };
        // The night after the youngest comes of age tomorrow; unless the oldest cannot wait, they are asked about together.
        if *oldest != night(look.last) && of_work(&rows, night(look.first - 1)).is_some() {
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
}

/// What was said of a night, where somebody was asked to go out or a bed was left at risk: its last list.
fn of_work(rows: &[SaidRow], of: NightOf) -> Option<Said> {
    let of_night = rows.iter().filter(|row| row.night == of);
    of_night.filter_map(read_back).rfind(|said| said.beds.iter().any(|bed| bed.measure.is_work()))
}
