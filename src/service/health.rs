//! Whether all is in order, from what is at hand: the loops' turns and the store. Nobody outside is asked.

use super::store::{MailCounts, Store, StoreFault};
use super::turns::Turns;
use crate::rounds::next_round;
use crate::settings::Settings;
use chrono::{DateTime, Duration, Utc};
use serde::Serialize;

/// How the service fares at one instant.
#[derive(Clone, Debug, Serialize)]
pub struct Health {
    /// Whether there is nothing among the troubles.
    pub ok: bool,
    pub at: DateTime<Utc>,
    pub gardens: Vec<GardenHealth>,
    /// Mail that has not gone out yet, overdue or not.
    pub mail_open: u64,
    /// Mail that should have gone out by now.
    pub mail_overdue: u64,
    /// Mail that failed for good and that nobody else was told of.
    pub mail_untold: u64,
    /// A sentence each.
    pub troubles: Vec<String>,
}

/// How one garden fares. Ages are in seconds; `null` in the document where there is nothing that could have an age.
#[derive(Clone, Debug, Serialize)]
pub struct GardenHealth {
    pub garden: String,
    /// Since the last round that was complete.
    pub last_round_age: Option<i64>,
    /// Since the first round that is due and was not made; `null` where none is.
    pub round_overdue: Option<i64>,
    /// Since the newest good forecast was issued.
    pub last_forecast_age: Option<i64>,
}

/// A round may be under way this long before it is missing: two feeds' patience and the pauses of a first failure.
const LATE: Duration = Duration::minutes(15);
/// Mail that is due this long is overdue: the first three tries are over by then.
const MAIL_LATE: Duration = Duration::minutes(5);
/// An older forecast was missed several times over: services issue one every six hours or more often.
const OLD: Duration = Duration::hours(12);

/// How the service fares. `turns` is none where the loops cannot be seen, from another process.
pub async fn health(
    settings: &Settings,
    store: &Store,
    turns: Option<&Turns>,
    now: DateTime<Utc>,
) -> Result<Health, StoreFault> {
    let mut troubles: Vec<String> = Vec::new();
    for name in turns.map(Turns::stuck).unwrap_or_default() {
        troubles.push(format!("The loop of {name} is stuck."));
    }
    let mut gardens = Vec::new();
    for settings_of in &settings.gardens {
        let garden = &settings_of.garden;
        let age = |instant: Option<DateTime<Utc>>| instant.map(|instant| (now - instant).num_seconds());
        let last = store.last_round(&garden.id, now).await?.map(|round| round.due);
        let noted = store.noted_due(&garden.id, now).await?.first().map(|round| round.due);
        let overdue = noted.or_else(|| {
            let round = next_round(&settings.service.timetable, &garden.site, &garden.zone, last?)?;
            (round.due <= now).then_some(round.due)
        });
        let forecast = store.newest_forecast(&garden.id, now).await?;
        if overdue.is_some_and(|due| now - due > LATE) {
            troubles.push(format!("{}: a round is overdue by {}.", garden.id, spoken(overdue.map(|due| now - due))));
        }
        match forecast {
            None => troubles.push(format!("{}: no forecast has been had yet.", garden.id)),
            Some(at) if now - at > OLD => {
                troubles.push(format!("{}: the newest forecast is {} old.", garden.id, spoken(Some(now - at))));
            }
            Some(_) => {}
        }
        gardens.push(GardenHealth {
            garden: garden.id.clone(),
            last_round_age: age(store.last_complete_round(&garden.id, now).await?),
            round_overdue: age(overdue),
            last_forecast_age: age(forecast),
        });
    }
    let MailCounts { open, overdue, untold, .. } = store.mail_counts(now, MAIL_LATE, now).await?;
    if overdue > 0 {
        troubles.push(format!("{overdue} messages wait that should have gone out."));
    }
    if untold > 0 {
        troubles.push(format!("{untold} messages were refused or too late, and nobody else was told."));
    }
    Ok(Health {
        ok: troubles.is_empty(),
        at: now,
        gardens,
        mail_open: open,
        mail_overdue: overdue,
        mail_untold: untold,
        troubles,
    })
}

/// An age in words: `40 min`, `3 h`, `2 days`.
pub fn spoken(age: Option<Duration>) -> String {
    match age {
        None => "never".into(),
        Some(age) if age < Duration::minutes(100) => format!("{} min", age.num_minutes()),
        Some(age) if age < Duration::hours(48) => format!("{} h", age.num_hours()),
        Some(age) => format!("{} days", age.num_days()),
    }
}
